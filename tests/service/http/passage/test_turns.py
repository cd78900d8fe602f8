"""Nobody is starved: questions go before chunks, clients take turns, sweeps have so many places."""

from __future__ import annotations

import asyncio
import json
import threading
import time

import pytest
from starlette.requests import Request

from shared.problems import strict
from shared.requests import LENGTH, sweep_of, uniform
from warmbranch.base import stopping
from warmbranch_service.contract import strict_json
from warmbranch_service.contract.errors import Problem
from warmbranch_service.http.app import create_app
from warmbranch_service.http.passage import turns, workshop
from warmbranch_service.http.passage.turns import Places, Task, Turns
from warmbranch_service.http.passage.workshop import Workshop
from warmbranch_service.http.routes import strict_route
from warmbranch_service.http.settings import Settings
from warmbranch_service.sweep import executors
from warmbranch_service.sweep.plan import Chunk
from warmbranch_service.sweep.varied import CHUNK

GIVE_UP = 60.0


def of(client: str) -> Request:
    """A request of a client that stays."""

    async def receive():
        await asyncio.sleep(GIVE_UP)

    return Request({"type": "http", "headers": [], "state": {"client": client}}, receive)


async def until(condition) -> None:
    deadline = time.monotonic() + GIVE_UP
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        await asyncio.sleep(0.002)


class Held:
    """Work that goes on until it is let go, and notes what came in which order."""

    def __init__(self) -> None:
        self.release = threading.Event()
        self.order: list[str] = []

    def hold(self) -> None:
        assert self.release.wait(GIVE_UP)

    def note(self, name: str):
        return lambda: self.order.append(name)


def test_clients_take_turns_and_whoever_lets_most_wait_gives_way():
    waiting = Turns()
    tasks = [Task(lambda: None, client=client, is_chunk=False) for client in "aaaabbc"]
    for task in tasks:
        waiting.put(task)
    assert waiting.gives_way_to("d") is tasks[3]
    assert waiting.gives_way_to("b") is tasks[3]
    assert waiting.gives_way_to("a") is None
    waiting.remove(tasks[1])
    assert len(waiting) == 6
    taken = [waiting.take() for _ in range(6)]
    assert [task.client for task in taken] == list("abcaba")
    assert waiting.take() is None
    assert waiting.oldest() is None


def scene(at_once: int, asked: list[tuple[str, str, bool]]) -> list[str]:
    """What is done in which order, once what holds all threads is let go."""

    async def play():
        shop, held = Workshop(at_once=at_once, longest_queue=64, seconds=600), Held()
        tasks = [
            asyncio.create_task(shop.run(held.hold, of("z"), chunk=i == 0)) for i in range(at_once)
        ]
        await until(lambda: shop.working == at_once)
        for name, client, chunk in asked:
            tasks.append(asyncio.create_task(shop.run(held.note(name), of(client), chunk=chunk)))
        await until(lambda: shop.waiting == len(asked))
        held.release.set()
        await asyncio.gather(*tasks)
        return held.order

    return asyncio.run(play())


def test_a_question_goes_before_chunks_that_came_first():
    asked = [("chunk", "a", True), ("chunk", "a", True), ("question", "b", False)]
    assert scene(1, asked) == ["question", "chunk", "chunk"]


def test_who_asks_once_waits_for_one_of_the_many_of_another():
    asked = [(f"a{i}", "a", False) for i in range(5)] + [("b", "b", False)]
    assert scene(1, asked).index("b") == 1


def test_chunks_leave_a_thread_to_questions():
    async def play():
        shop, held = Workshop(at_once=2, longest_queue=64, seconds=600), Held()
        chunks = [asyncio.create_task(shop.run(held.hold, of("a"), chunk=True)) for _ in range(8)]
        await until(lambda: shop.working == 1)
        for _ in range(20):
            await shop.run(held.note("question"), of("b"))
        assert shop.working == 1
        assert shop.waiting == 7
        held.release.set()
        await asyncio.gather(*chunks)
        return held.order

    assert asyncio.run(play()) == ["question"] * 20


def test_a_chunk_that_has_waited_for_long_goes_before_questions(monkeypatch):
    monkeypatch.setattr(workshop, "LONGEST_PATIENCE", 0.0)
    asked = [("question", "b", False), ("chunk", "a", True)]
    assert scene(1, asked) == ["chunk", "question"]


def test_chunks_of_other_machines_are_waited_for_beside_everything():
    async def play():
        shop, held = Workshop(at_once=1, longest_queue=64, chunks_elsewhere=3, seconds=600), Held()
        chunks = [asyncio.create_task(shop.run(held.hold, of("a"), chunk=True)) for _ in range(4)]
        await until(lambda: shop.working == 3)
        await shop.run(held.note("question"), of("b"))
        held.release.set()
        await asyncio.gather(*chunks)

    asyncio.run(play())


def test_in_a_full_queue_the_greediest_gives_way():
    async def play():
        shop, held = Workshop(at_once=1, longest_queue=4, seconds=600), Held()
        first = asyncio.create_task(shop.run(held.hold, of("a")))
        await until(lambda: shop.working == 1)
        many = [asyncio.create_task(shop.run(held.note("a"), of("a"))) for _ in range(4)]
        await until(lambda: shop.waiting == 4)
        with pytest.raises(Problem):  # its own
            await shop.run(held.note("a"), of("a"))
        other = asyncio.create_task(shop.run(held.note("b"), of("b")))
        await until(lambda: any(task.done() for task in many))
        held.release.set()
        await asyncio.gather(first, other)
        ends = await asyncio.gather(*many, return_exceptions=True)
        (shed,) = (end for end in ends if isinstance(end, Problem))
        assert shed.parts.kind.name == "overloaded"
        assert int(shed.parts.headers["retry-after"]) >= 1
        assert held.order == ["a", "b", "a", "a"]
        await until(lambda: shop.waiting == shop.working == 0)

    asyncio.run(play())


def test_places_are_so_many_in_all_and_a_client():
    places = Places(3, 2)
    held = [places.take("a"), places.take("a")]
    with pytest.raises(Problem, match="You have 2 sweeps under way"):
        places.take("a")
    held.append(places.take("b"))
    with pytest.raises(Problem, match="3 sweeps are under way"):
        places.take("b")
    held[0].leave()
    held[0].leave()  # once is once
    assert places.taken == 2
    places.take("b")
    assert places.taken == 3


@pytest.fixture
def asked(smallest):
    return sweep_of(smallest, uniform(LENGTH, 500, 900), count=3 * CHUNK)


def test_sweeps_beyond_the_places_are_503_before_the_first_byte(ask, asked, monkeypatch):
    release = threading.Event()

    def solve(task):
        while not release.wait(0.001):
            stopping.check()
        return Chunk(task.number, task.start, (b"{}",) * CHUNK, {})

    monkeypatch.setattr(executors, "solve_task", solve)

    async def play():
        app = create_app(
            Settings(warm_up=0, seconds_per_request=600, sweeps_at_once=2, sweeps_per_client=2)
        )
        under_way = [ask(app, "/v1/sweep", asked) for _ in range(2)]
        await until(lambda: app.state.sweeps.taken == 2)
        refused = await ask(app, "/v1/sweep", asked).reply()
        assert refused.status == 503
        assert int(refused.headers["retry-after"]) == turns.SWEEP_RETRY_SECONDS
        assert strict(refused.body)["type"] == "/v1/problems/overloaded"
        under_way[0].left.set()  # in its first chunk
        await under_way[0].task
        assert app.state.sweeps.taken == 1
        release.set()
        assert (await under_way[1].reply()).status == 200
        assert app.state.sweeps.taken == 0
        invalid = await ask(app, "/v1/sweep", {**asked, "from_line": 10**6}).reply()
        assert invalid.status == 422
        assert app.state.sweeps.taken == 0

    asyncio.run(play())


def test_what_is_a_lot_to_read_is_not_read_on_the_loop(ask, asked, smallest, monkeypatch):
    threads: list[bool] = []
    own = strict_json.parse

    def parse(body: bytes):
        threads.append(threading.current_thread() is threading.main_thread())
        return own(body)

    monkeypatch.setattr(strict_route, "parse", parse)

    async def play():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        refused = {**asked, "outputs": []}
        assert (await ask(app, "/v1/sweep", refused).reply()).status == 422
        padded = {**smallest, "x" * 10_000: 1}
        reply = await ask(app, "/v1/steady", padded).reply()
        assert reply.status == 422
        assert strict(reply.body)["errors"][0]["code"] == "unknown_field"
        assert (await ask(app, "/v1/steady", {}).reply()).status == 422

    asyncio.run(play())
    assert threads == [False, False, True]


@pytest.mark.parametrize(("where", "body"), [("", {}), ("/case", {"case": {}}), ("/a/1", None)])
def test_an_object_of_too_many_keys_is_refused_before_each_is_looked_at(client, where, body):
    many = {f"k{i}": i for i in range(1001)}
    content = {"a": [0, many]} if body is None else {"case": many} if body else many
    response = client.post("/v1/steady", json=content)
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert (entry["pointer"], entry["code"]) == (where, "too_many_keys")


@pytest.mark.parametrize("body", [[1] * 300_000, [{f"k{i}": i} for i in range(60_000)]])
def test_what_is_more_than_anything_that_is_taken_is_refused_unread(client, body):
    content = json.dumps(body, separators=(",", ":"))
    response = client.post("/v1/steady", content=content, headers={
        "content-type": "application/json"})  # fmt: skip
    assert response.status_code == 422
    (entry,) = response.json()["errors"]
    assert (entry["pointer"], entry["code"]) == ("", "too_many_values")


def test_a_request_that_was_checked_is_not_checked_again(ask, asked, monkeypatch):
    from warmbranch_service.sweep import request

    checked = []
    own = request.check
    monkeypatch.setattr(
        request, "check", lambda asked: checked.append(threading.current_thread()) or own(asked)
    )

    async def play():
        app = create_app(Settings(warm_up=0, seconds_per_request=600))
        reply = await ask(app, "/v1/sweep", {**asked, "from_line": 10**6}).reply()
        assert reply.status == 422
        (again,) = [await ask(app, "/v1/sweep", {**asked, "from_line": 1540}).reply()]
        assert again.status == 200

    asyncio.run(play())
    assert len(checked) == 2
    assert threading.main_thread() not in checked


def test_a_hundred_thousand_strings_are_values_like_others(client, smallest):
    """As numbers and as strings in another unit: the same designs."""
    field = "case.main_pipe.gas_temperature_degC"
    strings = [f"{482 + i / 1000:.3f} F" for i in range(40_000)]
    body = {**smallest, "vary": [{"field": field, "values": strings}], "from_line": 40_000}
    response = client.post("/v1/sweep", content=json.dumps(body), headers={
        "content-type": "application/json"})  # fmt: skip
    assert response.status_code == 200
    last = [json.loads(line) for line in response.text.splitlines() if '"index"' in line][-1]
    assert last["index"] == 39_999
    assert last["inputs"][field] == pytest.approx((482 + 39.999 - 32) / 1.8, abs=1e-9)
