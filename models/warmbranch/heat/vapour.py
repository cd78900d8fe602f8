"""Water vapour along a branch in balance with given temperatures, and the heat that it sets free.

Vapour comes in through the mouth, is carried along by the same mixing as heat, and condenses where
the wall is colder than its dew point; the gas that stays behind dries towards the cap. What
condenses warms the wall.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import GAS_CONSTANT
from warmbranch.case.case import Case
from warmbranch.gas.gas import MixtureTable
from warmbranch.gas.saturation import saturated_content
from warmbranch.heat.counterflow import TINY
from warmbranch.heat.linearised import Carried, Condensing, divergence, face_mean
from warmbranch.heat.mouth_exchange import DISC_SHAPE_FACTOR

WATER_MOLAR_MASS = 0.018015268
"""kg/mol, as the property table has it."""

LATENT, LATENT_FALLS = 2.501e6, 2370.0
"""J/kg at 273.15 K, and by how much it falls a kelvin."""


FOOT = 0.02
"""Over the φ of the gas: how far below the dew point condensing takes to set in, some 0.4 K. With a
kink there, Newton's method goes to and fro where vapour all but saturates a whole tube; were it to
begin above, a wall might get hotter than all that is around it. It is half a foot late, 0.2 K."""

AGREED = 1e-9
"""Change of φ over that of the gas after which Newton's method has left rounding ..."""

MOST_STEPS = 60
"""... which takes some five steps."""


class Content(NamedTuple):
    """Of vapour, (designs, nodes): φ, what counts of it over that at the wall, and its slope."""

    content: FloatArray
    over: FloatArray
    share: FloatArray


class Paths(NamedTuple):
    """How easily vapour moves, mol/s per unit of φ, and how that answers to the gas, per K.

    Parameters
    ----------
    along, along_left, along_right : (designs, faces) array
        With the slopes to the nodes beside each face.
    to_wall, to_wall_left, to_wall_here, to_wall_right : (designs, nodes) array
        With the slopes to a node's left neighbour, its own and its right neighbour's.
    mouth : (designs,) array
        Infinite where the mouth does not resist.
    """

    along: FloatArray
    along_left: FloatArray
    along_right: FloatArray
    to_wall: FloatArray
    to_wall_left: FloatArray
    to_wall_here: FloatArray
    to_wall_right: FloatArray
    mouth: FloatArray


def condensing(
    case: Case,
    gas: MixtureTable,
    carried: Carried,
    temperatures: tuple[FloatArray, FloatArray],
    area_by_spacing: FloatArray,
    main_gas: FloatArray,
    mouth_resistance: FloatArray,
    dried: FloatArray | None = None,
) -> Condensing | None:
    """What condenses; None where the gas stays as it is, all walls being too hot.

    Parameters
    ----------
    case : Case
    gas : MixtureTable
    carried : Carried
        What the gas does at its temperatures.
    temperatures : two (designs, nodes) arrays, K
        Of gas and of wall.
    area_by_spacing : (designs, faces) array, m
    main_gas, mouth_resistance : (designs,) array; K, K/W
    dried : (designs, nodes) array, mol/mol, optional
        As it was found at these temperatures, for who has it.
    """
    inside, wall = temperatures
    whole, pressure = case.vapour_content, case.surroundings.pressure
    # A main pipe colder than its own dew point has lost the rest before.
    entering = np.minimum(whole, saturated_content(main_gas[:, None], pressure)[0][:, 0])
    coldest = saturated_content(wall.min(axis=1)[:, None], pressure)[0][:, 0]
    if not np.any((entering > coldest) | (entering < whole)):
        return None
    bore = case.branch.bore
    along = paths(carried, gas, inside, area_by_spacing, bore, pressure, main_gas, mouth_resistance)
    return in_balance(along, whole, entering, wall, pressure, dried)


def paths(
    carried: Carried,
    gas: MixtureTable,
    temperature: FloatArray,
    area_by_spacing: FloatArray,
    bore: FloatArray,
    pressure: FloatArray,
    main_gas: FloatArray,
    mouth_resistance: FloatArray,
) -> Paths:
    r"""How easily vapour moves, by the paths that heat takes.

    Along: :math:`c (D_v + D_{mix}) A/\Delta x`. To the wall, by Chilton and Colburn:
    :math:`c\,(h/\rho c_p)(D_v/\alpha)^{2/3}` times the surface. Through the mouth: what the shear
    layer exchanges, and diffusion into a disc.

    Parameters
    ----------
    carried : Carried
        What the gas does at ``temperature``, (designs, nodes), K.
    gas : MixtureTable
    area_by_spacing : (designs, faces) array, m
    bore, pressure, main_gas, mouth_resistance : (designs,) array; m, Pa, K, K/W
    """
    per_kelvin = (pressure / GAS_CONSTANT)[:, None]
    (volumetric, volumetric_slope), state = carried.volumetric, carried.state
    exchange, *by_exchange = carried.exchange
    own, own_rises = water_diffusivity(temperature, pressure), diffusivity_power(temperature)
    lewis = own * volumetric / state.conductivity
    to_wall = per_kelvin / temperature * exchange / volumetric * np.cbrt(np.square(lewis))
    by_left, by_here, by_right = (to_wall * slope / exchange for slope in by_exchange)
    # Of ln[(D/α)^(2/3)/(T ρ c_p)].
    swells = (2 * own_rises / 3 - 1) / temperature - volumetric_slope / volumetric / 3
    swells -= 2 * state.conductivity_slope / state.conductivity / 3

    faces, rises = face_mean(temperature), own_rises * own / temperature / 2
    molar = per_kelvin / faces * area_by_spacing
    along = molar * (face_mean(own) + carried.mixed)
    dilutes = along / (2 * faces)
    along_left, along_right = molar * rises[:, :-1] - dilutes, molar * rises[:, 1:] - dilutes
    if carried.buoyant is not None:
        along_left += molar * carried.buoyant.left
        along_right += molar * carried.buoyant.right

    hot = main_gas[:, None]
    state = gas.evaluate(hot)
    heat = (gas.density(hot, pressure) * state.heat_capacity)[:, 0]
    stagnant, resists = DISC_SHAPE_FACTOR * bore, mouth_resistance > 0
    moved = 1 / np.where(resists, mouth_resistance, 1.0) - stagnant * state.conductivity[:, 0]
    through = moved / heat + stagnant * water_diffusivity(hot, pressure)[:, 0]
    return Paths(
        along,
        along_left,
        along_right,
        to_wall,
        by_left,
        by_here + to_wall * swells,
        by_right,
        mouth=np.where(resists, through * per_kelvin[:, 0] / main_gas, np.inf),
    )


def in_balance(
    along: Paths,
    whole: FloatArray,
    entering: FloatArray,
    wall: FloatArray,
    pressure: FloatArray,
    dried: FloatArray | None = None,
) -> Condensing:
    r"""Vapour in balance with a wall's temperatures.

    With :math:`\varphi = -\ln(1 - y)` of the mole fraction y, diffusion through gas that stays
    behind (Stefan flow) is linear:

    .. math:: \frac{d}{dx}\left[c (D_v + D_{mix}) A \frac{d\varphi}{dx}\right]
              = c k P\,\max(\varphi - \varphi_w, 0)

    with saturation at the wall's temperature in :math:`\varphi_w`, and a smooth foot in place of
    the kink (``FOOT``). Nothing evaporates: what has condensed runs off or stays.

    Parameters
    ----------
    along : Paths
    whole, entering : (designs,) array
        φ of the gas as it was made, and in the main pipe.
    wall : (designs, nodes) array, K
    pressure : (designs,) array, Pa
    dried : (designs, nodes) array, mol/mol, optional
        As it was found, for who has it.

    Returns
    -------
    Condensing
        Its slopes are exact, the paths' answering to the gas included.

    Valid for
    ---------
    As the heat's mixing and films, whose priors are wide. No fog in the gas; what vapour gives off
    as it cools on its way, a twentieth of its latent heat, is left out.

    Check
    -----
    Exact: a uniform tube, by hyperbolic functions; what enters is what condenses.
    tests/models/heat/test_vapour.py.

    Source
    ------
    Analogy of heat and mass transfer after Chilton & Colburn; Stefan flow in any textbook
    (Bird, Stewart & Lightfoot, Transport Phenomena, chapter 18), from memory.
    """
    at_wall, rises = saturated_content(wall, pressure)
    if dried is None:
        found, counts, share = balanced(along, whole, entering, at_wall)
    else:
        found = whole[:, None] - np.log1p(dried)
        counts, share = _over(found - at_wall, (FOOT * whole)[:, None])
    heat = latent_heat(wall) * WATER_MOLAR_MASS
    over, sink = heat * counts, heat * along.to_wall * share
    fall = found[:, :-1] - found[:, 1:]
    _, left, here, right = divergence(along.along * fall, along.along, -along.along)
    _, gas_left, gas_here, gas_right = divergence(
        along.along * fall, along.along_left * fall, along.along_right * fall
    )
    at_mouth = np.isinf(along.mouth)
    admits = np.where(at_mouth, 0.0, along.mouth)
    here[:, 0] += admits
    # A mouth that does not resist gives its φ to the first node.
    here[at_mouth, 0] = 1.0
    right[at_mouth, 0] = gas_here[at_mouth, 0] = gas_right[at_mouth, 0] = 0.0
    by_left, by_here, by_right = (over * slope for slope in along[4:7])
    rate = over * along.to_wall / heat
    passed_on = along.along[:, 0] * fall[:, 0] + rate[:, 0]
    return Condensing(
        dried=np.expm1(whole[:, None] - found),
        rate=rate,
        entering=np.where(at_mouth, passed_on, admits * (entering - found[:, 0])),
        latent=over * along.to_wall,
        by_content=sink,
        by_wall=-sink * rises - WATER_MOLAR_MASS * LATENT_FALLS * rate,
        by_gas_left=by_left,
        by_gas_here=by_here,
        by_gas_right=by_right,
        left=heat * left,
        here=heat * here + sink,
        right=heat * right,
        wall=-sink * rises,
        gas_left=heat * gas_left + by_left,
        gas_here=heat * gas_here + by_here,
        gas_right=heat * gas_right + by_right,
    )


def balanced(along: Paths, whole: FloatArray, entering: FloatArray, at_wall: FloatArray) -> Content:
    """φ at the nodes, and what of it condenses: each follows from the other.

    By Newton's method, all designs stacked in one tridiagonal system. The sink is convex: after one
    step φ comes down to the solution and never passes it.

    Parameters
    ----------
    along : Paths
    whole, entering : (designs,) array
        φ of the gas as it was made, and in the main pipe.
    at_wall : (designs, nodes) array
        φ of saturated vapour there.
    """
    designs, nodes = at_wall.shape
    passing, beside, given = np.zeros((3, designs, nodes))
    passing[:, :-1] += along.along
    passing[:, 1:] += along.along
    beside[:, :-1] = -along.along
    free = np.isinf(along.mouth)
    admits = np.where(free, 0.0, along.mouth)
    passing[:, 0] += admits
    given[:, 0] = admits * entering
    # A mouth that does not resist gives its φ to the first node.
    given[free, 1] += along.along[free, 0] * entering[free]
    beside[free, 0] = 0.0
    foot = (FOOT * whole)[:, None]
    found = np.repeat(entering[:, None], nodes, axis=1)
    agrees = np.zeros(designs, dtype=np.bool_)
    for _ in range(MOST_STEPS):
        over, share = _over(found - at_wall, foot)
        sink = along.to_wall * share
        system, asked = passing + sink, given + along.to_wall * (share * found - over)
        system[free, 0], asked[free, 0] = 1.0, entering[free]
        new = _tridiagonal(system, beside, asked)
        change = np.abs(new - found).max(axis=1)
        # A design that agrees stays: what it is told does not depend on its neighbours.
        found = np.where(agrees[:, None], found, new)
        agrees |= change <= AGREED * whole
        if agrees.all():
            break
    return Content(found, *_over(found - at_wall, foot))


def _over(excess: FloatArray, foot: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What counts of φ over that at the wall, and its slope: a line with a parabola for a foot."""
    foot = np.maximum(foot, TINY)
    share = np.minimum(np.maximum(excess / foot, 0.0), 1.0)
    return np.where(share < 1, foot / 2 * np.square(share), excess - foot / 2), share


def water_diffusivity(temperature: FloatArray, pressure: FloatArray) -> FloatArray:
    """Of water vapour in air, (designs, n), m²/s.

    Parameters
    ----------
    temperature : (designs, n) array, K
    pressure : (designs,) array, Pa

    Valid for
    ---------
    282 to 1070 K, within some 7 %, in nitrogen too. Marrero & Mason, J. Phys. Chem. Ref. Data 1
    (1972) 3, from memory.
    """
    factor = np.where(temperature < 450, 1.87e-10, 2.75e-9)
    at_one_atmosphere: FloatArray = factor * temperature ** diffusivity_power(temperature)
    return at_one_atmosphere * (101325.0 / pressure[:, None])


def diffusivity_power(temperature: FloatArray) -> FloatArray:
    """Power of the temperature that :func:`water_diffusivity` goes with."""
    return np.where(temperature < 450, 2.072, 1.632)


def latent_heat(temperature: FloatArray) -> FloatArray:
    """Heat that a kilogram of vapour sets free as water, J/kg.

    Valid for
    ---------
    273 to 373 K within 0.3 %; a straight line that is common in meteorology, from memory.
    """
    return LATENT - LATENT_FALLS * (temperature - 273.15)


@cache
def _ptsv() -> Callable[..., tuple[Any, Any, FloatArray, int]]:
    """LAPACK's solver of symmetric tridiagonal systems; imported late as in banded.py."""
    lapack = import_module("scipy.linalg.lapack")
    return cast("Callable[..., tuple[Any, Any, FloatArray, int]]", vars(lapack)["dptsv"])


def _tridiagonal(own: FloatArray, beside: FloatArray, given: FloatArray) -> FloatArray:
    _, _, solution, info = _ptsv()(own.ravel(), beside.ravel()[:-1], given.ravel())
    if info != 0:
        raise np.linalg.LinAlgError(f"singular balance of vapour (LAPACK ptsv: {info})")
    return solution.reshape(own.shape)
