"""Buoyant counterflow in the dead end: hot gas runs one way along the branch and cold the other.

It carries heat along, as an effective diffusivity, and it scrapes the wall, which the inner film
feels: ``Nu = Nu_0 + B √((D + β² E)/ν)`` with ``E`` what scrapes, ``β = SCRAPING``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.constants import GRAVITY

ISOTHERMAL_PERIMETER = 1 / 23040
"""Coefficient of the level counterflow, the wall being at one temperature round the perimeter.

Parallel-flow solution in a circular pipe in the manner of Bejan & Tien, Int. J. Heat Mass
Transfer 21 (1978) 701; 7/46080 for an adiabatic wall. Derived, see
tests/models/heat/test_mixing.py.
"""

STEEP_COEFFICIENT = 1 / 300
"""Of the viscous flow where the gas is hotter below; from our own simulation at Ra 3e4."""

LAYERING = 7.0
"""How soon layers stop what the level counterflow carries along, over the sine of the fall."""

STEEP_SCRAPING = 0.3
"""Of the steep part, what scrapes the wall over what free fall alone would carry."""

SCRAPING = 0.75
"""Of the film that the counterflow makes over that of stirring as strong; 0.5 to 1.0 in our own
simulation (fixtures/simulated/BuoyantTube.toml)."""

GENTLE_GRADIENT = 10.0
"""K/m. Below it the inertial scale fades, smoothly to the first derivative, as the viscous one
does: in wide tubes a root would climb without limit where the gradient turns."""

TINY = 1e-300
"""Keeps nothing over nothing at nothing."""


class Diffusivity(NamedTuple):
    """A diffusivity and how it answers to the profile; each (designs, faces).

    ``temperature_slope`` is (2, designs, faces) where the slopes of the properties are: were both
    nodes beside the face to warm alike, with the properties as the left one's, the right one's.
    """

    value: FloatArray
    gradient_slope: FloatArray
    temperature_slope: FloatArray


class Counterflow(NamedTuple):
    """What buoyancy carries along the branch, and what of it scrapes the wall: a film's mixing."""

    along: Diffusivity
    at_wall: Diffusivity


def counterflow_of(
    at_faces: Sequence[FloatArray],
    slopes: FloatArray,
    temperature: FloatArray,
    density: FloatArray,
    gradient: FloatArray,
    bore: FloatArray,
    rise: FloatArray,
    strength: FloatArray,
) -> Counterflow:
    """:func:`buoyant_counterflow` of a gas by its properties.

    Parameters
    ----------
    at_faces : three (designs, faces) arrays
        Heat capacity, conductivity and viscosity; J/(kg K), W/(m K), Pa s.
    slopes : (3, designs, nodes) array
        Of the same, at the nodes.
    temperature, density, gradient : (designs, faces) array; K, kg/m³, K/m
    bore, rise, strength
        As of that.
    """
    heat_capacity, conductivity, viscosity = at_faces
    # ν² α = μ² k / (ρ³ c_p), with ρ ∝ 1/T, as the nodes on the left and on the right move it.
    by_capacity, by_conductivity, by_viscosity = (
        np.stack([part[:, :-1], part[:, 1:]]) for part in slopes
    )
    property_slope = (
        by_capacity / heat_capacity
        - 2 * by_viscosity / viscosity
        - by_conductivity / conductivity
        - 3 / temperature
    )
    return buoyant_counterflow(
        temperature,
        gradient,
        viscosity / density,
        conductivity / (density * heat_capacity),
        property_slope,
        bore,
        rise,
        strength,
    )


def buoyant_counterflow(
    temperature: FloatArray,
    gradient: FloatArray,
    kinematic_viscosity: FloatArray,
    thermal_diffusivity: FloatArray,
    property_slope: FloatArray,
    bore: FloatArray,
    rise: FloatArray,
    strength: FloatArray,
) -> Counterflow:
    r"""Mixing by buoyant counterflow, and what it stirs at the wall.

    Level part: the slower of the viscous parallel flow, :math:`\alpha Ra_g^2/23040` with
    :math:`Ra_g = g\beta|T'|a^4/(\nu\alpha)`, and the inertial scale :math:`d^2\sqrt{g\beta|T'|}`,
    joined harmonically, with the component of gravity across the branch. Steep part: where the
    gas is hotter below than above, the slower of :math:`\alpha Ra_g^2/300` and
    :math:`S d^2\sqrt{g\beta|T'|}`, with the component along it,
    :math:`S = 1.3 + 66 \sin^2\theta \cos^5\theta`: two streams that hardly mix run farthest at
    some 30 degrees. Where it is hotter above there is no steep part; in a branch that falls from
    its mouth the gas lies in layers, and of the level part only :math:`e^{-7\sin\theta}` carries
    anything along.

    What scrapes the wall is the level part whole, for layers turn in their places, and
    :math:`0.3/S` of the steep one.

    Parameters
    ----------
    temperature, gradient : (designs, faces) array, K and K/m
    kinematic_viscosity, thermal_diffusivity : (designs, faces) array, m²/s
    property_slope : (designs, faces) or (2, designs, faces) array, 1/K
        Slope of ``ln[1/(ν² α)]`` with temperature; of the left and of the right side.
    bore, rise, strength : (designs,) array; m, rad, dimensionless
        The bore also (designs, faces).

    Returns
    -------
    Counterflow
        m²/s, m³/(s K) with respect to the gradient, m²/(s K) with respect to temperature.

    Valid for
    ---------
    Ra 1e5 to 1e6 on the bore and the gas's excess, within a factor of 1.2 level and of 2 at most
    other angles; Ra 3e4 to 3e6 within twice that. A mouth hotter than the cap: layers are told by
    the rise alone, for told by each gradient's sign they are a valve, which has no one balance.
    Fitted to our own simulation, not a measurement: tests/experiments/buoyancy,
    fixtures/simulated/BuoyantTube.toml. The free-fall mixing length after Cholemari & Arakeri,
    J. Fluid Mech. 621 (2009) 69, from memory.
    """
    found = counterflow(
        temperature,
        gradient,
        kinematic_viscosity,
        thermal_diffusivity,
        property_slope,
        bore if bore.ndim == 2 else bore[:, None],
        rise[:, None],
    )
    strength = strength[:, None]
    along, at_wall = (Diffusivity(*(strength * part for part in one)) for one in found)
    return Counterflow(along, along if found.at_wall is found.along else at_wall)


def counterflow(
    temperature: FloatArray,
    gradient: FloatArray,
    kinematic_viscosity: FloatArray,
    thermal_diffusivity: FloatArray,
    property_slope: FloatArray,
    bore: FloatArray,
    rise: FloatArray,
) -> Counterflow:
    """:func:`buoyant_counterflow` element by element: values, slopes in T', slopes in T.

    The same in C: core/counterflow.c.
    """
    along = np.abs(np.sin(rise))
    half_bore_squared = np.square(0.5 * bore)

    def slower(
        gravity: FloatArray, size: FloatArray, viscous_coefficient: float, reach: FloatArray | float
    ) -> Diffusivity:
        """The viscous flow and the inertial one, joined harmonically, by a gradient's size."""
        push = gravity / temperature  # g β, β = 1/T
        rayleigh = push * size * np.square(half_bore_squared) / kinematic_viscosity
        viscous = viscous_coefficient * np.square(rayleigh) / thermal_diffusivity
        squared = np.square(size)
        whole = squared + GENTLE_GRADIENT**2
        smooth = squared * whole**-0.75  # of √size, with a smooth foot
        inertial = reach * 4 * half_bore_squared * np.sqrt(push) * smooth
        share = inertial / (viscous + inertial + TINY)  # of the viscous part in the harmonic mean
        value = viscous * share
        bend = 2 * share + (1 - share) * (2 - 1.5 * squared / whole)
        return Diffusivity(
            value,
            value * bend * size / (squared + TINY),
            value * (share * property_slope - (0.5 + 1.5 * share) / temperature),
        )

    across = GRAVITY * np.maximum(np.cos(rise), 0.0)
    level = slower(across, np.abs(gradient), ISOTHERMAL_PERIMETER, 1.0)
    level = level._replace(gradient_slope=np.sign(gradient) * level.gradient_slope)
    if not rise.any():
        return Counterflow(level, level)

    towards, farther = -np.sign(rise), streaming(rise)
    steep = slower(GRAVITY * along, np.maximum(gradient * towards, 0.0), STEEP_COEFFICIENT, farther)
    steep = steep._replace(gradient_slope=towards * steep.gradient_slope)
    kept = np.exp(-LAYERING * np.maximum(-np.sin(rise), 0.0))
    scraping = STEEP_SCRAPING / farther
    return Counterflow(
        Diffusivity(*(kept * a + b for a, b in zip(level, steep, strict=True))),
        Diffusivity(*(a + scraping * b for a, b in zip(level, steep, strict=True))),
    )


def streaming(rise: FloatArray) -> FloatArray:
    """``S``: how much farther than free fall over a bore the streams of a rising tube run."""
    return 1.3 + 66 * np.square(np.sin(rise)) * np.abs(np.cos(rise)) ** 5
