"""``warmbranch serve --phone``: a key, an address, a QR code; nothing here listens."""

from __future__ import annotations

import ipaddress
import os
import re

import pytest

from warmbranch_service.command import cli, service
from warmbranch_service.http.settings import SHORTEST_KEY
from warmbranch_service.serving import supervisor

segno = pytest.importorskip("segno")


@pytest.fixture
def served(monkeypatch, capsys):
    """What is served, and what was said, by a command line."""
    monkeypatch.delenv(service.KEYS, raising=False)
    found: dict[str, object] = {}

    def serve(**given: object) -> bool:
        found.update(given)
        return True

    monkeypatch.setattr(supervisor, "serve", serve)

    def run(*arguments: str) -> tuple[dict[str, object], str]:
        assert cli.main(["serve", *arguments]) == 0
        return found, capsys.readouterr().out

    yield run
    os.environ.pop(service.KEYS, None)


def test_phone_listens_on_the_network_with_a_key(served):
    given, said = served("--phone", "--port", "8123")
    assert given["host"] == "0.0.0.0"
    (address, key) = re.search(r"(http://[\d.]+:8123/)#key=(\S+)", said).groups()
    assert address == f"http://{service.local_address()}:8123/"
    assert given["settings"].api_keys == (key,)
    assert os.environ[service.KEYS] == key  # where the workers look
    assert len(key) >= SHORTEST_KEY


def test_two_starts_have_two_keys(served):
    keys = set()
    for _ in range(2):
        os.environ.pop(service.KEYS, None)
        keys.add(served("--phone")[0]["settings"].api_keys)
    assert len(keys) == 2


def test_a_key_of_ones_own_is_kept(served, monkeypatch):
    monkeypatch.setenv(service.KEYS, "a-key-of-twenty-chars,another-of-twenty-ch")
    given, said = served("--phone")
    assert "#key=a-key-of-twenty-chars\n" in said
    assert len(given["settings"].api_keys) == 2


def test_without_a_phone_this_machine_alone(served):
    given, said = served("--port", "8124")
    assert given["host"] == "127.0.0.1"
    assert given["settings"].api_keys == ()
    assert "http://127.0.0.1:8124/" in said
    assert "key" not in said


def test_the_picture_is_the_code(served):
    """Half blocks back into squares: dark where segno says so, with a rim of light all round."""
    text = "http://192.168.1.23:8000/#key=abcdefghijklmnopqrstuv"
    halves = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
    rows: list[list[int]] = []
    for line in service.qr_code(text, segno).splitlines():
        pairs = [halves[sign] for sign in re.sub(r"\x1b\[[\d;]*m", "", line)]
        rows += [[top for top, _ in pairs], [bottom for _, bottom in pairs]]
    expected = [list(row) for row in segno.make(text, error="l", micro=False).matrix]
    size, rim = len(expected), 2
    assert [row[rim : rim + size] for row in rows[rim : rim + size]] == expected
    assert not any(rows[0])
    assert not any(row[0] for row in rows[:size])


def test_the_address_is_one_of_this_machine():
    ipaddress.ip_address(service.local_address())
