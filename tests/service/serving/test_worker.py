"""What one worker process does besides serving."""

from __future__ import annotations

import asyncio
import gc
import signal
import socket
import sys
from types import ModuleType

import pytest
import uvicorn

from warmbranch_service.serving.server import Server
from warmbranch_service.serving.worker import _Loaded


def test_a_worker_that_is_told_to_close_takes_what_waits_and_nothing_later():
    """At once and not at uvicorn's next tick: a successor may know other keys."""

    async def serve() -> None:
        config = uvicorn.Config(lambda: None, lifespan="off", log_config=None)
        config.load()
        server = Server(config, grace=1)
        server.lifespan = config.lifespan_class(config)
        with socket.create_server(("127.0.0.1", 0)) as own, own.dup() as successor:
            await server.startup([own])
            with socket.create_connection(own.getsockname()):
                server.handle_exit(signal.SIGTERM, None)
                await asyncio.sleep(0)
                assert own.fileno() == -1
                successor.setblocking(False)
                with pytest.raises(BlockingIOError):
                    successor.accept()  # it waited, and was taken
            with socket.create_connection(successor.getsockname()):
                await server.shutdown()
                successor.settimeout(10)
                successor.accept()[0].close()  # it came later, and was not

    asyncio.run(serve())


def test_what_is_loaded_later_is_left_alone_by_the_collector_too(monkeypatch):
    loaded = _Loaded()
    try:
        loaded.leave_alone()
        before = gc.get_freeze_count()
        assert before > 10_000
        kept = [[] for _ in range(10_000)]
        loaded.leave_alone()
        assert gc.get_freeze_count() <= before  # nothing was loaded
        monkeypatch.setitem(sys.modules, "loaded_later", ModuleType("loaded_later"))
        loaded.leave_alone()
        assert gc.get_freeze_count() > before + len(kept) / 2  # some that were left alone are gone
    finally:
        gc.unfreeze()
