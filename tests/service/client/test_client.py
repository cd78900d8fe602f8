"""The typed client against a running service: every route, sync and async alike."""

from __future__ import annotations

import asyncio
import threading

import pytest

from warmbranch_service.client import AsyncClient, Client, ServiceProblem, Unreachable
from warmbranch_service.fit.answer_schema import FitAnswer
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.routes.reference import ReferenceAnswer
from warmbranch_service.length.answer_schema import LengthAnswer
from warmbranch_service.steady.answer_schema import SteadyAnswer
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.sweep.answer_schema import SweepEnd, SweepHeader
from warmbranch_service.warmup.answer_schema import WarmupAnswer

ROUTES = {
    "steady": (request_examples.steady()["van"]["value"], SteadyAnswer),
    "fit": (request_examples.fit()["readings"]["value"], FitAnswer),
    "length": (request_examples.length()["length"]["value"], LengthAnswer),
    "warmup": (request_examples.warmup()["van"]["value"], WarmupAnswer),
    "reference": (None, ReferenceAnswer),
}


def call_async(address, name, *arguments, **settings):
    async def call():
        async with AsyncClient(address, **settings) as service:
            return await getattr(service, name)(*arguments)

    return asyncio.run(call())


@pytest.mark.parametrize("name", ROUTES)
def test_every_route_is_answered_with_its_model(address, name):
    request, model = ROUTES[name]
    arguments = () if request is None else (request,)
    with Client(address) as service:
        found = getattr(service, name)(*arguments)
    assert type(found) is model
    assert call_async(address, name, *arguments) == found


def test_a_sweep_is_read_line_by_line(address):
    request = next(iter(request_examples.sweep().values()))["value"]

    async def lines():
        async with AsyncClient(address) as service:
            return [line async for line in service.sweep(request)]

    with Client(address) as service:
        found = list(service.sweep(request))
        with pytest.raises(ServiceProblem, match="sampling"):
            list(service.sweep({**request, "sampling": {}}))
    assert asyncio.run(lines()) == found
    assert isinstance(found[0].root, SweepHeader)
    assert found[0].root.sweep.lines == len(found)
    assert isinstance(found[-1].root, SweepEnd)


def test_every_route_of_the_document_has_a_method(client):
    checked = set()
    for path, operations in client.get("/v1/openapi.json").json()["paths"].items():
        name = path.rpartition("/")[2]
        kinds = {
            kind for told in operations.values() for kind in told["responses"]["200"]["content"]
        }
        # What a scraper or a browser reads, and no program of this client, is no JSON.
        if path.startswith("/v1/") and "{" not in path and any("json" in kind for kind in kinds):
            checked.add(name)
            assert hasattr(Client, name), path
            assert hasattr(AsyncClient, name), path
    assert checked >= {*ROUTES, "sweep"}


def test_health_and_readiness(address):
    with Client(address) as service:
        assert service.health().status == "ok"
        assert service.ready().status == "ready"
    assert call_async(address, "health").status == "ok"
    assert call_async(address, "ready").status == "ready"


def test_a_model_is_sent_as_it_was_given(address, van):
    with Client(address) as service:
        assert service.steady(SteadyRequest.model_validate(van)) == service.steady(van)


def test_a_refusal_has_its_fields(address, van, put):
    put(van, "case.branch.wall_thickness_mm", 30)
    with Client(address) as service, pytest.raises(ServiceProblem, match="30 mm lies") as caught:
        service.steady(van)
    problem = caught.value
    assert (problem.status, problem.name) == (422, "invalid-request")
    assert problem.type == "/v1/problems/invalid-request"
    assert problem.title == "The request holds something impossible."
    assert problem.headers["x-request-id"] == problem.request_id
    (entry,) = problem.errors
    assert (entry.pointer, entry.value, entry.unit) == ("/case/branch/wall_thickness_mm", 30, "mm")
    with pytest.raises(ServiceProblem) as caught:
        call_async(address, "steady", van)
    assert caught.value.errors == problem.errors


def test_threads_may_share_a_client(address, van):
    found: list[object] = []
    with Client(address) as service:
        threads = [
            threading.Thread(target=lambda: found.append(service.steady(van))) for _ in range(8)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(found) == 8
    assert all(answer == found[0] for answer in found)


def test_tasks_may_share_a_client(address, van):
    async def crowd():
        async with AsyncClient(address) as service:
            return await asyncio.gather(*(service.steady(van) for _ in range(8)))

    found = asyncio.run(crowd())
    assert all(answer == found[0] for answer in found)


def test_a_closed_client_says_so(address):
    service = Client(address)
    service.health()
    service.close()
    service.close()
    with pytest.raises(RuntimeError, match="closed"):
        service.health()


def test_nobody_there(van):
    # Port 1 of the loopback interface is reserved and nothing listens there.
    with (
        Client("http://127.0.0.1:1") as service,
        pytest.raises(Unreachable, match=r"http://127\.0\.0\.1:1/v1/health cannot be had"),
    ):
        service.health()
    with pytest.raises(Unreachable, match="cannot be had"):
        call_async("http://127.0.0.1:1", "health")


@pytest.mark.parametrize("address", ["localhost:8000", "", "ftp://localhost"])
def test_what_is_no_address_is_refused_at_once(address):
    with pytest.raises(ValueError, match="is no address"):
        Client(address)
    with pytest.raises(ValueError, match="is no address"):
        AsyncClient(address)


def test_a_service_too_slow_is_unreachable(address, van):
    with (
        Client(address, timeout=1e-4) as service,
        pytest.raises(Unreachable, match="took too long"),
    ):
        service.steady(van)
