"""Exact resonances of ducts without losses.

``x`` runs from mouth to cap; time convention ``exp(+jωt)``. One heat-capacity ratio, one gas
constant, one section, no flow.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Callable
from typing import Any, NamedTuple, cast

import numpy as np

from warmbranch.base.batch import FloatArray

POINTS_PER_MODE = 32
"""Steps a spacing of modes at which a frequency condition is searched for changes of sign."""


def quarter_wave_frequency(length: float, sound_speed: float, mode: int = 1) -> float:
    r"""Resonance of a closed tube of one temperature, ``(2n − 1) c / 4L``, Hz.

    Parameters
    ----------
    length, sound_speed : float, m, m/s
    mode : int
        1 for the lowest.

    Check
    -----
    Common practice: 412.3 m/s and 100 Hz make 1.031 m.

    >>> round(quarter_wave_frequency(1.03075, 412.3), 9)
    100.0

    Source
    ------
    Any textbook of acoustics.
    """
    return (2 * mode - 1) * sound_speed / (4 * length)


def quarter_wave_frequency_with_mouth(
    length: float, mouth_length: float, sound_speed: float, mode: int = 1
) -> float:
    r"""The same with an inertance at the mouth, as of ``mouth_length`` more gas.

    The root of ``cos kL = k ℓ sin kL`` between the resonances of a tube lengthened without limit
    and of the bare tube. A lumped inertance is not a longer tube: the two agree for ``ℓ ≪ L``.

    Parameters
    ----------
    length, mouth_length : float, m
    sound_speed : float, m/s
    mode : int

    Check
    -----
    Exact: ``ℓ = L`` asks for ``cot y = y``, whose first root is 0.860333589.

    >>> round(quarter_wave_frequency_with_mouth(1.0, 1.0, 2 * math.pi), 9)
    0.860333589

    Source
    ------
    Boundary condition of a lumped inertance.
    """
    if mouth_length == 0:
        return quarter_wave_frequency(length, sound_speed, mode)
    ratio = mouth_length / length

    def condition(phase: float) -> float:
        return math.cos(phase) - ratio * phase * math.sin(phase)

    phase = _root(condition, (mode - 1) * math.pi, (mode - 0.5) * math.pi)
    return phase * sound_speed / (2 * math.pi * length)


class LinearDuct(NamedTuple):
    """A duct whose absolute temperature changes in a straight line from mouth to cap.

    Parameters
    ----------
    mouth_temperature, cap_temperature : float, K
        Not equal.
    length : float, m
    heat_capacity_ratio : float, dimensionless
    gas_constant : float, J/(kg K)
    """

    mouth_temperature: float
    cap_temperature: float
    length: float
    heat_capacity_ratio: float
    gas_constant: float

    @property
    def transit_time(self) -> float:
        """``∫ dx/c``, s."""
        roots = math.sqrt(self.mouth_temperature) + math.sqrt(self.cap_temperature)
        return 2 * self.length / (math.sqrt(self.heat_capacity_ratio * self.gas_constant) * roots)

    def arguments(self, angular_frequency: float) -> tuple[float, float]:
        """Arguments of the Bessel functions at mouth and cap."""
        gradient = abs(self.cap_temperature - self.mouth_temperature) / self.length
        factor = (
            2
            * angular_frequency
            / (gradient * math.sqrt(self.heat_capacity_ratio * self.gas_constant))
        )
        return factor * math.sqrt(self.mouth_temperature), factor * math.sqrt(self.cap_temperature)


def linear_duct_resonances(duct: LinearDuct, count: int) -> FloatArray:
    r"""Resonances of a duct of linear temperature, no pressure at the mouth, closed at the cap.

    .. math::
        J_0(s_0) Y_1(s_L) - Y_0(s_0) J_1(s_L) = 0,\quad
        s = \frac{2 \omega}{|m| \sqrt{\gamma R}} \sqrt{T},\quad m = \frac{T_L - T_0}{L}

    Parameters
    ----------
    duct : LinearDuct
    count : int
        How many, from the lowest.

    Returns
    -------
    (count,) array, Hz

    Valid for
    ---------
    Plane waves, constant ratio and gas constant, no losses; temperatures that differ by more
    than a millionth (the arguments grow as the gradient shrinks, and digits are lost).

    Check
    -----
    Exact, equal to numerical integration of the wave equation to twelve digits.

    >>> linear_duct_resonances(LinearDuct(650.0, 350.0, 0.9, 1.37, 289.0), 2).round(6)
    array([129.905255, 369.249509])

    Source
    ------
    [SujithWaldherrZinn1995], solution from memory; verified against the wave equation.
    """
    bessel = _bessel()

    def condition(angular_frequency: FloatArray) -> FloatArray:
        mouth, cap = duct.arguments(1.0)
        s0, s1 = mouth * angular_frequency, cap * angular_frequency
        return cast("FloatArray", bessel.j0(s0) * bessel.y1(s1) - bessel.y0(s0) * bessel.j1(s1))

    return _resonances(condition, duct.transit_time, count)


def linear_duct_mouth_reactance(duct: LinearDuct, frequency: FloatArray) -> FloatArray:
    r"""Reactance at the mouth of a closed duct of linear temperature, over ρc of the mouth's gas.

    .. math::
        z = j\,\frac{Y_1(s_L) J_0(s_0) - J_1(s_L) Y_0(s_0)}
                    {Y_1(s_L) J_1(s_0) - J_1(s_L) Y_1(s_0)}\,\operatorname{sign}(m)

    Parameters
    ----------
    duct : LinearDuct
    frequency : (n,) array, Hz

    Returns
    -------
    (n,) array, dimensionless
        ``z/j``; below the first resonance negative, as of a spring.

    Valid for
    ---------
    As :func:`linear_duct_resonances`.

    Check
    -----
    Exact: zero at the resonance.

    >>> base = LinearDuct(650.0, 350.0, 0.9, 1.37, 289.0)
    >>> linear_duct_mouth_reactance(base, np.array([50.0, 100.0])).round(8)
    array([-1.57575044, -0.41723886])

    Source
    ------
    As :func:`linear_duct_resonances`.
    """
    bessel = _bessel()
    mouth, cap = duct.arguments(1.0)
    angular_frequency = 2 * np.pi * frequency
    s0, s1 = mouth * angular_frequency, cap * angular_frequency
    j1, y1 = bessel.j1(s1), bessel.y1(s1)
    pressure: FloatArray = y1 * bessel.j0(s0) - j1 * bessel.y0(s0)
    slope: FloatArray = y1 * bessel.j1(s0) - j1 * bessel.y1(s0)
    rising = math.copysign(1.0, duct.cap_temperature - duct.mouth_temperature)
    return rising * pressure / slope


def exponential_duct_resonances(
    mouth_temperature: float,
    decay: float,
    length: float,
    heat_capacity_ratio: float,
    gas_constant: float,
    count: int,
) -> FloatArray:
    r"""Resonances of a closed duct whose absolute temperature is ``T0 exp(−bx)``.

    .. math::
        J_1(s_0) Y_0(s_L) - Y_1(s_0) J_0(s_L) = 0,\quad
        s = \frac{2 \omega}{|b| \sqrt{\gamma R T_0}} e^{bx/2}

    Parameters
    ----------
    mouth_temperature : float, K
    decay : float, 1/m
        ``b``; not zero. The temperature tends to absolute zero, not to that of the surroundings.
    length : float, m
    heat_capacity_ratio, gas_constant : float, dimensionless, J/(kg K)
    count : int

    Returns
    -------
    (count,) array, Hz

    Valid for
    ---------
    As :func:`linear_duct_resonances`.

    Check
    -----
    Exact, equal to numerical integration: 650 K to 350 K over 0.9 m.

    >>> exponential_duct_resonances(650.0, math.log(650 / 350) / 0.9, 0.9, 1.37, 289.0, 1).round(6)
    array([127.854001])

    Source
    ------
    Derived: the wave equation becomes Bessel's in ``exp(bx/2)``.
    """
    bessel = _bessel()
    sound_speed = math.sqrt(heat_capacity_ratio * gas_constant * mouth_temperature)
    factor = 2 / (abs(decay) * sound_speed)
    growth = math.exp(decay * length / 2)

    def condition(angular_frequency: FloatArray) -> FloatArray:
        s0, s1 = factor * angular_frequency, factor * growth * angular_frequency
        return cast("FloatArray", bessel.j1(s0) * bessel.y0(s1) - bessel.y1(s0) * bessel.j0(s1))

    transit_time = 2 * (growth - 1) / (decay * sound_speed)
    return _resonances(condition, transit_time, count)


def uniform_transmission_loss(area_ratio: float, phase: FloatArray) -> FloatArray:
    r"""Transmission loss of a closed uniform branch without losses on an anechoic main pipe, dB.

    .. math:: TL = 10 \log_{10}\left[1 + \left(\tfrac12 s \tan k L'\right)^2\right]

    Parameters
    ----------
    area_ratio : float, dimensionless
        ``s``: section of the branch over that of the main pipe, gases alike.
    phase : (n,) array, rad
        ``k L'``, the mouth correction in ``L'``.

    Valid for
    ---------
    Plane waves, no flow, the same gas at one temperature in both pipes.

    Check
    -----
    Exact: equal sections, half of the resonance's phase.

    >>> uniform_transmission_loss(1.0, np.array([np.pi / 4])).round(4)
    array([0.9691])

    Source
    ------
    Munjal, Acoustics of Ducts and Mufflers, from memory; derived anew.
    """
    loss: FloatArray = 10 * np.log10(1 + np.square(area_ratio / 2 * np.tan(phase)))
    return loss


def uniform_notch_width(area_ratio: float, loss: float) -> float:
    r"""Width of the band in which the transmission loss exceeds ``loss``, over the resonance.

    .. math::
        \frac{\Delta f}{f_0} = 2 \left[1 - \frac{2}{\pi}
        \arctan\left(\frac{2}{s} \sqrt{10^{A/10} - 1}\right)\right]

    Parameters
    ----------
    area_ratio : float, dimensionless
    loss : float, dB
        ``A > 0``.

    Valid for
    ---------
    As :func:`uniform_transmission_loss`, around the first resonance.

    Check
    -----
    Exact: half sections, 10 dB.

    >>> round(uniform_notch_width(0.5, 10.0), 4)
    0.1059

    Source
    ------
    :func:`uniform_transmission_loss` solved for the phase.
    """
    edge = math.atan(2 / area_ratio * math.sqrt(10 ** (loss / 10) - 1))
    return 2 * (1 - 2 / math.pi * edge)


def _resonances(
    condition: Callable[[FloatArray], FloatArray], transit_time: float, count: int
) -> FloatArray:
    """Lowest roots of a frequency condition, Hz.

    Modes lie about ``π/transit_time`` apart, so steps of a thirty-second of that part them.
    """
    spacing = math.pi / transit_time
    grid = spacing * np.arange(1, POINTS_PER_MODE * (count + 2)) / POINTS_PER_MODE
    signs = np.sign(condition(grid))
    changes = np.flatnonzero(signs[1:] != signs[:-1])[:count]
    if len(changes) < count:
        raise ArithmeticError(f"only {len(changes)} of {count} resonances found")

    def single(angular_frequency: float) -> float:
        return float(condition(np.asarray(angular_frequency)))

    roots = [_root(single, float(grid[i]), float(grid[i + 1])) for i in changes]
    return np.array(roots) / (2 * math.pi)


def _bessel() -> Any:
    """``scipy.special``, imported late: it costs a while, and few need it. It has no stubs."""
    return importlib.import_module("scipy.special")


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    optimize: Any = importlib.import_module("scipy.optimize")  # late, as above
    # The tightest tolerances that brentq accepts.
    return float(optimize.brentq(function, low, high, xtol=1e-13, rtol=1e-15))
