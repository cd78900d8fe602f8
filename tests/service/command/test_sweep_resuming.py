"""Lines are the same bytes whenever and from wherever they are asked for."""

from __future__ import annotations

import asyncio
import json
import threading
import time

import pytest
from starlette.testclient import TestClient

from warmbranch.base import stopping
from warmbranch.base.errors import StoppedError
from warmbranch_service.contract.errors import Problem
from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage.workshop import Workshop
from warmbranch_service.http.settings import Settings
from warmbranch_service.sweep import executors


@pytest.fixture(scope="module")
def whole(client):
    """A sweep by request, from its first line on: what one was answered is kept for the next."""
    known = {}

    def answered(body):
        asked = json.dumps(body)
        if asked not in known:
            known[asked] = client.post("/v1/sweep", json=body).content
        return known[asked]

    return answered


@pytest.mark.parametrize("line", [1, 2, 100, 513, 514, 515, 1027, 1028, 1029, 1104, 1105])
def test_lines_from_anywhere_are_the_same_bytes(client, sobol, whole, line):
    """Within a chunk, at a line of progress (514, 1027), behind it, at the last two lines."""
    lines = whole(sobol).splitlines(keepends=True)
    assert len(lines) == 1105
    part = client.post("/v1/sweep", json={**sobol, "from_line": line}).content
    assert part == b"".join(lines[line - 1 :])


def test_seed_and_request_tell_sweeps_apart(client, sobol):
    def header(body):
        return json.loads(client.post("/v1/sweep", json=body).text.splitlines()[0])["sweep"]

    sobol["sampling"]["count"] = 4
    other_seed = {**sobol, "sampling": {**sobol["sampling"], "seed": 4}}
    assert header(sobol) == header(sobol)
    assert header(sobol)["identity"] != header(other_seed)["identity"]


def test_failure_behind_the_first_chunk_is_the_last_line(client, sobol, monkeypatch):
    solve = executors.solve_task

    def fails(task):
        if task.number == 1:
            raise RuntimeError("out of order")
        return solve(task)

    whole = client.post("/v1/sweep", json=sobol).content.splitlines()
    monkeypatch.setattr(executors, "solve_task", fails)
    response = client.post("/v1/sweep", json=sobol)
    lines = response.content.splitlines()
    assert response.status_code == 200
    assert lines[:-1] == whole[: len(lines) - 1]
    assert json.loads(lines[-2])["progress"]["next_line"] == len(lines)
    problem = json.loads(lines[-1])["problem"]
    assert problem["type"] == "/v1/problems/internal-error"
    assert problem["request_id"] == response.headers["x-request-id"]
    assert b"out of order" not in response.content


def test_busy_service_turns_a_sweep_away_before_it_begins(grid):
    workshop = Workshop(at_once=1, longest_queue=0, seconds=600)
    started, go_on = threading.Event(), threading.Event()

    def long():
        started.set()
        go_on.wait(60)

    async def attempt():
        busy = asyncio.create_task(workshop.run(long))
        while not started.is_set():
            await asyncio.sleep(0.01)
        with pytest.raises(Problem) as refused:
            await workshop.run(lambda: None)
        waiting = asyncio.create_task(workshop.run(lambda: "done", chunk=True, patient=True))
        await asyncio.sleep(0.05)
        assert not waiting.done()
        go_on.set()
        await busy
        return refused.value.parts.kind.status, await waiting

    assert asyncio.run(attempt()) == (503, "done")


class Endless:
    """Solves the first chunk; the work on the second ends only when it is ended."""

    def __init__(self, solve):
        self.solve, self.begun, self.ended = solve, [], threading.Event()

    def __call__(self, task):
        self.begun.append(task.number)
        if task.number == 0:
            return self.solve(task)
        try:
            for _ in range(60_000):
                stopping.check()
                time.sleep(0.001)
        except StoppedError:
            self.ended.set()
            raise
        raise AssertionError("nobody ended it")


@pytest.fixture
def endless(monkeypatch):
    work = Endless(executors.solve_task)
    monkeypatch.setattr(executors, "solve_task", work)
    return work


def test_chunk_that_takes_too_long_is_ended_and_told(sobol, endless):
    with TestClient(create_app(Settings(warm_up=0, seconds_per_request=4))) as client:
        lines = client.post("/v1/sweep", json=sobol).content.splitlines()
    problem = json.loads(lines[-1])["problem"]
    assert problem["type"] == "/v1/problems/time-limit"
    assert json.loads(lines[-2])["progress"]["next_line"] == len(lines)
    assert endless.ended.wait(60)


def test_work_stops_when_the_client_leaves_between_chunks(sobol, monkeypatch):
    """The client goes after the first chunk; of the 40 chunks no more than three are begun."""
    sobol["sampling"]["count"] = 40 * 512
    solve, begun = executors.solve_task, []

    def counted(task):
        begun.append(task.number)
        return solve(task)

    monkeypatch.setattr(executors, "solve_task", counted)
    talk_and_leave(sobol, after=lambda body: b'"progress"' in body)
    assert begun == list(range(len(begun)))
    assert 1 <= len(begun) <= 3


def test_work_stops_when_the_client_leaves_amid_a_chunk(sobol, endless):
    talk_and_leave(
        sobol, after=lambda body: b'"progress"' in body, once=lambda: len(endless.begun) == 2
    )
    assert endless.ended.wait(60)
    assert endless.begun == [0, 1]


def talk_and_leave(request, after, once=lambda: True):
    """Send a sweep and hang up after a part of the answer, ``once`` something is so."""
    app = create_app(Settings(warm_up=0, seconds_per_request=600))
    body = json.dumps(request).encode()
    headers = [(b"content-type", b"application/json")]
    scope = {
        "type": "http", "asgi": {"version": "3.0", "spec_version": "2.3"}, "http_version": "1.1",
        "method": "POST", "path": "/v1/sweep", "raw_path": b"/v1/sweep", "query_string": b"",
        "headers": headers, "scheme": "http", "server": ("test", 80), "client": ("test", 1),
        "root_path": "",
    }  # fmt: skip

    async def talk():
        asked, got_some = False, asyncio.Event()

        async def receive():
            nonlocal asked
            if not asked:
                asked = True
                return {"type": "http.request", "body": body, "more_body": False}
            await got_some.wait()
            while not once():
                await asyncio.sleep(0.01)
            return {"type": "http.disconnect"}

        async def send(message):
            if message["type"] == "http.response.body" and after(message["body"]):
                got_some.set()

        await app(scope, receive, send)

    asyncio.run(talk())
