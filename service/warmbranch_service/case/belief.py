"""What is believed of a case's unknowns before any reading: wider where nothing was given, and
where what was given is marked as guessed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from warmbranch.belief.burning import sound_of
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import (
    CAP_PRESSURE_SPREAD,
    COMPOSITION_SPREAD,
    EMISSIVITY_SPREAD,
    GAS_TEMPERATURE_SPREAD,
    LEAST_GAS_SPREAD,
    NORMAL_95,
    Gaussian,
    Spreads,
)
from warmbranch.case.surfaces import SURFACES
from warmbranch_service.case.around import PLACES, seen_spread
from warmbranch_service.case.closures import StirredMouth
from warmbranch_service.case.convert_around import faced
from warmbranch_service.case.convert_batch import burns, flow_by_engine
from warmbranch_service.case.converted import Converted
from warmbranch_service.case.gas import BurntGas
from warmbranch_service.case.guessed import Guess, spread_of, value_at
from warmbranch_service.case.main_gas import Inferred, emissivity_spread
from warmbranch_service.case.schema import Case

BY_ENGINE = 0.10
"""Standard deviation of the logarithm of a mass flow worked out from the engine. Our judgement."""

ASSUMED_FLOW = 0.35
"""The same where nothing tells the flow, or it is guessed: 95 % within a factor of two."""

OPEN_AIR = 10.0
"""K, standard deviation of an air temperature that is left open or guessed. Our judgement: under a
car in cruise the air is 10 to 30 K warmer than that in front of it, from memory."""

OPEN_AIR_SPEED = math.log(5) / NORMAL_95
"""Standard deviation of the logarithm of an air speed that is left open or guessed: 95 % within a
factor of five. Our judgement."""

OPEN_RADIANT = 10.0
"""K, standard deviation of what the branch radiates to, over the air, where it is left open."""

GUESSED_RADIANT = 20.0
GUESSED_NEIGHBOUR = 50.0
GUESSED_VIEW = 0.4
GUESSED_RISE = math.radians(3.0)
GUESSED_WRAP = math.log(1.6) / NORMAL_95
GUESSED_TIMES = 2.0
"""Spreads of what is given but guessed, and how many times wider gas temperature and emissivity
are then. Our judgement."""


def spreads_of(case: Case, converted: Converted) -> Spreads:
    """How wide the priors of one case are.

    Parameters
    ----------
    case : Case
        With its gas temperature.
    converted : Converted
        The same in the words of physics.
    """
    return spreads_by(case, converted.inferred)


def spreads_by(case: Case, inferred: Inferred | None) -> Spreads:
    """As :func:`spreads_of`, where no more than the gas temperature was worked out.

    Parameters
    ----------
    case : Case
        With its gas temperature, or without it where it is ``inferred``.
    inferred : Inferred, optional
        What was found for a gas temperature that the case does not give.
    """
    branch, mixing = case.branch, case.closures.mixing
    record = None if branch.surface is None else SURFACES[branch.surface]
    spreads = Spreads(emissivity=emissivity_spread(record))
    shift, wide = composition(case)
    spreads = replace(spreads, composition=wide, composition_shift=shift)
    if isinstance(mixing, StirredMouth) and mixing.cap_pressure_Pa is not None:
        spreads = replace(spreads, cap_pressure=0.0)
    if case.main_pipe.mass_flow_kg_h is None:
        spreads = replace(spreads, mass_flow=BY_ENGINE if flow_by_engine(case) else ASSUMED_FLOW)
    if inferred is not None:
        wide = inferred.gas.spread
        spreads = replace(spreads, gas_temperature=wide, least_gas_temperature=0.0)
    return _beside(case, _guessed(case, _around(case, spreads)))


def untold_gas(case: Case) -> str | None:
    """Field that would tell what burns and with how much air; None where nothing is left out."""
    pipe = case.main_pipe
    if not isinstance(pipe.gas, BurntGas) or not burns(case):
        return None
    if "gas" not in pipe.model_fields_set:
        return "main_pipe.gas"
    told = "excess_air_ratio" in pipe.gas.model_fields_set
    return None if told else "main_pipe.gas.excess_air_ratio"


def composition(case: Case) -> Gaussian:
    """Of the logarithm of the gas's sound speed over the one that is reckoned with."""
    gas, untold = case.main_pipe.gas, untold_gas(case)
    if not isinstance(gas, BurntGas):
        return Gaussian(0.0, 0.0)
    if not burns(case):
        return Gaussian(0.0, COMPOSITION_SPREAD)
    return sound_of(
        gas.fuel,
        gas.excess_air_ratio,
        fuel_told=untold != "main_pipe.gas",
        air_told=untold is None,
    )


def _around(case: Case, spreads: Spreads) -> Spreads:
    """What is around the branch, where it is left open."""
    outside = case.surroundings
    given = outside.model_fields_set
    place = None if outside.place is None else PLACES[outside.place]
    if "air_temperature_degC" not in given:
        own = OPEN_AIR if place is None else place.air_spread
        spreads = replace(spreads, air_temperature=own)
    if "air_speed_m_s" not in given:
        factor = math.exp(OPEN_AIR_SPEED * NORMAL_95) if place is None else place.speed_factor
        spreads = replace(spreads, air_speed=math.log(factor) / NORMAL_95)
    if outside.radiant_temperature_degC is None:
        own = OPEN_RADIANT if place is None else place.faced_spread
        spreads = replace(spreads, radiant_temperature=own)
    return spreads


def _beside(case: Case, spreads: Spreads) -> Spreads:
    """What the branch radiates to, with its hot neighbour."""
    neighbour = case.surroundings.hot_neighbour
    if neighbour is None:
        return spreads
    own: list[float] = []
    for name, usual in (
        ("temperature_degC", GUESSED_NEIGHBOUR),
        ("view_share", GUESSED_VIEW * neighbour.view_share),
    ):
        guess = spread_of(case.guessed, f"surroundings.hot_neighbour.{name}")
        deviation = None if guess is None else guess.standard_deviation
        own.append(0.0 if guess is None else usual if deviation is None else deviation)
    rest, spread = faced(case.surroundings), spreads.radiant_temperature
    seen = seen_spread(rest, spread, neighbour, (own[0], own[1]))
    return replace(spreads, radiant_temperature=seen)


def _guessed(case: Case, spreads: Spreads) -> Spreads:
    """What was given, but guessed."""

    def found(name: str) -> tuple[Guess | None, float, float | None]:
        """The guess, the number, and the standard deviation of one's own."""
        guess = spread_of(case.guessed, name)
        own = None if guess is None else guess.standard_deviation
        return guess, value_at(case, name) or 0.0, own

    def of_logarithm(name: str, usual: float, now: float) -> float:
        guess, value, own = found(name)
        if guess is None:
            return now
        # A lognormal's own relation of mean, deviation and spread.
        return usual if own is None else math.sqrt(math.log1p((own / value) ** 2))

    def of_number(name: str, usual: float, now: float, unit: float = 1.0) -> float:
        guess, _, own = found(name)
        return now if guess is None else usual if own is None else own * unit

    gas, _, gas_deviation = found("main_pipe.gas_temperature_degC")
    if gas is not None and gas_deviation is None:
        spreads = replace(
            spreads,
            gas_temperature=GUESSED_TIMES * GAS_TEMPERATURE_SPREAD,
            least_gas_temperature=GUESSED_TIMES * LEAST_GAS_SPREAD,
        )
    elif gas_deviation is not None:
        spreads = replace(spreads, gas_temperature=0.0, least_gas_temperature=gas_deviation)
    skin, emissivity, deviation = found("branch.emissivity")
    if skin is not None:
        # Slope of the logit; at 0 and 1, which are no guesses, nothing is unsure.
        slope = emissivity * (1 - emissivity) or math.inf
        own = GUESSED_TIMES * EMISSIVITY_SPREAD if deviation is None else deviation / slope
        spreads = replace(spreads, emissivity=own)
    outside = "surroundings."
    return replace(
        spreads,
        mass_flow=of_logarithm("main_pipe.mass_flow_kg_h", ASSUMED_FLOW, spreads.mass_flow),
        air_temperature=of_number(
            f"{outside}air_temperature_degC", OPEN_AIR, spreads.air_temperature
        ),
        air_speed=of_logarithm(f"{outside}air_speed_m_s", OPEN_AIR_SPEED, spreads.air_speed),
        radiant_temperature=of_number(
            f"{outside}radiant_temperature_degC", GUESSED_RADIANT, spreads.radiant_temperature
        ),
        rise=of_number("branch.rise_deg", GUESSED_RISE, spreads.rise, math.radians(1.0)),
        wrap_conductivity=of_logarithm(
            "branch.wrap.conductivity_W_mK", GUESSED_WRAP, spreads.wrap_conductivity
        ),
        cap_pressure=of_logarithm(
            "closures.mixing.cap_pressure_Pa", CAP_PRESSURE_SPREAD, spreads.cap_pressure
        ),
    )


def believed(case: Case, converted: Converted, length: float | None = None) -> Calibration:
    """The calibration of the case, or what is believed without one.

    ``length``, m, goes for the branch's own, where that is only where a search begins.
    """
    learned, given = converted.calibration, converted.given
    if learned is not None and (converted.shop is None or length is None):
        return learned
    if length is not None:
        given = given.changed(branch=given.branch.with_length(np.array([length])))
    spreads = spreads_of(case, converted)
    if converted.shop is not None:
        return converted.shop.of(given, spreads)
    return Calibration.prior(given, spreads)
