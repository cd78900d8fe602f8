"""Settings of a running service, from the environment."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, fields

PREFIX = "WARMBRANCH_"


@dataclass(frozen=True)
class Settings:
    """Everything that can be set; each by ``WARMBRANCH_`` and its name in capitals.

    Parameters
    ----------
    longest_body : int
        Bytes of a request's body.
    solves_at_once : int
        Solves that run side by side in one worker.
    longest_queue : int
        Solves that may wait in one worker before further ones are turned away.
    warm_up : int
        1 solves one case at the start, so that the first request is as fast as the second.
    """

    longest_body: int = 1024 * 1024
    solves_at_once: int = 2
    longest_queue: int = 64
    warm_up: int = 1

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Read settings; a value that is no whole number above zero raises ``ValueError``."""
        given: dict[str, int] = {}
        for item in fields(cls):
            name = PREFIX + item.name.upper()
            text = environment.get(name)
            if text is None:
                continue
            lowest = 0 if item.name == "warm_up" else 1
            if not (text.isascii() and text.isdigit() and int(text) >= lowest):
                raise ValueError(f"{name}={text!r}: give a whole number, {lowest} or more.")
            given[item.name] = int(text)
        return cls(**given)
