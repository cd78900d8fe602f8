"""What the answer says in words."""

from __future__ import annotations

from collections.abc import Sequence

from warmbranch_service.contract.caution import Caution
from warmbranch_service.listen.answer_schema import (
    DroneAnswer,
    ListenOutcome,
    NotchHeard,
    RecordingAnswer,
)
from warmbranch_service.listen.request import ListenRequest

NEAR_RIVAL = 8.0
"""log10 of odds below which another speed is told of. Models of sound are rough, odds too large."""

WIDE = 1.2
"""Upper over lower limit of the drone's interval from which there must be another loud speed."""

STEADY_GAIN = 0.1
"""Chance of automatic gain up to which it is not told of."""

SURE_GAIN = 0.9

LITTLE_HEARD = 0.3
MUCH_CLIPPED = 0.001


def summary(
    outcome: ListenOutcome,
    notch: NotchHeard | None,
    drone: DroneAnswer | None,
    recordings: Sequence[RecordingAnswer],
) -> str:
    """The answer in a sentence or two."""
    if outcome == "engine not heard":
        return (
            "No engine is heard for sure between the engine speeds given. Check them and the "
            "number of cylinders, and record nearer to the exhaust, without speaking."
        )
    parts: list[str] = []
    if drone is not None:
        low, high = drone.interval_90
        parts.append(f"Loudest at {drone.rpm:.0f} rpm ({low:.0f} to {high:.0f}).")
    if notch is not None and notch.quiet_rpm is not None and notch.resonance_Hz is not None:
        low, high = notch.quiet_rpm.interval_90
        parts.append(
            f"The branch bites at {notch.quiet_rpm.median:.0f} rpm ({low:.0f} to {high:.0f}, nine "
            f"times in ten), {notch.resonance_Hz.median:.1f} Hz."
        )
    elif outcome == "no notch heard":
        parts.append(
            "No notch is heard"
            + (
                f" between {notch.searched_Hz[0]:.0f} and {notch.searched_Hz[1]:.0f} Hz."
                if notch is not None
                else "; too little of the engine is heard to say."
            )
        )
    return " ".join(parts) or "The engine is heard, too little of it for a curve."


def cautions(
    request: ListenRequest,
    recordings: Sequence[RecordingAnswer],
    drone: DroneAnswer | None,
    notch: NotchHeard | None,
) -> list[Caution]:
    """What to know before trusting it."""
    found: list[Caution] = []

    def add(code: str, message: str, field: str = "") -> None:
        found.append(Caution(code=code, message=message, field=field))

    for number, one in enumerate(recordings, start=1):
        name = f"Recording {number} ({one.side})"
        if one.sure_share < LITTLE_HEARD:
            add(
                "little_heard",
                f"{name}: the engine's speed is sure in {100 * one.sure_share:.0f} % of the time "
                "only. A slow pull in one gear, windows shut, without speaking, is heard best.",
            )
        for rival in one.rivals[:1]:
            if rival.log10_odds < NEAR_RIVAL:
                add(
                    "rival_speed",
                    f"{name}: {rival.ratio:g} times the speed told explains the sound nearly as "
                    "well. Give rpm_at, or lowest_rpm and highest_rpm more narrowly.",
                    "rpm_at",
                )
        if one.clipped_share > MUCH_CLIPPED:
            add(
                "clipped",
                f"{name} is overdriven, which makes orders that are none. Lay the recorder "
                "farther off.",
            )
    gains = [one.automatic_gain.chance for one in recordings if one.automatic_gain is not None]
    if gains and max(gains) > STEADY_GAIN:
        add(
            "automatic_gain",
            (
                "Automatic gain is heard in the noise between the engine's orders, and is taken "
                "off as far as that tells it. "
                if max(gains) > SURE_GAIN
                else "Whether the phone turned its gain up and down, the noise between the "
                "engine's orders does not tell for sure. "
            )
            + "What compares orders at one moment does not see it; levels over engine speed and "
            "the drone's place do, whose interval is wider for it. Lock the recorder's gain, or "
            "play a steady 3 kHz tone on a second phone and give pilot_tone_Hz.",
            "pilot_tone_Hz",
        )
    sides = {one.side for one in recordings}
    if len(sides) == 2 and request.same_place is not True:
        add(
            "moved_recorder",
            "The recorder may have lain elsewhere before and after, which changes levels by "
            "several dB; intervals are wider for it. One place, strapped, is worth more than ten "
            "recordings.",
            "same_place",
        )
    if drone is not None and drone.at_edge:
        add(
            "drone_at_edge",
            "It is loudest at the lowest or highest speed heard and may be louder beyond.",
        )
    if drone is not None and drone.interval_90[1] > WIDE * drone.interval_90[0]:
        add(
            "drone_has_a_rival",
            "It is nearly as loud at other engine speeds within the interval; the curve of "
            "loudness tells more than the one speed.",
        )
    if notch is not None and notch.quiet_rpm is not None and "before" not in sides:
        add(
            "after_only",
            "Without a recording before, a quiet spot of the cabin may pass for the branch.",
        )
    add(
        "weak_bass",
        "Phones hear little below 80 Hz; what is told from there is less sure than it may seem.",
    )
    return found


def assumptions(request: ListenRequest, has_case: bool) -> list[str]:
    """What was taken for what the request left open."""
    said = [
        "Nothing of the recordings is kept.",
        "Tried on made-up recordings only; no recording of a real vehicle was at hand.",
    ]
    if request.same_place is None:
        said.append("same_place is not said: taken as moved.")
    if has_case and request.prior == "case":
        said.append(
            "The case's resonance counts as known within 4 % (one standard deviation), in one of "
            "ten within 9 %; its other dips do not count."
        )
    if request.minutes_since_start is None:
        said.append("The branch was warm through.")
    return said
