"""The case as it was while the settled readings were taken, in the words of physics.

It is the case with the numbers of ``while_read`` in place of its own. What the case leaves to be
worked out, its gas temperature and its flow, stays what it is in the case where it is not replaced:
another wind does not cool the gas that a skin told of, nor does warmer air slow the engine.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from warmbranch.case import case as physics
from warmbranch.heat.main_pipe_film import with_own_film
from warmbranch_service.case.convert import Converted, refused_flows
from warmbranch_service.case.convert_batch import PER_HOUR, to_batch
from warmbranch_service.case.main_gas import with_gas
from warmbranch_service.case.schema import Case
from warmbranch_service.case.surroundings import Surroundings
from warmbranch_service.contract.errors import INVALID, Problem
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.fit.while_read import WhileRead

FLOW = ("while_read", "mass_flow_kg_h")


def as_read(request: FitRequest, converted: Converted) -> physics.Case | None:
    """One design, the same branch as it was read; None where nothing is told of that.

    Raises
    ------
    Problem
        If the main pipe's gas would outrun sound.
    warmbranch.base.errors.InputError
        For a state that the physics knows no properties of.
    """
    told = request.while_read
    if told is None:
        return None
    own = converted.given.main_pipe
    case = _changed(request.case, told, converted)
    found = to_batch([case])
    (entry,) = refused_flows([case], found)
    if entry is not None:
        entry = replace(entry, path=FLOW, value=told.mass_flow_kg_h)
        raise Problem(INVALID, entry.sentence(), entries=[entry])
    # In kg/h and back the case's own flow would lose its last digit.
    flow = own.mass_flow if told.mass_flow_kg_h is None else found.main_pipe.mass_flow
    # A skin that is stated is so while it drones: its film stays, and the wall follows.
    film = with_own_film(converted.given).main_pipe
    pipe = found.main_pipe.changed(
        mass_flow=flow,
        film_augmentation=film.film_augmentation,
        skin_temperature=film.skin_temperature,
    )
    return found.changed(main_pipe=pipe)


def _changed(case: Case, told: WhileRead, converted: Converted) -> Case:
    gas, flow = told.gas_temperature_degC, told.mass_flow_kg_h
    if gas is None and converted.inferred is not None:
        gas = converted.inferred.gas_temperature_degC
    if flow is None:
        flow = float(converted.given.main_pipe.mass_flow[0]) / PER_HOUR
    settled = case if gas is None else with_gas(case, gas)
    return settled.model_copy(
        update={
            "surroundings": _around(case.surroundings, told),
            "main_pipe": settled.main_pipe.model_copy(update={"mass_flow_kg_h": flow}),
        }
    )


def _around(outside: Surroundings, told: WhileRead) -> Surroundings:
    """The air as it was; a place does not speak for what is told."""
    changes: dict[str, Any] = {}
    if told.air_temperature_degC is not None:
        changes["air_temperature_degC"] = told.air_temperature_degC
    if told.air_speed_m_s is not None:
        changes["air_speed_m_s"] = told.air_speed_m_s
        if outside.rear is not None and told.air_speed_m_s != outside.air_speed_m_s:
            # Who says that it stood still speaks of all of it.
            behind = min(outside.rear.air_speed_m_s, told.air_speed_m_s)
            changes["rear"] = outside.rear.model_copy(update={"air_speed_m_s": behind})
    return outside.model_copy(update=changes)
