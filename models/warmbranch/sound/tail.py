"""The main pipe to both sides of the branch: its open end, and how sound runs along it.

Positions are distances from the open end, against the flow. Impedances are those of the volume
velocity towards the end that is looked at. Conventions as in viscothermal.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from warmbranch.base.batch import ComplexArray, FloatArray
from warmbranch.gas.gas import Composition, MixtureTable, dry_air_table
from warmbranch.sound.mouth import UNFLANGED
from warmbranch.sound.viscothermal import line, wall_layers

UNFLANGED_ENERGY = (0.2, -0.084, 0.416)
UNFLANGED_LENGTH = (UNFLANGED, 0.027, 0.19)
"""Coefficients of the fits to Levine & Schwinger's solution. A. N. Norris and I. C. Sheng, J.
Sound Vib. 135 (1989) 85, from memory; checked against the solution itself in the tests."""

JET_LENGTH = 0.2554
"""End correction, over the radius, with a jet at low Strouhal number: S. W. Rienstra, J. Sound
Vib. 86 (1983) 539, from memory. The open end lies between this and ``UNFLANGED_LENGTH[0]``."""


class FarEnd(Enum):
    """What the pipe ahead of the branch begins at."""

    NO_REFLECTION = "no reflection"
    CLOSED = "closed"
    """Valves, a turbine: hardly any flow of sound."""
    VOLUME = "volume"
    """A silencer's chamber: hardly any pressure of sound."""


def unflanged_reflection(wavenumber_radius: FloatArray) -> tuple[FloatArray, FloatArray]:
    r"""Sound reflected by an unflanged open end: magnitude, and end correction over the radius.

    .. math:: |R| = \frac{1 + 0.2ka - 0.084(ka)^2}{1 + 0.2ka + 0.416(ka)^2},\quad
              \frac{\delta}{a} = \frac{0.6133 + 0.027(ka)^2}{1 + 0.19(ka)^2}

    Parameters
    ----------
    wavenumber_radius : array, dimensionless
        ``ka``, ``>= 0``.

    Returns
    -------
    two arrays, dimensionless

    Valid for
    ---------
    ``ka <= 1.5``; a thin wall, one gas inside and outside, no flow.

    Check
    -----
    Within 0.7 % and 2.1 % of Levine and Schwinger's integrals up to ka = 1,
    tests/models/sound/test_tail.py.

    Source
    ------
    [LevineSchwinger1948]; fit by Norris & Sheng (1989), from memory.
    """
    first, second, third = UNFLANGED_ENERGY
    square = np.square(wavenumber_radius)
    below = 1 + first * wavenumber_radius
    magnitude = (below + second * square) / (below + third * square)
    length = (UNFLANGED_LENGTH[0] + UNFLANGED_LENGTH[1] * square) / (
        1 + UNFLANGED_LENGTH[2] * square
    )
    return magnitude, length


def open_end(
    frequency: FloatArray,
    radius: float,
    density: float,
    sound_speed: float,
    outside_density: float,
    outside_sound_speed: float,
) -> ComplexArray:
    r"""Impedance of an open end that blows hot gas into cold air, over ρ c of the gas inside.

    The unflanged end of one gas, whose resistance is then multiplied by
    :math:`\rho_o c_o / (\rho c) \cdot (c/c_o)^2`: the air outside, denser and slower, takes up
    more sound. The inertance stays that of the gas that leaves.

    Parameters
    ----------
    frequency : (n,) array, Hz
    radius : float, m
    density, sound_speed, outside_density, outside_sound_speed : float; kg/m³, m/s

    Returns
    -------
    (n,) complex array, dimensionless

    Valid for
    ---------
    ``ka <= 0.5`` outside; flow much slower than sound. Flow shortens the end correction to as
    little as ``JET_LENGTH`` radii, which moves the places of the nodes and little else.

    Check
    -----
    ``(ka)²/4 + 0.6133j ka`` for small ka and one gas, tests/models/sound/test_tail.py.

    Source
    ------
    Low-frequency radiation of a small source: derived.
    """
    number = 2 * np.pi * frequency / sound_speed * radius
    magnitude, length = unflanged_reflection(number)
    reflection = -magnitude * np.exp(-2j * number * length)
    impedance = (1 + reflection) / (1 - reflection)
    colder = outside_density * sound_speed / (density * outside_sound_speed)
    result: ComplexArray = impedance.real * colder + 1j * impedance.imag
    return result


@dataclass(frozen=True)
class MainRun:
    """The main pipe from where its gas comes to its open end.

    Parameters
    ----------
    length : float, m
        All that is considered, branch or no branch.
    bore : float, m
    gas : Composition
        One design.
    pressure : float, Pa
    main_temperature, end_temperature : float, K
        Of the gas ahead of the tail and at the open end.
    tail : float, m
        Stretch over which the gas cools, linearly, from one to the other; ``> 0``.
    air_temperature : float, K
        Outside the open end.
    far_end : FarEnd
    """

    length: float
    bore: float
    gas: Composition
    pressure: float
    main_temperature: float
    end_temperature: float
    tail: float
    air_temperature: float
    far_end: FarEnd = FarEnd.NO_REFLECTION

    @property
    def area(self) -> float:
        """Section open to the gas, m²."""
        return float(np.pi / 4 * self.bore**2)

    def temperature(self, position: FloatArray) -> FloatArray:
        """Gas temperature, K, at distances from the open end."""
        share = np.minimum(position / self.tail, 1.0)
        return self.end_temperature + (self.main_temperature - self.end_temperature) * share

    def state(self, position: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Density and sound speed, kg/m³ and m/s, at distances from the open end."""
        table = MixtureTable.of(self.gas)
        hot = self.temperature(position)[None]
        density = table.density(hot, np.array([self.pressure]))
        return density[0], table.sound_speed(hot)[0]


@dataclass(frozen=True)
class View:
    """What a branch at each position would see, and the sound there without it.

    Parameters
    ----------
    position : (n,) array, m
        From the open end, rising.
    towards_tail, towards_source : (n, frequencies) complex array, Pa s/m³
    pressure : (n, frequencies) array, dimensionless
        Magnitude of the standing wave, over its greatest.
    """

    position: FloatArray
    towards_tail: ComplexArray
    towards_source: ComplexArray
    pressure: FloatArray


def view(run: MainRun, position: FloatArray, frequency: FloatArray) -> View:
    """Look both ways from positions along a main pipe.

    Parameters
    ----------
    run : MainRun
    position : (n,) array, m
        From 0 to ``run.length``, rising; the pipe is uniform between two of them.
    frequency : (m,) array, Hz

    Returns
    -------
    View

    Valid for
    ---------
    Plane waves; laminar wall layers; flow much slower than sound.

    Check
    -----
    Lossless uniform tail in closed form; a node where ``x + δ`` is half a wavelength.
    tests/models/sound/test_tail.py.
    """
    matrices = _matrices(run, position, frequency)
    end_density, end_speed = (float(v[0]) for v in run.state(np.zeros(1)))
    air = dry_air_table()
    outside = np.array([[run.air_temperature]])
    own = end_density * end_speed / run.area
    mouth = own * open_end(
        frequency,
        run.bore / 2,
        end_density,
        end_speed,
        float(air.density(outside, np.array([run.pressure]))[0, 0]),
        float(air.sound_speed(outside)[0, 0]),
    )
    tail: ComplexArray = np.empty((len(position), len(frequency)), dtype=np.complex128)
    sound = np.empty_like(tail)
    p, u = mouth, np.ones_like(mouth)
    for i, (even, through, across) in enumerate(zip(*matrices, strict=True)):
        p, u = even * p + through * u, across * p + even * u
        tail[i], sound[i] = p / u, p
    magnitude = np.abs(sound)
    source = _towards_source(run, matrices, position, frequency)
    return View(position, tail, source, magnitude / magnitude.max(axis=0))


def _towards_source(
    run: MainRun,
    matrices: tuple[ComplexArray, ComplexArray, ComplexArray],
    position: FloatArray,
    frequency: FloatArray,
) -> ComplexArray:
    density, speed = run.state(position)
    if run.far_end is FarEnd.NO_REFLECTION:
        own = np.tile((density * speed / run.area)[:, None], (1, len(frequency)))
        return own.astype(np.complex128)
    if position[-1] < run.length:
        raise ValueError("a reflecting far end needs the last position to be there")
    closed = run.far_end is FarEnd.CLOSED
    ones, zeros = (f(len(frequency), dtype=np.complex128) for f in (np.ones, np.zeros))
    p, u = (ones, zeros) if closed else (zeros, ones)
    source: ComplexArray = np.empty((len(position), len(frequency)), dtype=np.complex128)
    with np.errstate(divide="ignore", invalid="ignore"):  # a closed end itself: infinite
        source[-1] = np.where(u == 0, np.inf, p / np.where(u == 0, 1, u))
    for i in range(len(position) - 1, 0, -1):
        even, through, across = (part[i] for part in matrices)
        p, u = even * p + through * u, across * p + even * u
        source[i - 1] = p / u
    return source


def _matrices(
    run: MainRun, position: FloatArray, frequency: FloatArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray]:
    """Four-poles between neighbouring positions, the open end before the first.

    Each (n, frequencies): cosh ΓL, Z sinh ΓL, sinh ΓL / Z.
    """
    edges = np.concatenate([[0.0], position])
    middle, length = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    table = MixtureTable.of(run.gas)
    hot = run.temperature(middle)[None]
    state = table.evaluate(hot)
    density = table.density(hot, np.array([run.pressure]))[0][:, None]
    ratio = (state.heat_capacity / (state.heat_capacity - table.gas_constant[:, None]))[0][:, None]
    viscosity = state.viscosity[0][:, None]
    prandtl = (state.heat_capacity * state.viscosity / state.conductivity)[0][:, None]
    radius = np.array([[run.bore / 2]])
    layers = wall_layers(density, viscosity, prandtl, radius, np.ones((1, 1), dtype=np.bool_))
    impedance, admittance = line(
        frequency[None], density, ratio * run.pressure, layers, ratio - 1, radius
    )
    gamma, own = np.sqrt(impedance * admittance), np.sqrt(impedance / admittance)
    phase: ComplexArray = gamma * length[:, None]
    even: ComplexArray = np.cosh(phase)
    odd: ComplexArray = np.sinh(phase)
    return even, own * odd, odd / own
