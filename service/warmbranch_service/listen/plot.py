"""A picture of what is heard."""

from __future__ import annotations

import io
from typing import Any

from warmbranch_service.listen.answer_schema import ListenAnswer


class NoPlot(Exception):
    """The picture cannot be drawn; its text says why."""


def drawn(answer: ListenAnswer) -> bytes:
    """The picture as PNG.

    Raises
    ------
    NoPlot
        Without matplotlib.
    """
    out = io.BytesIO()
    figure_of(answer).savefig(out, format="png", dpi=110)
    return out.getvalue()


def figure_of(answer: ListenAnswer) -> Any:
    """Engine speed over time, and loudness over engine speed, as a matplotlib figure.

    Raises
    ------
    NoPlot
        Without matplotlib.
    """
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise NoPlot(
            'A picture needs matplotlib: pip install "warmbranch[plot]". Or leave --plot out.'
        ) from None
    figure: Any = Figure(figsize=(8, 7), layout="constrained")
    speed, loud = figure.subplots(2, 1)
    for number, one in enumerate(answer.recordings, start=1):
        rpm = [float("nan") if value is None else value for value in one.track.rpm]
        speed.plot(one.track.time_s, rpm, label=f"{one.side}, recording {number}")
    speed.set(xlabel="time, s", ylabel="engine speed, rpm", title=answer.summary)
    speed.title.set_fontsize(9)
    speed.title.set_wrap(True)
    for curve in answer.loudness:
        loud.plot(curve.rpm, curve.level_dBA, label=curve.side)
    notch = answer.notch
    if notch is not None and notch.quiet_rpm is not None:
        loud.axvspan(*notch.quiet_rpm.interval_90, alpha=0.25, label="quiet rpm, 90 %")
    if answer.drone is not None:
        loud.axvline(answer.drone.rpm, linestyle=":", label="drone")
    loud.set(xlabel="engine speed, rpm", ylabel="level, dB(A), own zero")
    for axes in (speed, loud):
        axes.grid(alpha=0.3)
        if axes.get_legend_handles_labels()[0]:
            axes.legend(fontsize=8)
    return figure
