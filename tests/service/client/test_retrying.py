"""A busy service is asked again, no sooner than it says, and not for ever."""

from __future__ import annotations

import asyncio
import json

import anyio
import httpx2
import pytest

from warmbranch_service.client import (
    AsyncClient,
    Client,
    ClientError,
    Retrying,
    ServiceProblem,
    UnexpectedAnswer,
    Unreachable,
)
from warmbranch_service.client import synchronous as synchronous_module
from warmbranch_service.client.retrying import seconds_of
from warmbranch_service.contract.errors import OVERLOADED, ProblemParts, problem_json

HEALTHY = {"status": "ok", "model_version": "1"}


def busy(retry_after: str | None = None) -> httpx2.Response:
    body = problem_json(ProblemParts(OVERLOADED, "Full."), instance="/v1/x", request_id="r")
    headers = {"content-type": "application/problem+json"}
    if retry_after is not None:
        headers["retry-after"] = retry_after
    return httpx2.Response(503, headers=headers, content=json.dumps(body))


def answered(client_van) -> httpx2.Response:
    return httpx2.Response(200, json=client_van)


@pytest.fixture(scope="module")
def van_answer(client):
    from warmbranch_service.demo import demo_text

    return client.post("/v1/steady", json=json.loads(demo_text("van"))).json()


@pytest.fixture
def waits(monkeypatch) -> list[float]:
    """Waits that were asked for, none of them spent."""
    spent: list[float] = []

    async def sleep(seconds):
        spent.append(seconds)

    monkeypatch.setattr(synchronous_module.time, "sleep", spent.append)
    monkeypatch.setattr(anyio, "sleep", sleep)
    return spent


def sync_call(script, **settings):
    with Client("http://s", transport=httpx2.MockTransport(script), **settings) as service:
        return service.steady({})


def async_call(script, **settings):
    async def call():
        transport = httpx2.MockTransport(script)
        async with AsyncClient("http://s", transport=transport, **settings) as service:
            return await service.steady({})

    return asyncio.run(call())


both = pytest.mark.parametrize("call", [sync_call, async_call])


@both
def test_a_busy_service_is_asked_again_when_it_says(call, script, waits, van_answer):
    service = script(busy("3"), busy(), answered(van_answer))
    assert call(service).centreline_length_mm == van_answer["centreline_length_mm"]
    assert len(service.asked) == 3
    assert waits[0] == 3.0
    assert 0.2 <= waits[1] <= 0.4  # the second step: half to the whole of 2 × 0.2 s


@both
def test_a_line_that_breaks_is_taken_up_again(call, script, waits, van_answer):
    service = script(
        httpx2.ConnectError("refused"), httpx2.RemoteProtocolError("gone"), answered(van_answer)
    )
    call(service)
    assert len(service.asked) == 3


@both
def test_it_gives_up_after_its_attempts(call, script, waits):
    service = script(*(busy("1") for _ in range(3)))
    with pytest.raises(ServiceProblem) as caught:
        call(service, retrying=Retrying(attempts=3))
    assert caught.value.name == "overloaded"
    assert len(service.asked) == 3
    assert waits == [1.0, 1.0]


@both
def test_it_does_not_wait_beyond_its_patience(call, script, waits):
    service = script(busy("20"), busy("20"))
    with pytest.raises(ServiceProblem):
        call(service)  # 30 s by default: a second wait of 20 s would go beyond
    assert waits == [20.0]


@both
def test_what_is_wrong_with_the_request_is_not_sent_again(call, script, waits):
    body = {**busy().json(), "status": 422, "type": "/v1/problems/invalid-request"}
    headers = {"content-type": "application/problem+json"}
    service = script(httpx2.Response(422, headers=headers, json=body))
    with pytest.raises(ServiceProblem):
        call(service)
    assert not waits


@both
def test_time_that_ran_out_is_not_spent_again(call, script, waits):
    service = script(httpx2.ReadTimeout("slow"))
    with pytest.raises(Unreachable, match="took too long"):
        call(service)
    assert not waits


@both
@pytest.mark.parametrize(
    ("status", "content"),
    [
        (200, {"json": {"outcome": "resonance found"}}),
        (200, {"content": b"\xff"}),
        (502, {"text": "Bad gateway"}),
        (307, {"headers": {"location": "http://elsewhere/"}}),
        (422, {"headers": {"content-type": "application/problem+json"}, "content": b"{}"}),
    ],
    ids=["half an answer", "no text", "a proxy", "a redirect", "another's problem"],
)
def test_what_is_no_answer_of_the_service_is_named(call, script, waits, status, content):
    with pytest.raises(UnexpectedAnswer, match="http://s/v1/steady"):
        call(script(httpx2.Response(status, **content)))


@both
def test_fields_of_a_newer_service_are_left_out(call, script, van_answer):
    newer = {**van_answer, "new": 1, "heat": {**van_answer["heat"], "newer": 2}}
    assert call(script(answered(newer))).heat.entering_W == van_answer["heat"]["entering_W"]


@both
def test_the_key_and_own_headers_are_sent(call, script, van_answer):
    service = script(answered(van_answer))
    call(service, api_key="secret", headers={"X-Request-ID": "mine"})
    sent = service.asked[0].headers
    assert sent["x-api-key"] == "secret"
    assert sent["x-request-id"] == "mine"
    assert sent["content-type"] == "application/json"


def test_readiness_is_asked_once(script, waits):
    service = script(busy("1"))
    transport = httpx2.MockTransport(service)
    with Client("http://s", transport=transport) as client, pytest.raises(ServiceProblem):
        client.ready()
    assert not waits


def test_waits_grow_and_are_spread():
    retrying = Retrying(attempts=100, patience=1e9)
    for attempt, longest in [(1, 0.2), (2, 0.4), (3, 0.8), (6, 5.0), (90, 5.0)]:
        found = [retrying.wait(attempt, 0.0, None) for _ in range(200)]
        assert min(found) >= longest / 2
        assert max(found) <= longest
        assert len(set(found)) > 100


def test_patience_counts_what_was_waited():
    assert Retrying(patience=10).wait(1, 9.95, None) is None
    assert Retrying(attempts=1).wait(1, 0.0, None) is None


@pytest.mark.parametrize("settings", [{"attempts": 0}, {"first_wait": -1}, {"patience": -1}])
def test_settings_that_make_no_sense_are_refused(settings):
    with pytest.raises(ValueError, match="one attempt or more"):
        Retrying(**settings)


@pytest.mark.parametrize("text", ["", "soon", "-1", "1.5", "1" * 30, "٣", None])
def test_a_retry_after_that_names_no_seconds(text):
    assert seconds_of(text) is None


def test_nan_never_leaves(script):
    transport = httpx2.MockTransport(script())
    with (
        Client("http://s", transport=transport) as client,
        pytest.raises(ValueError, match="not JSON compliant"),
    ):
        client.steady({"case": float("nan")})


def test_every_failure_has_one_root():
    assert all(issubclass(e, ClientError) for e in (ServiceProblem, UnexpectedAnswer, Unreachable))
