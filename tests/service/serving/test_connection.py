"""What never arrives whole, or is no HTTP, is answered in time and holds nothing up."""

from __future__ import annotations

import itertools
import json
import re
import threading
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor

import psutil
import pytest

from shared.problems import check_problem
from shared.running import ask, until
from shared.served import Line, Served, replies
from warmbranch_service.demo import demo_text
from warmbranch_service.serving.connection import LONGEST_HEAD

SECONDS = 3
DEMO = demo_text("van").encode()


def head(length: int, *more: str, path: str = "/v1/steady") -> bytes:
    lines = [
        f"POST {path} HTTP/1.1",
        "Host: here",
        "Content-Type: application/json",
        f"Content-Length: {length}",
        *more,
    ]
    return "\r\n".join([*lines, "", ""]).encode()


CHUNKED = head(0).replace(b"Content-Length: 0", b"Transfer-Encoding: chunked")


@pytest.fixture(scope="module")
def served() -> Iterator[Served]:
    with Served(seconds_to_send=SECONDS, warm_up=0) as served:
        yield served


def refused(content: bytes, status: int, kind: str) -> None:
    (reply,) = replies(content)
    assert reply.status == status
    assert reply.headers["connection"] == "close"
    body = check_problem(reply.status, reply.headers, reply.body)
    assert body["type"] == f"/v1/problems/{kind}"


def drop_by_drop(content: bytes) -> Iterator[bytes]:
    return (content[i : i + 1] for i in range(len(content)))


def slow(port: int, at_once: bytes, dripped: Iterable[bytes]) -> bytes:
    with Line(port) as line:
        line.send(at_once)
        # As the slowest of attackers; then silence. The whole would take beyond any patience.
        line.drip(itertools.chain(dripped, itertools.repeat(b"")), pause=0.5)
        return line.rest()


SLOW = {
    "body": (head(len(DEMO)), drop_by_drop(DEMO)),
    "chunks": (CHUNKED, [b"1\r\n \r\n"] * 200),
    "head": (b"", drop_by_drop(head(len(DEMO)))),
    "half a head": (b"POST /v1/ste", ()),
    "no body": (head(5), ()),
}


def test_a_slow_request_is_408_and_the_line_closed(served):
    """All at once, since each takes the whole time that it is given."""
    with ThreadPoolExecutor(len(SLOW)) as pool:
        ends = {name: pool.submit(slow, served.port, *asked) for name, asked in SLOW.items()}
    for name, end in ends.items():
        assert end.result(), name
        refused(end.result(), 408, "request-too-slow")


def test_a_slow_body_behind_an_answer_is_not_waited_for(served):
    with Line(served.port) as line:
        line.send(head(1000, path="/v1/nowhere"))
        line.drip(itertools.repeat(b" ", 3), pause=1.0)
        (only,) = replies(line.rest())
        assert only.status == 404


def chunked(trailers: bytes) -> bytes:
    close = CHUNKED.replace(b"\r\n\r\n", b"\r\nConnection: close\r\n\r\n")
    return close + b"%x\r\n" % len(DEMO) + DEMO + b"\r\n0\r\n" + trailers + b"\r\n"


def test_trailers_are_no_headers(served):
    with Line(served.port) as line:
        line.send(chunked(b"Accept: text/csv\r\nX-Request-ID: mine\r\n"))
        (reply,) = replies(line.rest())
    assert reply.status == 200
    assert reply.headers["content-type"] == "application/json"
    assert reply.headers["x-request-id"] != "mine"


@pytest.mark.parametrize("piece", [b"X: " + b"a" * 1000 + b"\r\n", b"a" * 1000])
@pytest.mark.parametrize("before", [b"0\r\n", b"1;"], ids=["trailers", "extension"])
def test_what_has_no_end_between_parts_of_a_body_is_431(served, before, piece):
    (worker,) = psutil.Process(served.supervisor).children()
    held = worker.memory_info().rss
    with Line(served.port) as line:
        line.send(CHUNKED + before)
        sent = 0
        while sent <= 8 * 2**20:  # what is kept of it would show
            line.send(piece * 100)
            sent += 100 * len(piece)
        found = replies(line.rest())
    for reply in found:  # the line may be cut while we still send
        assert reply.status in (400, 431)
        check_problem(reply.status, reply.headers, reply.body)
    assert worker.memory_info().rss - held < 4 * 2**20
    assert served.get("/v1/health") == 200


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"GET /v1/health HTTP/1.1\r\n\r\n", "Host"),
        (b"GET /v1/health HTTP/1.1\r\nHost: a\r\nHost: a\r\n\r\n", "2 headers Host"),
        (b"GET /v1/health HTTP/2.0\r\nHost: a\r\n\r\n", "HTTP/2.0"),
        (b"GET /v1/health HTTP/0.9\r\nHost: a\r\n\r\n", "HTTP/0.9"),
        (CHUNKED.replace(b"chunked", b"gzip, chunked"), "Transfer-Encoding"),
        (CHUNKED.replace(b"Host", b"Transfer-Encoding: chunked\r\nHost"), "HTTP"),
        (CHUNKED.replace(b"HTTP/1.1", b"HTTP/1.0"), "Transfer-Encoding"),
    ],
)
def test_a_head_that_can_be_read_in_two_ways_is_refused(served, content, said):
    with Line(served.port) as line:
        line.send(content)
        found = line.rest()
    refused(found, 400, "bad-request")
    assert said in json.loads(replies(found)[0].body)["detail"]


def test_http_of_before_hosts_is_spoken_still(served):
    with Line(served.port) as line:
        line.send(b"HEAD /v1/health HTTP/1.0\r\n\r\n")
        found = line.rest()
    assert found.startswith(b"HTTP/1.1 200 ")
    with Line(served.port) as line:
        line.send(b"HEAD /v1/ready HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
        found = line.rest()
    assert found.startswith(b"HTTP/1.1 200 ")
    assert found.endswith(b"\r\n\r\n")


def test_silence_is_hung_up_on(served):
    with Line(served.port) as line:
        assert line.rest() == b""


def test_a_request_in_time_is_answered_on_a_line_that_was_slow_before(served):
    with Line(served.port) as line:
        begun = time.monotonic()
        while time.monotonic() < begun + SECONDS + 0.5:  # each has its own time on a kept line
            parts = (head(len(DEMO)) + DEMO[:100], DEMO[100:200], DEMO[200:])
            line.drip(parts, pause=0.1)
            assert line.one().status == 200


def test_many_slow_clients_hold_nobody_up(served):
    lines = [Line(served.port) for _ in range(200)]
    for line in lines:
        line.send(head(len(DEMO)) + DEMO[:9])
    assert served.get("/v1/health") == 200
    with Line(served.port) as line:
        line.send(head(len(DEMO), "Connection: close") + DEMO)
        (reply,) = replies(line.rest())
        assert reply.status == 200
    for line in lines:
        refused(line.rest(), 408, "request-too-slow")
        line.socket.close()
    (worker,) = psutil.Process(served.supervisor).children()
    kept = [c for c in worker.net_connections("tcp") if c.status == psutil.CONN_ESTABLISHED]
    assert len(kept) <= 1


@pytest.mark.parametrize(
    "content",
    [
        b"\x00\x01\x02\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET /\xff HTTP/1.1\r\nHost: here\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost here\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",  # TLS: https where http is spoken
        head(10).replace(b"Content-Length: 10", b"Content-Length: ten"),
        head(1, "Content-Length: 2"),
        head(1, "Transfer-Encoding: chunked"),
    ],
)
def test_what_is_no_http_is_400_of_the_one_shape(served, content):
    with Line(served.port) as line:
        line.send(content)
        refused(line.rest(), 400, "bad-request")


@pytest.mark.parametrize("piece", [b"X: " + b"a" * 1000 + b"\r\n", b"a" * 1000])
def test_an_endless_head_is_431(served, piece):
    with Line(served.port) as line:
        line.send(b"GET /v1/health HTTP/1.1\r\n")
        sent = 0
        while sent <= 2 * LONGEST_HEAD:
            line.send(piece)
            sent += len(piece)
        found = replies(line.rest())
    # The line may be cut while we still send; then the answer is lost on its way.
    for reply in found:
        assert reply.status in (400, 431)
        check_problem(reply.status, reply.headers, reply.body)
    assert served.get("/v1/health") == 200


def test_a_head_within_the_limit_is_read(served):
    with Line(served.port) as line:
        line.send(head(len(DEMO), "Connection: close", "X: " + "a" * (LONGEST_HEAD - 1000)) + DEMO)
        (reply,) = replies(line.rest())
        assert reply.status == 200


def test_requests_one_behind_the_other_are_all_answered(served):
    with Line(served.port) as line:
        line.send((head(len(DEMO)) + DEMO) * 3 + head(len(DEMO), "Connection: close") + DEMO)
        found = replies(line.rest())
    assert [reply.status for reply in found] == [200] * 4
    assert len({reply.body for reply in found}) == 1


def test_so_many_behind_one_that_is_answered_and_no_more(served):
    """A quarter of a megabyte of them is read at once, and each takes its time to be begun."""
    with Line(served.port) as line:
        line.send(head(len(DEMO)) + DEMO + b"GET /v1/health HTTP/1.1\r\nHost: a\r\n\r\n" * 5000)
        assert len(replies(line.rest())) < 200


def test_two_hundred_headers_are_enough(served):
    with Line(served.port) as line:
        line.send(head(len(DEMO), *["a: b"] * 300) + DEMO)
        refused(line.rest(), 431, "head-too-large")


def test_a_body_in_crumbs_is_refused(served):
    with Line(served.port) as line:
        line.send(CHUNKED + b"1\r\n \r\n" * 150_000 + b"0\r\n\r\n")
        content = line.rest()
        refused(content, 400, "bad-request")
        assert b"larger ones" in content


def test_how_late_the_loop_turns_is_counted(served):
    def looks() -> float:
        content = ask(served.port, "GET", "/v1/metrics")[1].decode()
        found = re.search(r"^warmbranch_loop_late_seconds_count (\S+)$", content, re.MULTILINE)
        assert found is not None
        return float(found[1])

    before = looks()
    until(lambda: looks() > before)


def test_garbage_behind_a_request_does_not_spoil_its_answer(served):
    with Line(served.port) as line:
        line.send(head(len(DEMO)) + DEMO + b"\x00" * 50)
        found = replies(line.rest())
    for reply in found:  # answered whole, or cut off; never another's failure in its place
        assert reply.status in (200, 400)
        json.loads(reply.body)


def test_clients_that_leave_in_the_middle_cost_nothing(served):
    def leave() -> None:
        with Line(served.port) as line:
            line.send(head(len(DEMO)) + DEMO[:-1])

    threads = [threading.Thread(target=leave) for _ in range(50)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert served.get("/v1/health") == 200
