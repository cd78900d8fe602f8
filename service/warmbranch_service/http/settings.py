"""Settings of a running service, from the environment.

``SETTINGS`` is the one list of them: the help of ``warmbranch serve``, the summary at the start
and the table in DEVELOPERS.md are made from it or held to it.
"""

from __future__ import annotations

import ipaddress
import os
import re
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

PREFIX = "WARMBRANCH_"
SHORTEST_KEY = 16


def _whole(lowest: int, highest: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and lowest <= int(text[:12]) <= highest):
            raise ValueError(f"give a whole number from {lowest} to {highest}")
        return int(text)

    return read


def _one_of(*words: str) -> Callable[[str], str]:
    def read(text: str) -> str:
        if text.lower() not in words:
            raise ValueError(f"give {' or '.join(words)}")
        return text.lower()

    return read


def _origins(text: str) -> tuple[str, ...]:
    origins = tuple(part.strip() for part in text.split(",") if part.strip())
    for origin in origins:
        parts = urlsplit(origin)
        if parts.scheme not in ("http", "https") or not parts.netloc or parts.path or parts.query:
            raise ValueError("give origins as https://bench.example, several with commas between")
    return origins


def _keys(text: str) -> tuple[str, ...]:
    keys = tuple(part.strip() for part in text.split(",") if part.strip())
    for key in keys:
        if len(key) < SHORTEST_KEY or not re.fullmatch(r"[\x21-\x7e]+", key):
            raise ValueError(
                f"give a key of {SHORTEST_KEY} or more visible ASCII characters, without blanks"
            )
    return keys


def _keys_file(text: str) -> str:
    """The path; that the file holds keys is checked at once, and again where they are needed."""
    if text:
        _keys_in(text)
    return text


def _keys_in(path: str) -> tuple[str, ...]:
    """Keys of a file, one a line; empty lines, and those that begin with #, hold none."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise ValueError(f"the file cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise ValueError("the file is not UTF-8") from None
    found: list[str] = []
    for number, line in enumerate(text.splitlines(), start=1):
        key = line.strip()
        if key and not key.startswith("#"):
            try:
                found += _keys(key)
            except ValueError as error:
                raise ValueError(f"line {number}: {error}") from None
    return tuple(found)


def _scheduler(text: str) -> str:
    if text and not re.fullmatch(r"(tcp|tls|ws|wss)://\S+:\d{1,5}", text):
        raise ValueError("give an address as tcp://host:8786")
    return text


def _networks(text: str) -> tuple[str, ...]:
    parts = tuple(part.strip() for part in text.split(",") if part.strip())
    for part in parts:
        ipaddress.ip_network(part)  # its own ValueError says what is wrong
    return parts


def _setting(
    default: Any, read: Callable[[str], Any], meaning: str, *, secret: bool = False
) -> Any:
    return field(
        default=default,
        metadata={"read": read, "meaning": meaning, "secret": secret},
        repr=not secret,
    )


@dataclass(frozen=True)
class Settings:
    """Everything that can be set; each by ``WARMBRANCH_`` and its name in capitals."""

    longest_body: int = _setting(
        1024 * 1024, _whole(1, 2**30), "bytes of a request's body; longer ones are answered 413"
    )
    recordings_body: int = _setting(
        64 * 1024 * 1024, _whole(1, 2**30), "bytes of a body with recordings for /v1/listen"
    )
    recording_seconds: int = _setting(
        600, _whole(3, 3600), "s; longer recordings are refused, whatever they claim"
    )
    recording_channels: int = _setting(8, _whole(1, 64), "channels of a recording")
    solves_at_once: int = _setting(
        2, _whole(1, 64), "pieces of work that run side by side in one worker"
    )
    longest_queue: int = _setting(
        64, _whole(1, 100_000), "requests that may wait in one worker; further ones get 503"
    )
    sweep_designs: int = _setting(100_000, _whole(1, 10_000_000), "designs of one sweep")
    sweeps_at_once: int = _setting(
        8, _whole(1, 1000), "sweeps under way in one worker; further ones get 503"
    )
    sweeps_per_client: int = _setting(
        4, _whole(1, 1000), "of these, sweeps of one API key, or of one address"
    )
    scheduler: str = _setting(
        "", _scheduler, "tcp://host:port of a Dask cluster that solves the sweeps; none: this one"
    )
    seconds_per_request: int = _setting(
        30,
        _whole(1, 3600),
        "s; a request whose work takes longer is ended with 503; of a sweep, each chunk may",
    )
    seconds_to_send: int = _setting(
        20, _whole(1, 3600), "s from a request's first byte to its last; slower ones get 408"
    )
    seconds_to_read: int = _setting(
        60, _whole(1, 3600), "s; a client that takes nothing of its answer for so long is cut off"
    )
    connections: int = _setting(
        1000,
        _whole(8, 100_000),
        "connections of one worker, where the limit of descriptors admits so many; of further ones "
        "the idle give way",
    )
    grace_seconds: int = _setting(
        6,
        _whole(1, 600),
        "s; what is under way at SIGTERM may take so long, then is ended; the service is gone 3 s "
        "later at most",
    )
    warm_up: int = _setting(1, _whole(0, 1), "1 loads tables at the start, ahead of requests")
    kernel: str = _setting(
        "on", _one_of("on", "off"), "off keeps to numpy: the same answers, several times slower"
    )
    log_format: str = _setting(
        "text", _one_of("text", "json"), "of the log on standard error, one entry a line"
    )
    api_keys: tuple[str, ...] = _setting(
        (),
        _keys,
        "keys that the header X-API-Key must hold one of, commas between; none: open to all",
        secret=True,
    )
    api_keys_file: str = _setting(
        "",
        _keys_file,
        "a file of further keys, one a line, read again at SIGHUP; with it, a key is asked for "
        "even where it holds none",
    )
    requests_per_minute: int = _setting(
        0,
        _whole(0, 1_000_000),
        "requests that one API key, or one address, may send to one worker; 0: any number",
    )
    trusted_proxies: tuple[str, ...] = _setting(
        (), _networks, "addresses or networks whose X-Forwarded-For names the client; none: nobody"
    )
    cors_origins: tuple[str, ...] = _setting(
        (), _origins, "origins whose pages may ask from a browser, commas between; none: no page"
    )

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Read settings; ``ValueError`` names the variable, its value and what to give."""
        # Late: the command line lists the settings in its help, and loads no physics for that.
        from warmbranch.core.build import COMPILER

        given: dict[str, Any] = {}
        for name, text in environment.items():
            if not name.startswith(PREFIX) or name == COMPILER:
                continue  # the compiler is the package's own concern, whatever serves
            setting = BY_VARIABLE.get(name)
            if setting is None:
                known = ", ".join(BY_VARIABLE)
                raise ValueError(f"{name} is no setting. Settings are: {known}.")
            try:
                given[setting.name] = setting.read(text)
            except ValueError as error:
                shown = "" if setting.secret else f"={text!r}"
                raise ValueError(f"{name}{shown}: {error}.") from None
        return cls(**given)

    @property
    def asks_for_keys(self) -> bool:
        """Whether a request must hold a key."""
        return bool(self.api_keys or self.api_keys_file)

    def all_keys(self) -> tuple[str, ...]:
        """The keys of the environment and those that the file holds now."""
        return self.api_keys + (_keys_in(self.api_keys_file) if self.api_keys_file else ())

    def warnings(self, environment: Mapping[str, str] = os.environ) -> list[str]:
        """What is set so that it may not do what was meant."""
        found: list[str] = []
        if f"{PREFIX}API_KEYS" in environment and not self.asks_for_keys:
            found.append("WARMBRANCH_API_KEYS is set and holds no key: everybody is let in")
        if self.api_keys_file and not self.all_keys():
            found.append(f"{self.api_keys_file} holds no key: nobody is let in")
        return found

    def told(self) -> dict[str, Any]:
        """The settings as the log tells them at the start; of secrets, only how many."""
        found: dict[str, Any] = {}
        for setting in SETTINGS:
            value = getattr(self, setting.name)
            found[setting.name] = len(value) if setting.secret else value
        return found


class Setting(NamedTuple):
    """One setting as people see it."""

    name: str
    variable: str
    default: Any
    meaning: str
    secret: bool
    read: Callable[[str], Any]


SETTINGS = tuple(
    Setting(
        item.name,
        PREFIX + item.name.upper(),
        item.default,
        item.metadata["meaning"],
        item.metadata["secret"],
        item.metadata["read"],
    )
    for item in fields(Settings)
)
BY_VARIABLE = {setting.variable: setting for setting in SETTINGS}


def written(value: object) -> str:
    """A value as the environment would hold it."""
    if isinstance(value, tuple):  # of what, isinstance cannot tell; str takes anything
        return ",".join(map(str, value)) or "none"  # pyright: ignore[reportUnknownArgumentType]
    return str(value) or "none"


def settings_help() -> str:
    """The settings as the help of the command line lists them."""
    lines = ["settings, from the environment:"]
    for setting in SETTINGS:
        meaning = textwrap.fill(setting.meaning, 72, subsequent_indent=" " * 6)
        lines += [f"  {setting.variable}={written(setting.default)}", f"      {meaning}"]
    return "\n".join(lines)
