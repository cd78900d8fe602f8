"""What is around the branch, as far as a request leaves it open or marks it as guessed.

Where its spread is 0 each of these is known, as it always is to a fit: readings see them through
the outer film's factor.
"""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.unknown import STILL_AIR, Gaussian, Spreads, Unknown
from warmbranch.case.case import Case


def air_speed() -> Unknown:
    """The air's speed across the branch; a little even where it is called still."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        acts = np.isnan(case.closures.fixed_outer_film[0])
        speed = float(case.surroundings.air_speed[0]) or STILL_AIR
        uncertain = acts and spreads.air_speed > 0
        return Gaussian(float(np.log(speed)), spreads.air_speed) if uncertain else None

    def value(_: Case, coordinate: FloatArray) -> FloatArray:
        return np.exp(coordinate)

    def apply(case: Case, coordinate: FloatArray) -> Case:
        return case.changed(surroundings=case.surroundings.changed(air_speed=np.exp(coordinate)))

    return Unknown("air_speed", "m/s", of_case, apply, value)


def radiant_temperature() -> Unknown:
    """What the branch radiates to, front and rear alike."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        # Ten deviations above absolute zero: no draw comes near it.
        within = float(case.surroundings.radiant_temperature[0]) / 10
        spread = min(spreads.radiant_temperature, within)
        acts = case.covering.emissivity[0] > 0
        return Gaussian(0.0, spread) if acts and spread > 0 else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        return case.surroundings.radiant_temperature + coordinate

    def apply(case: Case, coordinate: FloatArray) -> Case:
        outside = case.surroundings
        behind = outside.rear_radiant_temperature + coordinate
        return case.changed(
            surroundings=outside.changed(
                radiant_temperature=value(case, coordinate), rear_radiant_temperature=behind
            )
        )

    return Unknown("radiant_temperature", "K", of_case, apply, value)


def rise() -> Unknown:
    """How steeply the branch climbs."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        return Gaussian(0.0, spreads.rise) if spreads.rise > 0 else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        # Beyond upright the branch comes down on the other side.
        return np.arcsin(np.sin(case.branch.rise + coordinate))

    def apply(case: Case, coordinate: FloatArray) -> Case:
        return case.changed(branch=case.branch.changed(rise=value(case, coordinate)))

    return Unknown("rise", "rad", of_case, apply, value)


def wrap_conductivity() -> Unknown:
    """Of the wrap, as fitted."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        wrapped = case.covering.wrap_thickness[0] > 0 and spreads.wrap_conductivity > 0
        return Gaussian(0.0, spreads.wrap_conductivity) if wrapped else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        return case.covering.wrap_conductivity * np.exp(coordinate)

    def apply(case: Case, coordinate: FloatArray) -> Case:
        covering = case.covering.changed(wrap_conductivity=value(case, coordinate))
        return case.changed(covering=covering)

    return Unknown("wrap_conductivity", "W/(m K)", of_case, apply, value)
