"""Put a batch on its grid: nodes, and what stirs and pulses at them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.case.bores import aligned, evened
from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.grid import DEFAULT_NODES, STEP_EDGES, graded
from warmbranch.heat.heat_balance import HeatBalance
from warmbranch.heat.mixing import laminar_pulsation, pulsation, stirred_mouth
from warmbranch.heat.mouth_exchange import characteristic_impedance, mouth_resistance

WALL_SCALES = 3.0
"""The grid follows the gas; the wall's decay length counts only when three times shorter."""


def heat_balance(
    case: Case,
    gas: MixtureTable,
    air: MixtureTable,
    speed: FloatArray,
    *,
    nodes: int = DEFAULT_NODES,
    position: FloatArray | None = None,
    resistance: FloatArray | None = None,
) -> HeatBalance:
    """Put a batch on its grid, without pulsation.

    Parameters
    ----------
    case : Case
    gas, air : MixtureTable
        Gas inside, one mixture a design; air outside, one mixture.
    speed : (designs,) array, m/s
        Bulk speed in the main pipe.
    nodes : int
    position : (designs, nodes) array, m, optional
        In place of graded nodes.
    resistance : (designs,) array, K/W, optional
        Of the mouth, for who has it: see :func:`mouth_exchange.mouth_resistance`.
    """
    closures, fixed = case.closures, case.closures.fixed_diffusivity[:, None]

    def forced(x: FloatArray) -> FloatArray:
        stirred = stirred_mouth(
            evened(case.branch, x),
            case.branch.bore,
            speed,
            closures.stirring,
            closures.reach,
            closures.sharpness,
        )
        return np.where(np.isnan(fixed), stirred, fixed)

    if position is None:
        at_mouth = forced(np.zeros((len(case), 1)))[:, 0]
        position = graded(case.branch.length, _shortest_scale(case, gas, at_mouth), nodes)
        position = aligned(case.branch, position, STEP_EDGES)
    return HeatBalance(
        case,
        gas,
        air,
        position,
        forced(position),
        mouth_resistance(case, gas, speed) if resistance is None else resistance,
        case.main_pipe.gas_temperature,
    )


def pulsating(
    balance: HeatBalance, displacement: FloatArray, frequency: FloatArray, gas: FloatArray
) -> HeatBalance:
    """The same balance with what a tone of the gas does: mixing, where it is not fixed, and
    exchange at the mouth.

    Parameters
    ----------
    balance : HeatBalance
        Without it.
    displacement : (designs, nodes) array, m
        Amplitude of the gas's displacement, at ``frequency`` (designs,), Hz.
    gas : (designs, nodes) array, K
        Temperatures that the layers at the wall belong to.
    """
    case = balance.case
    closures = case.closures
    added = pulsation(
        displacement, frequency, pulsation_strength(case, balance.gas, gas, frequency)
    )
    added = np.where(np.isnan(closures.fixed_diffusivity)[:, None], added, 0.0)
    main = case.main_pipe
    told = cap_pressure_of(case, balance.gas, displacement[:, 0], frequency)
    cap_pressure = np.where(main.incident_pressure > 0, told, main.cap_pressure)
    case = case.changed(main_pipe=main.changed(cap_pressure=cap_pressure))
    speed = bulk_speed(main, balance.gas, case.surroundings.pressure)
    return replace(
        balance,
        case=case,
        forced_diffusivity=balance.forced_diffusivity + added,
        mouth_resistance=mouth_resistance(case, balance.gas, speed),
    )


def pulsation_strength(
    case: Case, gas: MixtureTable, temperature: FloatArray, frequency: FloatArray
) -> FloatArray:
    """``C_p`` at (designs, nodes): as given, or that of the laminar layers, dimensionless."""
    given = case.closures.pulsation[:, None]
    if not np.any(np.isnan(given)):
        return given
    state = gas.evaluate(temperature)
    viscosity = state.viscosity / gas.density(temperature, case.surroundings.pressure)
    prandtl = state.viscosity * state.heat_capacity / state.conductivity
    laminar = laminar_pulsation(viscosity, prandtl, frequency, case.branch.bore)
    return np.where(np.isnan(given), laminar, given)


def cap_pressure_of(
    case: Case, gas: MixtureTable, at_mouth: FloatArray, frequency: FloatArray
) -> FloatArray:
    """Pressure at the cap that goes with a displacement ``at_mouth``, m: ``ρ c ω ξ``, Pa.

    As of a lossless quarter wave of the main pipe's gas; (designs,).
    """
    hot, pressure = case.main_pipe.gas_temperature, case.surroundings.pressure
    return characteristic_impedance(gas, hot, pressure) * 2 * np.pi * frequency * at_mouth


def halved(balance: HeatBalance) -> HeatBalance:
    """The same balance with a node between each two; what mixes there is their mean."""

    def with_means(coarse: FloatArray) -> FloatArray:
        fine = np.empty((coarse.shape[0], 2 * coarse.shape[1] - 1))
        fine[:, ::2], fine[:, 1::2] = coarse, (coarse[:, 1:] + coarse[:, :-1]) / 2
        return fine

    return replace(
        balance,
        x=with_means(balance.x),
        forced_diffusivity=with_means(balance.forced_diffusivity),
    )


def _shortest_scale(case: Case, gas: MixtureTable, diffusivity: FloatArray) -> FloatArray:
    """Shorter of the gas's and the wall's decay lengths at the mouth, m."""
    branch, closures, pipe = case.branch, case.closures, case.main_pipe
    hot = pipe.gas_temperature[:, None]
    state = gas.evaluate(hot)
    density = gas.density(hot, case.surroundings.pressure)
    mixed = (density * state.heat_capacity)[:, 0] * diffusivity
    conductivity = state.conductivity[:, 0]
    viscosity = state.viscosity[:, 0] / density[:, 0]
    nusselt = closures.still_nusselt + closures.stirred_film * np.sqrt(diffusivity / viscosity)
    film = (nusselt * conductivity + closures.stanton * mixed) / branch.bore
    film = np.where(np.isnan(closures.fixed_inner_film), film, closures.fixed_inner_film)
    in_gas = np.sqrt((conductivity + mixed) * branch.bore / (4 * film))
    # Outside, a film and radiation of the usual size; the scale only places nodes.
    outer = np.where(np.isnan(closures.fixed_outer_film), 20.0, closures.fixed_outer_film)
    outer = outer + 2.0 * np.sqrt(case.surroundings.air_speed / branch.outside_at_mouth)
    metal = case.metal.conductivity(hot)[:, 0]
    in_wall = np.sqrt(
        metal * branch.wall_area / (np.pi * (branch.outside_at_mouth * outer + branch.bore * film))
    )
    scale = np.minimum(in_gas, WALL_SCALES * in_wall)
    # Hot metal beside cold gas bends the gas's profile more than its decay length tells.
    scale = np.where(pipe.skin_temperature > pipe.gas_temperature, 0.65 * scale, scale)
    of_stirring = closures.reach * branch.bore / np.maximum(closures.sharpness, 1.0)
    return np.where(np.isnan(closures.fixed_diffusivity), np.minimum(scale, of_stirring), scale)
