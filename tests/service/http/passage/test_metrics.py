"""What is counted, and that no address a client makes up becomes a series."""

from __future__ import annotations

import pytest
from prometheus_client.parser import text_string_to_metric_families

from warmbranch.base.errors import NotConvergedError
from warmbranch_service.http.passage import metrics
from warmbranch_service.steady import answer


@pytest.fixture
def counted(client):
    """Every series and its value, as a scraper reads them."""

    def read(path="/v1/metrics"):
        response = client.get(path)
        assert response.status_code == 200
        assert response.headers["content-type"] == metrics.MEDIA_TYPE
        return {
            (sample.name, *sorted(sample.labels.items())): sample.value
            for family in text_string_to_metric_families(response.text)
            for sample in family.samples
        }

    return read


def of(name, **labels):
    return (f"warmbranch_{name}", *sorted(labels.items()))


def grown(before, after, name, **labels):
    key = of(name, **labels)
    return after[key] - before.get(key, 0)


def test_a_steady_answer_is_counted_with_its_work(client, counted, van):
    before = counted()
    assert client.post("/v1/steady", json={**van, "interval": False}).status_code == 200
    after = counted()
    told = {"method": "POST", "route": "/v1/steady", "status": "200"}
    assert grown(before, after, "requests_total", **told) == 1
    assert grown(before, after, "request_seconds_count", route="/v1/steady") == 1
    assert 0 < grown(before, after, "request_seconds_sum", route="/v1/steady") < 60
    assert grown(before, after, "solves_total") == 2  # the sketch that places nodes, too
    # Newton from a fair guess: a few steps, see DEVELOPERS.md.
    assert 2 <= grown(before, after, "solver_iterations_total") <= 20


def test_other_routes_count_their_work_too(client, counted, van):
    before = counted()
    body = {**van, "duration_min": 10, "start": {"model": "cold start"}}
    assert client.post("/v1/warmup", json=body).status_code == 200
    after = counted()
    solves = grown(before, after, "solves_total")
    assert solves > 10  # each step in time solves the balance a few times
    assert grown(before, after, "solver_iterations_total") > solves


def test_failures_to_converge_are_counted(client, counted, van, monkeypatch):
    def fail(_):
        raise NotConvergedError("Stuck.", designs=(0,), residual=1e-3, iterations=80)

    before = counted()
    monkeypatch.setattr(answer, "solve", fail)
    assert client.post("/v1/steady", json=van).status_code == 500
    assert grown(before, counted(), "not_converged_total") == 1


def test_those_turned_away_are_counted(client, counted, van, monkeypatch):
    before = counted()
    monkeypatch.setattr(client.app.state.workshop, "_inside", set(range(10_000)))
    assert client.post("/v1/steady", json=van).status_code == 503
    after = counted()
    assert grown(before, after, "shed_total") == 1
    assert after[of("queue_length")] == 10_000


def test_made_up_addresses_and_methods_make_no_series(client, counted):
    for name in ("first", "second", "third"):
        client.get(f"/v1/{name}")
        client.request(name.upper(), "/v1/steady")
        client.get(f"/v1/problems/{name}")
    series = counted()
    routes = {dict(key[1:]).get("route") for key in series}
    assert not any(name in str(route) for route in routes for name in ("first", "second", "third"))
    assert "/v1/problems/{name}" in routes
    methods = {dict(key[1:]).get("method") for key in series}
    assert "other" in methods
    assert not methods & {"FIRST", "SECOND", "THIRD"}


def test_state_is_told(counted):
    series = counted()
    assert series[of("ready_workers")] == 1  # without a warm-up it is ready at once
    assert series[of("working")] == 0


def test_the_usual_address_answers_too(counted):
    assert of("solves_total") in counted("/metrics")
