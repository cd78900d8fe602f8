"""Whatever bytes come: no failure of the service but the 503 that is meant, no hang, no growth.

The answer to a whole request is one reply of the contract; to what is none, a refusal or the end.
"""

from __future__ import annotations

import itertools
import json
import threading
from collections.abc import Iterator

import psutil
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from shared.problems import check_problem, strict
from shared.served import Line, Served, replies
from warmbranch_service.demo import demo_text

DEMO = demo_text("van").encode()
SECONDS = 2
LONGEST = 64 * 1024
PATHS = ["/v1/steady", "/v1/fit", "/v1/length", "/v1/warmup", "/v1/sweep"]
PATHS += ["/v1/reference", "/v1/nowhere", "/", "/v1/problems/%00", "/v1/../v1/steady"]
NUMBERS = [
    b"1e999",
    b"-1e999",
    b"9" * 5000,
    b"1e-400",
    b"NaN",
    b"-Infinity",
    b"-0",
    b"0x10",
    b"1_0",
]
TYPES = ["application/json", "application/json; charset=utf-16", "text/plain", "*/*", "\x00", ""]
TOKENS = [
    *(b"GET ", b"POST ", b"HEAD ", b"/v1/steady", b"/v1/health", b" HTTP/1.1", b" HTTP/1.0"),
    *(b"\r\n", b"\n", b"\r\n\r\n", b"Host: here", b"Content-Length: 5", b"Content-Length: -1"),
    *(b"Transfer-Encoding: chunked", b"5\r\nhello\r\n", b"0\r\n\r\n", b"ffffffffffffffff\r\n"),
    *(b"Expect: 100-continue", b"Connection: close", b"Upgrade: websocket", b": ", b"\x00\xff"),
    *(
        b"Content-Type: application/json",
        b"{",
        b'{"case": {}}',
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    ),
]


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    with Served(seconds_to_send=SECONDS, warm_up=0, longest_body=LONGEST) as served:
        yield served
        assert "Traceback" not in served.log


def spoilt(content: bytes) -> st.SearchStrategy[bytes]:
    """Bytes replaced by others, a few times."""
    places = st.tuples(st.integers(0, len(content)), st.integers(0, 20), st.binary(max_size=9))

    def change(changes: list[tuple[int, int, bytes]]) -> bytes:
        changed = content
        for place, count, instead in changes:
            changed = changed[:place] + instead + changed[place + count :]
        return changed

    return st.lists(places, min_size=1, max_size=4).map(change)


def nested(opening: bytes, closing: bytes) -> st.SearchStrategy[bytes]:
    depths = st.sampled_from([10, 500, 5000, LONGEST // len(opening + closing)])
    return st.tuples(depths, st.booleans()).map(
        lambda way: opening * way[0] + (closing * way[0] if way[1] else b"")
    )


def with_number(number: bytes) -> bytes:
    changed = DEMO.replace(b": 310", b": " + number, 1)
    assert changed != DEMO
    return changed


BODIES = st.one_of(
    spoilt(DEMO),
    st.binary(max_size=200),
    nested(b"[", b"]"),
    nested(b'{"case":', b"}"),
    nested(b'{"case":[', b"]}"),
    st.sampled_from(NUMBERS).map(with_number),
    st.sampled_from([b'"case"', b'"branch"', b'"main_pipe"']).map(
        lambda key: DEMO.replace(key, key + b": 1, " + key, 1)
    ),
    st.sampled_from(["utf-16", "utf-32", "utf-8-sig", "utf-7", "cp037"]).map(
        lambda name: DEMO.decode().encode(name)
    ),
    st.sampled_from([b'"\\ud800"', b'"\\u0000"', b'"\xb0"', b'"\xc0\x80"']).map(with_number),
)


def whole(path: str, kind: str, body: bytes) -> bytes:
    lines = [f"POST {path} HTTP/1.1", "Host: here", f"Content-Length: {len(body)}"]
    lines += [f"Content-Type: {kind}", "Connection: close", "", ""]
    return "\r\n".join(lines).encode("latin-1") + body


def ask(served: Served, content: bytes, *, half_close: bool = False) -> list[int]:
    """Statuses of what is answered, each held to the contract; fails where nothing ends."""
    with Line(served.port) as line:
        line.send(content)
        if half_close:
            line.half_close()
        found = replies(line.rest())
    for reply in found:
        assert reply.status < 500 or reply.status == 503, (content[:500], reply)
        if reply.status >= 400 and reply.body:  # a HEAD has none
            check_problem(reply.status, reply.headers, reply.body)
        elif reply.headers.get("content-type") == "application/json" and reply.body:
            strict(reply.body)
    return [reply.status for reply in found]


def search(examples: int) -> settings:
    return settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,  # a failure in CI is a failure at one's desk
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),  # the service is started once for all
    )


def check_whole(served: Served, path: str, kind: str, body: bytes) -> None:
    assert len(ask(served, whole(path, kind, body))) == 1


def check_raw(served: Served, content: bytes, half_close: bool) -> None:
    ask(served, content, half_close=half_close)


in_whole = given(
    path=st.sampled_from(PATHS), kind=st.sampled_from(TYPES[:1] * 9 + TYPES), body=BODIES
)
RAW = st.one_of(
    st.binary(max_size=300), st.lists(st.sampled_from(TOKENS), max_size=16).map(b"".join)
)
in_bytes = given(content=st.one_of(RAW, spoilt(whole("/v1/steady", TYPES[0], DEMO))))


@search(400)
@in_whole
def test_a_hostile_body_has_one_answer(served, path, kind, body):
    check_whole(served, path, kind, body)


@search(400)
@in_bytes
def test_hostile_bytes_on_a_half_closed_line_come_to_an_end(served, content):
    check_raw(served, content, half_close=True)


def test_hostile_bytes_on_lines_left_open_come_to_an_end(served):
    """All at once, for each may wait until its time is up."""
    faults: list[BaseException] = []

    def attempt(content: bytes) -> None:
        try:
            check_raw(served, content, half_close=False)
        except BaseException as fault:
            faults.append(fault)

    contents = [a + b + c for a, b, c in itertools.product(TOKENS[:3], TOKENS[3:7], TOKENS[7:15])]
    threads = [threading.Thread(target=attempt, args=(content,)) for content in contents]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults


@pytest.mark.exhaustive
@search(20_000)
@in_whole
def test_many_hostile_bodies_have_one_answer(served, path, kind, body):
    check_whole(served, path, kind, body)


@pytest.mark.exhaustive
@search(20_000)
@in_bytes
def test_many_hostile_bytes_come_to_an_end(served, content):
    check_raw(served, content, half_close=True)


GROWTH = 8 * 2**20
"""Bytes. The allocator takes memory by the megabyte and keeps some of it; what is asked between the
two looks holds more than four times as much, so one body in four that stayed would be seen."""


@pytest.mark.slow
def test_memory_is_flat(served):
    (worker,) = psutil.Process(served.supervisor).children()
    padded = DEMO + b" " * (LONGEST - len(DEMO))
    deep = b"[" * LONGEST
    long = json.dumps({"case": {"x" * (LONGEST - 100): 1}}).encode()

    def all_of_them(times: int) -> int:
        asked = 0
        for body in (padded, deep, long, b"\xff" * LONGEST) * times:
            assert len(ask(served, whole("/v1/steady", TYPES[0], body))) == 1
            with Line(served.port) as line:  # one that leaves amid its body
                line.send(whole("/v1/steady", TYPES[0], body)[:-1])
            asked += 2 * len(body)
        return asked

    all_of_them(30)
    before = worker.memory_info().rss
    asked = all_of_them(70)
    assert asked > 4 * GROWTH
    assert worker.memory_info().rss - before < GROWTH
