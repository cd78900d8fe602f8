"""From curves and named starts to the physics' drive, and what was assumed of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.main_pipe_film import main_film
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.storage import WrapHeat
from warmbranch_service.case.convert import Converted, kelvin
from warmbranch_service.case.convert_batch import PER_HOUR
from warmbranch_service.case.schema import Case
from warmbranch_service.warmup.drive import ColdStart, DriveGiven, EngineStop


def drive_of(given: DriveGiven, converted: Converted, duration: float) -> Drive:
    """The drive, told for the case as its user gave it.

    Parameters
    ----------
    given : DriveGiven
    converted : Converted
    duration : float, s
    """
    case, start = converted.given, given.start
    flow, air = given.mass_flow_curve, given.air_speed_curve
    flow_curve = (
        None
        if flow is None
        else _curve("mass_flow", "kg/s", [(p.time_s, p.mass_flow_kg_h * PER_HOUR) for p in flow])
    )
    air_curve = (
        None
        if air is None
        else _curve("air_speed", "m/s", [(p.time_s, p.air_speed_m_s) for p in air])
    )
    gas = given.gas_temperature_curve
    if gas is not None:
        points = [(point.time_s, kelvin(point.gas_temperature_degC)) for point in gas]
        return Drive(
            duration,
            gas_temperature=_curve("gas_temperature", "K", points),
            drawn_for=(
                float(case.surroundings.air_temperature[0]),
                float(case.main_pipe.gas_temperature[0]),
            ),
            warm=given.begin == "warm",
            mass_flow=flow_curve,
            air_speed=air_curve,
        )
    if isinstance(start, EngineStop):
        stopped = Drive.engine_stop(duration, start.time_constant_s)
        return replace(stopped, air_speed=air_curve)
    start = start or ColdStart()
    constants = tuple(start.time_constants_s)
    shares = (1.0,) if len(constants) == 1 else (start.first_share, 1 - start.first_share)
    cold = Drive.cold_start(duration, constants, shares)
    return replace(cold, mass_flow=flow_curve, air_speed=air_curve)


def wrap_of(case: Case) -> WrapHeat | None:
    """What the wrap stores; None without one."""
    wrap = case.branch.wrap
    if wrap is None:
        return None
    return WrapHeat(np.array([wrap.density_kg_m3]), np.array([wrap.heat_capacity_J_kgK]))


def assumptions(given: DriveGiven, drive: Drive, case: Case, converted: Converted) -> list[str]:
    """What the warm-up takes for granted, as sentences."""
    start = given.start
    said: list[str] = []
    if given.gas_temperature_curve is None and not isinstance(start, EngineStop):
        cold = start or ColdStart()
        told = bool(cold.model_fields_set - {"model"})
        constants = " and ".join(f"{t:g} s" for t in cold.time_constants_s)
        said.append(
            f"After the cold start the gas at the mouth rises with {constants}"
            + ("." if told else ", an assumption: give your own if you know how it rises.")
        )
    if isinstance(start, EngineStop):
        said.append(
            "After the stop nothing flows and the gas at the mouth falls to the air's temperature "
            f"with a time constant of {start.time_constant_s:g} s."
        )
    if drive.warm:
        said.append("The metal begins as warm as in the case's steady answer.")
    else:
        said.append("All metal begins at the air's temperature.")
    said.append("The main pipe is of the branch's metal and bare.")
    if not np.isnan(converted.case.main_pipe.skin_temperature[0]):
        _, held = main_film(converted.case, MixtureTable.of(converted.case.gas))
        said.append(
            "No inner film gives the main pipe the skin temperature stated; it is held at it "
            "throughout."
            if held[0]
            else "The main pipe's inner film is scaled to give its stated skin temperature."
        )
    wrap = case.branch.wrap
    if wrap is not None and not {"density_kg_m3", "heat_capacity_J_kgK"} <= wrap.model_fields_set:
        said.append(
            f"The wrap holds {wrap.density_kg_m3:g} kg/m³ of {wrap.heat_capacity_J_kgK:g} J/(kg K)."
        )
    if np.any(converted.case.main_pipe.incident_pressure > 0):
        said.append("Mixing by pulsation goes as the square of the mass flow.")
    return said


def _curve(name: str, unit: str, points: list[tuple[float, float]]) -> Curve:
    time, value = np.array(points, dtype=np.float64).T
    return Curve(name, unit, np.ascontiguousarray(time), np.ascontiguousarray(value))
