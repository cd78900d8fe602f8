"""The answer to ``POST /v1/listen`` as a table to read."""

from __future__ import annotations

from warmbranch_service.contract.text import listed, wrapped
from warmbranch_service.listen.answer_schema import ListenAnswer

LONGEST_BAR = 40


def readable_listen(answer: ListenAnswer) -> str:
    """The answer as text."""
    blocks = [
        [f"{answer.outcome.capitalize()} (model {answer.model_version})", *wrapped(answer.summary)],
        _recordings(answer),
        _notch(answer),
        _loudness(answer),
        ["Resonances of the cabin, Hz", *_numbers(answer.cabin_resonances_Hz)],
        ["Cautions", *listed(caution.message for caution in answer.cautions)],
        ["Taken for what the request left open", *listed(answer.assumptions)],
    ]
    return "\n\n".join("\n".join(block) for block in blocks if len(block) > 1) + "\n"


def _recordings(answer: ListenAnswer) -> list[str]:
    lines = ["Recordings", f"  {'':<8}{'s':>8}{'sure':>8}{'lowest rpm':>12}{'highest rpm':>13}"]
    for one in answer.recordings:
        speeds = [rpm for rpm in one.track.rpm if rpm is not None]
        span = f"{min(speeds):>12.0f}{max(speeds):>13.0f}" if speeds else ""
        lines.append(f"  {one.side:<8}{one.duration_s:>8.1f}{100 * one.sure_share:>6.0f} %{span}")
    return lines


def _notch(answer: ListenAnswer) -> list[str]:
    lines = ["The branch"]
    notch = answer.notch
    if notch is None:
        return lines
    for name, spread, count in (
        ("quiet rpm", notch.quiet_rpm, 0),
        ("resonance, Hz", notch.resonance_Hz, 1),
    ):
        if spread is not None:
            low, high = spread.interval_90
            lines.append(
                f"  {name:<16}{spread.median:>9.{count}f}"
                f"   90 %: {low:.{count}f} to {high:.{count}f}"
            )
    if notch.predicted_Hz is not None:
        lines.append(f"  {'predicted, Hz':<16}{notch.predicted_Hz:>9.1f}")
    lines.append(f"  {'log10 of odds':<16}{notch.log10_odds:>9.1f}   heard from 1.3 on")
    return lines


def _loudness(answer: ListenAnswer) -> list[str]:
    points = answer.loudness_target
    lines = ["Loudness of the engine, dB(A) below its loudest"]
    if not points:
        return lines
    loudest = max(point.level_dB for point in points)
    changes = {}
    if answer.change is not None:
        changes = dict(zip(answer.change.rpm, answer.change.change_dBA, strict=True))
        lines[0] += ", and after less before"
    step = max(len(points) // 25, 1)
    for point in points[::step]:
        below = point.level_dB - loudest
        bar = "#" * max(round(LONGEST_BAR * (1 + below / 30)), 0)
        change = changes.get(point.rpm)
        after = f"{change:>+8.1f}" if change is not None else " " * 8
        lines.append(f"  {point.rpm:>6.0f} rpm {below:>7.1f}{after}  {bar}")
    return lines


def _numbers(values: list[float]) -> list[str]:
    return ["  " + ", ".join(f"{value:.0f}" for value in values)] if values else []
