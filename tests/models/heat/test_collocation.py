"""The continuous equations of the steady branch, solved by another method."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_bvp

from warmbranch.base.constants import GRAVITY, STEFAN_BOLTZMANN
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import SPECIES, MixtureTable, dry_air_table
from warmbranch.gas.saturation import saturated_content
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import solve_steady
from warmbranch.heat.vapour import latent_heat, water_diffusivity


def root(rising, low, high, scale):
    """Where a rising function is zero, by the Illinois method, to 1e-14 of ``scale``."""
    at_low, at_high = rising(low), rising(high)
    was_low = None
    for _ in range(100):
        middle = (low * at_high - high * at_low) / (at_high - at_low + 1e-300)
        at = rising(middle)
        if np.all(np.abs(at) <= 1e-14 * scale):
            return middle
        is_low = at < 0
        again = is_low == was_low  # the other end stays for a second time: it counts half
        low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
        at_low, at_high = (
            np.where(is_low, at, np.where(again, at_low / 2, at_low)),
            np.where(is_low, np.where(again, at_high / 2, at_high), at),
        )
        was_low = is_low
    raise AssertionError("it is not found")


class Continuous:
    """Equations of one design as a boundary-value problem in T_g, Q_g, T_w, Q_w.

    Q is the heat that flows towards the cap, W: Q_g = −(k + ρ c_p D) A T_g', its divergence is
    what the gas gives to the wall, and so on; written from the equations, not from the code.
    """

    def __init__(self, case, speed, wall_at_mouth) -> None:
        branch, cover, around = case.branch, case.covering, case.surroundings
        self.case, self.closures = case, case.closures
        self.speed = float(speed[0])
        self.gas_at_mouth = float(case.main_pipe.gas_temperature[0])
        self.wall_at_mouth = float(wall_at_mouth[0])
        self.mixture = MixtureTable.of(case.gas)
        self.bore, self.outside = float(branch.bore[0]), float(branch.outside_diameter[0])
        self.area = np.pi / 4 * self.bore**2
        self.wall_area = np.pi / 4 * (self.outside**2 - self.bore**2)
        self.rise, self.length = float(branch.rise[0]), float(branch.length[0])
        self.wrap, self.wrap_k = cover.wrap_thickness[0], cover.wrap_conductivity[0]
        self.skin_diameter = self.outside + 2 * self.wrap
        self.entering = -np.log1p(-case.gas.mole_fractions[0, SPECIES.index("H2O")])
        self.emissivity, self.pressure = cover.emissivity[0], around.pressure
        self.air, self.radiant = around.air_temperature[0], around.radiant_temperature[0]
        self.film = OutsideFilm(
            dry_air_table(),
            around,
            outside_diameter=np.array([self.skin_diameter]),
            length=branch.length,
            rise=branch.rise,
            factor=self.closures.outer_film_factor,
            fixed=self.closures.fixed_outer_film,
        )

    def properties(self, gas):
        at = gas[None]
        state = self.mixture.evaluate(at)
        density = self.mixture.density(at, self.case.surroundings.pressure)[0]
        return density, state.heat_capacity[0], state.conductivity[0], state.viscosity[0]

    def forced(self, x):
        fixed = self.closures.fixed_diffusivity[0]
        if not np.isnan(fixed):
            return np.full_like(x, fixed)
        decay = np.exp(-x / (self.closures.reach[0] * self.bore))
        return self.closures.stirring[0] * self.speed * self.bore * decay

    def buoyant(self, gas, falls):
        """What buoyancy carries along and what scrapes the wall, of the size of the gradient.

        ``falls`` where the gas cools towards the cap.
        """
        strength = self.closures.buoyancy[0]
        if not np.isnan(self.closures.fixed_diffusivity[0]) or strength == 0:
            return lambda size: (np.zeros_like(gas), np.zeros_like(gas))
        density, capacity, conductivity, viscosity = self.properties(gas)
        nu, alpha = viscosity / density, conductivity / (density * capacity)
        tiny = 1e-300
        across, along = abs(np.cos(self.rise)), np.sin(self.rise)
        climbs = np.where(falls, along, -along)  # hot gas lies below where it is positive

        def slower(gravity, reach, coefficient):
            push = GRAVITY * gravity / gas
            rayleigh = push * (self.bore / 2) ** 4 / (nu * alpha)  # over the gradient

            def of(size):
                viscous = alpha * (rayleigh * size) ** 2 * coefficient
                gentle = size**4 / (size**2 + 10.0**2) ** 1.5  # foot at 10 K/m
                inertial = reach * self.bore**2 * np.sqrt(push * gentle)
                return viscous * inertial / (viscous + inertial + tiny)

            return of

        level = slower(across, 1.0, 1 / 23040)
        farther = 1.3 + 66 * along**2 * across**5
        steep = slower(np.maximum(climbs, 0.0), farther, 1 / 300)
        layered = np.exp(-7 * max(-along, 0.0))

        def both(size):
            flat, rising = level(size), steep(size)
            return strength * (layered * flat + rising), strength * (flat + 0.3 / farther * rising)

        return both

    def mixing(self, x, gas, flow):
        """Diffusivity, what scrapes, and gradient that carry the heat."""
        density, capacity, conductivity, _ = self.properties(gas)
        forced, buoyant = self.forced(x), self.buoyant(gas, flow > 0)
        wanted = np.abs(flow) / self.area

        def beyond(size):
            total = forced + buoyant(size)[0]
            return (conductivity + density * capacity * total) * size - wanted

        most = wanted / (conductivity + density * capacity * forced)
        size = root(beyond, np.zeros_like(gas), most, wanted)
        along, scrapes = buoyant(size)
        return forced + along, forced + 0.75**2 * scrapes, -np.sign(flow) * size

    def inner_film(self, gas, diffusivity, scraping):
        fixed = self.closures.fixed_inner_film[0]
        if not np.isnan(fixed):
            return np.full_like(gas, fixed)
        density, capacity, conductivity, viscosity = self.properties(gas)
        by_stirring = np.sqrt(scraping * density / viscosity)
        nusselt = self.closures.still_nusselt[0] + self.closures.stirred_film[0] * by_stirring
        stirred = self.closures.stanton[0] * density * capacity * diffusivity
        return nusselt * conductivity / self.bore + stirred / self.bore

    def mouth_resistance(self):
        """1/R = ρ c_p A (k_m U + k_u u') + 2 k d, u'² = (p/(ρ c))² + (0.04 U)²."""
        exchange = self.closures.mouth_exchange[0]
        if np.isinf(exchange):
            return 0.0
        pipe, hot = self.case.main_pipe, np.array([self.gas_at_mouth])
        density, capacity, conductivity, _ = (value[0] for value in self.properties(hot))
        own = self.case.gas.gas_constant[0]
        sound = np.sqrt(capacity / (capacity - own) * own * self.gas_at_mouth)
        tone = np.hypot(pipe.cap_pressure[0] / (density * sound), 0.04 * self.speed)
        moved = exchange * self.speed + self.closures.tone_exchange[0] * tone
        return 1 / (density * capacity * self.area * moved + 2 * conductivity * self.bore)

    def skin_flux(self, skin):
        convection = self.film.coefficient(skin[None])[0] * (skin - self.air)
        return convection + self.emissivity * STEFAN_BOLTZMANN * (skin**4 - self.radiant**4)

    def loss(self, wall, area, conductance):
        """Through a wrap of ``conductance`` and off a skin of ``area``, per metre or of the cap."""
        if self.wrap == 0:
            return area * self.skin_flux(wall)
        skin = root(
            lambda skin: area * self.skin_flux(skin) - conductance * (wall - skin),
            np.full_like(wall, 150.0),
            np.full_like(wall, 1400.0),
            conductance * wall,
        )
        return conductance * (wall - skin)

    def vapour_to_wall(self, gas, wall, phi, film):
        """Moles that condense, per area, and the latent heat that they give, W/m².

        c (h/ρ c_p) (D/α)^(2/3) (φ − φ_w), where φ is the larger; water weighs 18.015 g/mol.
        """
        density, capacity, conductivity, _ = self.properties(gas)
        diffusivity = water_diffusivity(gas[None], self.pressure)[0]
        lewis = diffusivity * density * capacity / conductivity
        molar = self.pressure[0] / (8.314462618 * gas)
        saturated = saturated_content(wall[None], self.pressure)[0][0]
        foot = 0.02 * self.entering  # the kink is a parabola there
        short = np.clip(phi - saturated, 0.0, foot)
        over = np.maximum(phi - saturated - foot, 0.0) + short**2 / (2 * foot)
        moles = molar * film / (density * capacity) * lewis ** (2 / 3) * over
        return moles, moles * 0.018015268 * latent_heat(wall)

    def through_mouth(self):
        """Moles through the mouth per unit of φ: what is exchanged, and into a disc, 2 d D c."""
        hot = np.array([self.gas_at_mouth])
        density, capacity, conductivity, _ = (value[0] for value in self.properties(hot))
        heat = 1 / self.mouth_resistance() - 2 * conductivity * self.bore
        own = water_diffusivity(hot[None], self.pressure)[0, 0]
        moved = heat / (density * capacity) + 2 * own * self.bore
        return moved * self.pressure[0] / (8.314462618 * self.gas_at_mouth)

    def wet_slopes(self, x, y):
        gas, flow, wall, _, phi, moles = y
        dry = self.slopes(x, y[:4])
        diffusivity, scraping, _ = self.mixing(x, gas, flow)
        film = self.inner_film(gas, diffusivity, scraping)
        to_wall, latent = self.vapour_to_wall(gas, wall, phi, film)
        molar = self.pressure[0] / (8.314462618 * gas)
        spread = water_diffusivity(gas[None], self.pressure)[0] + diffusivity
        dry[3] += np.pi * self.bore * latent
        return np.stack([*dry, -moles / (molar * spread * self.area), -np.pi * self.bore * to_wall])

    def wet_ends(self, mouth, cap):
        ends = self.ends(mouth[:4], cap[:4])
        gas, wall, phi = (np.array([cap[i]]) for i in (0, 2, 4))
        forced = self.forced(np.array([self.length]))
        film = self.inner_film(gas, forced, forced)
        to_wall, latent = self.vapour_to_wall(gas, wall, phi, film)
        ends[3] += self.area * latent[0]
        return np.array(
            [
                *ends,
                mouth[5] - self.through_mouth() * (self.entering - mouth[4]),
                cap[5] - self.area * to_wall[0],
            ]
        )

    def slopes(self, x, y):
        gas, flow, wall, wall_flow = y
        diffusivity, scraping, gradient = self.mixing(x, gas, flow)
        given = self.inner_film(gas, diffusivity, scraping) * np.pi * self.bore * (gas - wall)
        round_wrap = 0.0
        if self.wrap > 0:
            round_wrap = 2 * np.pi * self.wrap_k / np.log(self.skin_diameter / self.outside)
        lost = self.loss(wall, np.pi * self.skin_diameter, round_wrap)
        metal = self.case.metal.conductivity(wall[None])[0]
        return np.stack([gradient, -given, -wall_flow / (metal * self.wall_area), given - lost])

    def ends(self, mouth, cap):
        gas, flow, wall, wall_flow = (np.array([value]) for value in cap)
        # The counterflow turns before the cap and adds nothing to the film on its plate.
        forced = self.forced(np.array([self.length]))
        film = self.inner_film(gas, forced, forced)
        given = film * self.area * (gas - wall)
        flat_wrap = 0.0
        if self.wrap > 0:
            flat_wrap = np.pi / 4 * self.outside**2 * self.wrap_k / self.wrap
        lost = self.loss(wall, np.pi / 4 * self.skin_diameter**2, flat_wrap)
        return np.array(
            [
                mouth[0] - self.gas_at_mouth + self.mouth_resistance() * mouth[1],
                mouth[2] - self.wall_at_mouth,
                (flow - given)[0],
                (wall_flow + given - lost)[0],
            ]
        )


INDEPENDENT = {
    "common practice, level": {},
    "hanging": {"rise": -np.pi / 2},
    "rising": {"rise": 0.5, "length": 0.6},
    "falling": {"rise": -0.2},
    "straight up": {"rise": np.pi / 2, "length": 0.4},
    "no buoyancy": {"buoyancy": 0.0},
    "a mouth that does not resist": {"mouth_exchange": np.inf, "stirred_film": 0.0},
    "stirred far in": {"stirring": 0.15, "reach": 10.0, "stanton": 0.01},
    "loud": {"cap_pressure": 5000.0, "gas_temperature": 600.0},
    "wrapped": {"wrap_thickness": 0.01, "air_speed": 4.0},
    "all fixed": {"fixed_diffusivity": 0.02, "fixed_inner_film": 8.0, "fixed_outer_film": 14.0},
    "hot and windy": {"gas_temperature": 1100.0, "air_speed": 30.0, "length": 0.5},
    "cold gas, radiant heat": {"gas_temperature": 260.0, "radiant_temperature": 420.0},
    "given skin, mild steel": {"skin_temperature": 500.0, "length": 0.4},
}


@pytest.mark.parametrize("name", INDEPENDENT)
def test_agrees_with_a_collocation_solution(make_case, name):
    """The same equations by scipy's collocation, fourth order, with its own mesh."""
    coarse, fine, equations = on_two_grids(
        make_case(**INDEPENDENT[name], condensation=False, gas_radiation=0.0)
    )
    x = coarse.position[0]
    # Only a start: the collocation adds nodes and converges to its own tolerance from there.
    flow = -np.gradient(coarse.gas[0], x) * equations.area
    start = np.stack([coarse.gas[0], 20 * flow, coarse.wall[0], 1e-3 * flow])[:, ::8]
    solution = solve_bvp(equations.slopes, equations.ends, x[::8], start, tol=1e-7, max_nodes=50000)
    assert solution.success, solution.message
    expected = solution.sol(x)
    span = np.ptp(np.concatenate([expected[0], expected[2]]))
    # Extrapolated second-order solutions leave some 1e-7 of the span; the counterflow's kink
    # and the collocation itself a little more.
    for crude, found, theirs in (
        (coarse.gas, fine.gas, expected[0]),
        (coarse.wall, fine.wall, expected[2]),
    ):
        better = (4 * found[0, ::2] - crude[0]) / 3
        assert_allclose(better / span, theirs / span, atol=1e-5)


CONDENSING = {
    "level": {},
    "falling, hotter": {"rise": -0.2, "gas_temperature": 600.0},
    "winter, rising": {"rise": 0.5, "length": 0.6, "air_temperature": 255.0},
    "windy, given skin": {"skin_temperature": 500.0, "length": 0.5, "air_speed": 20.0},
}


@pytest.mark.parametrize("name", CONDENSING)
def test_vapour_agrees_with_a_collocation_solution(make_case, name):
    """With vapour's two equations more, its latent heat in the wall's."""
    coarse, fine, equations = on_two_grids(make_case(**CONDENSING[name], gas_radiation=0.0))
    x = coarse.position[0]
    phi = equations.entering - np.log1p(coarse.dried[0])
    flow = -np.gradient(coarse.gas[0], x) * equations.area
    moles = -np.gradient(phi, x) * 3e-5
    start = np.stack([coarse.gas[0], 20 * flow, coarse.wall[0], 1e-3 * flow, phi, moles])[:, ::8]
    solution = solve_bvp(
        equations.wet_slopes, equations.wet_ends, x[::8], start, tol=1e-6, max_nodes=50000
    )
    assert solution.success, solution.message
    expected = solution.sol(x)
    span = np.ptp(np.concatenate([expected[0], expected[2]]))
    # Where the wall turns wet lies within a cell: the scheme's own 1e-5, not extrapolated.
    assert_allclose(fine.gas[0, ::2] / span, expected[0] / span, atol=2e-5)
    assert_allclose(fine.wall[0, ::2] / span, expected[2] / span, atol=2e-5)
    dried = np.expm1(equations.entering - expected[4])
    assert dried[-1] > 0.02
    assert_allclose(fine.dried[0, ::2], dried, atol=2e-5)


def on_two_grids(case):
    """A case solved on 1281 and 2561 nodes, and its equations."""
    gas, air = MixtureTable.of(case.gas), dry_air_table()
    speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
    wall = wall_temperature(case.main_pipe, gas, case.surroundings, air)
    coarse, fine = (
        solve_steady(heat_balance(case, gas, air, speed, nodes=n), wall) for n in (1281, 2561)
    )
    return coarse, fine, Continuous(case, speed, wall)
