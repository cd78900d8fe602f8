"""Little is done at once where everybody waits: no request makes the event loop's thread do much.

Told by counted calls, since no clock tells it on a busy machine: some ten thousand calls of Python
take some milliseconds. ``tests/benchmarks/bench_loop.py`` has the milliseconds.
"""

from __future__ import annotations

import asyncio
import sys
import threading
from collections.abc import Callable
from types import FrameType
from typing import Any

import pytest

from warmbranch_service.contract.forms import LONGEST_ACCEPT
from warmbranch_service.demo import demo_text
from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage.middleware import LONGEST_ADDRESS, MOST_PARAMETERS
from warmbranch_service.http.routes import listen, page
from warmbranch_service.http.routes.strict_route import MOST_ON_LOOP
from warmbranch_service.http.settings import Settings

MOST_CALLS = 20_000
"""In one turn: half of it is what pydantic's errors for eight kilobytes of wrong things take."""


@pytest.fixture
def most_calls(monkeypatch) -> list[int]:
    """Calls of each turn of the loop; the first entry counts whatever turns now."""
    counts = [0]

    def count(_: FrameType, event: str, __: object) -> None:
        counts[-1] += event in ("call", "c_call")

    own = asyncio.Handle._run

    def run(handle: Any) -> None:
        counts.append(0)
        sys.setprofile(count)
        try:
            own(handle)
        finally:
            sys.setprofile(None)

    monkeypatch.setattr(asyncio.Handle, "_run", run)
    return counts


def filled(before: str, unit: str, after: str) -> bytes:
    """As many units as are still read on the loop."""
    many = (MOST_ON_LOOP - len(before) - len(after)) // (len(unit) + 1)
    return (before + ",".join([unit] * many) + after).encode()


MANY = "a/b," * 15_000
VAN = demo_text("van").encode()


@pytest.mark.parametrize(
    ("path", "body", "headers", "status"),
    [
        ("/v1/steady", VAN, {"accept": MANY}, 406),
        ("/v1/steady", VAN, {"accept": "a" + ";" * 60_000}, 406),
        ("/", b"", {"accept-encoding": MANY}, 200),
        ("/", b"", {"if-none-match": '"",' * 20_000}, 200),
        ("/" + "a" * 60_000, b"", {}, 431),
        ("/v1/ask/steady?" + "&".join(f"a{i}" for i in range(10_000)), b"", {}, 431),
        ("/v1/ask/steady?" + "&".join(f"a{i}" for i in range(1000)), b"", {}, 431),
        ("/v1/fit", filled('{"readings":[', "{}", "]}"), {}, 422),
        ("/v1/learn", filled('{"jobs":[', "{}", "]}"), {}, 422),
        ("/v1/steady", filled('{"case":{"branch":{"centreline":[', "1", "]}}}"), {}, 422),
        ("/v1/sweep", b'{"vary":[' + b"{}," * 100_000 + b"{}]}", {}, 422),
    ],
    ids=["accept", "its parameters", "encodings", "etags", "address", "query", "parameters",
         "readings", "jobs", "pieces", "varied"],
)  # fmt: skip
def test_no_request_makes_the_loop_do_much(ask, most_calls, path, body, headers, status):
    async def play() -> int:
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        await ask(app, "/v1/steady", {}).reply()  # what the first request loads
        most_calls[:] = [0]
        return (await ask(app, path, body, **headers).reply()).status

    assert asyncio.run(play()) == status
    assert max(most_calls) < MOST_CALLS


def test_what_is_counted_would_be_seen(most_calls):
    async def much() -> None:
        for _ in range(2 * MOST_CALLS):
            len("")

    asyncio.run(much())
    assert max(most_calls) > MOST_CALLS


def test_accept_is_looked_at_as_far_as_anybody_writes_it(client, van):
    padded = "a/b," * (LONGEST_ACCEPT // 4)
    for accept, status in ((padded[:-40] + "text/csv", 200), (padded + "text/csv", 406)):
        response = client.post("/v1/steady", json=van, headers={"accept": accept})
        assert response.status_code == status


def test_a_long_address_and_many_parameters_are_refused(client):
    response = client.get("/v1/reference?" + "a" * LONGEST_ADDRESS)
    assert (response.status_code, response.json()["type"]) == (431, "/v1/problems/head-too-large")
    assert str(LONGEST_ADDRESS) in response.json()["detail"]
    many = "&".join(f"branch.a{i}=1" for i in range(MOST_PARAMETERS + 1))
    response = client.get(f"/v1/ask/steady?{many}")
    assert response.status_code == 431
    assert str(MOST_PARAMETERS) in response.json()["detail"]


def noted(monkeypatch, module: object, name: str) -> list[bool]:
    """Whether each call of a function was made in the main thread, where the loop is."""
    found: list[bool] = []
    own: Callable[..., object] = getattr(module, name)

    def instead(*given: object) -> object:
        found.append(threading.current_thread() is threading.main_thread())
        return own(*given)

    monkeypatch.setattr(module, name, instead)
    return found


def test_pages_are_put_together_and_recordings_copied_beside_the_loop(ask, monkeypatch):
    made = noted(monkeypatch, page, "part_of")
    copied = noted(monkeypatch, listen, "_parts")
    part = b'--x\r\nContent-Disposition: form-data; name="q"\r\n\r\n1\r\n--x--\r\n'

    async def play() -> list[int]:
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        asked = (
            ask(app, "/page/all.js"),
            ask(app, "/v1/listen", part, content_type="multipart/form-data; boundary=x"),
        )
        return [(await one.reply()).status for one in asked]

    assert asyncio.run(play()) == [200, 422]
    assert (made, copied) == ([False], [False])
