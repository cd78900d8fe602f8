"""From many cases at once to one batch of the physics: all conversion of units on the way in.

One case is a batch of one; a sweep converts hundreds in one call, for a hundredth of the price
each. What a request left open is told of a single case only, in convert.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from typing import Any

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.case import case as physics
from warmbranch.case import closures as physics_closures
from warmbranch.case import geometry
from warmbranch.case.closures import MouthModel
from warmbranch.case.engine import Cycle, exhaust_mass_flow
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import Metal, metal
from warmbranch.case.surfaces import SURFACES
from warmbranch.case.surroundings import Covering
from warmbranch.gas.combustion import AIR, air_fuel_ratio, burnt_gas, humidity_from_relative
from warmbranch.gas.gas import Composition
from warmbranch_service.case import branch as branch_schema
from warmbranch_service.case import closures as closure_schema
from warmbranch_service.case.around import shielded
from warmbranch_service.case.convert_around import around
from warmbranch_service.case.gas import BurntGas, MixedGas
from warmbranch_service.case.schema import ASSUMED_GAS_SPEED_M_S, Case

MM = 1e-3
PER_HOUR = 1 / 3600
THINNEST_WRAP_MM = 0.001
"""Below this a wrap is none: a micrometre lets through 20 kW/m²K at the least, a hundred times
what any skin gives off."""

FOR_MASS_FLOW = ("displacement_L", "rpm", "volumetric_efficiency")

Number = Callable[[Case], float]


def kelvin(celsius: float) -> float:
    """Absolute temperature, K."""
    return celsius + ICE_POINT


def to_batch(cases: Sequence[Case]) -> physics.Case:
    """Convert cases to a batch, one design each and without their calibrations.

    The cases have their gas temperature: ``main_gas.with_inferred_gas`` sees to it.

    Raises
    ------
    warmbranch.base.errors.InputError
        For a state that the physics knows no properties of.
    """

    def each(value: Number) -> FloatArray:
        return np.array([value(case) for case in cases], dtype=np.float64)

    gas = _gas(cases)
    return physics.Case(
        branch=geometry.Branch(
            outside_diameter=each(lambda case: case.branch.outside_diameter_mm * MM),
            wall_thickness=each(lambda case: case.branch.wall_thickness_mm * MM),
            cap_thickness=each(_cap_thickness),
            pieces=_pieces(cases),
            rise=each(lambda case: math.radians(case.branch.rise_deg)),
            lean=each(lambda case: math.radians(90 - case.branch.mouth_angle_deg)),
        ),
        metal=_metal(cases),
        covering=Covering(
            emissivity=each(_towards_outside),
            wrap_thickness=each(_wrap_thickness),
            wrap_conductivity=each(
                lambda case: 1.0 if case.branch.wrap is None else case.branch.wrap.conductivity_W_mK
            ),
        ),
        main_pipe=MainPipe(
            outside_diameter=each(lambda case: case.main_pipe.outside_diameter_mm * MM),
            wall_thickness=each(lambda case: case.main_pipe.wall_thickness_mm * MM),
            gas_temperature=each(_main_gas),
            skin_temperature=each(_skin),
            mass_flow=_mass_flow(cases, gas),
            emissivity=each(
                lambda case: _emissivity(case.main_pipe.surface, case.main_pipe.emissivity)
            ),
            film_augmentation=each(lambda case: case.main_pipe.pulsation_augmentation),
            incident_pressure=each(_incident_pressure),
            cap_pressure=each(_cap_pressure),
        ),
        gas=gas,
        surroundings=around([case.surroundings for case in cases]),
        closures=_closures(cases),
    )


def _wrap_thickness(case: Case) -> float:
    wrap = case.branch.wrap
    return 0.0 if wrap is None or wrap.thickness_mm < THINNEST_WRAP_MM else wrap.thickness_mm * MM


def _cap_thickness(case: Case) -> float:
    cap = case.branch.cap_thickness_mm
    return (case.branch.wall_thickness_mm if cap is None else cap) * MM


def _main_gas(case: Case) -> float:
    gas = case.main_pipe.gas_temperature_degC
    assert gas is not None, "a case is settled first: see main_gas.py"
    return kelvin(gas)


def _skin(case: Case) -> float:
    skin = case.main_pipe.skin_temperature_degC
    return math.nan if skin is None else kelvin(skin)


def _drawn_air(case: Case) -> float:
    return kelvin(case.surroundings.drawn_air_degC)


def _towards_outside(case: Case) -> float:
    bare = _emissivity(case.branch.surface, case.branch.emissivity)
    return shielded(bare, case.branch.skin_diameter_mm, case.surroundings.shield)


def _pressure(case: Case) -> float:
    return case.surroundings.pressure_kPa * 1e3


def _incident_pressure(case: Case) -> float:
    mixing = case.closures.mixing
    return mixing.incident_pressure_Pa if isinstance(mixing, closure_schema.StirredMouth) else 0.0


def _cap_pressure(case: Case) -> float:
    mixing = case.closures.mixing
    given = mixing.cap_pressure_Pa if isinstance(mixing, closure_schema.StirredMouth) else None
    return physics_closures.CAP_PRESSURE.median if given is None else given


def _emissivity(surface: str | None, emissivity: float | None) -> float:
    if emissivity is not None:
        return emissivity
    assert surface is not None, "the schema leaves one of the two"
    return SURFACES[surface].emissivity


def _pieces(cases: Sequence[Case]) -> tuple[tuple[geometry.Piece, ...], ...]:
    """Centre-lines; equal ones are one object, which is measured and checked once."""
    known: dict[tuple[_Key, ...], tuple[geometry.Piece, ...]] = {}
    found: list[tuple[geometry.Piece, ...]] = []
    for case in cases:
        branch = case.branch
        if branch.centreline is None:
            key: tuple[_Key, ...] = ((None, branch.centreline_mm),)
        else:
            key = tuple(
                (branch.tube_of(piece), piece.straight_mm)
                if isinstance(piece, branch_schema.Straight)
                else (branch.tube_of(piece), piece.bend_deg, piece.bend_radius_mm)
                for piece in branch.centreline
            )
        if key not in known:
            known[key] = tuple(
                piece_of(one[0], one[1], None if len(one) == 2 else one[2]) for one in key
            )
        found.append(known[key])
    return tuple(found)


_Key = tuple[tuple[float, float] | None, float] | tuple[tuple[float, float] | None, float, float]
"""A piece's own tube, mm; its length, mm, or its angle, °, and radius, mm."""


def piece_of(
    tube: tuple[float, float] | None, first: float, radius: float | None = None
) -> geometry.Piece:
    """A piece of the centre-line from numbers in mm and degrees; see ``_Key``."""
    own = None if tube is None else geometry.Tube(tube[0] * MM, tube[1] * MM)
    if radius is None:
        return geometry.Piece(first * MM, tube=own)
    return geometry.Piece.bend(math.radians(first), radius * MM, own)


def _metal(cases: Sequence[Case]) -> Metal:
    known: dict[object, int] = {}
    metals: list[Metal] = []
    index: list[int] = []
    for case in cases:
        material = case.branch.material
        key = material if isinstance(material, str) else tuple(material)
        if key not in known:
            known[key] = len(metals)
            metals.append(_one_metal(material))
        index.append(known[key])
    return Metal.concatenate(metals).take(np.array(index))


def _one_metal(material: str | branch_schema.MaterialProperties) -> Metal:
    if isinstance(material, str):
        return metal(material)
    return Metal.constant(
        material.conductivity_W_mK, material.density_kg_m3, material.heat_capacity_J_kgK
    )


def humidity(cases: Sequence[Case]) -> FloatArray:
    """Water in the air that the engines draw, kg/kg of dry air, (designs,)."""
    share = [case.surroundings.relative_humidity_percent / 100 for case in cases]
    return humidity_from_relative(
        np.array(share),
        np.array([_drawn_air(case) for case in cases]),
        np.array([_pressure(case) for case in cases]),
    )


def _gas(cases: Sequence[Case]) -> Composition:
    by_kind: dict[str | None, list[int]] = {}
    for i, case in enumerate(cases):
        gas = case.main_pipe.gas
        by_kind.setdefault(gas.fuel if isinstance(gas, BurntGas) else None, []).append(i)
    parts: list[Composition] = []
    for fuel, members in by_kind.items():
        own = [cases[i] for i in members]
        parts.append(_given_gas(own) if fuel is None else _burnt_gas(fuel, own))
    order = np.argsort(np.concatenate([np.array(members) for members in by_kind.values()]))
    return Composition.concatenate(parts).take(order)


def _given_gas(cases: Sequence[Case]) -> Composition:
    gases = [case.main_pipe.gas for case in cases]
    return Composition.concatenate(
        [
            Composition.from_mole_fractions(gas.mole_fractions)
            for gas in gases
            if isinstance(gas, MixedGas)
        ]
    )


def _burnt_gas(fuel: str, cases: Sequence[Case]) -> Composition:
    if len(cases) == 1:
        case = cases[0]
        moist = case.surroundings.relative_humidity_percent, _drawn_air(case), _pressure(case)
        return _known_burnt_gas(fuel, excess_air_ratio(case), *moist)
    return burnt_gas(fuel, np.array([excess_air_ratio(case) for case in cases]), humidity(cases))


@lru_cache(maxsize=256)
def _known_burnt_gas(
    fuel: str, excess_air: float, relative_humidity_percent: float, air: float, pressure: float
) -> Composition:
    """Of one design, remembered: who tries lengths asks again and again for one gas."""
    moisture = humidity_from_relative(
        np.array([relative_humidity_percent / 100]), np.array([air]), np.array([pressure])
    )
    return burnt_gas(fuel, np.array([excess_air]), moisture)


def excess_air_ratio(case: Case) -> float:
    """Air over the air that just burns the fuel; 1 for a gas that is not given as burnt."""
    gas = case.main_pipe.gas
    return gas.excess_air_ratio if isinstance(gas, BurntGas) else 1.0


def burns(case: Case) -> bool:
    """Whether fuel is added to the air that the engine draws."""
    gas = case.main_pipe.gas
    return isinstance(gas, BurntGas) and gas.fuel != AIR


def flow_by_engine(case: Case) -> bool:
    """Whether the engine gives the mass flow, because nothing nearer does."""
    engine = case.engine
    return (
        case.main_pipe.mass_flow_kg_h is None
        and engine is not None
        and all(getattr(engine, name) is not None for name in FOR_MASS_FLOW)
    )


def _mass_flow(cases: Sequence[Case], gas: Composition) -> FloatArray:
    """Gas through the main pipe, kg/s: given, from the engine, or assumed."""
    constant = gas.gas_constant
    driven = [i for i, case in enumerate(cases) if flow_by_engine(case)]
    found = np.empty(len(cases))
    if driven:
        found[driven] = _flow_of_engines([cases[i] for i in driven])
    for i, case in enumerate(cases):
        pipe = case.main_pipe
        if pipe.mass_flow_kg_h is not None:
            found[i] = pipe.mass_flow_kg_h * PER_HOUR
        elif not flow_by_engine(case):
            density = _pressure(case) / (constant[i] * _main_gas(case))
            found[i] = density * math.pi / 4 * (pipe.bore_mm * MM) ** 2 * ASSUMED_GAS_SPEED_M_S
    return found


def _flow_of_engines(cases: Sequence[Case]) -> FloatArray:
    air = np.array([_drawn_air(case) for case in cases])
    pressure = np.array([_pressure(case) for case in cases])
    density = pressure / (burnt_gas(AIR, 1.0, humidity(cases)).gas_constant * air)
    rows = np.array([_engine_row(case) for case in cases])
    found = np.empty(len(cases))
    cycles = [case.engine and case.engine.cycle for case in cases]
    for cycle in Cycle:
        own = [i for i, named in enumerate(cycles) if named == cycle]
        if own:
            volume, speed, filling, ratio, excess = rows[own].T
            found[own] = exhaust_mass_flow(
                volume, speed, filling, density[own], ratio, excess, cycle
            )
    return found


def _engine_row(case: Case) -> tuple[float, float, float, float, float]:
    """m³ that serve this pipe, 1/s, filling, air over fuel by mass, excess air."""
    engine, gas = case.engine, case.main_pipe.gas
    assert engine is not None
    assert engine.displacement_L is not None
    assert engine.rpm is not None
    assert engine.volumetric_efficiency is not None
    ratio = air_fuel_ratio(gas.fuel) if isinstance(gas, BurntGas) and burns(case) else math.inf
    volume = engine.displacement_L * 1e-3 * engine.pipe_share
    excess = excess_air_ratio(case)
    return volume, engine.rpm / 60, engine.volumetric_efficiency, ratio, excess


_MOUTH_MODELS = {
    "side branch": MouthModel.SIDE_BRANCH,
    "flanged": MouthModel.FLANGED,
    "unflanged": MouthModel.UNFLANGED,
}


@cache
def _medians() -> dict[str, Any]:
    default = physics_closures.Closures.default()
    return {name: getattr(default, name) for name in physics_closures.Closures.__dataclass_fields__}


def _stirring(mixing: closure_schema.StirredMouth) -> float:
    if mixing.stirring_coefficient is not None:
        return mixing.stirring_coefficient
    two_bores_in, reach = physics_closures.STIRRING.median, np.array([mixing.reach_bores])
    return float(physics_closures.at_mouth(two_bores_in * np.ones(1), reach)[0])


def _closures(cases: Sequence[Case]) -> physics_closures.Closures:
    values = {name: np.repeat(value, len(cases)) for name, value in _medians().items()}
    for i, case in enumerate(cases):
        given = case.closures
        mixing, mouth = given.mixing, given.mouth_correction
        if isinstance(mixing, closure_schema.StirredMouth):
            values["reach"][i] = mixing.reach_bores
            values["stirring"][i] = _stirring(mixing)
            exchange = mixing.mouth_exchange_coefficient
            values["mouth_exchange"][i] = math.inf if exchange is None else exchange
            values["tone_exchange"][i] = mixing.tone_exchange_coefficient
            laminar = mixing.pulsation_coefficient is None
            values["pulsation"][i] = math.nan if laminar else mixing.pulsation_coefficient
            values["buoyancy"][i] = mixing.buoyancy_factor
        else:
            values["fixed_diffusivity"][i] = mixing.diffusivity_m2_s
            values["mouth_exchange"][i] = math.inf
        if isinstance(given.inner_film, closure_schema.LinkedFilm):
            values["stanton"][i] = given.inner_film.stanton_number
            values["stirred_film"][i] = given.inner_film.stirred_film_coefficient
            values["still_nusselt"][i] = given.inner_film.still_nusselt_number
            values["gas_radiation"][i] = float(given.inner_film.gas_radiation)
        else:
            values["fixed_inner_film"][i] = given.inner_film.coefficient_W_m2K
        if isinstance(given.outer_film, closure_schema.NaturalAndForced):
            values["outer_film_factor"][i] = given.outer_film.factor
        else:
            values["fixed_outer_film"][i] = given.outer_film.coefficient_W_m2K
        if isinstance(mouth, closure_schema.MouthByGeometry):
            values["mouth_factor"][i] = mouth.factor
            values["mouth_flow"][i] = mouth.flow_factor
            values["mouth_model"][i] = float(_MOUTH_MODELS[mouth.model])
        else:
            values["fixed_mouth_length"][i] = mouth.length_mm * MM
        values["wall_losses"][i] = given.wall_losses
        values["condensation"][i] = given.condensation
        values["flow_loss"][i] = given.mouth_loss.flow_coefficient
        values["level_loss"][i] = given.mouth_loss.level_coefficient
    return physics_closures.Closures(**values)
