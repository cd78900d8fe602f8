"""The service in processes of its own: a worker that is killed, a restart under load."""

from __future__ import annotations

import http.client
import os
import signal
import threading
import time

import pytest

from shared.running import GIVE_UP, QUICK, Service, ask, until
from warmbranch_service.demo import demo_text
from warmbranch_service.serving import listening
from warmbranch_service.serving.listening import HandOver, bound

BODY = demo_text("van").encode()


class Crowd:
    """Clients that post one request after another until told to stop, each on its connection."""

    def __init__(self, port: int, size: int) -> None:
        self.answered: list[bytes] = []
        self.wrong: list[str] = []
        self._port = port
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._ask_on) for _ in range(size)]

    def __enter__(self) -> Crowd:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(GIVE_UP)

    def more(self, count: int) -> None:
        """Wait for so many further answers."""
        wanted, deadline = len(self.answered) + count, time.monotonic() + GIVE_UP
        while len(self.answered) < wanted:
            assert time.monotonic() < deadline, "no answers come"
            time.sleep(0.01)

    def _ask_on(self) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", self._port, timeout=GIVE_UP)
        while not self._stop.is_set():
            try:
                connection.request("POST", "/v1/steady", BODY, {"content-type": "application/json"})
                response = connection.getresponse()
                content = response.read()
            except (OSError, http.client.HTTPException) as error:
                self.wrong.append(repr(error))
                connection.close()
                continue
            if response.status == 200:
                self.answered.append(content)
            else:
                self.wrong.append(f"{response.status} {content!r}")
        connection.close()


@pytest.fixture
def two(tmp_path):
    with Service(tmp_path / "log", workers=2, **QUICK) as service:
        service.wait_until_ready()
        yield service


def test_a_worker_that_is_killed_comes_back_and_the_other_serves_on(two):
    first, second = two.workers()
    os.kill(first, signal.SIGKILL)
    # At once: the one that is left takes every connection.
    assert ask(two.port, "POST", "/v1/steady", BODY)[0] == 200
    # Until it is missed, the dead one still counts as ready.
    until(lambda: first not in (now := two.workers()) and len(now) == 2)
    two.wait_for("ready_workers", 2)
    assert second in two.workers()
    assert "has died" in two.log.read_text()


def test_a_socket_that_nobody_offers_for_a_moment_is_waited_for(monkeypatch):
    """Between two services that end and begin; a second socket would be a second queue."""
    monkeypatch.setattr(listening, "HAND_OVER_SECONDS", GIVE_UP)
    with bound("127.0.0.1", 0, beside=False) as listener:
        offer, taken = HandOver(listener, "127.0.0.1"), threading.Event()

        def begin_later() -> None:
            time.sleep(0.2)
            while not taken.wait(0.01):
                offer.look()

        thread = threading.Thread(target=begin_later)
        thread.start()
        try:
            with bound("127.0.0.1", listener.getsockname()[1], beside=True) as same:
                assert os.fstat(same.fileno()).st_ino == os.fstat(listener.fileno()).st_ino
        finally:
            taken.set()
            thread.join()
            offer.close()


@pytest.mark.slow
def test_a_restart_under_load_loses_nothing(two, tmp_path):
    with Crowd(two.port, 4) as crowd:
        crowd.more(8)
        beside = Service(tmp_path / "next", "--take-over", workers=2, port=two.port, **QUICK)
        beside.start()
        try:
            until(lambda: "all workers serve" in beside.log.read_text())
            two.tell(signal.SIGTERM)
            assert two.process.wait(GIVE_UP) == 0
            crowd.more(8)
        finally:
            crowd.__exit__()
            beside.stop()
    assert crowd.wrong == []
    assert len(set(crowd.answered)) == 1
    two.start()  # for the fixture, which ends it
