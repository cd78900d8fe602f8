"""The whole flow of solve.py in one call of the compiled core."""

from __future__ import annotations

from typing import Any

import numpy as np

from warmbranch import core
from warmbranch.base import stopping, tally
from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.case.case import Case
from warmbranch.core import calls, records
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.gas.moist import water_table
from warmbranch.heat import main_pipe_wall
from warmbranch.heat.grid import SKETCH_NODES
from warmbranch.heat.newton import Tolerances, newton_rules
from warmbranch.heat.profile import TemperatureProfile, closure_error
from warmbranch.sound import damped, resonance
from warmbranch.sound.acoustics import Duct
from warmbranch.steady import interplay, sketch
from warmbranch.steady.fineness import Fineness
from warmbranch.steady.stepped import added_by_steps


def solve(
    compiled: core.Library,
    fineness: Fineness,
    case: Case,
    gas: MixtureTable,
    position: FloatArray | None,
) -> tuple[dict[str, Any], BoolArray]:
    """Fields of ``branch.Answer`` by name, and which designs did not converge."""
    found = calls.steady(
        compiled,
        case,
        (gas, dry_air_table(), water_table()),
        _rules(fineness.tolerances),
        nodes=fineness.nodes if position is None else position.shape[1],
        sketch_nodes=SKETCH_NODES,
        cells=fineness.cells,
        modes=fineness.modes,
        position=position,
        added=added_by_steps(case.branch),
    )
    stopping.check()
    tally.add(found.solves, found.newton_steps)
    by_gas, by_wall, lost, iterations, _ = found.report.T
    speed, _, inertance, grazed, crossing, main_impedance, main_sound_speed = found.mouth.T
    tone = case.closures.tone
    profile = TemperatureProfile.of_parts(
        position=found.position,
        gas=found.gas,
        wall=found.wall,
        skin=found.skin,
        dried=found.dried,
        heat_entering=by_gas + by_wall,
        heat_lost=lost,
        closure_error=closure_error(by_gas, by_wall, lost),
        iterations=iterations,
    )
    means = found.means
    duct = Duct.of_parts(
        cell_length=means.length,
        density=means.density,
        bulk_modulus=means.bulk_modulus,
        viscosity=means.viscosity,
        heat_capacity_ratio=means.heat_capacity_ratio,
        prandtl=means.prandtl,
        inertance_ratio=means.inertance_ratio,
        skew=means.skew,
        radius=case.branch.bore / 2,
        mouth_inertance=inertance / tone,
        wall_losses=case.closures.wall_losses,
        area_ratio=means.area_ratio,
        grazed_inertance=grazed / tone,
        crossing_time=crossing,
    )
    failed = np.asarray(found.failed)
    damped.look_again(duct, found.resonance, found.quality, ~failed)
    length, hot = case.branch.length, case.main_pipe.gas_temperature
    parts = {
        "case": case,
        "profile": profile,
        "duct": duct,
        "main_impedance": main_impedance,
        "main_speed": speed,
        "main_sound_speed": main_sound_speed,
        "resonance": found.resonance,
        "quality_factor": found.quality[:, 0],
        "transit_time": 1 / (4 * found.transit_time),
        "one_temperature": resonance.one_temperature_estimate(length, hot),
        "length": length,
        "condensing": found.condensing,  # which numpy would find again when asked
    }
    return parts, failed


def _rules(ends: Tolerances) -> records.SteadyRules:
    return records.SteadyRules(
        newton_rules(),
        records.Tolerances(*sketch.SKETCH_TOLERANCES),
        records.Tolerances(*ends),
        sketch.grid_rules(),
        records.SearchRules(*resonance.COARSE),
        records.SearchRules(*resonance.FINE),
        records.WallRules(
            main_pipe_wall.STEP_TOLERANCE,
            main_pipe_wall.USUAL_LOSS,
            main_pipe_wall.MOST_WALL_STEPS,
        ),
        sketch.SKETCH_AGREEMENT,
        interplay.PULSATION_TOLERANCE,
        interplay.STEADY_SHRINKING,
        interplay.FORETOLD,
        interplay.MOST_PASSES,
        interplay.FREE_PASSES,
    )
