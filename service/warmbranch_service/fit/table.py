"""The answer to ``POST /v1/fit`` as a table to read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from warmbranch_service.contract.report import composed
from warmbranch_service.contract.text import listed, wrapped
from warmbranch_service.fit.rivals import first_to_settle

if TYPE_CHECKING:
    from warmbranch_service.fit.answer_schema import FitAnswer, HeardResidual, Residual, Trim
    from warmbranch_service.steady.answer_schema import Levels

LONGEST_BAR = 40
UNITS = {"degC": ("°C", 1.0), "kg/s": ("kg/h", 3600.0), "1": ("", 1.0)}
"""Of unknowns, as a request has them, and what to take theirs times."""


def headline(answer: FitAnswer) -> str:
    """The answer in one line."""
    levels, unit = answer.prediction.quiet_rpm, "rpm"
    if levels is None:
        levels, unit = answer.prediction.resonance_Hz, "Hz"
    if levels is None:
        return f"{answer.outcome.capitalize()}."
    low, high = levels.interval_90
    text = f"uiet at {levels.median:.0f} {unit} ({low:.0f} to {high:.0f} with 90 %)."
    likeliest = first_to_settle(answer.rivals)
    if likeliest is not None:
        return f"{likeliest.sentence} Settle that before any cut. As written, q{text}"
    return f"Q{text}{_to_the_saw(answer.trim)}"


def _to_the_saw(trim: Trim | None) -> str:
    if trim is None:
        return ""
    if trim.saw_now_mm > 0:
        return f" Cut {trim.saw_now_mm:.0f} mm now."
    return " Listen before any cut." if trim.next_step == "listen" else " Do not cut."


def readable_fit(answer: FitAnswer, *, full: bool = True) -> str:
    """The answer as text."""
    sections = [
        [answer.outcome.capitalize(), ""],
        _prediction(answer),
        _difference(answer),
        _residuals(answer.residuals),
        _heard(answer.heard),
        _parameters(answer),
        _places(answer),
        ["What the data cannot tell", *listed(answer.untold)],
    ]
    return composed(
        headline(answer),
        answer.summary,
        sections,
        cautions=answer.cautions,
        assumptions=answer.assumptions,
        model_version=answer.model_version,
        full=full,
    )


def _prediction(answer: FitAnswer) -> list[str]:
    after, before = answer.prediction, answer.prediction.before_fit
    lines = ["Prediction", f"  {'':<24}{'5 %':>9}{'25 %':>9}{'median':>9}{'75 %':>9}{'95 %':>9}"]
    rows = (
        ("quiet rpm", after.quiet_rpm, 0),
        ("  before the fit", before.quiet_rpm, 0),
        ("resonance, Hz", after.resonance_Hz, 2),
        ("  before the fit", before.resonance_Hz, 2),
    )
    lines += [_levels(name, levels, places) for name, levels, places in rows if levels is not None]
    return lines


def _levels(name: str, levels: Levels, places: int) -> str:
    (low, high), (lower, upper) = levels.interval_90, levels.interval_50
    numbers = (low, lower, levels.median, upper, high)
    return f"  {name:<24}" + "".join(f"{number:>9.{places}f}" for number in numbers)


def _difference(answer: FitAnswer) -> list[str]:
    return ["Against one gas temperature all along"] + (
        [] if answer.difference is None else wrapped(answer.difference.message)
    )


def _residuals(residuals: Iterable[Residual]) -> list[str]:
    lines = [
        "Readings, °C",
        f"  {'mm':>8}{'displayed':>11}{'expected':>10}{'residual':>10}{'±':>7}",
    ]
    for one in residuals:
        when = "" if one.time_s is None else f"  {one.time_s / 60:.1f} min after the start"
        lines.append(
            f"  {one.position_mm:>8.0f}{one.displayed_degC:>11.1f}{one.expected_degC:>10.1f}"
            f"{one.residual_K:>+10.1f}{one.uncertainty_K:>7.1f}{when}" + ("  suspect" * one.suspect)
        )
        lines += listed(reason.message for reason in one.reasons)
    return lines if len(lines) > 2 else lines[:1]


def _heard(tones: Iterable[HeardResidual]) -> list[str]:
    lines = ["Heard"]
    for one in tones:
        expected = "none" if one.expected_Hz is None else f"{one.expected_Hz:.1f} Hz"
        given = f"{one.frequency_Hz:.1f} Hz"
        if one.quiet_rpm is not None:
            given = f"{one.quiet_rpm:.0f} rpm"
            expected = "none" if one.expected_rpm is None else f"{one.expected_rpm:.0f} rpm"
        lines.append(
            f"  {one.centreline_length_mm:.0f} mm long: heard {given}, fitted {expected}"
            + ("  suspect" * one.suspect)
        )
        lines += listed(reason.message for reason in one.reasons)
    return lines


def _parameters(answer: FitAnswer) -> list[str]:
    lines = [
        "Unknowns",
        f"  {'':<25}{'before, 90 %':>17}{'after':>9}{'90 %':>19}{'learned':>8}",
    ]
    for one in answer.parameters:
        unit, times = UNITS.get(one.unit, (one.unit, 1.0))
        name = ", ".join(filter(None, (one.name.replace("_", " "), unit)))
        before = " to ".join(f"{end * times:.3g}" for end in one.prior_90)
        after = " to ".join(f"{end * times:.3g}" for end in one.interval_90)
        bound = "  at bound" if one.at_bound else ""
        learned = f"{one.learned_share * 100:.0f} %"
        if len(name) > 25:  # the numbers go below it
            lines.append(f"  {name}")
            name = ""
        lines.append(
            f"  {name:<25}{before:>17}{one.estimate * times:>9.3g}{after:>19}{learned:>8}{bound}"
        )
    return lines


def _places(answer: FitAnswer) -> list[str]:
    advice = answer.next_reading
    lines = ["Share of the doubt that a next reading would take away"]
    rows = [(f"{place.position_mm:.0f} mm", place) for place in advice.candidates]
    for name, share in [
        *((name, place.variance_removed_share) for name, place in rows),
        ("listening", advice.listening_share),
    ]:
        bar = "#" * round(share * LONGEST_BAR)
        lines.append(f"  {name:>10}{share * 100:>6.0f} %  {bar}".rstrip())
    return lines
