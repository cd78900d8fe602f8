"""The records that Python and the core hand each other: the same fields as in the C files.

A test reads the C files and compares names, kinds and order. Pointers are addresses of arrays,
which the caller keeps alive through the call.
"""

from __future__ import annotations

from ctypes import Structure, c_double, c_int64, c_void_p
from functools import partial
from operator import attrgetter
from typing import Any

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import RADIATION_TERMS

_Fields = list[tuple[str, Any]]


def _each(kind: Any, names: str) -> _Fields:
    return [(name, kind) for name in names.split()]


_numbers, _counts, _arrays = (partial(_each, kind) for kind in (c_double, c_int64, c_void_p))

DESIGN = (
    *("branch.outside_at_mouth", "branch.bore", "branch.length", "branch.rise"),
    "metal.conductivity_coefficients",
    *("covering.emissivity", "covering.wrap_thickness", "covering.wrap_conductivity"),
    *("main_pipe.outside_diameter", "main_pipe.wall_thickness", "main_pipe.gas_temperature"),
    *("main_pipe.skin_temperature", "main_pipe.mass_flow", "main_pipe.emissivity"),
    *("main_pipe.film_augmentation", "main_pipe.incident_pressure", "main_pipe.cap_pressure"),
    *("surroundings.air_temperature", "surroundings.radiant_temperature"),
    *("surroundings.pressure", "surroundings.air_speed", "surroundings.rear_from"),
    *("surroundings.rear_air_temperature", "surroundings.rear_radiant_temperature"),
    "surroundings.rear_air_speed",
    *("closures.mouth_exchange", "closures.tone_exchange", "closures.stirring"),
    *("closures.reach", "closures.sharpness", "closures.pulsation"),
    *("closures.stirred_film", "closures.still_nusselt"),
    *("closures.stanton", "closures.buoyancy", "closures.outer_film_factor"),
    *("closures.mouth_factor", "closures.mouth_flow", "closures.tone"),
    *("closures.fixed_diffusivity", "closures.fixed_inner_film", "closures.fixed_outer_film"),
    *("closures.fixed_mouth_length", "closures.mouth_model", "closures.wall_losses"),
    *("closures.flow_loss", "closures.level_loss"),
    "radiation_coefficients",
    "vapour_content",
)
"""Where the numbers of ``struct design`` stand in a case, in order."""

_values = attrgetter(*DESIGN)
NUMBERS = len(DESIGN) + 2 + RADIATION_TERMS - 1  # the conductivity has three


def designs(case: Any) -> FloatArray:
    """A case as records, (designs, NUMBERS)."""
    values = _values(case)
    if len(case) == 1:
        return np.concatenate([value.ravel() for value in values])[None]
    found = np.empty((NUMBERS, len(case)))
    row = 0
    for value in values:
        rows = 1 if value.ndim == 1 else value.shape[1]
        found[row : row + rows] = value.T
        row += rows
    return found.T.copy()


class Mixtures(Structure):
    """``struct mixtures``."""

    _fields_ = [
        *_arrays("gas air water gas_constant"),
        *_numbers("air_gas_constant water_gas_constant first step"),
        *_counts("gas_count gas_pieces air_pieces"),
    ]


class Pieces(Structure):
    """``struct pieces``."""

    _fields_ = [*_counts("count"), *_arrays("length bend_radius outside bore added")]


class Tolerances(Structure):
    """``struct tolerances``."""

    _fields_ = _numbers("step left imbalance")


class NewtonRules(Structure):
    """``struct newton_rules``."""

    _fields_ = [
        *_numbers("rounding_share smallest_rounding largest_rounding smallest_heat undamped_step"),
        *_numbers("shrinks shorter longer shortest"),
        *_counts("undamped_iterations most_iterations"),
    ]


class SearchRules(Structure):
    """``struct search_rules``."""

    _fields_ = [*_numbers("tolerance longest"), *_counts("most")]


class GridRules(Structure):
    """``struct grid_rules``."""

    _fields_ = [
        *_numbers("density wall_scales faint evenness cap_crowding drying"),
        *_counts("smoothings step_edges"),
    ]


class WallRules(Structure):
    """``struct wall_rules``."""

    _fields_ = [*_numbers("tolerance usual_loss"), *_counts("most")]


class CellMeans(Structure):
    """``struct cell_means``."""

    _fields_ = _arrays(
        "length density bulk_modulus viscosity heat_capacity_ratio prandtl inertance_ratio skew "
        "area_ratio"
    )


class HeatJob(Structure):
    """``struct heat_job``."""

    _fields_ = [
        *_counts("designs nodes"),
        *_arrays("design"),
        ("mixtures", Mixtures),
        ("pieces", Pieces),
        *_arrays("position forced gas wall skin dried"),
        ("ends", Tolerances),
        ("rules", NewtonRules),
        *_arrays("report stop"),
    ]


class GridJob(Structure):
    """``struct grid_job``."""

    _fields_ = [
        *_counts("designs few nodes"),
        *_arrays("position gas wall skin dried cap_crowding"),
        ("rules", GridRules),
        *_arrays("new_position new_gas new_wall new_skin new_dried"),
    ]


class DiscretiseJob(Structure):
    """``struct discretise_job``."""

    _fields_ = [
        *_counts("designs nodes cells"),
        ("mixtures", Mixtures),
        *_arrays("position temperature wall dried pressure inertance_ratio area_ratio"),
        ("means", CellMeans),
    ]


class SoundJob(Structure):
    """``struct sound_job``."""

    _fields_ = [
        *_counts("designs cells many"),
        ("means", CellMeans),
        *_arrays("radius mouth_inertance grazed_inertance crossing_time wall_losses frequency"),
        *_arrays("impedance flow"),
        ("coarse", SearchRules),
        ("fine", SearchRules),
        *_arrays("resonance quality stop"),
    ]


class EffectiveJob(Structure):
    """``struct effective_job``."""

    _fields_ = [
        *_counts("designs cells"),
        ("means", CellMeans),
        ("mixtures", Mixtures),
        *_arrays("radius mouth_inertance grazed_inertance crossing_time wall_losses"),
        *_arrays("pressure frequency log_start"),
        ("search", SearchRules),
        *_arrays("log_found stop"),
    ]


class SteadyRules(Structure):
    """``struct steady_rules``."""

    _fields_ = [
        ("newton", NewtonRules),
        ("sketch", Tolerances),
        ("fine", Tolerances),
        ("grid", GridRules),
        ("coarse_search", SearchRules),
        ("fine_search", SearchRules),
        ("wall", WallRules),
        *_numbers("sketch_agreement fine_agreement steady_shrinking foretold"),
        *_counts("most_passes free_passes"),
    ]


class SteadyJob(Structure):
    """``struct steady_job``."""

    _fields_ = [
        *_counts("designs nodes sketch_nodes cells modes"),
        *_arrays("design"),
        ("mixtures", Mixtures),
        ("pieces", Pieces),
        *_arrays("given_position"),
        ("rules", SteadyRules),
        *_arrays("stop position gas wall skin dried condensing report mouth"),
        ("means", CellMeans),
        *_arrays("transit_time resonance quality failed"),
        *_counts("solves newton_steps"),
    ]


class Store(Structure):
    """``struct store``."""

    _fields_ = _arrays("metal wrap_wall wrap_skin capacity main_metal main_capacity main_held fall")


class Forcing(Structure):
    """``struct forcing``."""

    _fields_ = _arrays(
        "breaks jumps gas_start gas_slope flow_start flow_slope air_start air_slope "
        "lag_amount lag_rate"
    )


class SteppingRules(Structure):
    """``struct stepping_rules``."""

    _fields_ = [
        *_numbers("tolerance newton_step foretold_step first_step"),
        *_numbers("gas_share smallest_step loose_step swing shorter longer main_wall_step"),
        *_counts("most_steps most_newton_steps loose_after"),
    ]


class WarmJob(Structure):
    """``struct warm_job``."""

    _fields_ = [
        *_counts("designs nodes times_count stretches lags"),
        *_arrays("design"),
        ("mixtures", Mixtures),
        ("pieces", Pieces),
        *_arrays("position stirred shaken constant main_film"),
        ("store", Store),
        ("forcing", Forcing),
        ("rules", SteppingRules),
        *_arrays("start bounds times output report stop"),
    ]
