"""Lines of text for people, wrapped to one width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

WIDTH = 88


def wrapped(text: str) -> list[str]:
    """A sentence or more as indented lines."""
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="  ")


def listed(sentences: Iterable[str]) -> list[str]:
    """Sentences as a list, a dash before each."""
    lines: list[str] = []
    for sentence in sentences:
        lines += textwrap.wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return lines
