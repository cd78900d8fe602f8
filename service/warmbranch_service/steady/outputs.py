"""The single numbers of a steady answer, by their path in it, for many designs at once.

Each is rounded as ``answer.py`` rounds it: a sweep's row is what the steady answer of its design
says, digit for digit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from warmbranch.base.constants import ICE_POINT
from warmbranch_service.case.convert_batch import MM, PER_HOUR
from warmbranch_service.contract.rounding import digits, each, finite, places

if TYPE_CHECKING:
    from warmbranch.base.batch import FloatArray
    from warmbranch.steady.answer import Answer

Values = list[float | None]


@dataclass(frozen=True)
class Solved:
    """Designs that were solved.

    Parameters
    ----------
    answer : Answer
    orders : sequence of float or None
        Engine order of each design; None without an engine.
    levels : sequence of arrays, Hz
        First resonance of each design at ``prediction.LEVELS``, empty without one; of use only to
        outputs that :func:`needs_interval`.
    """

    answer: Answer
    orders: Sequence[float | None]
    levels: Sequence[FloatArray] = ()


@dataclass(frozen=True)
class Output:
    """One number of a steady answer.

    Parameters
    ----------
    unit : str
    of : callable
        From solved designs to a value a design; None where there is none.
    """

    unit: str
    of: Callable[[Solved], Values]


def _resonance(mode: int) -> Output:
    return Output("Hz", lambda s: [finite(f, 3) for f in s.answer.resonance[:, mode]])


def _quiet_rpm(solved: Solved) -> Values:
    first = solved.answer.resonance[:, 0].tolist()
    return [
        None if order is None else finite(60 * frequency / order, 1)
        for frequency, order in zip(first, solved.orders, strict=True)
    ]


def _digits(values: FloatArray, count: int) -> Values:
    return [digits(value, count) if math.isfinite(value) else None for value in values.tolist()]


def _of_end(name: str, node: int) -> Output:
    if name == "sound_speed_m_s":
        return Output("m/s", lambda s: [*each(s.answer.sound_speed[:, node], 2)])
    part = name.removesuffix("_degC")
    return Output(
        "degC", lambda s: [*each(getattr(s.answer.profile, part)[:, node] - ICE_POINT, 2)]
    )


def _level_of_rpm(place: int) -> Output:
    return Output(
        "rpm",
        lambda s: [
            None if order is None or len(levels) == 0 else places(levels[place] * 60 / order, 1)
            for levels, order in zip(s.levels, s.orders, strict=True)
        ],
    )


def _level_of_tone(place: int) -> Output:
    return Output(
        "Hz",
        lambda s: [None if len(levels) == 0 else places(levels[place], 2) for levels in s.levels],
    )


_LEVELS = {
    "median": 2,
    "interval_50[0]": 1,
    "interval_50[1]": 3,
    "interval_90[0]": 0,
    "interval_90[1]": 4,
}
"""Place of each among the levels of a prediction."""

INTERVAL_RPM = tuple(f"prediction.quiet_rpm.{name}" for name in _LEVELS)
INTERVAL_HZ = tuple(f"prediction.resonance_Hz.{name}" for name in _LEVELS)


def needs_interval(names: Iterable[str]) -> bool:
    """Whether one of these outputs is of an interval, which costs several solutions a design."""
    return any(name in INTERVAL_RPM or name in INTERVAL_HZ for name in names)


OUTPUTS: Mapping[str, Output] = {
    "resonance.quiet_rpm": Output("rpm", _quiet_rpm),
    "resonance.engine_order": Output("1", lambda s: [*s.orders]),
    "resonance.frequency_Hz[0]": _resonance(0),
    "resonance.frequency_Hz[1]": _resonance(1),
    "resonance.frequency_Hz[2]": _resonance(2),
    "resonance.quality_factor": Output("1", lambda s: _digits(s.answer.quality_factor, 4)),
    "estimates.transit_time_Hz": Output(
        "Hz", lambda s: [places(value, 3) for value in s.answer.transit_time]
    ),
    "estimates.one_temperature_Hz": Output(
        "Hz", lambda s: [places(value, 3) for value in s.answer.one_temperature]
    ),
    "effective_temperature_degC": Output(
        "degC", lambda s: [finite(value - ICE_POINT, 2) for value in s.answer.effective_temperature]
    ),
    "mouth_correction_mm": Output(
        "mm", lambda s: [places(value / MM, 2) for value in s.answer.mouth_correction]
    ),
    "centreline_length_mm": Output(
        "mm", lambda s: [places(value / MM, 2) for value in s.answer.length]
    ),
    "dew_point_degC": Output(
        "degC", lambda s: [finite(value - ICE_POINT, 1) for value in s.answer.dew_point]
    ),
    "main_pipe.mass_flow_kg_h": Output(
        "kg/h", lambda s: _digits(s.answer.case.main_pipe.mass_flow / PER_HOUR, 5)
    ),
    "main_pipe.gas_speed_m_s": Output("m/s", lambda s: _digits(s.answer.main_speed, 4)),
    "heat.entering_W": Output("W", lambda s: _digits(s.answer.profile.heat_entering, 5)),
    "heat.lost_W": Output("W", lambda s: _digits(s.answer.profile.heat_lost, 5)),
    "heat.closure_error": Output("1", lambda s: _digits(s.answer.profile.closure_error, 2)),
    **{
        f"profile.{name}[{node}]": _of_end(name, node)
        for node in (0, -1)
        for name in ("gas_degC", "wall_degC", "skin_degC", "sound_speed_m_s")
    },
    "solver.iterations": Output("1", lambda s: [float(n) for n in s.answer.profile.iterations]),
    **dict(zip(INTERVAL_RPM, map(_level_of_rpm, _LEVELS.values()), strict=True)),
    **dict(zip(INTERVAL_HZ, map(_level_of_tone, _LEVELS.values()), strict=True)),
}
"""Every number of the steady answer that one design has one of; [0] is at the mouth, [-1] at the
cap, and of an interval its ends. Left out: the number of nodes, which is the same for all, and
intervals of temperatures."""

LOSS = "attenuation.transmission_loss_dB"


def loss_name(value: float, unit: str) -> str:
    """Name of the transmission loss at one engine speed or frequency.

    >>> loss_name(2350.0, "rpm")
    'attenuation.transmission_loss_dB at 2350 rpm'
    """
    return f"{LOSS} at {value:.10g} {unit}"


def losses(
    solved: Solved, speeds_rpm: Sequence[float], frequencies: Sequence[float]
) -> list[Values]:
    """Transmission loss, one list of designs for each speed and then each frequency.

    Parameters
    ----------
    solved : Solved
    speeds_rpm : sequence of float, rpm
        Of no value, None, in designs without an engine.
    frequencies : sequence of float, Hz
    """
    if not speeds_rpm and not frequencies:
        return []
    designs = len(solved.orders)
    per_rpm = np.array([np.nan if order is None else order / 60 for order in solved.orders])
    asked = np.concatenate(
        [
            per_rpm[:, None] * np.array([speeds_rpm]).reshape(1, -1),
            np.tile(np.array(frequencies, dtype=np.float64), (designs, 1)),
        ],
        axis=1,
    )
    known = np.isfinite(asked)
    loss = solved.answer.transmission_loss(np.where(known, asked, 1.0))
    loss[~known] = np.nan
    return [[finite(value, 3) for value in column] for column in loss.T.tolist()]
