"""What a case leaves uncertain, and how each unknown acts on it.

Every unknown has one coordinate in which its prior is normal: the logarithm of a positive
coefficient, the shift of a temperature, the shift of an emissivity's logit. Coefficients are
absolute; temperatures and emissivity are told relative to what the case says of them, so that
what was learned on one day and length serves another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.unknown import TABLE_MARGIN, Gaussian, Spreads, Unknown, log_spread
from warmbranch.belief.unknowns_around import (
    air_speed,
    radiant_temperature,
    rise,
    wrap_conductivity,
)
from warmbranch.case.case import Case
from warmbranch.case.closures import (
    BUOYANCY,
    MOST_STIRRING,
    MOUTH_EXCHANGE,
    MOUTH_FACTOR,
    OUTER_FILM_FACTOR,
    PULSATION,
    REACH,
    SHARPNESS,
    STANTON,
    STIRRED_FILM,
    STIRRING,
    TONE,
    TONE_EXCHANGE,
    Closures,
    Prior,
    at_mouth,
)
from warmbranch.gas.gas import COLDEST, HOTTEST

HALF_SQUARE = np.pi / 4
"""rad. Lean of the mouth at which the next three are told; they go with it."""

LEAN_EXCHANGE, LEAN_STIRRING = float(np.log(2.7)), float(np.log(3.0))
"""What a mouth that leans by 45° adds, as one standard deviation of the logarithm, to exchange and
stirring. One run of our own simulation, downstream, had 2.7 times the exchange and some three times
the stirring two bores in; nobody measured it, and upstream is not known."""

LEAN_MOUTH = 0.6
"""The same of the mouth correction: 0.3 radii of 0.5, in our judgement; no formula was found."""

BEND = 4.0
"""How sharply a strength bends towards its bound: at the usual 0.29, it takes off 0.2 %."""


def _coefficient(
    name: str, prior: Prior, replaced_by: str | None, *, needs_flow: bool = False
) -> Unknown:
    """A positive coefficient of ``Closures``; centred on the case's own value."""

    def of_case(case: Case, _: Spreads) -> Gaussian | None:
        value = float(getattr(case.closures, name)[0])
        fixed = replaced_by is not None and not np.isnan(getattr(case.closures, replaced_by)[0])
        still = needs_flow and not case.main_pipe.mass_flow[0] > 0
        if fixed or still or not value > 0:
            return None
        return Gaussian(float(np.log(value)), log_spread(prior))

    def apply(case: Case, coordinate: FloatArray) -> Case:
        return case.changed(closures=case.closures.changed(**{name: np.exp(coordinate)}))

    def value(_: Case, coordinate: FloatArray) -> FloatArray:
        return np.exp(coordinate)

    return Unknown(name, "1", of_case, apply, value)


def _pulsation() -> Unknown:
    plain = _coefficient("pulsation", PULSATION, "fixed_diffusivity")

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        silent = not case.main_pipe.incident_pressure[0] > 0
        return None if silent else plain.prior(case, spreads)

    return replace(plain, prior=of_case)


def _resists(plain: Unknown) -> Unknown:
    """One that matters where the mouth resists."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        free = np.isinf(case.closures.mouth_exchange[0])
        return None if free else plain.prior(case, spreads)

    return replace(plain, prior=of_case)


def _leaning(plain: Unknown, at_45_degrees: float) -> Unknown:
    """One that is known worse where the mouth leans."""

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        own = plain.prior(case, spreads)
        lean = abs(float(case.branch.lean[0])) / HALF_SQUARE
        if own is None or lean == 0:
            return own
        return Gaussian(own.centre, float(np.hypot(own.spread, at_45_degrees * lean)))

    return replace(plain, prior=of_case)


def _tone_exchange() -> Unknown:
    """With the tone's pressure, where it is not known: they act as a product."""
    plain = _resists(_coefficient("tone_exchange", TONE_EXCHANGE, None))

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        own = plain.prior(case, spreads)
        if own is None:
            return None
        driven = case.main_pipe.incident_pressure[0] > 0
        unknown = 0.0 if driven else spreads.cap_pressure
        return Gaussian(own.centre, float(np.hypot(own.spread, unknown)))

    return replace(plain, prior=of_case)


def _stirring() -> Unknown:
    """Told two bores in, where it is known best: see closures.py."""
    plain = _coefficient("stirring", STIRRING, "fixed_diffusivity", needs_flow=True)

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        own = plain.prior(case, spreads)
        fall = 2 / float(case.closures.reach[0])
        return None if own is None else Gaussian(own.centre - fall, own.spread)

    return replace(plain, prior=of_case)


def _tone() -> Unknown:
    """With what the gas and the length, which are of one case alone, do to it."""
    plain = _coefficient("tone", TONE, None)

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        centre, spread = plain.prior(case, spreads) or Gaussian(0.0, 0.0)
        alone = np.hypot(spreads.composition, spreads.length / float(case.branch.length[0]))
        return Gaussian(centre + spreads.composition_shift, float(np.hypot(spread, alone)))

    return replace(plain, prior=of_case)


def _emissivity() -> Unknown:
    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        own = float(case.covering.emissivity[0])
        # 0 switches radiation off and 1 is a definition: neither is a guess.
        uncertain = 0 < own < 1 and spreads.emissivity > 0
        return Gaussian(0.0, spreads.emissivity) if uncertain else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        return shifted_emissivity(case.covering.emissivity, coordinate)

    def apply(case: Case, coordinate: FloatArray) -> Case:
        covering = case.covering.changed(emissivity=value(case, coordinate))
        return case.changed(covering=covering)

    return Unknown("emissivity", "1", of_case, apply, value)


def shifted_emissivity(emissivity: FloatArray, coordinate: FloatArray) -> FloatArray:
    """Emissivity whose logit lies ``coordinate`` above that of ``emissivity``."""
    odds = emissivity / (1 - emissivity) * np.exp(coordinate)
    return odds / (1 + odds)


def _air_temperature() -> Unknown:
    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        within = (float(case.surroundings.air_temperature[0]) - COLDEST) / TABLE_MARGIN
        spread = min(spreads.air_temperature, within)
        return Gaussian(0.0, spread) if spread > 0 else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        return case.surroundings.air_temperature + coordinate

    def apply(case: Case, coordinate: FloatArray) -> Case:
        outside = case.surroundings
        # Radiant surroundings that were taken to be as warm as the air stay so.
        follows = outside.radiant_temperature == outside.air_temperature
        behind = outside.rear_radiant_temperature == outside.rear_air_temperature
        return case.changed(
            surroundings=outside.changed(
                air_temperature=outside.air_temperature + coordinate,
                radiant_temperature=outside.radiant_temperature
                + np.where(follows, coordinate, 0.0),
                rear_air_temperature=outside.rear_air_temperature + coordinate,
                rear_radiant_temperature=outside.rear_radiant_temperature
                + np.where(behind, coordinate, 0.0),
            ),
        )

    return Unknown("air_temperature", "K", of_case, apply, value)


def _gas_temperature() -> Unknown:
    def excess(case: Case) -> FloatArray:
        return case.main_pipe.gas_temperature - case.surroundings.air_temperature

    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        air, over = float(case.surroundings.air_temperature[0]), float(excess(case)[0])
        if over == 0:
            return None
        within = np.log(((HOTTEST if over > 0 else COLDEST) - air) / over) / TABLE_MARGIN
        wanted = max(spreads.gas_temperature, spreads.least_gas_temperature / abs(over))
        spread = min(wanted, float(within))
        return Gaussian(0.0, spread) if spread > 0 else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        found = case.surroundings.air_temperature + excess(case) * np.exp(coordinate)
        # Beyond where gases are known nothing is believed: a search far from sense, or a draw of
        # gas that is all but as warm as the air, would go below 0 K.
        return np.clip(found, COLDEST, HOTTEST)

    def apply(case: Case, coordinate: FloatArray) -> Case:
        pipe = case.main_pipe.changed(gas_temperature=value(case, coordinate))
        return case.changed(main_pipe=pipe)

    return Unknown("gas_temperature", "K", of_case, apply, value)


def _mass_flow() -> Unknown:
    def of_case(case: Case, spreads: Spreads) -> Gaussian | None:
        flows = case.main_pipe.mass_flow[0] > 0 and spreads.mass_flow > 0
        return Gaussian(0.0, spreads.mass_flow) if flows else None

    def value(case: Case, coordinate: FloatArray) -> FloatArray:
        return case.main_pipe.mass_flow * np.exp(coordinate)

    def apply(case: Case, coordinate: FloatArray) -> Case:
        pipe = case.main_pipe.changed(mass_flow=value(case, coordinate))
        return case.changed(main_pipe=pipe)

    return Unknown("mass_flow", "kg/s", of_case, apply, value)


UNKNOWNS: dict[str, Unknown] = {
    unknown.name: unknown
    for unknown in (
        # Gas before air: its excess is told over the air that the case names.
        _gas_temperature(),
        _air_temperature(),
        # After the air, which may take what the branch radiates to along.
        radiant_temperature(),
        air_speed(),
        rise(),
        wrap_conductivity(),
        _mass_flow(),
        _leaning(
            _resists(_coefficient("mouth_exchange", MOUTH_EXCHANGE, None, needs_flow=True)),
            LEAN_EXCHANGE,
        ),
        _tone_exchange(),
        _leaning(_stirring(), LEAN_STIRRING),
        _coefficient("reach", REACH, "fixed_diffusivity", needs_flow=True),
        _coefficient("sharpness", SHARPNESS, "fixed_diffusivity", needs_flow=True),
        _pulsation(),
        _coefficient("buoyancy", BUOYANCY, "fixed_diffusivity"),
        _coefficient("stirred_film", STIRRED_FILM, "fixed_inner_film"),
        _coefficient("stanton", STANTON, "fixed_inner_film"),
        _coefficient("outer_film_factor", OUTER_FILM_FACTOR, "fixed_outer_film"),
        _emissivity(),
        _leaning(_coefficient("mouth_factor", MOUTH_FACTOR, "fixed_mouth_length"), LEAN_MOUTH),
        _tone(),
    )
}
"""All unknowns of the model by name, in the order in which they are put into a case."""

COEFFICIENTS = tuple(name for name in UNKNOWNS if name in Closures.__dataclass_fields__)
"""Those that are coefficients of ``Closures``, whose coordinate is the logarithm."""


def _bounded(stirring: FloatArray) -> FloatArray:
    """Strength at the mouth that stays below ``MOST_STIRRING``, without a kink."""
    return stirring / (1 + (stirring / MOST_STIRRING) ** BEND) ** (1 / BEND)


def with_unknowns(case: Case, names: Sequence[str], coordinates: FloatArray) -> Case:
    """Give a case many sets of unknowns.

    Parameters
    ----------
    case : Case
        One design, or as many as ``coordinates`` has rows.
    names : sequence of str
        Keys of :data:`UNKNOWNS`.
    coordinates : (designs, unknowns) array

    Returns
    -------
    Case
        One design a row.
    """
    size = len(coordinates)
    batch = case if len(case) == size else case.repeat(size)
    given = {name: coordinates[:, i] for i, name in enumerate(names)}
    coefficients = {name: np.exp(given[name]) for name in COEFFICIENTS if name in given}
    if "stirring" in given:
        reach = coefficients.get("reach", batch.closures.reach)
        stirring, own = at_mouth(coefficients["stirring"], reach), batch.closures.stirring
        # Over that of the case, which is believed as it stands, were it more than the most.
        coefficients["stirring"] = own * _bounded(stirring) / _bounded(own)
    if coefficients:  # all at once: each change copies
        batch = batch.changed(closures=batch.closures.changed(**coefficients))
    for name, unknown in UNKNOWNS.items():
        if name in given and name not in COEFFICIENTS:
            batch = unknown.apply(batch, given[name])
    return batch
