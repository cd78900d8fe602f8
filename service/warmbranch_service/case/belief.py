"""What is believed of a case's unknowns before any reading: wider where nothing was given."""

from __future__ import annotations

from dataclasses import replace

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknowns import Spreads
from warmbranch.case.surfaces import SURFACES
from warmbranch_service.case.closures import StirredMouth
from warmbranch_service.case.convert import Converted
from warmbranch_service.case.convert_batch import flow_by_engine
from warmbranch_service.case.main_gas import emissivity_spread
from warmbranch_service.case.schema import BurntGas, Case

BY_ENGINE = 0.10
"""Standard deviation of the logarithm of a mass flow worked out from the engine. Our judgement."""

ASSUMED_FLOW = 0.35
"""The same where nothing tells the flow: 95 % within a factor of two."""


def spreads_of(case: Case, converted: Converted) -> Spreads:
    """How wide the priors of one case are.

    Parameters
    ----------
    case : Case
        With its gas temperature.
    converted : Converted
        The same in the words of physics.
    """
    branch, mixing = case.branch, case.closures.mixing
    record = None if branch.surface is None else SURFACES[branch.surface]
    spreads = Spreads(emissivity=emissivity_spread(record))
    if not isinstance(case.main_pipe.gas, BurntGas):
        spreads = replace(spreads, composition=0.0)
    if isinstance(mixing, StirredMouth) and mixing.cap_pressure_Pa is not None:
        spreads = replace(spreads, cap_pressure=0.0)
    if case.main_pipe.mass_flow_kg_h is None:
        spreads = replace(spreads, mass_flow=BY_ENGINE if flow_by_engine(case) else ASSUMED_FLOW)
    if converted.inferred is not None:
        wide = converted.inferred.gas.spread
        spreads = replace(spreads, gas_temperature=wide, least_gas_temperature=0.0)
    return spreads


def believed(case: Case, converted: Converted) -> Calibration:
    """The calibration of the case, or what is believed without one."""
    if converted.calibration is not None:
        return converted.calibration
    return Calibration.prior(converted.given, spreads_of(case, converted))
