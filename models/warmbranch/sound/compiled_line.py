# pyright: basic, reportArgumentType=false, reportReturnType=false, reportMissingImports=false
# numba ships no types, and what it compiles takes single numbers where annotations say arrays.
"""Impedance of many ducts at many frequencies at once, compiled: see compiled.py, acoustics.py.

A lane is one duct at one frequency. All lanes of a room march from cap to mouth together, a cell
at a time, in real numbers; the matrix of a cell comes from power series, without a branch.
"""

from __future__ import annotations

from typing import NamedTuple

import numba
import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.base.compiled import ROW, options
from warmbranch.sound import viscothermal


class Cells(NamedTuple):
    """A duct's columns, (cells, designs), and what is one for the duct, (designs,).

    ``mass`` kg/m⁴ and ``spring`` m³/Pa of each cell without its layers; ``viscous`` and ``heat``,
    thickness of the layers at 1 Hz over the radius; ``thermal``, γ − 1. ``length`` m and
    ``inertance`` m, the length times what bends leave of the inertance.
    """

    mass: FloatArray
    spring: FloatArray
    viscous: FloatArray
    heat: FloatArray
    thermal: FloatArray
    skew: FloatArray
    length: FloatArray
    inertance: FloatArray
    radius: FloatArray
    mouth_inertance: FloatArray


NARROW_PIECES = 100
"""Pieces of the shear wave number below ``WIDE_TUBE``, a quarter each, ..."""

NARROW_DEGREE = 11
"""... and the degree of their polynomials: within 1e-14 of the Bessel functions' ratio, by test.
The ratio's poles lie 1.7 and more off the real axis, 13 half-pieces away."""


def narrow_table() -> FloatArray:
    """Polynomials of the layer function, (pieces, real part then imaginary, rising power).

    Each is the Chebyshev interpolant in the shear wave number, over −1 … 1 within its piece.
    """
    count = NARROW_DEGREE + 1
    nodes = np.polynomial.chebyshev.chebpts1(count)
    width = viscothermal.WIDE_TUBE / NARROW_PIECES
    wave_number = (np.arange(NARROW_PIECES)[:, None] + (nodes + 1) / 2) * width
    values = viscothermal.bessel_ratio(1 / wave_number)
    to_chebyshev = np.linalg.inv(np.polynomial.chebyshev.chebvander(nodes, NARROW_DEGREE))
    to_power = np.zeros((count, count))
    for n in range(count):
        own = np.polynomial.chebyshev.cheb2poly(np.eye(count)[n])
        to_power[: len(own), n] = own
    coefficients = values @ (to_power @ to_chebyshev).T
    return np.ascontiguousarray(np.stack([coefficients.real, coefficients.imag], axis=1))


_NARROW = narrow_table()

WIDEST_INVERSE = 1 / viscothermal.WIDE_TUBE

LARGEST_SQUARE = 2.25
"""Largest size of a cell's squared phase for which the series below suffice, to 1e-17."""

SMALL_SQUARE = 0.05
"""Size up to which their powers to the fifth do: the sixth adds less than 4e-17."""

# Rows of the room: the lanes' frequencies and state, ...
OMEGA, THIN, P_RE, P_IM, U_RE, U_IM, TRAVELLED, LARGEST = (n * ROW for n in range(8))
# ... the cell's own numbers ...
MASS, SPRING, VISCOUS, HEAT, THERMAL, SKEW = (n * ROW for n in range(8, 14))
# ... and what the layers make of them.
FV_RE, FV_IM, FT_RE, FT_IM, W_RE, W_IM = (n * ROW for n in range(14, 20))
Z_RE, Z_IM, Y_RE, Y_IM, TILT_RE, TILT_IM = (n * ROW for n in range(20, 26))
LINE_ROOM = 26 * ROW


@numba.njit(**options)
def start(frequency: FloatArray, room: FloatArray) -> None:
    """Put up to ``LANES`` frequencies, Hz, at the cap."""
    for k in range(len(frequency)):
        room[k + OMEGA] = 2 * np.pi * frequency[k]
        room[k + THIN] = 1 / np.sqrt(frequency[k])
        room[k + P_RE], room[k + P_IM] = 1.0, 0.0
        room[k + U_RE], room[k + U_IM] = 0.0, 0.0
        room[k + TRAVELLED], room[k + LARGEST] = 0.0, 0.0


@numba.njit(**options)
def _layers(count: int, room: FloatArray) -> None:
    """:func:`viscothermal.layer_function` of both layers."""
    thickest = 0.0
    for k in range(count):
        thickest = max(thickest, room[k + VISCOUS] * room[k + THIN])
        thickest = max(thickest, room[k + HEAT] * room[k + THIN])
    for k in range(count):
        room[k + FV_RE], room[k + FV_IM] = _wide(room[k + VISCOUS] * room[k + THIN])
        room[k + FT_RE], room[k + FT_IM] = _wide(room[k + HEAT] * room[k + THIN])
    if thickest > WIDEST_INVERSE:
        for k in range(count):
            inverse = room[k + VISCOUS] * room[k + THIN]
            if inverse > WIDEST_INVERSE:
                room[k + FV_RE], room[k + FV_IM] = narrow(inverse)
            inverse = room[k + HEAT] * room[k + THIN]
            if inverse > WIDEST_INVERSE:
                room[k + FT_RE], room[k + FT_IM] = narrow(inverse)


@numba.njit(inline="always", error_model="numpy")
def _wide(inverse: float) -> tuple[float, float]:
    """:func:`viscothermal.wide_series` for s = (1 − j) t: s² = −2j t², s³ = −2(1 + j) t³, ..."""
    t = inverse * 0.7071067811865476
    squared = t * t
    re = t * (2 + squared * (1 / 2 + t * (1 + 25 / 16 * t)))
    im = t * (t * (2 + t * (1 / 2 - squared * (25 / 16 + 13 / 2 * t))) - 2)
    return re, im


@numba.njit(**options)
def narrow(inverse: float) -> tuple[float, float]:
    """The layer function below ``WIDE_TUBE``."""
    place = NARROW_PIECES / (viscothermal.WIDE_TUBE * inverse)
    piece = min(int(place), NARROW_PIECES - 1)
    t = 2 * (place - piece) - 1
    own = _NARROW[piece]
    re, im = own[0, NARROW_DEGREE], own[1, NARROW_DEGREE]
    for n in range(NARROW_DEGREE - 1, -1, -1):
        re = re * t + own[0, n]
        im = im * t + own[1, n]
    return re, im


@numba.njit(**options)
def through_cell(count: int, room: FloatArray) -> None:
    """Take all lanes through one cell: :func:`acoustics._cell_matrices` and its product."""
    _layers(count, room)
    largest = 0.0
    for k in range(count):
        omega, skew = room[k + OMEGA], room[k + SKEW]
        # Z = jω m / (1 − F_v), Y = jω s (1 + (γ − 1) F_t)
        a, b = 1 - room[k + FV_RE], -room[k + FV_IM]
        scale = omega * room[k + MASS] / (a * a + b * b)
        z_re, z_im = scale * b, scale * a
        scale = omega * room[k + SPRING]
        y_re = -scale * room[k + THERMAL] * room[k + FT_IM]
        y_im = scale * (1 + room[k + THERMAL] * room[k + FT_RE])
        squared_re = z_re * y_re - z_im * y_im
        squared_im = z_re * y_im + z_im * y_re
        tilt_re, tilt_im = squared_re * skew, squared_im * skew
        w_re = squared_re + (tilt_re * tilt_re - tilt_im * tilt_im)
        w_im = squared_im + 2 * tilt_re * tilt_im
        size = w_re * w_re + w_im * w_im
        largest = max(largest, size)
        room[k + Z_RE], room[k + Z_IM] = z_re, z_im
        room[k + Y_RE], room[k + Y_IM] = y_re, y_im
        room[k + TILT_RE], room[k + TILT_IM] = tilt_re, tilt_im
        room[k + W_RE], room[k + W_IM] = w_re, w_im
        room[k + LARGEST] = max(room[k + LARGEST], size)
    # cosh √w = Σ wⁿ/(2n)!, sinh √w / √w = Σ wⁿ/(2n + 1)!
    if largest < SMALL_SQUARE**2:
        for k in range(count):
            w_re, w_im = room[k + W_RE], room[k + W_IM]
            even_re, even_im = _low_even(1 / 3628800, 0.0, w_re, w_im)
            odd_re, odd_im = _low_odd(1 / 39916800, 0.0, w_re, w_im)
            _advance(k, room, even_re, even_im, odd_re, odd_im)
        return
    for k in range(count):
        w_re, w_im = room[k + W_RE], room[k + W_IM]
        re = 1 / 2432902008176640000 * w_re + 1 / 6402373705728000
        im = 1 / 2432902008176640000 * w_im
        re, im = _horner(re, im, w_re, w_im, 1 / 20922789888000)
        re, im = _horner(re, im, w_re, w_im, 1 / 87178291200)
        re, im = _horner(re, im, w_re, w_im, 1 / 479001600)
        re, im = _horner(re, im, w_re, w_im, 1 / 3628800)
        even_re, even_im = _low_even(re, im, w_re, w_im)
        re = 1 / 51090942171709440000 * w_re + 1 / 121645100408832000
        im = 1 / 51090942171709440000 * w_im
        re, im = _horner(re, im, w_re, w_im, 1 / 355687428096000)
        re, im = _horner(re, im, w_re, w_im, 1 / 1307674368000)
        re, im = _horner(re, im, w_re, w_im, 1 / 6227020800)
        re, im = _horner(re, im, w_re, w_im, 1 / 39916800)
        odd_re, odd_im = _low_odd(re, im, w_re, w_im)
        _advance(k, room, even_re, even_im, odd_re, odd_im)


@numba.njit(inline="always", error_model="numpy")
def _low_even(re: float, im: float, w_re: float, w_im: float) -> tuple[float, float]:
    """The series of cosh √w from its fifth power, whose coefficient is given, down."""
    re, im = _horner(re, im, w_re, w_im, 1 / 40320)
    re, im = _horner(re, im, w_re, w_im, 1 / 720)
    re, im = _horner(re, im, w_re, w_im, 1 / 24)
    re, im = _horner(re, im, w_re, w_im, 1 / 2)
    return _horner(re, im, w_re, w_im, 1.0)


@numba.njit(inline="always", error_model="numpy")
def _low_odd(re: float, im: float, w_re: float, w_im: float) -> tuple[float, float]:
    """The series of sinh √w / √w from its fifth power, whose coefficient is given, down."""
    re, im = _horner(re, im, w_re, w_im, 1 / 362880)
    re, im = _horner(re, im, w_re, w_im, 1 / 5040)
    re, im = _horner(re, im, w_re, w_im, 1 / 120)
    re, im = _horner(re, im, w_re, w_im, 1 / 6)
    return _horner(re, im, w_re, w_im, 1.0)


@numba.njit(inline="always", error_model="numpy")
def _horner(
    re: float, im: float, w_re: float, w_im: float, coefficient: float
) -> tuple[float, float]:
    return re * w_re - im * w_im + coefficient, re * w_im + im * w_re


@numba.njit(inline="always", error_model="numpy")
def _advance(
    k: int, room: FloatArray, even_re: float, even_im: float, odd_re: float, odd_im: float
) -> None:
    """p ← (even + tilt odd) p + z odd u,  u ← y odd p + (even − tilt odd) u."""
    tilt_re, tilt_im = room[k + TILT_RE], room[k + TILT_IM]
    z_re, z_im, y_re, y_im = room[k + Z_RE], room[k + Z_IM], room[k + Y_RE], room[k + Y_IM]
    lean_re = tilt_re * odd_re - tilt_im * odd_im
    lean_im = tilt_re * odd_im + tilt_im * odd_re
    b_re, b_im = z_re * odd_re - z_im * odd_im, z_re * odd_im + z_im * odd_re
    c_re, c_im = y_re * odd_re - y_im * odd_im, y_re * odd_im + y_im * odd_re
    a_re, a_im = even_re + lean_re, even_im + lean_im
    d_re, d_im = even_re - lean_re, even_im - lean_im
    p_re, p_im = room[k + P_RE], room[k + P_IM]
    u_re, u_im = room[k + U_RE], room[k + U_IM]
    room[k + P_RE] = (a_re * p_re - a_im * p_im) + (b_re * u_re - b_im * u_im)
    room[k + P_IM] = (a_re * p_im + a_im * p_re) + (b_re * u_im + b_im * u_re)
    room[k + U_RE] = (c_re * p_re - c_im * p_im) + (d_re * u_re - d_im * u_im)
    room[k + U_IM] = (c_re * p_im + c_im * p_re) + (d_re * u_im + d_im * u_re)


@numba.njit(**options)
def add_travelled(count: int, room: FloatArray) -> None:
    """Add the cell's phase, the imaginary part of its root."""
    for k in range(count):
        w_re, w_im = room[k + W_RE], room[k + W_IM]
        size = np.sqrt(w_re * w_re + w_im * w_im)
        room[k + TRAVELLED] += np.sqrt(max(0.5 * (size - w_re), 0.0))
