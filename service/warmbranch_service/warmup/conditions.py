"""The conditions map of a warm-up's request."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import product

import numpy as np

from warmbranch.case import case as physics
from warmbranch.heat.main_pipe_film import with_own_film
from warmbranch.length.compromise import Compromise
from warmbranch.length.conditions import over_conditions
from warmbranch_service.case.convert import MM, Converted, to_physics
from warmbranch_service.case.convert_batch import PER_HOUR
from warmbranch_service.case.main_gas import with_inferred_gas
from warmbranch_service.case.schema import Case
from warmbranch_service.contract.rounding import digits, finite
from warmbranch_service.warmup.answer_schema import BestLength, Condition, ConditionsMap
from warmbranch_service.warmup.request import ConditionsWanted, Load


def conditions_map(
    case: Case, wanted: ConditionsWanted, nominal: Converted, driven: float
) -> ConditionsMap:
    """Solve the grid, and find the lengths that bear it best.

    Parameters
    ----------
    case : Case
    wanted : ConditionsWanted
    nominal : Converted
        The case as it stands.
    driven : float, Hz
    """
    case, _ = with_inferred_gas(case)
    own = case.main_pipe
    assert own.gas_temperature_degC is not None, "a settled case has one"
    loads = wanted.loads or [Load(gas_temperature_degC=own.gas_temperature_degC)]
    speeds = wanted.air_speeds_m_s or [case.surroundings.air_speed_m_s]
    parts = [
        _condition(case, air, load, speed, nominal)
        for air, load, speed in product(wanted.air_temperatures_degC, loads, speeds)
    ]
    weight = np.array(
        [load.weight for _, load, _ in product(wanted.air_temperatures_degC, loads, speeds)]
    )
    if not np.any(weight > 0):
        weight = np.ones(len(parts))
    batch = physics.Case.concatenate(parts)
    found = over_conditions(batch, driven, weight)
    order = nominal.order
    per_rpm = math.nan if order is None else 60 / order
    pipe, outside = batch.main_pipe, batch.surroundings
    keys = list(product(wanted.air_temperatures_degC, loads, speeds))
    return ConditionsMap(
        grid=[
            Condition(
                air_temperature_degC=air,
                gas_temperature_degC=load.gas_temperature_degC,
                mass_flow_kg_h=digits(pipe.mass_flow[i] / PER_HOUR, 5),
                air_speed_m_s=float(outside.air_speed[i]),
                resonance_Hz=finite(found.frequency[i], 3),
                quiet_rpm=finite(found.frequency[i] * per_rpm, 1),
                transmission_loss_dB=finite(found.loss[i], 2),
            )
            for i, (air, load, _) in enumerate(keys)
        ],
        spread_Hz=finite(found.spread, 3),
        spread_rpm=finite(found.spread * per_rpm, 1),
        best_for_worst=_best(found.worst),
        best_on_average=_best(found.weighted),
    )


def _condition(
    case: Case, air: float, load: Load, speed: float, nominal: Converted
) -> physics.Case:
    """One design: the case in other weather, at another load.

    The gas is burnt with that weather's air; the main pipe's film is the nominal case's.
    """
    changed = case.model_copy(
        update={
            "surroundings": case.surroundings.model_copy(
                update={"air_temperature_degC": air, "air_speed_m_s": speed}
            ),
            "main_pipe": case.main_pipe.model_copy(
                update={"gas_temperature_degC": load.gas_temperature_degC}
            ),
        }
    )
    one = to_physics(changed).case
    flow = nominal.case.main_pipe.mass_flow
    if load.mass_flow_kg_h is not None:
        flow = np.array([load.mass_flow_kg_h * PER_HOUR])
    film = with_own_film(nominal.case).main_pipe
    return replace(
        one,
        main_pipe=replace(
            one.main_pipe,
            mass_flow=flow,
            film_augmentation=film.film_augmentation,
            skin_temperature=film.skin_temperature,
        ),
    )


def _best(found: Compromise | None) -> BestLength | None:
    if found is None:
        return None
    return BestLength(
        centreline_length_mm=round(found.length / MM, 1),
        transmission_loss_dB=round(found.objective_before - found.objective_after, 2),
    )
