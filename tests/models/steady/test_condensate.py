"""Water that condenses: exact tubes, the balance of vapour, published properties."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import Composition
from warmbranch.steady.condensate import _balanced, condensate, latent_heat, water_diffusivity
from warmbranch.steady.solve import solve

LENGTH, ALONG, TO_WALL = 1.2, 3e-4, 2e-3
"""m; mol m/s and mol/(m s) per unit of φ: a tube whose vapour dies away over 0.39 m."""


def uniform(nodes, wall, through=np.inf, outside=0.14):
    """A tube with a closed end, the wall's φ given as a function of the place."""
    x = np.linspace(0.0, LENGTH, nodes)
    width = np.diff(np.concatenate([x[:1], (x[1:] + x[:-1]) / 2, x[-1:]]))
    return x, _balanced(ALONG / np.diff(x), TO_WALL * width, through, outside, wall(x) + 0 * x)


def decay():
    return np.sqrt(TO_WALL / ALONG)


def errors(through, exact, wall):
    found = []
    for nodes in (41, 81, 161):
        x, phi = uniform(nodes, wall, through)
        found.append(np.abs(phi - exact(x)).max())
    return np.array(found)


def test_a_cold_uniform_tube():
    """φ − φ_w goes as cosh(m (L − x)): exact, approached at second order."""
    m, excess = decay(), 0.14 - 0.02

    def exact(x):
        return 0.02 + excess * np.cosh(m * (LENGTH - x)) / np.cosh(m * LENGTH)

    found = errors(np.inf, exact, lambda x: 0.02)
    assert found[-1] < 2e-5
    assert_allclose(np.log2(found[:-1] / found[1:]), 2.0, atol=0.05)


def test_behind_a_mouth_that_resists():
    """What passes the mouth is what the tube takes, sinh over cosh: both exact."""
    m, through = decay(), 4e-4
    admits = ALONG * m * np.tanh(m * LENGTH)
    inside = 0.12 * through / (through + admits)

    def exact(x):
        return 0.02 + inside * np.cosh(m * (LENGTH - x)) / np.cosh(m * LENGTH)

    found = errors(through, exact, lambda x: 0.02)
    assert found[-1] < 2e-5
    assert_allclose(np.log2(found[:-1] / found[1:]), 2.0, atol=0.05)


def test_a_wall_too_hot_to_wet():
    """Half of the tube stays dry: there φ is a straight line, and nothing evaporates."""
    m, half = decay(), LENGTH / 2
    admits = ALONG * m * np.tanh(m * half)
    edge = 0.02 + 0.12 / (1 + admits * half / ALONG)

    def exact(x):
        beyond = np.cosh(m * (LENGTH - x)) / np.cosh(m * half)
        return np.where(x < half, 0.14 + (edge - 0.14) * x / half, 0.02 + (edge - 0.02) * beyond)

    x, phi = uniform(961, lambda x: np.where(x < half, 0.5, 0.02))
    # The edge lies within a control volume: first order there.
    assert_allclose(phi, exact(x), atol=3e-4)
    x, phi = uniform(41, lambda x: 0.5)
    assert_allclose(phi, 0.14, rtol=1e-12)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"mouth_exchange": np.inf, "gas_temperature": 600.0},
        {"rise": -0.4, "gas_temperature": 700.0, "wrap_thickness": 0.01},
        {"incident_pressure": 1000.0, "air_temperature": 253.15},
    ],
)
def test_what_enters_is_what_condenses(make_case, changes):
    answer = solve(make_case(**changes))
    found = condensate(answer)
    assert_allclose(found.entering, found.rate.sum(axis=1), rtol=1e-9)
    assert np.all(found.rate >= 0)
    assert found.entering[0] > 0
    falls = np.diff(found.vapour[0])
    assert np.all(falls <= 1e-12)
    wet = answer.profile.wall[0] < answer.dew_point[0]
    assert np.all(found.rate[0][~wet] == 0)
    # By its own heat at most what passes the mouth, and less: the rest is warmth.
    latent = np.sum(found.rate * latent_heat(answer.profile.wall))
    assert 0.005 < latent / answer.profile.heat_entering[0] < 0.6


def test_dry_gas_and_a_hot_tube_stay_dry(make_case):
    dry = condensate(solve(make_case(gas=Composition.dry_air())))
    assert np.all(dry.rate == 0)
    hot = condensate(solve(make_case(air_temperature=350.0)))
    assert np.all(hot.rate == 0)
    assert_allclose(hot.vapour, hot.vapour[0, 0], rtol=1e-12)


def test_second_order_in_the_nodes(make_case):
    case = make_case(gas_temperature=600.0)
    total = np.array([condensate(solve(case, nodes=n)).entering[0] for n in (129, 257, 513, 1025)])
    change = np.abs(np.diff(total))
    assert abs(total[0] / total[-1] - 1) < 2e-3
    # The edge of what is wet falls where it likes between nodes, which bends the order.
    assert change[0] > 2 * change[-1]


def test_designs_do_not_meddle(make_case):
    hot = np.array([423.15, 600.0, 800.0])
    together = condensate(solve(make_case(gas_temperature=hot)))
    for i, one in enumerate(hot):
        alone = condensate(solve(make_case(gas_temperature=one)))
        least = 1e-12 * alone.entering[0]
        assert_allclose(together.rate[i], alone.rate[0], rtol=1e-9, atol=least)


@pytest.mark.parametrize("kelvin", [300.0, 400.0, 500.0, 700.0, 900.0])
def test_diffusivity_against_another_correlation(kelvin):
    """Fuller, Schettler & Giddings 1966 (from memory), good to some 7 % as ours is; 15 % for both.

    0.00143 T^1.75 / [p √M (Σv_A^⅓ + Σv_B^⅓)²] cm²/s, water 13.1 and air 19.7.
    """
    volumes = (13.1 ** (1 / 3) + 19.7 ** (1 / 3)) ** 2
    mass = 2 / (1 / 18.015 + 1 / 28.965)
    fuller = 1e-4 * 0.00143 * kelvin**1.75 / (1.01325 * np.sqrt(mass) * volumes)
    own = water_diffusivity(np.array([[kelvin]]), np.array([101325.0]))[0, 0]
    assert own == pytest.approx(fuller, rel=0.15)


def test_diffusivity_against_kinetic_theory():
    """Cantera's water in nitrogen, from collision integrals: within 20 %, 300 to 900 K; what was
    measured near 300 K lies 10 % above kinetic theory (0.24 to 0.26 cm²/s, from memory)."""
    cantera = pytest.importorskip("cantera")
    mixture = cantera.Solution("gri30.yaml")
    water, nitrogen = mixture.species_index("H2O"), mixture.species_index("N2")
    for kelvin in (300.0, 400.0, 600.0, 900.0):
        mixture.TPX = kelvin, 101325.0, "N2:1"
        kinetic = mixture.binary_diff_coeffs[water, nitrogen]
        own = water_diffusivity(np.array([[kelvin]]), np.array([101325.0]))[0, 0]
        assert own == pytest.approx(kinetic, rel=0.20)


@pytest.mark.parametrize("kelvin", [275.0, 300.0, 330.0, 370.0])
def test_latent_heat_against_coolprop(kelvin):
    import CoolProp.CoolProp as coolprop  # takes seconds, of each process that collects this

    water = [coolprop.PropsSI("H", "T", kelvin, "Q", q, "Water") for q in (0, 1)]
    assert latent_heat(np.array(kelvin)) == pytest.approx(water[1] - water[0], rel=3e-3)


def test_more_excess_air_wets_less(make_case):
    lean, rich = (
        condensate(solve(make_case(gas=burnt_gas("petrol", air)))).entering[0] for air in (2.0, 1.0)
    )
    assert lean < 0.7 * rich
