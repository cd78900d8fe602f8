"""An answer as text for a terminal of 80 columns: the answer first, and once more at the end."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.text import listed, wrapped

SAFETY_TITLE = "Safety; local codes and licensed practice go first"

SAFETY_SHORT = (
    "Safety: hot pipes burn, exhaust gas kills unnoticed; weld, support and try out as --full "
    "tells. Local codes and licensed practice go first."
)

TOLD_BY = {"condensation": "slope_and_drain", "leak_sensitivity": "leak_heat"}
"""Cautions that short notes leave to another one of the same subject, where that one stands."""


def composed(
    headline: str,
    summary: str,
    sections: Iterable[Sequence[str]],
    *,
    cautions: Sequence[Caution],
    assumptions: Sequence[str],
    model_version: str,
    full: bool,
) -> str:
    """The whole text.

    Parameters
    ----------
    headline : str
        The answer in one line; stands first and last.
    summary : str
    sections : iterable of lists of lines
        A title and what stands below it; those of a title alone are left out.
    cautions, assumptions : sequences
    model_version : str
    full : bool
        Whether cautions and safety are told at length, or by their first sentences.
    """
    blocks: list[Sequence[str]] = [[*wrapped(headline, indent=""), *wrapped(summary)], *sections]
    safety = [one for one in cautions if one.code.startswith("safety_")]
    others = [one for one in cautions if not one.code.startswith("safety_")]
    version = f"Taken for what the request left open (model {model_version})"
    if full:
        blocks.append(["Cautions", *listed(_once(one.message for one in others))])
        blocks.append([version, *listed(assumptions)])
        blocks.append([SAFETY_TITLE, *listed(one.message for one in safety)])
    else:
        blocks.append(["Mind; at length with --full", *listed(_short(others))])
        blocks.append([version, *listed(assumptions)])
        if safety:
            blocks.append([*wrapped(SAFETY_SHORT, indent=""), ""])
    blocks.append([*wrapped(headline, indent=""), ""])
    return "\n\n".join("\n".join(block).rstrip() for block in blocks if len(block) > 1) + "\n"


def _short(cautions: Sequence[Caution]) -> Iterable[str]:
    """The first sentence of each, no subject twice."""
    codes = {one.code for one in cautions}
    return _once(
        re.split(r"(?<=[.!]) (?=[A-Z])", one.message, maxsplit=1)[0]
        for one in cautions
        if TOLD_BY.get(one.code) not in codes
    )


def _once(sentences: Iterable[str]) -> Iterable[str]:
    return dict.fromkeys(sentences)
