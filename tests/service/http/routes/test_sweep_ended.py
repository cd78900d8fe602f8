"""A sweep that is ended while its answer is under way says so on its last line, as no failure."""

from __future__ import annotations

import asyncio
import json
import logging
import threading

import pytest

from shared.requests import LENGTH, sweep_of, uniform
from warmbranch.base import stopping
from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage.workshop import CLOSING, LEFT, TOO_LONG
from warmbranch_service.http.settings import Settings
from warmbranch_service.sweep import executors
from warmbranch_service.sweep.plan import Chunk
from warmbranch_service.sweep.varied import CHUNK

GIVE_UP = 60.0


@pytest.fixture
def asked(smallest):
    """Several chunks of designs."""
    return sweep_of(smallest, uniform(LENGTH, 500, 900), count=3 * CHUNK)


@pytest.fixture
def second_chunk(monkeypatch):
    """The solver, which gets stuck in the second chunk until it is ended."""
    stuck, ended = threading.Event(), threading.Event()

    def solve(task):
        if task.number == 0:
            return Chunk(0, 0, (b"{}",) * CHUNK, {})
        stuck.set()
        try:
            for _ in range(int(GIVE_UP * 1000)):
                stopping.check()
                ended.wait(0.001)
        except stopping.StoppedError:
            ended.set()
            raise
        raise AssertionError("nobody ended it")

    monkeypatch.setattr(executors, "solve_task", solve)
    return stuck, ended


async def until(condition):
    for _ in range(int(GIVE_UP * 500)):
        if condition():
            return
        await asyncio.sleep(0.002)
    raise AssertionError("waited in vain")


def last_line(reply):
    assert reply.status == 200  # it had left before
    lines = [json.loads(line) for line in reply.body.splitlines()]
    assert len(lines) > 2
    return lines[-1]["problem"]


def no_failure(caplog):
    return not [entry for entry in caplog.records if entry.levelno >= logging.ERROR]


def test_closing_ends_it_with_a_line_that_says_so(ask, asked, second_chunk, caplog):
    stuck, ended = second_chunk

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        asking = ask(app, "/v1/sweep", asked)
        await until(stuck.is_set)
        app.state.workshop.end_all()
        reply = await asking.reply()
        await until(ended.is_set)
        assert app.state.workshop.ended[CLOSING] == 1
        return reply

    problem = last_line(asyncio.run(scene()))
    assert problem["type"] == "/v1/problems/overloaded"
    assert "closing" in problem["detail"]
    assert no_failure(caplog)


def test_closing_begins_no_further_chunk(ask, asked, monkeypatch):
    done = []

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))

        def solve(task):
            done.append(task.number)
            app.state.workshop.end_all()
            stopping.check()
            raise AssertionError("it was not ended")

        monkeypatch.setattr(executors, "solve_task", solve)
        return await ask(app, "/v1/sweep", asked).reply()

    reply = asyncio.run(scene())
    # Ended in its very first chunk, so that the status still tells.
    assert reply.status == 503
    assert done == [0]


def test_the_time_limit_ends_it_with_a_line_that_says_so(ask, asked, second_chunk, caplog):
    stuck, ended = second_chunk

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=3))
        asking = ask(app, "/v1/sweep", asked)
        reply = await asking.reply()
        assert stuck.is_set()
        await until(ended.is_set)
        assert app.state.workshop.ended[TOO_LONG] == 1
        return reply

    problem = last_line(asyncio.run(scene()))
    assert problem["type"] == "/v1/problems/time-limit"
    assert no_failure(caplog)


def test_a_client_that_leaves_ends_it(ask, asked, second_chunk, caplog):
    stuck, ended = second_chunk

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        asking = ask(app, "/v1/sweep", asked)
        await until(stuck.is_set)
        asking.left.set()
        await asking.task
        await until(ended.is_set)
        await until(lambda: app.state.workshop.working == 0)
        assert app.state.workshop.ended[LEFT] == 1

    asyncio.run(scene())
    assert no_failure(caplog)


def test_a_client_that_leaves_during_the_first_chunk_ends_it(ask, asked, monkeypatch, caplog):
    begun, ended = threading.Event(), threading.Event()

    def solve(_):
        begun.set()
        try:
            while not ended.wait(0.001):
                stopping.check()
        except stopping.StoppedError:
            ended.set()
            raise

    monkeypatch.setattr(executors, "solve_task", solve)

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        asking = ask(app, "/v1/sweep", asked)
        await until(begun.is_set)
        asking.left.set()
        await asking.task
        await until(ended.is_set)

    asyncio.run(scene())
    assert no_failure(caplog)
