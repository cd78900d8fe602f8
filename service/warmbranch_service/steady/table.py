"""The answer as a table to read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from warmbranch_service.contract.errors import ProblemParts
from warmbranch_service.contract.report import composed
from warmbranch_service.contract.text import wrapped
from warmbranch_service.steady.depth import in_words

if TYPE_CHECKING:
    from warmbranch_service.steady.answer_schema import SteadyAnswer

PROFILE_ROWS = 11
LOSS_ROWS = 11
DECIBELS_A_MARK = 1.0
LONGEST_BAR = 40
NARROWINGS = 2
"""How many of what would narrow the interval are told."""


def headline(answer: SteadyAnswer) -> str:
    """The answer in one line."""
    first, rpm = answer.resonance.frequency_Hz[0], answer.resonance.quiet_rpm
    if first is None:
        return "No resonance: losses in this narrow bore leave none."
    tone = f"{first:.2f} Hz"
    at = f"Quiet at {rpm:.0f} rpm ({tone})" if rpm is not None else f"Cancels best at {tone}"
    return f"{at}: branch of {answer.centreline_length_mm:.1f} mm, warm."


def readable(answer: SteadyAnswer, *, full: bool = True) -> str:
    """The answer to ``POST /v1/steady`` as text."""
    return composed(
        headline(answer),
        answer.summary,
        [_resonance(answer), _interval(answer), _heat(answer), _profile(answer), _loss(answer)],
        cautions=answer.cautions,
        assumptions=answer.assumptions,
        model_version=answer.model_version,
        full=full,
    )


def readable_problem(parts: ProblemParts) -> str:
    """A failure as text."""
    lines = [parts.kind.title]
    if parts.entries:
        for entry in parts.entries:
            lines += wrapped(entry.sentence())
    else:
        lines += wrapped(parts.detail)
    return "\n".join(lines) + "\n"


def _resonance(answer: SteadyAnswer) -> list[str]:
    found = answer.resonance
    order = found.engine_order
    first = found.frequency_Hz[0]
    lines = ["Frequencies"]

    def row(name: str, frequency: float | None) -> str:
        if frequency is None:
            return f"  {name:<34}{'none':>10}"
        text = f"  {name:<34}{frequency:>7.2f} Hz"
        if order is not None:
            text += f"{60 * frequency / order:>9.0f} rpm"
        if first is not None and frequency != first and not name.startswith("resonance"):
            text += f"{(frequency / first - 1) * 100:>+9.1f} %"
        return text

    for number, frequency in enumerate(found.frequency_Hz, start=1):
        lines.append(row(f"resonance {number}", frequency))
    lines.append(row("one gas temperature all along", answer.estimates.one_temperature_Hz))
    lines.append(row("sum of local travel times", answer.estimates.transit_time_Hz))
    if answer.effective_temperature_degC is not None:
        value = f"{answer.effective_temperature_degC:.1f}"
        lines.append(f"  {'as if the gas were all at':<34}{value:>7} °C")
    if found.quality_factor is not None:
        lines.append(f"  {'quality factor':<34}{found.quality_factor:>7.1f}")
    return lines


def _interval(answer: SteadyAnswer) -> list[str]:
    found = answer.prediction
    if found is None:
        return []
    levels, unit, fall = found.quiet_rpm, "rpm", 0
    if levels is None:
        levels, unit, fall = found.resonance_Hz, "Hz", 1
    if levels is None:
        return []
    lines = ["How sure"]
    for share, ends in ((50, levels.interval_50), (90, levels.interval_90)):
        lines.append(f"  {share} % between {ends[0]:>8.{fall}f} and {ends[1]:>8.{fall}f} {unit}")
    for number, narrowing in enumerate(found.narrowed_by[:NARROWINGS]):
        name = narrowing.unknown.replace("_", " ")
        told = f"{name}, {narrowing.share_percent:.0f} % of it. {narrowing.remedy}"
        lines += wrapped(f"The largest doubt: {told}" if number == 0 else f"Next: {told}")
    return lines


def _heat(answer: SteadyAnswer) -> list[str]:
    rows = (
        ("centre-line length", answer.centreline_length_mm, "mm"),
        ("mouth correction", answer.mouth_correction_mm, "mm"),
        ("mass flow in the main pipe", answer.main_pipe.mass_flow_kg_h, "kg/h"),
        ("gas speed in the main pipe", answer.main_pipe.gas_speed_m_s, "m/s"),
        ("heat in at the mouth", answer.heat.entering_W, "W"),
        ("heat lost outside", answer.heat.lost_W, "W"),
    )
    water = answer.condensate
    if water is not None:
        rows += (("water that condenses", water.rate_g_h, "g/h"),)
    return ["Branch", *(f"  {name:<34}{value:>7.1f} {unit}" for name, value, unit in rows)]


def _profile(answer: SteadyAnswer) -> list[str]:
    profile = answer.profile
    lines = ["Along the branch", f"  {'mm':>8}{'gas °C':>10}{'skin °C':>10}{'sound m/s':>11}"]
    for i in _nearest_even(profile.position_mm, PROFILE_ROWS):
        lines.append(
            f"  {profile.position_mm[i]:>8.0f}{profile.gas_degC[i]:>10.1f}"
            f"{profile.skin_degC[i]:>10.1f}{profile.sound_speed_m_s[i]:>11.1f}"
        )
    return lines


def _loss(answer: SteadyAnswer) -> list[str]:
    loss = answer.attenuation
    rpm = loss.rpm
    lines = [
        "Transmission loss",
        f"  {'Hz':>8}" + ("" if rpm is None else f"{'rpm':>8}") + f"{'dB':>8}",
    ]
    count = len(loss.frequency_Hz)
    step = max(1, (count - 1) // (LOSS_ROWS - 1))
    for i in range(0, count, step):
        decibels = loss.transmission_loss_dB[i]
        text = f"  {loss.frequency_Hz[i]:>8.1f}" + ("" if rpm is None else f"{rpm[i]:>8.0f}")
        if decibels is None:
            lines.append(text + f"{'–':>8}")
            continue
        bar = "#" * min(LONGEST_BAR, round(decibels / DECIBELS_A_MARK))
        lines.append(f"{text}{decibels:>8.1f}  {bar}".rstrip())
    best = loss.deepest
    if best is not None and best.transmission_loss_dB is not None:
        told = f"At its best {in_words(best.transmission_loss_dB, best.interval_90_dB)}"
        if best.wall_alone_dB is not None:
            told += f"; {best.wall_alone_dB:.0f} dB if its wall alone resisted"
        lines += wrapped(f"{told}.")
    return lines


def _nearest_even(positions: Sequence[float], rows: int) -> list[int]:
    """Indices of the nodes nearest to evenly spaced places, ends included, none twice."""
    last = positions[-1]
    wanted = (last * i / (rows - 1) for i in range(rows))
    found = (min(range(len(positions)), key=lambda i: abs(positions[i] - x)) for x in wanted)
    return list(dict.fromkeys(found))
