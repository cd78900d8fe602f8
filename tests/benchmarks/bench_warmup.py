"""How quick the warm-up is beside the straightforward way, in one process and one thread.

    python tests/benchmarks/bench_warmup.py [repeats]

Twenty minutes after a cold start of an invented case. The straightforward way, written apart: the
method of lines by scipy's ``solve_ivp`` (BDF, with the Jacobian's sparsity), then at each of 121
moments the sound by Bessel functions and ``brentq``; beside it, the sound of all moments at once by
the plain numpy way of plain_numpy.py. It is run on several grids and tolerances,
and the cheapest run that errs no more than the package, against a converged solution, is what
the package is compared with. The reference gets numpy's gas properties and film correlations from
the package, and no compiled loop.
"""

from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[_name] = "1"  # before numpy is loaded

import math
import sys
import time
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
from scipy import integrate, optimize, sparse, special

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]  # the latter for shared

from plain_numpy import PlainNumpy

from shared.mouths import open_mouth
from warmbranch import core
from warmbranch.case.case import Case
from warmbranch.case.geometry import Branch, Piece
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.films import OutsideFilm
from warmbranch.heat.main_pipe_wall import inner_film
from warmbranch.sound.mouth import side_branch_correction
from warmbranch.steady.solve import solve
from warmbranch.warming.drive import COLD_START_SHARES, COLD_START_TIMES, Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.wander import Wander, wander

DURATION = 1200.0
MOMENTS = np.linspace(0.0, DURATION, 121)
NODES = (161, 241, 321)
TOLERANCES = ((1e-3, 0.3), (5e-4, 0.15), (3e-4, 0.1), (1e-4, 0.03))
"""Relative and absolute (K)."""
REFERENCE_REPEATS = 3

GAS_STORE = 1e-2
"""Share of the gas's own store of heat that the lines keep, so that the gas has a rate: the whole
is some five-hundredth of the wall's."""


def one_case() -> Case:
    """A level, bare branch without counterflow on the exhaust of a camper van: invented."""
    return Case(
        branch=Branch(48.3e-3, 1.5e-3, 2e-3, ((Piece(1.2),),), 0.0),
        metal=metal("stainless 304"),
        covering=Covering(0.45, 0.0, 0.05),
        main_pipe=MainPipe(60.3e-3, 1.5e-3, 583.15, math.nan, 95 / 3600, 0.45, 1.6, 0.0, 1000.0),
        gas=burnt_gas("petrol", 1.0),
        surroundings=Surroundings(291.15, 291.15, 101325.0, 4.0),
        closures=open_mouth(buoyancy=0.0).changed(mouth_flow=np.zeros(1)),
    )


class Lines:
    """Gas and wall on nodes from mouth to cap as ordinary differential equations in time."""

    def __init__(self, case: Case, nodes: int) -> None:
        self.case, self.nodes = case, nodes
        self.gas, self.air = MixtureTable.of(case.gas), dry_air_table()
        branch = case.branch
        self.bore, self.outside = float(branch.bore[0]), float(branch.outside_diameter[0])
        length = float(branch.length[0])
        # Crowded quadratically towards the mouth.
        s = np.linspace(0.0, 1.0, nodes)
        self.x = length * (0.15 * s + 0.85 * s**2)
        self.step = np.diff(self.x)
        self.width = np.zeros(nodes)
        self.width[:-1] += self.step / 2
        self.width[1:] += self.step / 2
        self.gas_area, self.wall_area = float(branch.bore_area[0]), float(branch.wall_area[0])
        self.inner = np.pi * self.bore * self.width
        self.outer = np.pi * self.outside * self.width
        self.inner[-1] += self.gas_area
        self.outer[-1] += np.pi / 4 * self.outside**2
        self.metal_volume = self.wall_area * self.width
        self.metal_volume[-1] += np.pi / 4 * self.outside**2 * float(branch.cap_thickness[0])
        self.density = float(case.metal.density[0])
        self.start = float(case.surroundings.air_temperature[0])
        self.rise = float(case.main_pipe.gas_temperature[0]) - self.start
        self.films = [self._film(self.outside, length), self._film(0.0603, 1.0)]

    def _film(self, diameter: float, length: float) -> OutsideFilm:
        return OutsideFilm(
            self.air, self.case.surroundings, outside_diameter=np.array([diameter]),
            length=np.array([length]), rise=np.zeros(1), factor=np.ones(1),
            fixed=np.full(1, np.nan),
        )  # fmt: skip

    def hot(self, moment: float) -> float:
        """Gas temperature at the mouth."""
        left = sum(
            share * math.exp(-moment / tau)
            for share, tau in zip(COLD_START_SHARES, COLD_START_TIMES, strict=True)
        )
        return self.start + self.rise * (1 - left)

    def lost(self, which: int, skin: np.ndarray, emissivity: float) -> np.ndarray:
        """Convection and radiation outside, W/m²."""
        radiation = 5.670374419e-8 * emissivity * (skin**4 - self.start**4)
        return self.films[which].flux(skin)[0] + radiation

    def rates(self, moment: float, y: np.ndarray) -> np.ndarray:
        """d/dt of (main pipe's wall, then gas and wall of each node in turn), or of columns so."""
        case, closures = self.case, self.case.closures
        hot = self.hot(moment)
        columns = y.reshape(len(y), -1).T
        mouth = np.full((len(columns), 1), hot)
        gas = np.concatenate([mouth, columns[:, 1::2]], axis=1)
        wall = np.concatenate([columns[:, :1], columns[:, 2::2]], axis=1)
        capacity, conductivity, _, *_ = self.gas.evaluate(gas)
        density = self.gas.density(gas, case.surroundings.pressure)
        volumetric = density * capacity
        pipe = case.main_pipe
        speed = float(pipe.mass_flow[0]) / (density[:, :1] * float(pipe.bore_area[0]))
        reach = float(closures.reach[0]) * self.bore
        mixing = float(closures.stirring[0]) * speed * self.bore * np.exp(-self.x / reach)

        def face(values: np.ndarray) -> np.ndarray:
            return (values[:, 1:] + values[:, :-1]) / 2

        flow = -self.gas_area * face(conductivity) * np.diff(gas) / self.step
        flow -= self.gas_area * face(volumetric) * face(mixing) * np.diff(gas) / self.step
        film = (3.66 * conductivity + float(closures.stanton[0]) * volumetric * mixing) / self.bore
        given = film * self.inner * (gas - wall)
        metal_flow = (
            -self.wall_area * case.metal.conductivity(face(wall)) * np.diff(wall) / self.step
        )
        lost = self.outer * self.lost(0, wall, float(case.covering.emissivity[0]))

        def gain(values: np.ndarray) -> np.ndarray:
            """What enters each node beyond the mouth's less what leaves it."""
            return values - np.concatenate([values[:, 1:], 0 * mouth], axis=1)

        gas_heat = GAS_STORE * volumetric * self.gas_area * self.width
        metal_heat = self.density * case.metal.heat_capacity(wall) * self.metal_volume
        dydt = np.empty_like(columns)
        dydt[:, 1::2] = (gain(flow) - given[:, 1:]) / gas_heat[:, 1:]
        dydt[:, 2::2] = (gain(metal_flow) + given[:, 1:] - lost[:, 1:]) / metal_heat[:, 1:]
        warm = replace(pipe, gas_temperature=np.array([hot]))
        supply = float(inner_film(warm, self.gas)[0]) * float(pipe.bore[0])
        supply /= float(pipe.outside_diameter[0])
        skin = columns[:, :1]
        taken = supply * (hot - skin) - self.lost(1, skin, float(pipe.emissivity[0]))
        ring = np.pi / 4 * (0.0603**2 - 0.0573**2) / (np.pi * 0.0603)
        dydt[:, :1] = taken / (self.density * case.metal.heat_capacity(skin) * ring)
        return dydt.T.reshape(y.shape)

    def run(
        self, moments: np.ndarray, rtol: float, atol: float
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Gas and wall temperatures (moments, nodes), and the nodes."""
        size = 2 * self.nodes - 1
        pattern = sparse.diags(
            [np.ones(size - abs(k)) for k in range(-3, 4)], list(range(-3, 4)), format="csr"
        )
        found = integrate.solve_ivp(
            self.rates, (0.0, float(moments[-1])), np.full(size, self.start), method="BDF",
            t_eval=moments, rtol=rtol, atol=atol, jac_sparsity=pattern,
            vectorized=True,
        )  # fmt: skip
        if not found.success:
            raise RuntimeError(found.message)
        mouth = np.array([[self.hot(t)] for t in moments])
        gas = np.hstack([mouth, found.y[1::2].T])
        wall = np.hstack([found.y[:1].T, found.y[2::2].T])
        return gas, wall, self.x


class Line:
    """Sound of one moment: lossy transfer matrices of the intervals between the lines' nodes.

    The layers at the wall are as warm as it.
    """

    def __init__(self, lines: Lines, gas: np.ndarray, wall: np.ndarray) -> None:
        case, table = lines.case, lines.gas
        pressure = float(case.surroundings.pressure[0])
        middle = ((gas[1:] + gas[:-1]) / 2)[None]
        beside = ((wall[1:] + wall[:-1]) / 2)[None]
        capacity = table.evaluate(middle).heat_capacity[0]
        skin, conductivity, viscosity, *_ = (v[0] for v in table.evaluate(beside))
        self.diffusing = viscosity / table.density(beside, case.surroundings.pressure)[0]
        self.at_wall = skin / (skin - float(table.gas_constant[0]))
        self.density = table.density(middle, case.surroundings.pressure)[0]
        self.ratio = capacity / (capacity - float(table.gas_constant[0]))
        self.bulk = self.ratio * pressure
        self.root_prandtl = np.sqrt(skin * viscosity / conductivity)
        self.length, self.radius, self.area = lines.step, lines.bore / 2, lines.gas_area
        factor = side_branch_correction(case.branch.bore / case.main_pipe.bore)
        hot = table.density(gas[:1][None], case.surroundings.pressure)[0, 0]
        self.inertance = hot * float(factor[0]) * self.radius / self.area
        self.near = 1 / (4 * float(np.sum(self.length * np.sqrt(self.density / self.bulk))))

    def reactance(self, frequency: float) -> float:
        """Of the mouth, its own inertance included, by Zwikker and Kosten's Bessel functions."""
        omega = 2 * np.pi * frequency
        shear = self.radius * np.sqrt(omega / self.diffusing)

        def layer(wave: np.ndarray) -> np.ndarray:
            argument = wave * np.sqrt(-1j)
            return 2 / argument * special.jve(1, argument) / special.jve(0, argument)

        z = 1j * omega * self.density / self.area / (1 - layer(shear))
        heat = 1 + (self.at_wall - 1) * layer(shear * self.root_prandtl)
        y = 1j * omega * self.area / self.bulk * heat
        wave = np.sqrt(z * y)
        even, odd = np.cosh(wave * self.length), np.sinh(wave * self.length)
        by_flow, by_pressure = odd * z / wave, odd * y / wave
        p, u = 1.0 + 0j, 0j
        for n in range(len(even) - 1, -1, -1):
            p, u = even[n] * p + by_flow[n] * u, by_pressure[n] * p + even[n] * u
        return float((p / u).imag) + omega * self.inertance

    def tone(self) -> float:
        """First resonance by scipy's ``brentq``."""
        return optimize.brentq(self.reactance, 0.8 * self.near, 1.2 * self.near, rtol=1e-6)


def best(repeats: int, function) -> float:
    """Least CPU time of ``repeats`` runs, s, after one that warms up."""
    function()
    shortest = math.inf
    for _ in range(repeats):
        start = time.process_time()
        function()
        shortest = min(shortest, time.process_time() - start)
    return shortest


def main(repeats: int = 10) -> None:
    """Print errors and times."""
    if core.at_hand() is None:
        raise SystemExit("no compiled core here: nothing to measure")
    case, drive = one_case(), Drive.cold_start(DURATION)
    driven = solve(case).resonance[:, 0]

    def ours(**options) -> Wander:
        return wander(warm_up(case, drive, MOMENTS, **options), driven)

    converged = ours(tolerance=1e-4).frequency
    finest = ours(tolerance=1e-3, nodes=1281).frequency
    default = ours().frequency
    in_time = np.abs(default / converged - 1).max()
    in_all = np.abs(default / finest - 1).max()
    quick = best(repeats, ours)
    heat = best(repeats, lambda: warm_up(case, drive, MOMENTS))
    print("Twenty minutes; largest relative error of the first resonance over 121 moments")
    print(f"  package: {in_time:.1e} in time (promised: 2e-04), {in_all:.1e} in all; "
          f"{quick * 1e3:.1f} ms (promised: 40), of which heat {heat * 1e3:.1f} ms")  # fmt: skip
    cheapest, moments = None, PlainNumpy(case.repeat(len(MOMENTS)))
    for nodes, (rtol, atol) in product(NODES, TOLERANCES):
        lines = Lines(case, nodes)
        spent = math.inf
        for _ in range(REFERENCE_REPEATS):
            start = time.process_time()
            gas, wall, _ = lines.run(MOMENTS, rtol, atol)
            spent = min(spent, time.process_time() - start)
        start = time.process_time()
        tones = np.array([Line(lines, *row).tone() for row in zip(gas, wall, strict=True)])
        whole = spent + time.process_time() - start
        start = time.process_time()
        at_once = moments.tones(gas, wall, np.broadcast_to(lines.step, (len(gas), nodes - 1)))
        plain = spent + time.process_time() - start
        error = max(np.abs(found / finest - 1).max() for found in (tones, at_once))
        print(f"  solve_ivp BDF, {nodes} nodes, rtol {rtol:.0e}: {error:.1e} in all; heat "
              f"{spent * 1e3:.0f} ms, with sound {whole * 1e3:.0f} ms, "
              f"by plain numpy {plain * 1e3:.0f} ms")  # fmt: skip
        if error <= in_all and (cheapest is None or spent < cheapest[0]):
            cheapest = spent, whole, plain
    if cheapest is None:
        print("No reference run is as accurate: nothing to compare.")
        return
    print(f"Against the cheapest run at least as accurate: heat {cheapest[0] / heat:.0f} times, "
          f"whole {cheapest[1] / quick:.0f} times (promised: 30), with its sound by plain numpy "
          f"{cheapest[2] / quick:.0f} times as quick")  # fmt: skip


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:2]))
