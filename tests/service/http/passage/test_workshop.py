"""Work is bounded: in number, in time, by its client's patience; what ends frees its thread."""

from __future__ import annotations

import asyncio
import threading
import time

import pytest

from warmbranch.base import stopping
from warmbranch.base.errors import StoppedError
from warmbranch_service.contract.errors import Problem
from warmbranch_service.http.app import create_app
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.http.passage.workshop import CLOSING, LEFT, TOO_LONG, Workshop
from warmbranch_service.http.routes import steady
from warmbranch_service.http.settings import Settings

GIVE_UP = 60.0


class Endless:
    """Work that ends only when it is ended, and tells what became of it."""

    def __init__(self) -> None:
        self.begun, self.over = threading.Event(), threading.Event()

    def __call__(self, *_):
        self.begun.set()
        deadline = time.monotonic() + GIVE_UP
        try:
            while time.monotonic() < deadline:
                stopping.check()
                time.sleep(0.001)
        except StoppedError:
            self.over.set()
            raise
        raise AssertionError("nobody ended it")

    async def under_way(self):
        await until(self.begun.is_set)

    async def ended(self):
        await until(self.over.is_set)


async def until(condition):
    deadline = time.monotonic() + GIVE_UP
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        await asyncio.sleep(0.002)


async def free(workshop):
    await until(lambda: workshop.working == 0 and workshop.waiting == 0)
    assert await workshop.run(lambda: "next") == "next"


def test_the_time_limit_ends_the_work_and_frees_its_thread():
    async def scene():
        workshop, work = Workshop(at_once=1, longest_queue=1, seconds=1), Endless()
        with pytest.raises(Problem) as caught:
            await workshop.run(work)
        await work.ended()
        await free(workshop)
        assert workshop.ended[TOO_LONG] == 1
        return caught.value.parts

    parts = asyncio.run(scene())
    assert parts.kind.name == "time-limit"
    assert int(parts.headers["retry-after"]) >= 1
    assert "1 s" in parts.detail
    assert "fewer" in parts.detail


def test_the_time_limit_counts_waiting():
    async def scene():
        workshop, release = Workshop(at_once=1, longest_queue=1, seconds=0.1), threading.Event()
        deaf = asyncio.create_task(workshop.run(lambda: release.wait(GIVE_UP)))
        await until(lambda: workshop.working == 1)
        with pytest.raises(Problem) as caught:
            await workshop.run(lambda: "never begun")
        assert workshop.waiting == 0
        release.set()
        assert await deaf
        await free(workshop)
        return caught.value.parts.kind.name

    assert asyncio.run(scene()) == "time-limit"


def test_a_client_that_leaves_frees_its_thread(ask, van, monkeypatch):
    work = Endless()
    monkeypatch.setattr(steady, "as_bytes", work)

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600, solves_at_once=1))
        asking = ask(app, "/v1/steady", van)
        await work.under_way()
        assert app.state.workshop.working == 1
        asking.left.set()
        await work.ended()
        await asking.task
        await free(app.state.workshop)
        assert app.state.workshop.ended[LEFT] == 1

    asyncio.run(scene())


def test_a_client_that_leaves_the_queue_frees_its_place(ask, van, monkeypatch):
    work = Endless()
    monkeypatch.setattr(steady, "as_bytes", work)

    async def scene():
        app = create_app(
            Settings(warm_up=0, seconds_per_request=600, solves_at_once=1, longest_queue=1)
        )
        workshop = app.state.workshop
        first = ask(app, "/v1/steady", van)
        await work.under_way()
        second = ask(app, "/v1/steady", van)
        await until(lambda: workshop.waiting == 1)
        turned_away = await ask(app, "/v1/steady", van).reply()
        assert turned_away.status == 503
        assert turned_away.json()["type"] == "/v1/problems/overloaded"
        assert workshop.shed == 1
        second.left.set()
        await second.task
        assert workshop.waiting == 0
        first.left.set()
        await first.task
        await free(workshop)

    asyncio.run(scene())


def test_closing_answers_everything_that_is_under_way(ask, van, monkeypatch):
    work = Endless()
    monkeypatch.setattr(steady, "as_bytes", work)

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600, solves_at_once=1))
        both = [ask(app, "/v1/steady", van) for _ in range(2)]
        await work.under_way()
        app.state.workshop.end_all()
        replies = [await asking.reply() for asking in both]
        assert app.state.workshop.ended[CLOSING] == 2
        return replies

    for reply in asyncio.run(scene()):
        assert reply.status == 503
        assert reply.json()["type"] == "/v1/problems/overloaded"
        assert int(reply.headers["retry-after"]) >= 1


def test_a_cancelled_task_ends_its_work():
    async def scene():
        workshop, work = Workshop(at_once=1, longest_queue=1, seconds=600), Endless()
        task = asyncio.create_task(workshop.run(work))
        await work.under_way()
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        await work.ended()
        await free(workshop)

    asyncio.run(scene())


def test_a_real_warm_up_is_ended_too(ask):
    """Not a stand-in: the solver itself, on whatever loops are loaded.

    With intervals and a map: a second of work where a single warm-up is over in a wink.
    """

    async def scene():
        app = create_app(Settings(warm_up=0, seconds_per_request=600, solves_at_once=1))
        body = request_examples.warmup()["drive"]["value"]
        asking = ask(app, "/v1/warmup", body)
        await until(lambda: app.state.workshop.working == 1)
        await asyncio.sleep(0.05)
        app.state.workshop.end_all()
        reply = await asking.reply()
        await until(lambda: app.state.workshop.working == 0)
        return reply.status

    assert asyncio.run(scene()) == 503
