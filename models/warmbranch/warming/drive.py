"""How a warm-up is driven: curves of gas temperature, mass flow and air speed against time.

A curve is straight between its points; two points at one time are a jump. Before its end a curve
is as drawn, after it stays at the last value.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError
from warmbranch.case.case import Case
from warmbranch.gas.gas import check_range
from warmbranch.warming.storage import Forcing

LONGEST = 6 * 3600.0
"""s. Longest warm-up."""

COLD_START_TIMES = (30.0, 240.0)
"""s. Time constants of the gas at the mouth after a cold start: the engine's gas itself, and the
metal upstream that takes heat from it. Our assumption; no measurement stands behind it."""

COLD_START_SHARES = (0.6, 0.4)
"""Shares of the rise that go with ``COLD_START_TIMES``. Our assumption."""

STOP_TIME = 600.0
"""s. Time constant of the gas at the mouth after the engine has stopped: that of the pipe around
it. Our assumption."""


@dataclass(frozen=True)
class Curve:
    """One quantity against time.

    Parameters
    ----------
    name : str
        Of the quantity, for refusals: ``"gas_temperature"``.
    unit : str
        SI.
    time, value : (points,) array
        s, from 0 on, never falling; at most two points at one time.
    """

    name: str
    unit: str
    time: FloatArray
    value: FloatArray

    def __post_init__(self) -> None:
        time = self.time
        if len(time) == 0:
            raise self._refused("The curve is empty.", "[]", "Give at least one point at 0 s.")
        if time[0] != 0:
            raise self._refused(
                "The curve does not begin at the start.", float(time[0]), "Give a point at 0 s."
            )
        back = np.diff(time) < 0
        if np.any(back):
            raise self._refused(
                "The curve goes back in time.",
                float(time[1:][back][0]),
                "Give points in the order of their times.",
            )
        if np.any((np.diff(time)[1:] == 0) & (np.diff(time)[:-1] == 0)):
            raise self._refused(
                "The curve has more than two points at one time.",
                float(time[1:-1][(np.diff(time)[1:] == 0) & (np.diff(time)[:-1] == 0)][0]),
                "Give at most two points at one time, which are a jump.",
            )

    def _refused(self, message: str, value: object, remedy: str) -> InputError:
        return InputError(message, field=f"{self.name}_curve", value=value, unit="s", remedy=remedy)

    def before(self, time: FloatArray) -> FloatArray:
        """Values just before the times, (times,)."""
        return self._at(time, "left")

    def after(self, time: FloatArray) -> FloatArray:
        """Values just after the times, (times,)."""
        return self._at(time, "right")

    def _at(self, time: FloatArray, side: str) -> FloatArray:
        if len(self.time) == 1:
            return np.full(len(time), self.value[0])
        place = np.searchsorted(self.time, time, side="right" if side == "right" else "left")
        place = np.clip(place, 1, len(self.time) - 1)
        begin, end = self.time[place - 1], self.time[place]
        width = end - begin
        share = np.where(width > 0, (time - begin) / np.where(width > 0, width, 1.0), 1.0)
        share = np.clip(share, 0.0, 1.0)
        return self.value[place - 1] + share * (self.value[place] - self.value[place - 1])


@dataclass(frozen=True)
class Lag:
    """A gas temperature that goes from one value to another with time constants.

    Parameters
    ----------
    times : (n,) or (designs, n) array, s
    shares : (n,) array, dimensionless
        Summing to 1.
    falls : bool
        From the running temperature to that of the air, instead of the other way.
    """

    times: FloatArray
    shares: FloatArray
    falls: bool = False


@dataclass(frozen=True)
class Drive:
    """How a warm-up is driven.

    Parameters
    ----------
    duration : float, s
    gas_temperature : Curve, optional
        At the mouth, K, of the case that the curve was drawn for; without it (and without
        ``lag``) the running temperature from the first moment on.
    mass_flow, air_speed : Curve, optional
        kg/s, m/s; without them, those of each design.
    lag : Lag, optional
        In place of a curve of the gas temperature.
    drawn_for : (float, float), optional
        Air and running gas temperature, K, of the case that the curve of the gas temperature was
        drawn for. Designs with others (draws of a calibration) get the curve's excess over the
        air in proportion; without it the curve holds as it stands for all.
    warm : bool
        Whether the walls begin in balance with the curves' first values, instead of at the
        temperature of the air.
    """

    duration: float
    gas_temperature: Curve | None = None
    mass_flow: Curve | None = None
    air_speed: Curve | None = None
    lag: Lag | None = None
    drawn_for: tuple[float, float] | None = None
    warm: bool = False

    def __post_init__(self) -> None:
        if not 0 < self.duration <= LONGEST:
            raise InputError(
                "A warm-up lasts some time, and at most six hours.",
                field="duration",
                value=self.duration,
                unit="s",
                remedy=f"Give a duration above 0 and at most {LONGEST:g} s.",
            )
        if self.gas_temperature is not None:
            check_range(self.gas_temperature.value, "gas_temperature_curve")

    @classmethod
    def cold_start(
        cls,
        duration: float,
        times: tuple[float, ...] = COLD_START_TIMES,
        shares: tuple[float, ...] = COLD_START_SHARES,
    ) -> Drive:
        """The gas rises from the air's temperature to the running one; flow and air as running."""
        return cls(duration, lag=Lag(np.array(times), np.array(shares)))

    @classmethod
    def engine_stop(cls, duration: float, time: float = STOP_TIME) -> Drive:
        """Warm through, then no flow: the gas falls to the air's temperature."""
        none = Curve("mass_flow", "kg/s", np.zeros(1), np.zeros(1))
        lag = Lag(np.array([time]), np.ones(1), falls=True)
        return cls(duration, mass_flow=none, lag=lag, warm=True)

    def paced(self, factor: FloatArray) -> Drive:
        """The same drive, each design's time constants times its own of (designs,) factors."""
        if self.lag is None:
            return self
        return replace(self, lag=replace(self.lag, times=self.lag.times * factor[:, None]))

    @property
    def curves(self) -> tuple[Curve, ...]:
        """Those that are drawn."""
        every = (self.gas_temperature, self.mass_flow, self.air_speed)
        return tuple(curve for curve in every if curve is not None)

    def breaks(self) -> FloatArray:
        """Times at which a curve bends or jumps, the beginning and the end, s."""
        times = [np.array([0.0, self.duration]), *(curve.time for curve in self.curves)]
        every = np.unique(np.concatenate(times))
        return every[every <= self.duration]

    def forcing(self, case: Case) -> Forcing:
        """The curves of a batch, piece by piece."""
        breaks = self.breaks()
        gas, amount, rate = self._gas(case, breaks)
        flow = _pieces(self.mass_flow, case.main_pipe.mass_flow, breaks)
        air = _pieces(self.air_speed, case.surroundings.air_speed, breaks)
        width = np.diff(breaks)
        jumps = np.zeros(len(width), dtype=np.bool_)
        jumps[0] = True
        for begin, end in (gas, flow, air):
            jumps[1:] |= np.any(begin[:, 1:] != end[:, :-1], axis=0)
        return Forcing(
            breaks=breaks,
            jumps=jumps,
            gas_start=gas[0],
            gas_slope=(gas[1] - gas[0]) / width,
            flow_start=flow[0],
            flow_slope=(flow[1] - flow[0]) / width,
            air_start=air[0],
            air_slope=(air[1] - air[0]) / width,
            lag_amount=amount,
            lag_rate=rate,
        )

    def _gas(
        self, case: Case, breaks: FloatArray
    ) -> tuple[tuple[FloatArray, FloatArray], FloatArray, FloatArray]:
        air, running = case.surroundings.air_temperature, case.main_pipe.gas_temperature
        none = np.zeros((len(case), 0)), np.zeros((len(case), 0))
        if self.lag is not None:
            end, begin = (air, running) if self.lag.falls else (running, air)
            amount = (begin - end)[:, None] * self.lag.shares
            rate = np.broadcast_to(1 / self.lag.times, amount.shape).copy()
            return _pieces(None, end, breaks), amount, rate
        begin, end = _pieces(self.gas_temperature, running, breaks)
        if self.gas_temperature is not None and self.drawn_for is not None:
            own_air, own_gas = self.drawn_for
            if own_gas != own_air:
                stretch = (running - air) / (own_gas - own_air)
            else:
                stretch = np.ones_like(air)
            begin, end = (
                air[:, None] + (value - own_air) * stretch[:, None] for value in (begin, end)
            )
        return (begin, end), *none


def _pieces(
    curve: Curve | None, constant: FloatArray, breaks: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Values at the beginning and the end of each piece, (designs, pieces)."""
    shape = (len(constant), len(breaks) - 1)
    if curve is None:
        level = np.broadcast_to(constant[:, None], shape).copy()
        return level, level.copy()
    begin, end = curve.after(breaks[:-1]), curve.before(breaks[1:])
    return np.broadcast_to(begin, shape).copy(), np.broadcast_to(end, shape).copy()
