"""Speeds that a sender read at moments, as the physics takes them."""

from __future__ import annotations

from warmbranch.listen.speed import ANCHOR_SPREAD, Anchor
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.listen.request import KnownRoadSpeed, ListenRequest

ROAD_SPREAD = 0.06
"""Of the logarithm of an engine speed that a road speed makes: speedometers may read a tenth and 4
km/h too high and never too low (UN Regulation 39, from memory), tyres wear and slip."""


def anchors_of(request: ListenRequest, side: str, seconds: float) -> tuple[Anchor, ...]:
    """Speeds known in the recordings of a side, the shortest of which lasts ``seconds``.

    Raises
    ------
    Problem
        A moment lies beyond the recording.
    """
    anchors: list[Anchor] = []
    for place, known in enumerate(request.rpm_at):
        if known.recording != side:
            continue
        if known.time_s > seconds:
            entry = Entry(
                ("rpm_at", place, "time_s"),
                "moment_beyond",
                f"The recording {side} is as long as {seconds:.3g} s, not {known.time_s:g} s.",
                "Count from the recording's beginning, and name which recording.",
                known.time_s,
                "s",
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry])
        spread = ROAD_SPREAD if isinstance(known, KnownRoadSpeed) else ANCHOR_SPREAD
        anchors.append(Anchor(known.time_s, known.rpm / 60, spread))
    return tuple(anchors)
