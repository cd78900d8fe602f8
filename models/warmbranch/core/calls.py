"""Typed calls of the core: arrays in, arrays out. Shapes and units are those of who calls."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from warmbranch.base import stopping
from warmbranch.base.batch import BoolArray, ComplexArray, FloatArray
from warmbranch.core import records
from warmbranch.core.held import Held
from warmbranch.core.library import Library

if TYPE_CHECKING:
    from warmbranch.case.case import Case
    from warmbranch.gas.gas import MixtureTable
    from warmbranch.heat.heat_balance import HeatBalance
    from warmbranch.sound.acoustics import Duct


class CellMeans(NamedTuple):
    """What a profile comes to in each cell; every field (designs, cells), as those of ``Duct``."""

    length: FloatArray
    density: FloatArray
    bulk_modulus: FloatArray
    viscosity: FloatArray
    heat_capacity_ratio: FloatArray
    prandtl: FloatArray
    inertance_ratio: FloatArray
    skew: FloatArray
    area_ratio: FloatArray


class Steady(NamedTuple):
    """What the core finds of a batch; ``failed`` designs hold no answer.

    Of ``report``, heat by gas and wall through the mouth and lost outside, W, iterations and last
    step, K; of ``mouth``, those of ``struct mouth`` in order.
    """

    position: FloatArray
    gas: FloatArray
    wall: FloatArray
    skin: FloatArray
    dried: FloatArray
    condensing: FloatArray
    report: FloatArray
    mouth: FloatArray
    means: CellMeans
    transit_time: FloatArray
    resonance: FloatArray
    quality: FloatArray
    failed: BoolArray
    solves: int
    newton_steps: int


def solve_heat(
    core: Library,
    balance: HeatBalance,
    temperatures: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    ends: records.Tolerances,
    rules: records.NewtonRules,
) -> FloatArray:
    """Newton's method on every design, in place; (designs, 5) as :class:`Steady` has it.

    ``temperatures`` are those of gas, wall and skin, and what the gas has lost of its water.
    """
    held = Held()
    designs, nodes = balance.x.shape
    report = np.zeros((designs, 5))
    job = records.HeatJob(designs=designs, nodes=nodes, ends=ends, rules=rules)
    job.mixtures = held.mixtures(balance.gas, balance.air)
    job.pieces = held.pieces(balance.case.branch)
    gas, wall, skin, dried = temperatures
    held.fill(
        job,
        design=records.designs(balance.case),
        position=balance.x,
        forced=balance.forced_diffusivity,
        gas=gas,
        wall=wall,
        skin=skin,
        dried=dried,
        report=report,
        stop=stopping.flag(),
    )
    core.run("heat", job)
    return report


def refined(
    core: Library,
    profile: Sequence[FloatArray],
    nodes: int,
    cap_crowding: FloatArray,
    rules: records.GridRules,
) -> list[FloatArray]:
    """Nodes where a profile bends, and what it holds there: as ``Temperatures`` has it."""
    held = Held()
    designs, few = profile[0].shape
    found = [np.empty((designs, nodes)) for _ in profile]
    job = records.GridJob(designs=designs, few=few, nodes=nodes, rules=rules)
    names = ("position", "gas", "wall", "skin", "dried")
    held.fill(job, cap_crowding=cap_crowding, **dict(zip(names, profile, strict=True)))
    held.fill(job, **{f"new_{name}": value for name, value in zip(names, found, strict=True)})
    core.run("grid", job)
    return found


def discretise(
    core: Library,
    gas: MixtureTable,
    water: MixtureTable,
    position: FloatArray,
    temperature: FloatArray,
    wall: FloatArray,
    dried: FloatArray,
    pressure: FloatArray,
    inertance_ratio: FloatArray,
    cells: int,
    area_ratio: FloatArray | None,
) -> CellMeans:
    """Means of profiles over the cells that they are divided into."""
    held = Held()
    designs, nodes = position.shape
    means = CellMeans(*np.empty((len(CellMeans._fields), designs, cells)))
    job = records.DiscretiseJob(designs=designs, nodes=nodes, cells=cells, means=held.means(means))
    job.mixtures = held.mixtures(gas, water=water)
    held.fill(
        job,
        position=position,
        temperature=temperature,
        wall=wall,
        dried=dried,
        pressure=pressure,
        inertance_ratio=inertance_ratio,
    )
    if area_ratio is not None:
        held.fill(job, area_ratio=area_ratio)
    core.run("discretise", job)
    return means


def mouth_impedance(core: Library, duct: Duct, frequency: FloatArray) -> ComplexArray:
    """p/U of the duct at its mouth, mouth inertance included, at (designs, n) frequencies."""
    held = Held()
    impedance = np.empty(frequency.shape, dtype=np.complex128)
    job = _sound(held, duct, frequency.shape[1])
    held.fill(job, frequency=frequency, impedance=impedance)
    core.run("impedance", job)
    return impedance


def flow(core: Library, duct: Duct, frequency: FloatArray) -> tuple[ComplexArray, FloatArray]:
    """p/U at the mouth, inertance included, and |U| at the cells' edges over that at the mouth."""
    held = Held()
    designs, cells = duct.cell_length.shape
    impedance, size = np.empty(designs, dtype=np.complex128), np.empty((designs, cells + 1))
    job = _sound(held, duct, 1)
    held.fill(job, frequency=frequency, impedance=impedance, flow=size)
    core.run("impedance", job)
    return impedance, size


def resonances(
    core: Library,
    duct: Duct,
    modes: int,
    coarse: tuple[float, float, int],
    fine: tuple[float, float, int],
) -> tuple[FloatArray, FloatArray]:
    """Resonances, Hz, and quality factors, each (designs, modes)."""
    held = Held()
    frequency, quality = np.full((2, len(duct), modes), np.nan)
    job = _sound(held, duct, modes)
    job.coarse, job.fine = records.SearchRules(*coarse), records.SearchRules(*fine)
    held.fill(job, resonance=frequency, quality=quality)
    core.run("resonances", job)
    return frequency, quality


def effective_temperatures(
    core: Library,
    duct: Duct,
    gas: MixtureTable,
    pressure: FloatArray,
    frequency: FloatArray,
    log_start: FloatArray,
    search: tuple[float, float, int],
) -> FloatArray:
    """ln of the effective temperatures, (designs,)."""
    held = Held()
    designs, cells = duct.cell_length.shape
    found = np.full(designs, np.nan)
    job = records.EffectiveJob(
        designs=designs,
        cells=cells,
        means=_means(held, duct),
        mixtures=held.mixtures(gas),
        search=records.SearchRules(*search),
    )
    held.fill(
        job,
        **_whole(duct),
        pressure=pressure,
        frequency=frequency,
        log_start=log_start,
        log_found=found,
        stop=stopping.flag(),
    )
    core.run("effective", job)
    return found


def _means(held: Held, duct: Duct) -> records.CellMeans:
    return held.means(
        (
            duct.cell_length,
            duct.density,
            duct.bulk_modulus,
            duct.viscosity,
            duct.heat_capacity_ratio,
            duct.prandtl,
            duct.inertance_ratio,
            duct.skew,
            np.broadcast_to(duct.area_ratio, duct.cell_length.shape),
        )
    )


def _whole(duct: Duct) -> dict[str, FloatArray]:
    """What a duct has once and not in each cell, (designs,) each."""
    names = ("radius", "mouth_inertance", "grazed_inertance", "crossing_time", "wall_losses")
    return {name: np.asarray(getattr(duct, name), dtype=np.float64) for name in names}


def _sound(held: Held, duct: Duct, many: int) -> records.SoundJob:
    designs, cells = duct.cell_length.shape
    job = records.SoundJob(designs=designs, cells=cells, many=many, means=_means(held, duct))
    held.fill(job, **_whole(duct), stop=stopping.flag())
    return job


def steady(
    core: Library,
    case: Case,
    gases: tuple[MixtureTable, MixtureTable, MixtureTable],
    rules: records.SteadyRules,
    *,
    nodes: int,
    sketch_nodes: int,
    cells: int,
    modes: int,
    position: FloatArray | None,
    added: FloatArray | None,
) -> Steady:
    """From a case's numbers to temperatures, cells, resonances and quality factors.

    ``gases`` are that of the branch, air and water; ``added`` is what swings with the steps, as
    ``struct pieces`` has it, None where all are of one tube.
    """
    held = Held()
    designs = len(case)
    # All that is found lies in one array: to ask for its address is dear for one design.
    parts = len(CellMeans._fields)
    room = np.empty(designs * (6 * nodes + parts * cells + 5 + 7 + 1 + 2 * modes))
    place, begin = held.at(room), 0

    def lay(*shape: int) -> tuple[FloatArray, int]:
        nonlocal begin
        first, begin = begin, begin + math.prod(shape)
        return room[first:begin].reshape(shape), place + 8 * first

    profile, at_profile = lay(6, designs, nodes)
    means, at_means = lay(parts, designs, cells)
    report, at_report = lay(designs, 5)
    mouth, at_mouth = lay(designs, 7)
    transit, at_transit = lay(designs)
    found, at_found = lay(2, designs, modes)
    report.fill(0.0)
    transit.fill(np.nan)
    found.fill(np.nan)  # what is not reached, when work is stopped, is not there
    a_profile, a_mean, a_found = (8 * designs * count for count in (nodes, cells, modes))
    failed = np.zeros(designs, dtype=np.int64)
    job = records.SteadyJob(
        designs=designs,
        nodes=nodes,
        sketch_nodes=sketch_nodes,
        cells=cells,
        modes=modes,
        mixtures=held.mixtures(*gases),
        pieces=held.pieces(case.branch, added),
        rules=rules,
        position=at_profile,
        gas=at_profile + a_profile,
        wall=at_profile + 2 * a_profile,
        skin=at_profile + 3 * a_profile,
        dried=at_profile + 4 * a_profile,
        condensing=at_profile + 5 * a_profile,
        report=at_report,
        mouth=at_mouth,
        means=records.CellMeans(*(at_means + k * a_mean for k in range(parts))),
        transit_time=at_transit,
        resonance=at_found,
        quality=at_found + a_found,
    )
    held.fill(
        job,
        design=records.designs(case),
        stop=stopping.flag(),
        failed=failed,
    )
    if position is not None:
        held.fill(job, given_position=position)
    core.run("steady", job)
    return Steady(
        *profile,
        report=report,
        mouth=mouth,
        means=CellMeans(*means),
        transit_time=transit,
        resonance=found[0],
        quality=found[1],
        failed=failed != 0,
        solves=job.solves,
        newton_steps=job.newton_steps,
    )


def warm_up(
    core: Library,
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    rules: records.SteppingRules,
    arrays: dict[str, FloatArray],
    store: dict[str, FloatArray | BoolArray],
    forcing: dict[str, FloatArray | BoolArray],
    output: FloatArray,
) -> FloatArray:
    """Step every design to the end of its curves: ``stepping.integrate``; its report.

    ``arrays`` are the fields of ``struct warm_job`` of these names; ``store`` and ``forcing`` those
    of storage.py.
    """
    held = Held()
    designs, times, _, nodes = output.shape
    report = np.zeros((designs, 8))
    job = records.WarmJob(
        designs=designs,
        nodes=nodes,
        times_count=times,
        stretches=len(forcing["breaks"]) - 1,
        lags=forcing["lag_rate"].shape[1],
        rules=rules,
    )
    job.mixtures, job.pieces = held.mixtures(gas, air), held.pieces(case.branch)
    for record, parts in ((job.store, store), (job.forcing, forcing)):
        held.fill(record, **{name: part.astype(np.float64) for name, part in parts.items()})
    held.fill(
        job,
        design=records.designs(case),
        output=output,
        report=report,
        stop=stopping.flag(),
        **arrays,
    )
    core.run("warm_up", job)
    return report
