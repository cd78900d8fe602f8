"""How resonance and cancellation wander while the branch warms up."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.case.geometry import SHORTEST_IN_BORES
from warmbranch.gas.gas import MixtureTable
from warmbranch.gas.saturation import dew_point
from warmbranch.heat.main_pipe_film import with_own_film
from warmbranch.sound import acoustics, discretisation
from warmbranch.sound.acoustics import Duct
from warmbranch.sound.mouth import mouth_lengths, over_flow
from warmbranch.sound.mouth_loss import mouth_loss, mouth_velocity
from warmbranch.sound.resonance import resonances
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve
from warmbranch.steady.stepped import bore_ratios
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import WarmUp
from warmbranch.warming.storage import main_gas

LENGTH_STEP = 0.01
"""Relative change of length by which the resonance's response to length is measured."""

SHORTEST_PLATEAU = 60.0
"""s. Shorter rests of the curves are not reported as plateaus."""


@dataclass(frozen=True)
class Wander:
    """What is heard against time; every array has the design leading.

    Parameters
    ----------
    time : (times,) array, s
    frequency : (designs, times) array, Hz
        First resonance; NaN where losses leave none.
    loss : (designs, times) array, dB
        Transmission loss at ``driven``.
    driven : (designs,) array, Hz
    mouth_gas : (designs, times) array, K
    wet : (designs, times) array of bool
        Whether any of the wall is below the gas's dew point.
    dew_point : (designs,) array, K
    """

    time: FloatArray
    frequency: FloatArray
    loss: FloatArray
    driven: FloatArray
    mouth_gas: FloatArray
    wet: BoolArray
    dew_point: FloatArray

    def time_within(self, warm: FloatArray, share: float) -> FloatArray:
        """Time from which the resonance stays within ``share`` of ``warm``, (designs,), s.

        Straight between the reported times; NaN where it is still outside at the end, 0 where it
        always was within.
        """
        off = np.abs(self.frequency / warm[:, None] - 1)
        outside = ~(off <= share)
        found = np.zeros(len(off))
        for i in np.flatnonzero(outside.any(axis=1)):
            last = len(self.time) - 1 - int(np.argmax(outside[i, ::-1]))
            if last == len(self.time) - 1:
                found[i] = np.nan
                continue
            before, after = off[i, last], off[i, last + 1]
            part = (before - share) / (before - after) if np.isfinite(before) else 1.0
            found[i] = self.time[last] + part * (self.time[last + 1] - self.time[last])
        return found

    def dry_from(self) -> FloatArray:
        """First reported time from which no wall is wet any more, (designs,), s; NaN if none."""
        found = np.zeros(len(self.wet))
        for i in np.flatnonzero(self.wet.any(axis=1)):
            last = len(self.time) - 1 - int(np.argmax(self.wet[i, ::-1]))
            found[i] = self.time[last + 1] if last + 1 < len(self.time) else np.nan
        return found


def wander(warmup: WarmUp, driven: FloatArray) -> Wander:
    """Resonance and transmission loss at every reported time.

    Parameters
    ----------
    warmup : WarmUp
    driven : (designs,) array, Hz
        Tone at which the transmission loss is told.

    Notes
    -----
    The gas crosses the branch in milliseconds and the wall takes minutes, so the sound of each
    moment is that of its frozen temperatures.
    """
    case, size, count = warmup.case, len(warmup.case), len(warmup.time)
    duct, main_impedance, sound_speed = ducts(warmup)
    frequency, _ = resonances(duct, modes=1)
    tone = np.repeat(driven, count)[:, None]
    impedance = acoustics.input_impedance(duct, tone)[:, 0]
    impedance += _resisting(warmup, main_impedance, sound_speed, impedance.real)
    loss = acoustics.transmission_loss(impedance, main_impedance)
    dew = dew_point(case.gas, case.surroundings.pressure)
    return Wander(
        time=warmup.time,
        frequency=frequency.reshape(size, count),
        loss=loss.reshape(size, count),
        driven=driven,
        mouth_gas=warmup.main_gas,
        # A comparison with NaN, the dew point of a dry gas, is false.
        wet=warmup.wall.min(axis=2) < dew[:, None],
        dew_point=dew,
    )


def _resisting(
    warmup: WarmUp, main_impedance: FloatArray, sound_speed: FloatArray, wall: FloatArray
) -> FloatArray:
    """What resists at the mouth at each moment, (designs × times,), Pa s/m³.

    ``wall`` is what the branch's wall resists, alike.
    """
    case, count = warmup.case, len(warmup.time)

    def each(value: FloatArray) -> FloatArray:
        return np.repeat(value, count)

    section, main_section = each(case.branch.bore_area), each(case.main_pipe.bore_area)
    characteristic = main_impedance * main_section
    found = mouth_loss(
        flow_loss=each(case.closures.flow_loss),
        level_loss=each(case.closures.level_loss),
        mach=warmup.mass_flow.ravel() / (main_section * characteristic),
        sound_speed=sound_speed,
        characteristic=characteristic,
        cap_pressure=each(case.main_pipe.cap_pressure),
        incident_pressure=each(case.main_pipe.incident_pressure),
        area_ratio=section / main_section,
        wall=wall * section / characteristic,
    )
    return found.all * characteristic / section


def ducts(warmup: WarmUp) -> tuple[Duct, FloatArray, FloatArray]:
    """Design by design, every reported time as one duct; the main pipe's ρ c / S and c with it."""
    case, count = warmup.case, len(warmup.time)
    branch, closures, pressure = case.branch, case.closures, case.surroundings.pressure
    fractions = case.gas.mole_fractions
    if np.all(fractions == fractions[0]):
        gas = MixtureTable.of(case.gas.take(slice(1)))
    else:
        gas = MixtureTable.of(case.gas).take(np.repeat(np.arange(len(case)), count))

    def each(value: FloatArray) -> FloatArray:
        return np.repeat(value, count, axis=0)

    temperature = warmup.gas.reshape(-1, warmup.gas.shape[2])
    hot = warmup.main_gas.reshape(-1, 1)
    density = gas.density(hot, each(pressure))[:, 0]
    speed = gas.sound_speed(hot)[:, 0]
    pipe = case.main_pipe
    passing = warmup.mass_flow.ravel() / (density * each(pipe.bore_area))
    velocity = mouth_velocity(
        flow_loss=each(closures.flow_loss),
        level_loss=each(closures.level_loss),
        mach=passing / speed,
        sound_speed=speed,
        characteristic=density * speed,
        cap_pressure=each(pipe.cap_pressure),
        incident_pressure=each(pipe.incident_pressure),
        area_ratio=each(branch.bore_area / pipe.bore_area),
        wall=0.0,
    )
    again, level = (
        closures.take(np.repeat(np.arange(len(case)), count)),
        over_flow(velocity, passing),
    )
    still, grazed = mouth_lengths(again, each(branch.bore), each(pipe.bore), level)
    per_length = density / each(branch.bore_area * closures.tone)
    inertance_ratio, area_ratio = bore_ratios(branch, warmup.position)
    duct = discretisation.duct(
        each(warmup.position / closures.tone[:, None]),
        temperature,
        gas,
        each(pressure),
        radius=each(branch.bore / 2),
        inertance_ratio=each(inertance_ratio),
        mouth_inertance=per_length * still,
        wall_losses=np.repeat(closures.wall_losses, count),
        wall=warmup.wall.reshape(temperature.shape),
        dried=warmup.dried.reshape(temperature.shape),
        area_ratio=None if area_ratio is None else each(area_ratio),
        grazed_inertance=per_length * grazed,
        crossing_time=over_flow(each(branch.bore), passing),
    )
    return duct, density * speed / each(case.main_pipe.bore_area), speed


def warm_case(case: Case, drive: Drive) -> Case:
    """The condition that a warm-up ends in: what the curves end with, the case's own elsewhere.

    A named start ends in the case's running condition, and a stop began in it.
    """
    if drive.lag is not None:
        return case
    return case_at(case, drive, drive.duration)


def case_at(case: Case, drive: Drive, time: float) -> Case:
    """The case with gas temperature, mass flow and air speed of one moment of the curves."""
    moment = np.array([time])
    hot = main_gas(drive.forcing(case), moment)[:, 0]
    own = with_own_film(case)
    pipe, outside = own.main_pipe, own.surroundings
    flow = pipe.mass_flow if drive.mass_flow is None else drive.mass_flow.before(moment)
    air = outside.air_speed if drive.air_speed is None else drive.air_speed.before(moment)
    return replace(
        own,
        main_pipe=replace(pipe, gas_temperature=hot, mass_flow=flow),
        surroundings=replace(outside, air_speed=air),
    )


def plateaus(drive: Drive) -> list[tuple[float, float]]:
    """Stretches during which all curves rest, as (beginning, end), s."""
    if drive.lag is not None:
        return []
    breaks = drive.breaks()
    found: list[tuple[float, float]] = []
    for begin, end in pairwise(breaks):
        ends = np.array([begin]), np.array([end])
        rests = all(c.after(ends[0])[0] == c.before(ends[1])[0] for c in drive.curves)
        joins = (
            found
            and found[-1][1] == begin
            and all(c.before(ends[0])[0] == c.after(ends[0])[0] for c in drive.curves)
        )
        if rests and joins:
            found[-1] = (found[-1][0], float(end))
        elif rests:
            found.append((float(begin), float(end)))
    return [(begin, end) for begin, end in found if end - begin >= SHORTEST_PLATEAU]


def steady_at_plateaus(case: Case, drive: Drive) -> tuple[list[tuple[float, float]], Answer | None]:
    """The plateaus of the curves, and one design's steady answer to each."""
    rests = plateaus(drive)
    if not rests:
        return [], None
    return rests, solve(Case.concatenate([case_at(case, drive, end) for _, end in rests]))


def length_per_frequency(case: Case) -> FloatArray:
    """How much longer a branch must be for a resonance 1 Hz higher, (designs,), m/Hz; negative.

    By solving the whole model for two lengths about the branch's own, or from there on where it
    is the shortest that the model holds for.
    """
    length = case.branch.length
    low = np.maximum(length * (1 - LENGTH_STEP / 2), SHORTEST_IN_BORES * case.branch.bore)
    ends = [np.minimum(low, length), length * (1 + LENGTH_STEP / 2)]
    both = Case.concatenate(
        [replace(case, branch=case.branch.with_length(length)) for length in ends]
    )
    first = solve(both).resonance[:, 0].reshape(2, -1)
    return (ends[1] - ends[0]) / (first[1] - first[0])
