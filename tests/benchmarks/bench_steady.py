"""How quick the steady model is beside the straightforward way, in one process and one thread.

    python tests/benchmarks/bench_steady.py [repeats]

One case is answered by the package and by scipy's general solvers. The latter is what one would
write first: the continuous heat balance to ``solve_bvp``, sound by shooting with ``solve_ivp``,
the first resonance and the effective temperature by ``brentq``. Beside it stands the plain numpy
way of plain_numpy.py, on 200 elements and on so many that over a batch it errs no more than the
package. All use the same closures and the same property tables, so that they have the same answer;
their errors, against a converged reference, stand beside the times. Each is asked for the first
resonance, its quality factor and the effective temperature. Last, what a design costs in a batch.
"""

from __future__ import annotations

import math
import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy import integrate, optimize

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]  # the latter for shared

from plain_numpy import ELEMENTS, PlainNumpy, in_parts

from shared.mouths import open_mouth
from warmbranch import core
from warmbranch.case.case import Case
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.counterflow import buoyant_counterflow
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.heat.nusselt import NUSSELT_LAMINAR
from warmbranch.heat.radiation import radiative_flux
from warmbranch.sound.mouth import side_branch_correction
from warmbranch.sound.viscothermal import line, wall_layers
from warmbranch.steady.solve import solve

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
DESIGNS = 256
FINE_NODES = 5121
FINE_BATCH_NODES = 1281
MORE_ELEMENTS = (200, 250, 300, 350, 400, 500, 600)


def one_case(length: float = 1.2) -> Case:
    """A level, bare branch on the exhaust of a camper van: an invented case."""
    return Case(
        branch=Branch(48.3e-3, 1.5e-3, 2e-3, ((Piece(length),),), 0.0),
        metal=metal("stainless 304"),
        covering=Covering(0.45, 0.0, 0.05),
        main_pipe=MainPipe(60.3e-3, 1.5e-3, 583.15, math.nan, 95 / 3600, 0.45, 1.6, 0.0, 1000.0),
        gas=burnt_gas("petrol", 1.0),
        surroundings=Surroundings(291.15, 291.15, 101325.0, 4.0),
        # The other ways know nothing of what the main flow takes of the mouth's mass.
        closures=open_mouth().changed(mouth_flow=np.zeros(1)),
    )


def many_cases() -> Case:
    """Variations of the case in length, mixing, gas and air."""
    draw = np.random.default_rng(1)
    case = one_case().repeat(DESIGNS)
    return replace(
        case,
        branch=case.branch.with_length(draw.uniform(0.5, 2.0, DESIGNS)),
        main_pipe=replace(case.main_pipe, gas_temperature=draw.uniform(450, 900, DESIGNS)),
        surroundings=replace(case.surroundings, air_speed=draw.uniform(0, 20, DESIGNS)),
        closures=replace(case.closures, stirring=np.exp(draw.normal(-2, 0.8, DESIGNS))),
    )


class Straightforward:
    """The same physics by scipy's general solvers; one design, bare tube, no pulsation."""

    def __init__(self, case: Case, *, heat: float = 1e-4, sound: float = 1e-5) -> None:
        self.heat_tolerance, self.sound_tolerance = heat, sound
        self.case, self.closures = case, case.closures
        self.gas, self.air = MixtureTable.of(case.gas), dry_air_table()
        self.constant = float(self.gas.gas_constant[0])
        self.pressure = float(case.surroundings.pressure[0])
        branch = case.branch
        self.length, self.bore = float(branch.length[0]), float(branch.bore[0])
        self.outside, self.area = float(branch.outside_diameter[0]), float(branch.bore_area[0])
        self.wall_area = float(branch.wall_area[0])
        self.hot = float(case.main_pipe.gas_temperature[0])
        self.outer_film = self._film(self.outside, self.length)

    def answer(self) -> tuple[float, float, float]:
        """First resonance (Hz), its quality factor, the effective temperature (K)."""
        temperature = self._temperature(self._main_wall())
        state = self._state(self.hot)
        correction = float(
            side_branch_correction(self.case.branch.bore / self.case.main_pipe.bore)[0]
        )
        self.inertance = state[0] * correction * self.bore / 2 / self.area
        self.scale = state[0] * math.sqrt(state[1] / state[0]) / self.area

        def impedance(f: float) -> complex:
            return self._shoot(temperature, f) + 2j * math.pi * f * self.inertance

        x = np.linspace(0, self.length, 201)
        speeds = self.gas.sound_speed(temperature(x)[0][None])[0]
        guess = 1 / (4 * np.trapezoid(1 / speeds, x))
        f = optimize.brentq(
            lambda f: impedance(f).imag, 0.85 * guess, 1.15 * guess, xtol=guess * 1e-6
        )
        step = 1e-3 * f
        slope = (impedance(f + step).imag - impedance(f - step).imag) / (2 * step)
        quality = f * slope / (2 * impedance(f).real)
        effective = optimize.brentq(
            lambda t: self._uniform(t, f).imag, 0.6 * self.hot, 1.1 * self.hot, xtol=1e-4
        )
        return f, quality, effective

    def _film(self, diameter: float, length: float) -> OutsideFilm:
        return OutsideFilm(
            self.air, self.case.surroundings, outside_diameter=np.array([diameter]),
            length=np.array([length]), rise=np.zeros(1), factor=np.ones(1),
            fixed=np.full(1, np.nan),
        )  # fmt: skip

    def _outside(self, film: OutsideFilm, skin: np.ndarray, emissivity: np.ndarray) -> np.ndarray:
        """Convection and radiation, W/m², at the skin temperatures."""
        radiant = self.case.surroundings.radiant_temperature
        radiation, _ = radiative_flux(skin, radiant, emissivity)
        return film.flux(skin[None])[0][0] + radiation

    def _main_wall(self) -> float:
        pipe = self.case.main_pipe
        film = self._film(float(pipe.outside_diameter[0]), 1.0)
        supply = float((inner_film(pipe, self.gas) * pipe.bore / pipe.outside_diameter)[0])

        def excess(wall: float) -> float:
            lost = self._outside(film, np.array([wall]), pipe.emissivity)[0]
            return float(supply * (self.hot - wall) - lost)

        air = float(self.case.surroundings.air_temperature[0])
        return optimize.brentq(excess, air, self.hot, xtol=1e-6)

    def _temperature(self, wall_at_mouth: float):
        """Gas and wall temperature with their heat flows as the four unknowns of a BVP."""
        closures, metal_ = self.closures, self.case.metal
        speed = self.case.main_pipe.mass_flow[0] / (
            self.pressure / (self.constant * self.hot) * self.case.main_pipe.bore_area[0]
        )
        stirred = float(closures.stirring[0] * speed * self.bore)
        reach = float(closures.reach[0] * self.bore)
        stanton = float(closures.stanton[0])
        inner, outer = math.pi * self.bore, math.pi * self.outside
        emissivity = self.case.covering.emissivity

        def forced(x: np.ndarray) -> np.ndarray:
            return stirred * np.exp(-x / reach)

        def flow(x: np.ndarray, y: np.ndarray) -> np.ndarray:
            gas, gas_flow, wall, wall_flow = y
            heat_capacity, conductivity, viscosity, *slopes = (
                v[0] for v in self.gas.evaluate(gas[None])
            )
            density = self.pressure / (self.constant * gas)
            volumetric = density * heat_capacity
            property_slope = (
                slopes[0] / heat_capacity - 2 * slopes[2] / viscosity
                - slopes[1] / conductivity - 3 / gas
            )  # fmt: skip
            # The counterflow depends on the gradient that it shapes: Newton's method for that.
            still = conductivity + volumetric * forced(x)
            gradient = -gas_flow / (self.area * still)
            for _ in range(30):
                mixing = buoyant_counterflow(
                    gas[None], gradient[None], (viscosity / density)[None],
                    (conductivity / volumetric)[None], property_slope[None],
                    self.case.branch.bore, self.case.branch.rise, closures.buoyancy,
                ).along  # fmt: skip
                buoyant, slope = mixing.value[0], mixing.gradient_slope[0]
                amiss = (still + volumetric * buoyant) * gradient + gas_flow / self.area
                step = amiss / (still + volumetric * (buoyant + gradient * slope))
                gradient = gradient - step
                if np.all(np.abs(step) <= 1e-9 * (1 + np.abs(gradient))):
                    break
            film = (
                NUSSELT_LAMINAR * conductivity + stanton * volumetric * (forced(x) + buoyant)
            ) / self.bore
            given = film * inner * (gas - wall)
            lost = outer * self._outside(self.outer_film, wall, emissivity)
            metal_conductivity = metal_.conductivity(wall[None])[0]
            return np.vstack(
                [gradient, -given, -wall_flow / (metal_conductivity * self.wall_area), given - lost]
            )

        def ends(mouth: np.ndarray, cap: np.ndarray) -> np.ndarray:
            state = self.gas.evaluate(cap[:1][None])
            volumetric = self.pressure / (self.constant * cap[0]) * state.heat_capacity[0, 0]
            mixed = stanton * volumetric * float(forced(np.array(self.length)))
            film = (NUSSELT_LAMINAR * state.conductivity[0, 0] + mixed) / self.bore
            given = film * self.area * (cap[0] - cap[2])
            plate = math.pi / 4 * self.outside**2
            lost = plate * self._outside(self.outer_film, cap[2:3], emissivity)[0]
            return np.array(
                [
                    mouth[0] - self.hot,
                    mouth[2] - wall_at_mouth,
                    cap[1] - given,
                    cap[3] + given - lost,
                ]
            )

        x = self.length * np.linspace(0, 1, 40) ** 2
        air = float(self.case.surroundings.air_temperature[0])
        fall = np.exp(-x / (6 * self.bore))
        guess = np.vstack(
            [air + (self.hot - air) * fall, 10 * fall, air + (wall_at_mouth - air) * fall, 5 * fall]
        )
        found = integrate.solve_bvp(
            flow, ends, x, guess, tol=self.heat_tolerance, max_nodes=100_000
        )
        if not found.success:
            raise RuntimeError(found.message)
        return found.sol

    def _state(self, temperature: float) -> tuple[float, float, float, float, float]:
        """Density, bulk modulus, viscosity, γ − 1, Prandtl number."""
        state = self.gas.evaluate(np.array([[temperature]]))
        heat_capacity, conductivity, viscosity = (float(v[0, 0]) for v in state[:3])
        ratio = heat_capacity / (heat_capacity - self.constant)
        density = self.pressure / (self.constant * temperature)
        prandtl = heat_capacity * viscosity / conductivity
        return density, ratio * self.pressure, viscosity, ratio - 1, prandtl

    def _line(self, temperature: float, wall: float, f: float) -> tuple[complex, complex]:
        """The layers at the wall are as warm as it."""
        density, bulk, *_ = self._state(temperature)
        beside, _, viscosity, thermal, prandtl = self._state(wall)
        viscosity *= density / beside
        radius = np.array(self.bore / 2)
        layers = wall_layers(
            np.array(density), np.array(viscosity), np.array(prandtl), radius, np.array(True)
        )
        series, shunt = line(
            np.array([f]),
            np.array(density),
            np.array(bulk),
            layers[:, None],
            np.array(thermal),
            radius,
        )
        return complex(series[0]), complex(shunt[0])

    def _shoot(self, temperature, f: float) -> complex:
        """p/U at the mouth; the second unknown is U times ρc/S, of the size of p."""

        def slope(x: float, y: np.ndarray) -> list[complex]:
            gas, _, wall, _ = map(float, temperature(x))
            series, shunt = self._line(gas, wall, f)
            return [-series / self.scale * y[1], -shunt * self.scale * y[0]]

        start = np.array([1.0 + 0j, 0j])
        found = integrate.solve_ivp(
            slope, (self.length, 0.0), start, rtol=self.sound_tolerance,
            atol=self.sound_tolerance * 1e-2,
        )  # fmt: skip
        return self.scale * found.y[0, -1] / found.y[1, -1]

    def _uniform(self, temperature: float, f: float) -> complex:
        series, shunt = self._line(temperature, temperature, f)
        own = np.sqrt(series / shunt) / np.tanh(np.sqrt(series * shunt) * self.length)
        return complex(own) + 2j * math.pi * f * self.inertance


def best(
    repeats: int,
    *functions: Callable[[], object],
    clock: Callable[[], float] = time.perf_counter,
) -> list[float]:
    """Shortest of ``repeats`` runs of each, s, after one that warms up.

    They take turns, so that a busy spell of the machine meets all of them.
    """
    for function in functions:
        function()
    times = [math.inf] * len(functions)
    for _ in range(repeats):
        for i, function in enumerate(functions):
            start = clock()
            function()
            times[i] = min(times[i], clock() - start)
    return times


def as_accurate(batch: Case) -> int:
    """Elements on which the plain way errs no more in the first resonance, at worst, than we do."""
    reference = solve(batch, nodes=FINE_BATCH_NODES, modes=1).resonance[:, 0]

    def worst(found: np.ndarray) -> float:
        return float(np.max(np.abs(found / reference - 1)))

    ours = worst(solve(batch, modes=1).resonance[:, 0])
    return next(n for n in MORE_ELEMENTS if worst(in_parts(batch, n)[0]) <= ours)


def told(answer: object) -> tuple[float, float, float]:
    """The package's answer in the order of ``Straightforward.answer``."""
    return (
        float(answer.resonance[0, 0]),
        float(answer.quality_factor[0]),
        float(answer.effective_temperature[0]),
    )


def main(repeats: int = 15) -> None:
    case, batch = one_case(), many_cases()
    reference = told(solve(case, nodes=FINE_NODES))
    tight = Straightforward(case, heat=1e-8, sound=1e-9).answer()

    def report(name: str, answer: tuple[float, float, float]) -> None:
        f, quality, effective = (ours - ref for ours, ref in zip(answer, reference, strict=True))
        print(
            f"  {name:34s} f1 {answer[0]:.5f} Hz ({f / reference[0]:+.1e}),  Q {answer[1]:.4f} "
            f"({quality / reference[1]:+.1e}),  T {answer[2]:.3f} K ({effective:+.1e} K)"
        )

    print(f"Answers, and their distance from the package's on {FINE_NODES} nodes")
    report(f"package, {FINE_NODES} nodes", reference)
    report("scipy, tolerances 1e-8 and 1e-9", tight)
    report("package", told(solve(case)))
    report("scipy, tolerances 1e-4 and 1e-5", Straightforward(case).answer())
    equal = as_accurate(batch)
    for elements in (ELEMENTS, equal):
        plain = tuple(float(value[0]) for value in PlainNumpy(case, elements).answer())
        report(f"plain numpy, {elements} elements", plain)

    def with_kernel(setting: str, task: Case) -> Callable[[], object]:
        def run() -> object:
            os.environ[core.OFF] = setting
            answer = solve(task, modes=1)
            return answer, answer.effective_temperature

        return run

    compiled = core.at_hand() is not None
    names = ["package on numpy alone", *(["package with the compiled core"] if compiled else [])]
    settings = ["off", "on"][: len(names)]
    few, many = ELEMENTS, equal
    straight, plain, finer, *singles = best(
        repeats,
        Straightforward(case).answer,
        lambda: PlainNumpy(case, few).answer(),
        lambda: PlainNumpy(case, many).answer(),
        *(with_kernel(value, case) for value in settings),
        clock=time.process_time,
    )
    plain_batch, finer_batch, *batches = best(
        max(2, repeats // 3),
        lambda: in_parts(batch, few),
        lambda: in_parts(batch, many),
        *(with_kernel(value, batch) for value in settings),
        clock=time.process_time,
    )

    print(f"CPU time of one case, best of {repeats}; of a design in a batch of {DESIGNS}")
    print(f"  {'scipy':34s} {straight * 1e3:9.2f} ms")
    for elements, alone, together in ((few, plain, plain_batch), (many, finer, finer_batch)):
        name, each = f"plain numpy, {elements} elements", together / DESIGNS
        print(f"  {name:34s} {alone * 1e3:9.2f} ms;  in a batch {each * 1e6:6.0f} µs a design")
    for name, single, together in zip(names, singles, batches, strict=True):
        each = together / DESIGNS
        print(f"  {name:34s} {single * 1e3:9.2f} ms;  in a batch {each * 1e6:6.0f} µs a design")
        print(
            f"    than scipy quicker {straight / single:5.0f} and {straight / each:5.0f} times; "
            f"than plain numpy {plain / single:.1f} and {plain_batch / DESIGNS / each:.1f} times, "
            f"as accurate {finer / single:.1f} and {finer_batch / DESIGNS / each:.1f} times"
        )
    if not compiled:
        print("  no compiled core here: it is missing, or forbidden by the environment")


if __name__ == "__main__":
    one_thread = dict.fromkeys(THREADS, "1")
    if not one_thread.items() <= os.environ.items():
        # Libraries read these when they are loaded, which is before this line: start again.
        os.execve(sys.executable, [sys.executable, *sys.argv], os.environ | one_thread)
    main(*(int(argument) for argument in sys.argv[1:2]))
