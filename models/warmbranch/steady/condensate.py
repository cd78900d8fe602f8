"""Water that condenses along a branch: how much, where, and the heat that it sets free.

Vapour comes in through the mouth, is carried along by the same mixing as heat, and condenses where
the wall is colder than its dew point; the gas that stays behind dries towards the cap. Temperatures
are taken as solved: the heat of condensing is told and not given back to them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.constants import GAS_CONSTANT
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import SPECIES, MixtureTable, dry_air_table
from warmbranch.gas.property_table import pure_gases
from warmbranch.gas.saturation import COLDEST_ICE, HOTTEST_WATER, saturation_pressure
from warmbranch.heat.linearised import face_mean
from warmbranch.heat.mouth_exchange import DISC_SHAPE_FACTOR
from warmbranch.steady.answer import Answer
from warmbranch.steady.interplay import balance_of

WETTEST = 1 - 1e-9
"""Mole fraction beyond which vapour cannot be told from pure steam."""


@dataclass(frozen=True)
class Condensate(Batched):
    """Water along each branch.

    Parameters
    ----------
    rate : (designs, nodes) array, kg/s
        That condenses on the wall of each node's control volume; the last with the cap.
    vapour : (designs, nodes) array
        Mole fraction of water that is left in the gas.
    entering : (designs,) array, kg/s
        Through the mouth.
    """

    rate: FloatArray
    vapour: FloatArray
    entering: FloatArray


def condensate(answer: Answer) -> Condensate:
    r"""What condenses in the steady state.

    With :math:`\varphi = -\ln(1 - y)` of the mole fraction y, diffusion through gas that stays
    behind (Stefan flow) is linear:

    .. math:: \frac{d}{dx}\left[c (D_v + D_{mix}) A \frac{d\varphi}{dx}\right]
              = c k P\,\max(\varphi - \varphi_w, 0),
              \quad k = \frac{h}{\rho c_p} \left(\frac{D_v}{\alpha}\right)^{2/3}

    with saturation at the wall's temperature in :math:`\varphi_w`, and the mouth's resistance as
    that of heat. Nothing evaporates: what has condensed runs off or stays.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    Condensate

    Valid for
    ---------
    As the heat's mixing and films, whose priors are wide: within a factor of some 1.5. No fog in
    the gas, no latent heat given to the wall, which would condense some tenths less where half of
    the heat is latent.

    Check
    -----
    Exact: a uniform tube, by hyperbolic functions; vapour that enters is what condenses.
    tests/models/steady/test_condensate.py.

    Source
    ------
    Analogy of heat and mass transfer after Chilton & Colburn; Stefan flow in any textbook
    (Bird, Stewart & Lightfoot, Transport Phenomena, chapter 18), from memory.
    """
    case, profile = answer.case, answer.profile
    gas, pressure = MixtureTable.of(case.gas), case.surroundings.pressure
    speed = bulk_speed(case.main_pipe, gas, pressure)
    main, duct = answer.main_impedance, answer.duct
    balance = balance_of(case, gas, dry_air_table(), speed, profile, main, duct, answer.tone)
    mixing, exchange = balance.mixing_and_exchange(profile.gas)

    def molar(temperature: FloatArray) -> FloatArray:
        return pressure[:, None] / (GAS_CONSTANT * temperature)  # mol/m³

    faces = face_mean(profile.gas)
    along = (
        molar(faces) * (water_diffusivity(faces, pressure) + mixing) * balance.sections.bore_area
    )
    along = along / balance.spacing  # mol/s per unit of φ, as all that follows
    state = gas.evaluate(profile.gas)
    volumetric = gas.density(profile.gas, pressure) * state.heat_capacity
    own = water_diffusivity(profile.gas, pressure)
    lewis = own * volumetric / state.conductivity
    to_wall = molar(profile.gas) * exchange / volumetric * np.cbrt(np.square(lewis))

    hot = case.main_pipe.gas_temperature[:, None]
    main = gas.evaluate(hot)
    heat = (gas.density(hot, pressure) * main.heat_capacity)[:, 0]
    resistance = balance.mouth_resistance
    stagnant = DISC_SHAPE_FACTOR * case.branch.bore
    with np.errstate(divide="ignore"):
        moved = (1 / resistance - stagnant * main.conductivity[:, 0]) / heat
    through = moved + stagnant * water_diffusivity(hot, pressure)[:, 0]
    through = np.where(resistance > 0, through * molar(hot)[:, 0], np.inf)

    outside = _stefan(case.gas.mole_fractions[:, SPECIES.index("H2O")])
    at_wall = _stefan(_saturated(profile.wall, pressure))
    found = np.array(
        [_balanced(*row) for row in zip(along, to_wall, through, outside, at_wall, strict=True)]
    )
    mass = float(pure_gases().molar_mass[SPECIES.index("H2O")])
    lost = to_wall * np.maximum(found - at_wall, 0.0)
    passed = along[:, 0] * (found[:, 0] - found[:, 1]) + lost[:, 0]
    with np.errstate(invalid="ignore"):
        entering = np.where(np.isinf(through), passed, through * (outside - found[:, 0]))
    return Condensate(mass * lost, -np.expm1(-found), mass * entering)


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
    cool, hot = 1.87e-10 * temperature**2.072, 2.75e-9 * temperature**1.632
    at_one_atmosphere: FloatArray = np.where(temperature < 450, cool, hot)
    return at_one_atmosphere * (101325.0 / pressure[:, None])


def latent_heat(temperature: FloatArray) -> FloatArray:
    """Heat that a kilogram of vapour sets free as water, J/kg.

    Valid for
    ---------
    273 to 373 K within 0.3 %; a straight line that is common in meteorology, from memory.
    """
    return 2.501e6 - 2370.0 * (temperature - 273.15)


def _stefan(mole_fraction: FloatArray) -> FloatArray:
    return -np.log1p(-np.minimum(mole_fraction, WETTEST))


def _saturated(temperature: FloatArray, pressure: FloatArray) -> FloatArray:
    """Mole fraction of saturated vapour; that of steam where water would boil."""
    within = np.clip(temperature, COLDEST_ICE, HOTTEST_WATER)
    return np.minimum(saturation_pressure(within) / pressure[:, None], 1.0)


def _balanced(
    along: FloatArray, to_wall: FloatArray, through: float, outside: float, at_wall: FloatArray
) -> FloatArray:
    """φ at the nodes of one design: where it condenses follows from it, and it from where."""
    nodes = len(at_wall)
    inner = np.arange(nodes - 1)
    # What each node passes on; dense, since 129 nodes do not repay the import of a banded solver.
    passing = np.zeros((nodes, nodes))
    passing[inner, inner] = along
    passing[inner + 1, inner + 1] += along
    passing[inner, inner + 1] = passing[inner + 1, inner] = -along
    found = np.full_like(at_wall, outside)
    wet = found > at_wall
    for _ in range(nodes + 1):
        sink = np.where(wet, to_wall, 0.0)
        system, given = passing + np.diag(sink), sink * np.where(wet, at_wall, 0.0)
        if np.isinf(through):  # a mouth that does not resist
            system[0], given[0] = 0.0, outside
            system[0, 0] = 1.0
        else:
            system[0, 0] += through
            given[0] += through * outside
        found[:] = np.linalg.solve(system, given)
        # Newton's method on a convex sink comes down to the solution: places only ever fall dry.
        still = wet & (found > at_wall)
        if np.array_equal(still, wet):
            break
        wet = still
    return found
