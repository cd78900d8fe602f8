"""What connection.py and server.py lean on in uvicorn, none of which it promises.

A version that changes it fails here, by name, before anything odd happens on a line.
"""

from __future__ import annotations

import inspect
import tomllib
from importlib.metadata import version
from pathlib import Path

import httptools
import uvicorn
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol, RequestResponseCycle

ROOT = Path(__file__).parents[3]


def names_in(function: object) -> set[str]:
    code = inspect.unwrap(function).__code__  # type: ignore[arg-type]
    return {*code.co_names, *code.co_varnames}


def test_the_protocol_has_what_is_overridden_and_read():
    for name in (
        *("connection_made", "connection_lost", "data_received", "send_400_response"),
        *("on_message_begin", "on_header", "on_headers_complete", "on_body"),
        *("on_message_complete", "on_response_complete"),
    ):
        assert callable(getattr(HttpToolsProtocol, name)), name
    held = names_in(HttpToolsProtocol.__init__)
    assert {"transport", "flow", "scope", "headers", "cycle", "parser", "loop", "pipeline"} <= held
    assert "url" in names_in(HttpToolsProtocol.on_message_begin)
    cycle = names_in(RequestResponseCycle.__init__)
    assert {"response_started", "response_complete", "disconnected", "message_event"} <= cycle


def test_the_parser_calls_what_is_overridden():
    called: list[str] = []

    class Told:
        def __getattr__(self, name: str):
            if not name.startswith("on_"):
                raise AttributeError(name)
            return lambda *_: called.append(name)

    parser = httptools.HttpRequestParser(Told())
    head = b"POST / HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: chunked\r\n\r\n"
    parser.feed_data(head + b"1\r\nx\r\n0\r\nT: 1\r\n\r\n")
    for name in ("on_message_begin", "on_headers_complete", "on_body", "on_message_complete"):
        assert name in called
    assert called.count("on_header") == 3  # a trailer among them, behind the body
    assert called.index("on_body") < len(called) - 1 - called[::-1].index("on_header")


def test_the_server_has_what_is_overridden_and_read():
    for name in ("startup", "shutdown", "on_tick", "run", "handle_exit"):
        assert callable(getattr(uvicorn.Server, name)), name
    assert [*inspect.signature(uvicorn.Server.handle_exit).parameters] == ["self", "sig", "frame"]
    assert [*inspect.signature(uvicorn.Server.on_tick).parameters] == ["self", "counter"]
    assert {"server_state", "lifespan", "should_exit"} <= names_in(
        uvicorn.Server.__init__
    ) | names_in(uvicorn.Server._serve)
    state = uvicorn.Server(uvicorn.Config(lambda: None)).server_state
    assert {"connections", "tasks", "default_headers"} <= set(vars(state))
    assert "timeout_graceful_shutdown" in names_in(uvicorn.Server.shutdown)


def test_what_is_installed_is_within_what_is_declared():
    declared = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (line,) = (d for d in declared["project"]["dependencies"] if d.startswith("uvicorn"))
    below = line.partition("<")[2]
    own = tuple(int(part) for part in version("uvicorn").split(".")[:2])
    assert own < tuple(int(part) for part in below.split("."))
