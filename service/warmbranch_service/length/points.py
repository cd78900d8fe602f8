"""From a request for a length to the physics: operating points, tones, and who counts how much."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case import case as physics
from warmbranch.length.compromise import Aim, Tones
from warmbranch.length.length_for_tone import reach as reach_of
from warmbranch.length.solve import Wanted
from warmbranch_service.case.convert import MM, Converted, to_physics
from warmbranch_service.case.gas import MixedGas
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.length.request import LengthRequest, OperatingPoint
from warmbranch_service.length.target import (
    FrequencyTarget,
    LoudnessTarget,
    QuietRpmTarget,
    RoadTarget,
)

THE_CASE = "the case"


@dataclass(frozen=True)
class Points:
    """A request in SI: one design an operating point.

    Parameters
    ----------
    names : tuple of str
    weight : (points,) array
    converted : tuple of Converted
    tone : (points,) array, Hz, or None
        Wanted at each point; None for a loudness curve.
    tones : Tones
    aim : Aim
    said : tuple of str
        What was worked out on the way, in words.
    """

    names: tuple[str, ...]
    weight: FloatArray
    converted: tuple[Converted, ...]
    tone: FloatArray | None
    tones: Tones
    aim: Aim
    said: tuple[str, ...]

    @property
    def case(self) -> physics.Case:
        """All points as one batch."""
        if len(self.converted) == 1:
            return self.converted[0].case
        return physics.Case.concatenate([converted.case for converted in self.converted])

    @property
    def order(self) -> float | None:
        """Engine order; the same at all points."""
        return self.converted[0].order

    @property
    def wanted(self) -> Wanted:
        """What is to be quietened at each point."""
        return Wanted(self.tones, self.weight, self.aim)

    @property
    def main(self) -> int:
        """The point that counts most."""
        return self.wanted.main


def points_of(request: LengthRequest, length: float | None = None) -> Points:
    """Work out operating points and tones.

    Parameters
    ----------
    request : LengthRequest
    length : float, m, optional
        For which a shop is asked what it learned; the case's own when left out.

    Raises
    ------
    Problem
        Where an operating point does not suit the case.
    """
    given = request.operating_points
    if given:
        cases = [_at(request.case, point, place) for place, point in enumerate(given)]
        names = tuple(point.name for point in given)
        weight = np.array([point.weight for point in given])
    else:
        cases, names, weight = [request.case], (THE_CASE,), np.ones(1)
    converted = tuple(to_physics(case, length=length) for case in cases)
    order = converted[0].order
    target = request.target
    usual = Aim.LOUDEST if isinstance(target, LoudnessTarget) else Aim.MEAN
    aim = usual if request.aim is None else Aim(request.aim)
    if isinstance(target, LoudnessTarget):
        assert order is not None, "the schema asks for an engine"
        tones = _curve(target, order, len(names))
        return Points(names, weight, converted, None, tones, aim, ())
    frequency, said = _tone(request, order)
    tone = np.full(len(names), frequency)
    for place, point in enumerate(given):
        if point.quiet_rpm is not None and order is not None:
            tone[place] = point.quiet_rpm * order / 60
    return Points(names, weight, converted, tone, Tones.single(tone), aim, said)


def _at(case: Case, point: OperatingPoint, place: int) -> Case:
    """The case at an operating point, checked like any case."""
    body: dict[str, Any] = case.model_dump(exclude_unset=True)
    changes = {
        "main_pipe": ("gas_temperature_degC", "mass_flow_kg_h"),
        "surroundings": ("air_temperature_degC", "air_speed_m_s", "pressure_kPa"),
    }
    for part, names in changes.items():
        for name in names:
            value = getattr(point, name)
            if value is not None:
                body.setdefault(part, {})[name] = value
    if point.gas_temperature_degC is not None:  # in place of what the case works it out from
        body["main_pipe"].pop("skin_reading", None)
        body["main_pipe"].pop("engine_load", None)
    if point.excess_air_ratio is not None:
        gas = case.main_pipe.gas
        if isinstance(gas, MixedGas):
            entry = Entry(
                ("operating_points", place, "excess_air_ratio"),
                "no_burnt_gas",
                "The case's gas is given by its composition, which no excess air changes.",
                "Leave it out, or give case.main_pipe.gas as a fuel.",
                point.excess_air_ratio,
                "1",
            )
            raise Problem(INVALID, entry.sentence(), entries=[entry])
        body["main_pipe"]["gas"] = {
            "fuel": gas.fuel,
            "excess_air_ratio": point.excess_air_ratio,
        }
    return Case.model_validate(body)


def _tone(request: LengthRequest, order: float | None) -> tuple[float, tuple[str, ...]]:
    """The tone wanted, Hz, and how it came about."""
    target = request.target
    if isinstance(target, FrequencyTarget):
        return target.frequency_Hz, ()
    assert order is not None, "the schema asks for an engine"
    if isinstance(target, QuietRpmTarget):
        return target.quiet_rpm * order / 60, ()
    assert isinstance(target, RoadTarget)
    turns = target.turns
    rpm = turns * 60
    text = (
        f"{target.road_speed_m_s * 3.6:.4g} km/h on wheels that roll "
        f"{target.circumference / MM:.0f} mm a turn are {rpm:.0f} rpm."
    )
    if not 50 <= rpm <= 30000:
        entry = Entry(
            ("target", "gear_ratio"),
            "no_engine_speed",
            f"Road speed, gears and wheel make {rpm:.4g} rpm.",
            "Check the ratios: they are engine turns for one of the wheel.",
            target.gear_ratio,
            "1",
        )
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    return turns * order, (text,)


def _curve(target: LoudnessTarget, order: float, points: int) -> Tones:
    per_rpm = order / 60
    low, high = (end * per_rpm for end in target.band)
    return Tones.from_curve(
        np.array([point.rpm for point in target.loudness]) * per_rpm,
        np.array([point.level_dB for point in target.loudness]),
        low,
        high,
        points,
    )


def out_of_reach(
    request: LengthRequest, order: float | None, reach: tuple[float, float], place: int = 0
) -> Problem:
    """The refusal of a tone that no admissible branch can have.

    Parameters
    ----------
    request : LengthRequest
    order : float, optional
    reach : two float, Hz
        What the longest and the shortest admissible branch resonate at; NaN where it does not.
    place : int
        Of the operating point whose tone it is.
    """
    target = request.target
    own = [point.quiet_rpm for point in request.operating_points[place : place + 1]]
    path: tuple[str | int, ...] = ("target", "loudness")
    value, unit = None, "dB"
    if own and own[0] is not None:
        path, value, unit = ("operating_points", place, "quiet_rpm"), own[0], "rpm"
    elif isinstance(target, QuietRpmTarget):
        path, value, unit = ("target", "quiet_rpm"), target.quiet_rpm, "rpm"
    elif isinstance(target, FrequencyTarget):
        path, value, unit = ("target", "frequency_Hz"), target.frequency_Hz, "Hz"
    elif isinstance(target, RoadTarget):
        path, value, unit = ("target", "road_speed_m_s"), target.road_speed_m_s, "m/s"
    low, high = reach
    if math.isnan(low) or math.isnan(high):
        detail = "Losses leave a branch of this bore no resonance at this tone."
        remedy = "Give a wider tube, or a higher target."
    else:
        span = f"{low:.4g} to {high:.4g} Hz"
        if order is not None:
            # Rounded inwards, so that what is told can be had.
            slow, quick = math.ceil(low * 60 / order), math.floor(high * 60 / order)
            span += f" ({slow} to {quick} rpm)"
        detail = f"No admissible length of this tube serves: those have {span}."
        remedy = "Give a target within that"
        remedy += ", or another engine order." if order is not None else "."
    entry = Entry(path, "target_out_of_reach", detail, remedy, value, unit)
    return Problem(INVALID, entry.sentence(), entries=[entry])


def band_out_of_reach(
    case: physics.Case, band: tuple[float, float], *, by_rpm: bool, order: float | None
) -> Problem:
    """The refusal of a band of two branches that no admissible branch comes near.

    Parameters
    ----------
    case : warmbranch.Case
        One design.
    band : two float, Hz
    by_rpm : bool
        The band was given as engine speeds.
    order : float, optional
    """
    reach = reach_of(case)
    end = "from" if band[1] < reach[0] else "to"
    rising = band[0] if end == "from" else band[1]
    per_hertz, unit = (60 / order, "rpm") if by_rpm and order is not None else (1.0, "Hz")
    those = " to ".join(f"{tone * per_hertz:.4g}" for tone in reach if not math.isnan(tone))
    entry = Entry(
        ("two_branches", f"band_{end}_{unit}"),
        "band_out_of_reach",
        f"No admissible length of this tube serves the band: those have {those} {unit}.",
        "Give a band within that, or leave it out: then it lies around the target.",
        rising * per_hertz,
        unit,
    )
    return Problem(INVALID, entry.sentence(), entries=[entry])
