"""Lines of text for people, wrapped to one width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from warmbranch_service.contract.own_units import told

WIDTH = 79
"""Of a terminal of 80 columns, whose last one some leave to the cursor."""


def wrapped(text: str, *, indent: str = "  ") -> list[str]:
    """A sentence or more as indented lines."""
    return textwrap.wrap(told(text), WIDTH, initial_indent=indent, subsequent_indent=indent)


def listed(sentences: Iterable[str]) -> list[str]:
    """Sentences as a list, a dash before each."""
    lines: list[str] = []
    for sentence in sentences:
        lines += textwrap.wrap(
            told(sentence), WIDTH, initial_indent="  - ", subsequent_indent="    "
        )
    return lines


def named(names: Sequence[str]) -> str:
    """Several names as a sentence has them.

    >>> named(["bore"]), named(["bore", "skin", "cap"])
    ('bore', 'bore, skin and cap')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
