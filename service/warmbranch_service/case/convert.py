"""From a request to the physics, one case: the batch of one, and what was taken for the rest.

All conversion of units is in convert_batch.py. A request may leave much open; what was taken
instead is written down beside the converted case.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.belief.unknown import STILL_AIR
from warmbranch.case import case as physics
from warmbranch.case.closures import CAP_PRESSURE
from warmbranch.case.engine import Cycle, firing_order, strongest_order
from warmbranch.case.main_pipe import mach_number
from warmbranch.case.surfaces import SURFACES
from warmbranch.gas.gas import MixtureTable
from warmbranch_service.case import calibrations
from warmbranch_service.case import closures as closure_schema
from warmbranch_service.case.around import PLACES
from warmbranch_service.case.belief import composition, spreads_by, untold_gas
from warmbranch_service.case.convert_batch import MM as MM
from warmbranch_service.case.convert_batch import PER_HOUR, burns, flow_by_engine, to_batch
from warmbranch_service.case.convert_batch import kelvin as kelvin
from warmbranch_service.case.converted import Converted as Converted
from warmbranch_service.case.gas import BurntGas
from warmbranch_service.case.guessed import GUESSABLE, Guess
from warmbranch_service.case.main_gas import with_inferred_gas
from warmbranch_service.case.schema import ASSUMED_GAS_SPEED_M_S, MOST_MASS_FLOW_KG_H, Case, Engine
from warmbranch_service.case.taught import assumptions_of, cautions_of, place_of
from warmbranch_service.contract.caution import Caution
from warmbranch_service.contract.errors import INVALID, Entry, Problem
from warmbranch_service.contract.rounding import digits


def celsius(temperature: FloatArray) -> FloatArray:
    """Temperature in °C."""
    return temperature - ICE_POINT


def to_physics(case: Case, *, length: float | None = None) -> Converted:
    """Convert one case to a batch of one.

    Parameters
    ----------
    case : Case
    length : float, m, optional
        Of the branch that a shop is asked about, where the case's is only where a search begins.

    Raises
    ------
    Problem
        If the mass flow that the engine gives is beyond what the model admits, the main pipe's gas
        would outrun sound, or no gas explains the main pipe's skin.
    """
    case, inferred = with_inferred_gas(case)
    given = to_batch([case])
    flow = float(given.main_pipe.mass_flow[0]) / PER_HOUR
    (entry,) = refused_flows([case], given)
    if entry is not None:
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    learned = case.closures.calibration
    shop = None if learned is None else calibrations.shop_of(learned)
    if shop is not None:
        calibration = shop.of(given, spreads_by(case, inferred), place_of(given, length))
    else:
        calibration = None if learned is None else calibrations.to_physics(learned)
    return Converted(
        case=given if calibration is None else calibration.applied_to(given),
        given=given,
        calibration=calibration,
        order=None if case.engine is None else engine_order(case.engine),
        inferred=inferred,
        shop=shop,
        assumptions=[
            *([] if inferred is None else [inferred.sentence()]),
            *_assumptions(case),
            *_flow_assumption(case, flow),
            *assumptions_of(learned),
        ],
        cautions=[
            *([] if inferred is None else inferred.cautions()),
            *_flow_caution(case, flow),
            *cautions_of(learned, shop, given, length),
        ],
    )


def refused_flows(cases: Sequence[Case], batch: physics.Case) -> list[Entry | None]:
    """What is wrong with the main pipe's flow in each case of a batch; None where nothing is."""
    pipe = batch.main_pipe
    gas = MixtureTable.of(batch.gas)
    mach = mach_number(pipe, gas, batch.surroundings.pressure).tolist()
    flows = (pipe.mass_flow / PER_HOUR).tolist()
    return [_refused_flow(*one) for one in zip(cases, flows, mach, strict=True)]


def _refused_flow(case: Case, flow_kg_h: float, mach: float) -> Entry | None:
    by_engine = flow_by_engine(case)
    if by_engine and flow_kg_h > MOST_MASS_FLOW_KG_H:
        what = f"Displacement, rpm and volumetric efficiency make {digits(flow_kg_h, 4):g} kg/h."
    elif mach > 1:
        what = (
            f"{digits(flow_kg_h, 4):g} kg/h of such gas would go through the main pipe at "
            f"{digits(mach, 3):g} times the speed of sound, which no pipe lets through."
        )
    else:
        return None
    most = min(flow_kg_h / mach, MOST_MASS_FLOW_KG_H)
    most -= most % 10 ** (math.floor(math.log10(most)) - 2)  # three digits that are admitted
    if by_engine:
        assert case.engine is not None
        return Entry(
            ("case", "engine", "displacement_L"),
            "mass_flow_out_of_range",
            what,
            f"Give an engine that makes at most {most:g} kg/h in this pipe, a smaller pipe_share "
            "or a wider pipe.",
            case.engine.displacement_L,
            "L",
        )
    return Entry(
        ("case", "main_pipe", "mass_flow_kg_h"),
        "mass_flow_out_of_range",
        what,
        f"Give at most {most:g} kg/h, or a wider pipe.",
        case.main_pipe.mass_flow_kg_h,
        "kg/h",
    )


def _flow_assumption(case: Case, flow_kg_h: float) -> list[str]:
    if not flow_by_engine(case):
        return []
    text = f"Main-pipe flow from the engine's size, speed and filling: {flow_kg_h:.3g} kg/h."
    if not burns(case):
        text += " No fuel is added to the air, as the gas is not given as a burnt fuel."
    return [text]


def _flow_caution(case: Case, flow_kg_h: float) -> list[Caution]:
    if case.main_pipe.mass_flow_kg_h is not None or flow_by_engine(case):
        return []
    text = (
        f"Nothing gives the flow in the main pipe, so a gas speed of {ASSUMED_GAS_SPEED_M_S:g} m/s "
        f"is assumed, {flow_kg_h:.3g} kg/h. Give main_pipe.mass_flow_kg_h, or the engine's "
        "displacement_L, rpm and volumetric_efficiency."
    )
    field = "case.main_pipe.mass_flow_kg_h"
    return [Caution(code="assumed_mass_flow", message=text, field=field)]


def engine_order(engine: Engine) -> float:
    """Engine order that the quiet rpm refers to."""
    if engine.order is not None:
        return engine.order
    cycle = Cycle(engine.cycle)
    if engine.firing_angles_deg is not None:
        return strongest_order(np.radians(np.array(engine.firing_angles_deg)), cycle)
    return firing_order(engine.cylinders, cycle)


def _guess(one: str | Guess) -> str:
    guess = Guess(field=one) if isinstance(one, str) else one
    known, own = GUESSABLE[guess.field], guess.standard_deviation
    spread = known.usual if own is None else f"{own:g} {known.unit}"
    what = "spread" if own is None else "standard deviation"
    return f"{guess.field} is a guess; its {what}: {spread}."


def _gas_assumption(case: Case) -> list[str]:
    gas, untold = case.main_pipe.gas, untold_gas(case)
    if untold is None or not isinstance(gas, BurntGas):
        return []
    shift = 100 * composition(case).centre
    what = f"{gas.fuel}, which nobody named," if untold == "main_pipe.gas" else gas.fuel
    return [
        f"The gas is that of {what} burnt with just the air that it needs. Other mixtures carry "
        f"sound faster: the interval takes what is usual, {shift:.1f} % higher in the middle. Give "
        f"{untold} to narrow it."
    ]


def _assumptions(case: Case) -> list[str]:
    """Sentences on what was taken for what the request left open and what matters."""
    branch, pipe, outside = case.branch, case.main_pipe, case.surroundings
    said: list[str] = []
    if "material" not in branch.model_fields_set:
        said.append(f"The branch is of {branch.material}.")
    for name, part in (("branch", branch), ("main pipe", pipe)):
        given = part.model_fields_set
        if part.surface is not None and not given & {"surface", "emissivity"}:
            emissivity = SURFACES[part.surface].emissivity
            said.append(f"The {name}'s surface is {part.surface}, emissivity {emissivity:g}.")
    said += _gas_assumption(case)
    if pipe.skin_temperature_degC is None:
        said.append("The main pipe's skin temperature follows from its own heat balance.")
    if outside.place is not None:
        said.append(f"Of a place {outside.place} is usual: {PLACES[outside.place].told()}.")
    elif "air_temperature_degC" not in outside.model_fields_set:
        said.append(f"The air is at {outside.air_temperature_degC:g} °C.")
    if outside.place is None and "air_speed_m_s" not in outside.model_fields_set:
        said.append(
            f"The air is still; the interval takes {STILL_AIR:g} m/s, 95 % within a factor of five."
        )
    if outside.place is None and outside.radiant_temperature_degC is None:
        said.append("What the branch radiates to is as warm as the air.")
    mixing = case.closures.mixing
    if isinstance(mixing, closure_schema.StirredMouth) and mixing.incident_pressure_Pa == 0:
        said.append("Mixing by pulsation is left out, as no incident pressure is given.")
        if mixing.cap_pressure_Pa is None:
            said.append(f"The tone at the cap is taken to be of {CAP_PRESSURE.median:g} Pa.")
    for name in case.guessed:
        said.append(_guess(name))
    learned = case.closures.calibration
    if learned is not None:
        said.append(f"A calibration stands for {', '.join(learned.unknowns) or 'nothing'}.")
    if case.engine is not None and case.engine.order is None:
        said.append(f"The engine order to be quietened is {engine_order(case.engine):g}.")
    return said
