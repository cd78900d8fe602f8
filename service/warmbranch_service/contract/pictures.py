"""An answer as a picture, by matplotlib: profile, loss, warm-up, trim, fit, finished jobs."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import TYPE_CHECKING, Any

from warmbranch_service.contract.missing_extra import MissingExtraError

if TYPE_CHECKING:
    from warmbranch_service.contract.whole_answer import WholeAnswer
    from warmbranch_service.fit.answer_schema import FitAnswer
    from warmbranch_service.learn.answer_schema import LearnAnswer
    from warmbranch_service.length.answer_schema import LengthAnswer
    from warmbranch_service.steady.answer_schema import SteadyAnswer
    from warmbranch_service.warmup.answer_schema import WarmupAnswer

Axes = Any
Figure = Any
"""matplotlib's, whose annotations are partly unknown to a strict checker."""

GAS, SKIN, TONE = "#c0392b", "#2c6fa6", "#444444"
INCHES = (8.0, 7.0)


def picture(answer: WholeAnswer) -> Figure:
    """Two panels, one below the other.

    Raises
    ------
    MissingExtraError
        Without matplotlib.
    """
    try:
        figure_of: Any = import_module("matplotlib.figure")
    except ImportError:
        raise MissingExtraError("A picture", "matplotlib", "plot") from None
    # No pyplot: no window, no state that is shared with the caller's own pictures.
    figure: Figure = figure_of.Figure(figsize=INCHES, layout="constrained")
    upper, lower = figure.subplots(2, 1)
    _PICTURES[type(answer).__name__](answer, upper, lower)
    for axes in (upper, lower):
        axes.grid(visible=True, alpha=0.3)
    return figure


def _steady(answer: SteadyAnswer, upper: Axes, lower: Axes) -> None:
    along = answer.profile
    upper.plot(along.position_mm, along.gas_degC, color=GAS, label="gas")
    upper.plot(along.position_mm, along.skin_degC, color=SKIN, label="skin")
    upper.set(xlabel="from the mouth, mm", ylabel="°C", title=_title(answer))
    upper.legend()
    loss = answer.attenuation
    _loss(lower, loss.rpm or loss.frequency_Hz, loss.transmission_loss_dB, loss.rpm is not None)


def _loss(axes: Axes, speed: list[float], loss: list[float | None], is_rpm: bool) -> None:
    axes.plot(speed, _numbers(loss), color=TONE)
    axes.set(xlabel="rpm" if is_rpm else "Hz", ylabel="transmission loss, dB")


def _length(answer: LengthAnswer, upper: Axes, lower: Axes) -> None:
    steps = answer.trim_steps
    lengths = [step.length_mm for step in steps]
    rpm = [step.quiet_rpm for step in steps]
    has_rpm = None not in rpm
    tones = rpm if has_rpm else [step.frequency_Hz for step in steps]
    upper.plot(lengths, _numbers(tones), color=TONE, marker=".")
    upper.axvline(answer.centreline_length_mm, color=GAS, label="right length")
    upper.axvline(answer.build_length_mm, color=SKIN, label="build")
    upper.axvspan(*answer.right_length_90_mm, color=GAS, alpha=0.1, label="90 % of chance")
    upper.invert_xaxis()  # a cut goes to the right, as on the bench
    upper.set(xlabel="length, mm", ylabel="quiet rpm" if has_rpm else "Hz", title=_title(answer))
    upper.legend()
    parts = answer.contributions_mm.model_dump()
    names = [name.removesuffix("_mm").replace("_", " ") for name in parts]
    lower.barh(names, list(parts.values()), color=SKIN)
    lower.invert_yaxis()
    lower.set(xlabel="what makes the length, mm")


def _warmup(answer: WarmupAnswer, upper: Axes, lower: Axes) -> None:
    series = answer.series
    minutes = [time / 60 for time in series.time_s]
    rpm = series.quiet_rpm
    upper.plot(minutes, _numbers(series.resonance_Hz if rpm is None else rpm), color=TONE)
    upper.set(ylabel="Hz" if rpm is None else "quiet rpm", title=_title(answer))
    lower.plot(minutes, series.mouth_gas_degC, color=GAS, label="gas at the mouth")
    for place, position in enumerate(answer.positions_mm):
        skin = [row[place] for row in series.skin_degC]
        lower.plot(
            minutes, skin, color=SKIN, alpha=1 - 0.25 * place, label=f"skin, {position:g} mm"
        )
    lower.set(xlabel="min", ylabel="°C")
    lower.legend()


def _fit(answer: FitAnswer, upper: Axes, lower: Axes) -> None:
    places = [one.position_mm for one in answer.residuals]
    upper.errorbar(
        places,
        [one.displayed_degC for one in answer.residuals],
        yerr=[one.uncertainty_K for one in answer.residuals],
        fmt="o",
        color=GAS,
        label="displayed",
    )
    expected = [one.expected_degC for one in answer.residuals]
    upper.plot(places, expected, "_", markersize=14, color=SKIN, label="expected")
    upper.set(xlabel="from the mouth, mm", ylabel="°C", title=_title(answer))
    upper.legend()
    after, before, unit = answer.prediction.quiet_rpm, answer.prediction.before_fit.quiet_rpm, "rpm"
    if after is None or before is None:
        after, before = answer.prediction.resonance_Hz, answer.prediction.before_fit.resonance_Hz
        unit = "Hz"
    for height, levels in enumerate((before, after)):
        if levels is not None:
            lower.plot(levels.interval_90, (height, height), color=SKIN, linewidth=2)
            lower.plot(levels.interval_50, (height, height), color=SKIN, linewidth=7)
            lower.plot(levels.median, height, "o", color=GAS)
    lower.set_yticks((0, 1), ("before the fit", "after it"))
    lower.set_ylim(-0.5, 1.5)
    lower.set(xlabel=f"quiet {unit}, 50 and 90 %")


def _learn(answer: LearnAnswer, upper: Axes, lower: Axes) -> None:
    """Each job's tone as heard, over what is said of it without any job and by all others."""
    told = [(one.name, one.held_out) for one in answer.jobs if one.held_out is not None]
    for height, (_, held) in enumerate(told):
        for levels, up, width, color in (
            (held.untuned_Hz, 0.15, 2, TONE),
            (held.from_others_Hz, -0.15, 5, SKIN),
        ):
            ends = [100 * (end / held.heard_Hz - 1) for end in levels.interval_90]
            upper.plot(ends, (height + up, height + up), color=color, linewidth=width)
    upper.axvline(0.0, color=GAS)
    upper.set_yticks(range(len(told)), [name for name, _ in told])
    upper.set(xlabel="% above the tone heard; 90 % from the others (wide), from none (thin)")
    upper.set_title(_title(answer))
    widths = {one.name: one.width_ratio for one in answer.unknowns}
    lower.barh(list(widths), list(widths.values()), color=SKIN)
    lower.axvline(1.0, color=TONE)
    lower.set(xlabel="width of what is believed of the next job, over the usual one")


def _title(answer: WholeAnswer) -> str:
    return answer.report().partition("\n")[0]


def _numbers(values: list[float | None] | list[float]) -> list[float]:
    """What matplotlib draws; what is not there leaves a gap."""
    return [float("nan") if value is None else value for value in values]


_PICTURES: dict[str, Callable[[Any, Axes, Axes], None]] = {
    "SteadyAnswer": _steady,
    "LengthAnswer": _length,
    "WarmupAnswer": _warmup,
    "FitAnswer": _fit,
    "LearnAnswer": _learn,
}
