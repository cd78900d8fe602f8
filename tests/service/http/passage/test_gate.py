"""Who may ask, how often, and from which page."""

from __future__ import annotations

import asyncio
import hmac
from contextlib import contextmanager

import pytest
from starlette.routing import BaseRoute, Match
from starlette.testclient import TestClient

from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage import gate
from warmbranch_service.http.settings import Settings

KEY, OTHER = "correct-horse-battery", "staple-of-sixteen-letters"
PAGE = "https://bench.example"


@contextmanager
def service(**settings):
    with TestClient(create_app(Settings(warm_up=0, seconds_per_request=600, **settings))) as client:
        yield client


def check_problem(response, status, kind):
    assert response.status_code == status
    assert response.headers["content-type"] == "application/problem+json"
    body = response.json()
    assert body["type"] == f"/v1/problems/{kind}"
    assert body["request_id"] == response.headers["x-request-id"]
    assert response.headers["x-content-type-options"] == "nosniff"
    return body


def test_without_a_setting_everybody_may_ask(client, van):
    assert client.post("/v1/steady", json=van).status_code == 200


@pytest.mark.parametrize("given", [None, "wrong", KEY[:-1], KEY + "x", "", KEY.upper()])
def test_without_a_key_that_is_known_it_is_401(van, given):
    headers = {} if given is None else {"x-api-key": given}
    with service(api_keys=(KEY,)) as client:
        response = client.post("/v1/steady", json=van, headers=headers)
        body = check_problem(response, 401, "api-key-needed")
        assert "X-API-Key" in body["detail"]
        assert response.headers["www-authenticate"].startswith("APIKey")
        assert KEY not in response.text


def test_a_burst_of_refusals_holds_up_nobody(ask):
    """Told by the order: all are asked before, and few are answered by then."""

    async def play():
        app = create_app(Settings(warm_up=0, seconds_per_request=600, api_keys=(KEY,)))
        refused = [ask(app, "/v1/steady", {}) for _ in range(100)]
        health = ask(app, "/v1/health", None)
        assert (await health.reply()).status == 200
        assert sum(one.task.done() for one in refused) < 20
        assert {(await one.reply()).status for one in refused} == {401}

    asyncio.run(play())


@pytest.mark.parametrize("given", [KEY, OTHER])
def test_each_key_opens(van, given):
    with service(api_keys=(KEY, OTHER)) as client:
        headers = {"x-api-key": given}
        assert client.post("/v1/steady", json=van, headers=headers).status_code == 200


def test_bytes_that_are_no_text_are_no_key():
    with service(api_keys=(KEY,)) as client:
        response = client.get("/v1/reference", headers={"x-api-key": b"\xff\xfe"})
        check_problem(response, 401, "api-key-needed")


def test_every_key_is_compared_in_a_time_that_tells_nothing(monkeypatch):
    compared = []

    def compare(one, other):
        compared.append((len(one), len(other)))
        return real(one, other)

    real = hmac.compare_digest
    monkeypatch.setattr(gate.hmac, "compare_digest", compare)
    with service(api_keys=(KEY, OTHER)) as client:
        assert client.get("/v1/reference", headers={"x-api-key": KEY}).status_code == 200
        assert client.get("/v1/reference", headers={"x-api-key": "x"}).status_code == 401
    # Digests of one length, and all of them, whether or not the first one fits.
    assert compared == [(32, 32)] * 4


@pytest.mark.parametrize("path", ["/v1/health", "/v1/ready", "/v1/metrics", "/v1/docs", "/"])
def test_what_watches_over_the_service_and_its_pages_need_no_key(path):
    with service(api_keys=(KEY,)) as client:
        assert client.get(path).status_code == 200


@pytest.mark.parametrize("path", ["/v1/healthy", "/v1/nothing", "/v1/steady/", "/v1//health"])
def test_all_else_under_v1_is_behind_the_key(path):
    with service(api_keys=(KEY,)) as client:
        check_problem(client.get(path), 401, "api-key-needed")


def test_a_key_that_is_too_short_is_refused_at_the_start_without_being_shown():
    with pytest.raises(ValueError, match="16 or more") as caught:
        Settings.from_environment({"WARMBRANCH_API_KEYS": "geheim"})
    assert "geheim" not in str(caught.value)
    assert KEY not in repr(Settings(api_keys=(KEY,)))
    assert Settings(api_keys=(KEY,)).told()["api_keys"] == 1


def test_no_limit_a_minute_unless_set(client):
    for _ in range(100):
        assert client.get("/v1/reference").status_code == 200


def test_beyond_the_limit_a_minute_it_is_429_with_a_time_to_come_back():
    with service(requests_per_minute=3) as client:
        for _ in range(3):
            assert client.get("/v1/reference").status_code == 200
        response = client.get("/v1/reference")
        check_problem(response, 429, "too-many-requests")
        assert 1 <= int(response.headers["retry-after"]) <= 20  # one token comes in 20 s
        assert client.get("/v1/health").status_code == 200


def test_the_limit_is_each_key_s_own():
    with service(requests_per_minute=1, api_keys=(KEY, OTHER)) as client:

        def ask(key):
            return client.get("/v1/reference", headers={"x-api-key": key}).status_code

        assert [ask(KEY), ask(KEY), ask(OTHER), ask(OTHER)] == [200, 429, 200, 429]
        # Whoever guesses keys is told by address, and slowed down, too.
        assert [ask("guess one"), ask("guess two")] == [401, 429]


def test_buckets_fill_evenly_and_never_beyond_a_minute_s_worth():
    now = 0.0
    buckets = gate.Buckets(60, clock=lambda: now)  # one a second
    assert [buckets.take("a") for _ in range(60)] == [0.0] * 60
    assert buckets.take("a") == pytest.approx(1.0, abs=1e-9)
    now = 0.25
    assert buckets.take("a") == pytest.approx(0.75, abs=1e-9)
    now = 1.5
    assert buckets.take("a") == 0.0
    now = 1e6
    assert [buckets.take("a") for _ in range(60)] == [0.0] * 60
    assert buckets.take("a") > 0


def test_buckets_forget_whoever_is_silent_longest(monkeypatch):
    monkeypatch.setattr(gate, "MOST_BUCKETS", 2)
    buckets = gate.Buckets(1, clock=lambda: 0.0)
    assert [buckets.take(name) for name in ("a", "b", "c")] == [0.0] * 3
    assert len(buckets) == 2
    assert buckets.take("c") > 0
    assert buckets.take("a") == 0.0  # forgotten, so a newcomer


PREFLIGHT = {
    "origin": PAGE,
    "access-control-request-method": "POST",
    "access-control-request-headers": "content-type",
}


def test_no_page_of_another_origin_may_ask_unless_set(client):
    response = client.options("/v1/steady", headers=PREFLIGHT)
    check_problem(response, 405, "method-not-allowed")
    assert "access-control-allow-origin" not in response.headers
    response = client.get("/v1/reference", headers={"origin": PAGE})
    assert "access-control-allow-origin" not in response.headers


def test_the_pages_that_are_set_may_and_no_others(van):
    with service(cors_origins=(PAGE,), api_keys=(KEY,)) as client:
        response = client.options("/v1/steady", headers=PREFLIGHT)
        assert response.status_code == 200  # asked without the key, which browsers do not send
        assert response.headers["access-control-allow-origin"] == PAGE
        response = client.post("/v1/steady", json=van, headers={"origin": PAGE, "x-api-key": KEY})
        assert response.status_code == 200
        assert response.headers["access-control-allow-origin"] == PAGE
        assert "x-request-id" in response.headers["access-control-expose-headers"].lower()
        other = {**PREFLIGHT, "origin": "https://other.example"}
        response = client.options("/v1/steady", headers=other)
        assert "access-control-allow-origin" not in response.headers
        assert response.json()["type"] == "/v1/problems/bad-request"
        # A failure is told to the page, too.
        response = client.post("/v1/steady", json=van, headers={"origin": PAGE})
        assert response.status_code == 401
        assert response.headers["access-control-allow-origin"] == PAGE


def test_an_address_without_places_is_refused_before_anything_is_read(van):
    """At the gate: neither the framework nor the body of whoever asks is looked at."""
    app = create_app(Settings(warm_up=0, seconds_per_request=600, sweeps_per_client=1))
    with TestClient(app) as client:
        place = app.state.sweeps.take("from testclient")
        reached = []
        app.router.routes.insert(0, _Reached(reached))
        response = client.post("/v1/sweep", content=b"no JSON at all")
        body = check_problem(response, 503, "overloaded")
        assert "as many as may be" in body["detail"]
        assert response.headers["retry-after"] == "10"
        assert reached == []
        assert client.post("/v1/steady", json=van).status_code == 200
        assert reached
        place.leave()
        assert client.post("/v1/sweep", content=b"no JSON at all").status_code != 503


class _Reached(BaseRoute):
    """Answers nothing, and tells that it was asked."""

    def __init__(self, reached: list[str]) -> None:
        self._reached = reached

    def matches(self, scope):
        self._reached.append(scope["path"])
        return Match.NONE, {}
