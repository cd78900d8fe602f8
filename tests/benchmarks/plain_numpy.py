"""The same answers by plain numpy: what somebody who knows the trade writes in a day.

Level, bare branches without pulsation, a batch at a time. Finite volumes on evenly spread nodes;
Newton's method on banded systems, the Jacobian by differences, neighbours far enough apart moved
together; each element a uniform tube for the sound; a secant search for the first resonance and
for the effective temperature. The closures, the property tables and the film correlations are the
package's, so that the answers are the same; how they are solved is not.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from scipy.linalg import solve_banded

from warmbranch.case.case import Case
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.counterflow import buoyant_counterflow
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.heat.mixing import stirred_mouth
from warmbranch.heat.radiation import radiative_flux
from warmbranch.sound.mouth import side_branch_correction
from warmbranch.sound.viscothermal import line, wall_layers

ELEMENTS = 200
COLOURS = 3
"""A node's balance depends on itself and its neighbours: every third may move at once."""
NUDGE = 1e-3
"""K, of the differences."""
CLOSE = 1e-4
"""K: a Newton step so small is the last one."""
TOGETHER = 64
"""Designs; by trial the quickest."""
BANDS = (3, 3)
"""Below and above the diagonal, gas and wall of each node in turn."""

Array = np.ndarray


class PlainNumpy:
    """A batch solved so; arrays have the design first, then what moves, then nodes."""

    def __init__(self, case: Case, elements: int = ELEMENTS) -> None:
        self.case, self.elements = case, elements
        self.gas, self.air = MixtureTable.of(case.gas), dry_air_table()
        if len(self.gas) < len(case):
            self.gas = self.gas.take(np.zeros(len(case), dtype=np.intp))
        branch, closures = case.branch, case.closures
        self.hot = case.main_pipe.gas_temperature
        self.step = branch.length / elements
        self.x = np.linspace(0, 1, elements + 1) * branch.length[:, None]
        self.density_times_temperature = case.surroundings.pressure / self.gas.gas_constant
        speed = bulk_speed(case.main_pipe, self.gas, case.surroundings.pressure)

        def forced(x: Array) -> Array:
            given = (closures.stirring, closures.reach, closures.sharpness)
            return stirred_mouth(x, branch.bore, speed, *given)[:, None]

        self.forced, self.forced_face = forced(self.x), forced((self.x[:, 1:] + self.x[:, :-1]) / 2)
        width = np.tile(self.step[:, None, None], (1, 1, elements))
        width[..., -1] /= 2
        self.inner = np.pi * branch.bore[:, None, None] * width
        self.outer = np.pi * branch.outside_diameter[:, None, None] * width
        self.outer[..., -1] += np.pi / 4 * branch.outside_diameter[:, None] ** 2
        self.outside_film = self._film(branch.outside_diameter, branch.length)

    def answer(self) -> tuple[Array, Array, Array]:
        """First resonance (Hz), its quality factor, the effective temperature (K)."""
        gas, wall = self._temperatures()
        density = self.density_times_temperature / self.hot
        ratio = self.gas.heat_capacity_ratio(self.hot[:, None])[:, 0]
        correction, inertance = self._mouth(self.hot)
        elements, beside = (gas[:, 1:] + gas[:, :-1]) / 2, (wall[:, 1:] + wall[:, :-1]) / 2
        step = np.broadcast_to(self.step[:, None], elements.shape)

        def impedance(f: Array) -> Array:
            return self._chain(elements, beside, step, f) + 2j * np.pi * f * inertance

        f = self.tones(gas, wall, step)
        around = impedance(f[:, None] * np.array([0.999, 1.0, 1.001]))
        quality = (around[:, 2].imag - around[:, 0].imag) / (2e-3 * 2 * around[:, 1].real)

        def uniform(temperature: Array) -> Array:
            whole, length = temperature[:, None], self.case.branch.length[:, None]
            tube = self._chain(whole, whole, length, f[:, None])
            return (tube + 2j * np.pi * f[:, None] * inertance)[:, 0].imag

        whole = 4 * (self.case.branch.length + correction) * f
        cold = self.hot * whole**2 / (ratio * self.case.surroundings.pressure / density)
        return f, quality, secant(uniform, 1.02 * cold, cold)

    def tones(self, gas: Array, wall: Array, step: Array) -> Array:
        """First resonance, Hz: gas, wall (designs, nodes), lengths (designs, elements)."""
        correction, inertance = self._mouth(gas[:, 0])
        elements, beside = (gas[:, 1:] + gas[:, :-1]) / 2, (wall[:, 1:] + wall[:, :-1]) / 2

        def reactance(f: Array) -> Array:
            tube = self._chain(elements, beside, step, f[:, None])
            return (tube + 2j * np.pi * f[:, None] * inertance)[:, 0].imag

        times = (step / self.gas.sound_speed(elements)).sum(axis=1)
        at_mouth = correction / self.gas.sound_speed(gas[:, :1])[:, 0]
        guess = 1 / (4 * (times + at_mouth))
        return secant(reactance, 0.97 * guess, guess)

    def _mouth(self, hot: Array) -> tuple[Array, Array]:
        """Length correction, m, and inertance, kg/m⁴ (designs, 1), with gas so hot there, K."""
        bore, section = self.case.branch.bore, self.case.branch.bore_area
        correction = side_branch_correction(bore / self.case.main_pipe.bore) * bore / 2
        density = self.density_times_temperature / hot
        return correction, (density * correction / section)[:, None]

    def _film(self, diameter: Array, length: Array) -> OutsideFilm:
        closures, surroundings = self.case.closures, self.case.surroundings
        level, none = np.zeros(len(diameter)), np.full(len(diameter), np.nan)
        return OutsideFilm(
            self.air, surroundings, outside_diameter=diameter, length=length, rise=level,
            factor=closures.outer_film_factor, fixed=none,
        )  # fmt: skip

    def _lost(self, film: OutsideFilm, skin: Array, emissivity: Array) -> Array:
        """Convection and radiation, W/m², at skin temperatures (designs, nodes)."""
        radiant = self.case.surroundings.radiant_temperature[:, None]
        return film.flux(skin)[0] + radiative_flux(skin, radiant, emissivity[:, None])[0]

    def _wall_at_mouth(self) -> Array:
        pipe = self.case.main_pipe
        film = self._film(pipe.outside_diameter, np.ones(len(self.case)))
        supply = inner_film(pipe, self.gas) * pipe.bore / pipe.outside_diameter

        def excess(wall: Array) -> Array:
            lost = self._lost(film, wall[:, None], pipe.emissivity)[:, 0]
            return supply * (self.hot - wall) - lost

        air = self.case.surroundings.air_temperature
        return secant(excess, 0.7 * self.hot + 0.3 * air, 0.6 * self.hot + 0.4 * air)

    def _temperatures(self) -> tuple[Array, Array]:
        """Gas and wall at the nodes, K, (designs, nodes)."""
        at_mouth, designs = self._wall_at_mouth(), len(self.case)
        air = self.case.surroundings.air_temperature[:, None]
        fall = np.exp(-self.x / (6 * self.case.branch.bore[:, None]))
        gas = air + (self.hot[:, None] - air) * fall
        wall = air + (at_mouth[:, None] - air) * fall
        low, high = np.minimum(air, self.hot[:, None]), np.maximum(air, self.hot[:, None])
        for _ in range(60):
            moved = np.zeros((2, designs, 1 + 2 * COLOURS, self.elements + 1))
            for colour in range(COLOURS):
                moved[0, :, 1 + colour, 1 + colour :: COLOURS] = NUDGE
                moved[1, :, 1 + COLOURS + colour, 1 + colour :: COLOURS] = NUDGE
            amiss = self._amiss(gas[:, None] + moved[0], wall[:, None] + moved[1])
            slopes = (amiss[:, 1:] - amiss[:, :1]) / NUDGE
            change = solve_banded(BANDS, self._bands(slopes), -amiss[:, 0].ravel())
            change = change.reshape(designs, self.elements, 2)
            gas[:, 1:] = np.clip(gas[:, 1:] + change[..., 0], low, high)
            wall[:, 1:] = np.clip(wall[:, 1:] + change[..., 1], low, high)
            if np.abs(change).max() < CLOSE:
                return gas, wall
        raise RuntimeError("the heat balance did not converge")

    def _bands(self, slopes: Array) -> Array:
        """Slopes (designs, moved, nodes, 2) of the balances as scipy's band storage."""
        place, holds = _places(self.elements)
        bands = slopes.reshape(len(slopes), -1)[:, place] * holds
        return bands.transpose(1, 0, 2).reshape(len(place), -1)

    def _amiss(self, gas: Array, wall: Array) -> Array:
        """Heat that each node beyond the mouth fails to pass on, W, (designs, moved, nodes, 2)."""
        case, closures, branch = self.case, self.case.closures, self.case.branch
        designs, moves, nodes = gas.shape

        def each(of_a_design: Array) -> Array:
            return of_a_design[:, None, None]

        def face(values: Array) -> Array:
            return (values[..., 1:] + values[..., :-1]) / 2

        state = self.gas.evaluate(gas.reshape(designs, -1))
        heat_capacity, conductivity, viscosity, *slopes = (v.reshape(gas.shape) for v in state)
        density = each(self.density_times_temperature) / gas
        volumetric = density * heat_capacity
        gradient = np.diff(gas) / each(self.step)
        property_slope = (
            slopes[0] / heat_capacity - 2 * slopes[2] / viscosity
            - slopes[1] / conductivity - 3 / gas
        )  # fmt: skip
        at_faces = (gas, viscosity / density, conductivity / volumetric, property_slope)
        middle, *others = (face(value).reshape(designs, -1) for value in at_faces)
        turning = buoyant_counterflow(
            middle, gradient.reshape(designs, -1), *others,
            branch.bore, branch.rise, closures.buoyancy,
        ).along.value.reshape(gradient.shape)  # fmt: skip

        mixed = self.forced_face + turning
        through = (face(conductivity) + face(volumetric) * mixed) * gradient
        flow = -each(branch.bore_area) * through
        at_node = np.concatenate([face(turning), turning[..., -1:]], axis=2)
        own = each(closures.still_nusselt) * conductivity
        scale = each(closures.stanton) * volumetric
        film = (own[..., 1:] + scale[..., 1:] * (self.forced[..., 1:] + at_node)) / each(
            branch.bore
        )
        plate = (own[..., -1] + scale[..., -1] * self.forced[..., -1]) / branch.bore[:, None]
        excess = gas[..., 1:] - wall[..., 1:]
        given = film * self.inner * excess
        given[..., -1] += plate * branch.bore_area[:, None] * excess[..., -1]

        steel = case.metal.conductivity(face(wall).reshape(designs, -1)).reshape(gradient.shape)
        wall_flow = -each(branch.wall_area) * steel * np.diff(wall) / each(self.step)
        skin = wall[..., 1:].reshape(designs, -1)
        lost = self._lost(self.outside_film, skin, case.covering.emissivity)
        lost = lost.reshape(excess.shape) * self.outer

        amiss = np.empty((designs, moves, nodes - 1, 2))
        amiss[..., 0] = given - flow
        amiss[..., :-1, 0] += flow[..., 1:]
        amiss[..., 1] = lost - given - wall_flow
        amiss[..., :-1, 1] += wall_flow[..., 1:]
        return amiss

    def _chain(self, temperature: Array, wall: Array, step: Array, f: Array) -> Array:
        """Impedance at the mouth of elements in a row, closed at the end.

        ``temperature``, ``wall`` and ``step`` are (designs, elements), ``f`` and what comes back
        (designs, frequencies). The layers at the wall are as warm as it.
        """
        pressure, radius = self.case.surroundings.pressure[:, None], self.case.branch.bore / 2
        state = self.gas.evaluate(temperature)
        ratio = state.heat_capacity / (state.heat_capacity - self.gas.gas_constant[:, None])
        density = self.density_times_temperature[:, None] / temperature
        skin = self.gas.evaluate(wall)
        at_wall = skin.heat_capacity / (skin.heat_capacity - self.gas.gas_constant[:, None])
        layers = wall_layers(
            density,
            skin.viscosity * wall / temperature,
            skin.heat_capacity * skin.viscosity / skin.conductivity,
            radius[:, None],
            self.case.closures.wall_losses[:, None],
        )
        series, shunt = line(
            f[:, None], density[..., None], (ratio * pressure)[..., None], layers[..., None],
            at_wall[..., None] - 1, radius[:, None, None],
        )  # fmt: skip
        phase = np.sqrt(series * shunt)
        own, phase = series / phase, phase * step[..., None]
        even, odd = np.cosh(phase), np.sinh(phase)
        a, b, c, d = even, own * odd, odd / own, even
        while a.shape[1] > 1:  # neighbours joined, as often as it takes
            if a.shape[1] % 2:
                shape = (len(a), 1, a.shape[2])
                a, d = (np.concatenate([m, np.ones(shape)], axis=1) for m in (a, d))
                b, c = (np.concatenate([m, np.zeros(shape)], axis=1) for m in (b, c))
            (a1, a2), (b1, b2), (c1, c2), (d1, d2) = ((m[:, ::2], m[:, 1::2]) for m in (a, b, c, d))
            a, b = a1 * a2 + b1 * c2, a1 * b2 + b1 * d2
            c, d = c1 * a2 + d1 * c2, c1 * b2 + d1 * d2
        return (a / c)[:, 0]


@cache
def _places(elements: int) -> tuple[Array, Array]:
    """Where among the slopes each number of the bands stands, and whether there is one."""
    below, above = BANDS
    band, unknown = np.mgrid[: below + above + 1, : 2 * elements]
    balance = band - above + unknown
    node, field = divmod(unknown, 2)
    moved = field * COLOURS + node % COLOURS
    inside = (balance >= 0) & (balance < 2 * elements) & (abs(balance // 2 - node) <= 1)
    return np.where(inside, moved * 2 * elements + balance, 0), inside.astype(np.float64)


def in_parts(case: Case, elements: int = ELEMENTS) -> tuple[Array, ...]:
    """Answers of many designs, so many at a time that their arrays stay in the cache."""
    parts = [case.take(slice(i, i + TOGETHER)) for i in range(0, len(case), TOGETHER)]
    answers = [PlainNumpy(part, elements).answer() for part in parts]
    return tuple(np.concatenate(column) for column in zip(*answers, strict=True))


def secant(function: Callable[[Array], Array], first: Array, second: Array) -> Array:
    """Zeros of a batch of functions, to a millionth."""
    before = function(first)
    for _ in range(40):
        here = function(second)
        level = here == before  # already there
        step = np.where(level, 0.0, -here * (second - first) / np.where(level, 1.0, here - before))
        first, second, before = second, second + step, here
        if np.all(np.abs(step) < 1e-6 * np.abs(second)):
            return second
    raise RuntimeError("the secant search did not converge")
