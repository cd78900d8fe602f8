"""Axial spreading of heat by laminar oscillating flow in a round tube.

Exact form (Watson 1983 type) and its checks. The section-mean velocity is u cos(w t); D is the
mean axial flux of heat per unit of mean slope and of rho cp, without the molecular part. Derived
here; agrees with the radial finite-volume solution below. The temperature swing that pressure
itself makes (thermoacoustic part, Rott and Swift) is not in it.
"""

import numpy as np
from scipy.linalg import solve_banded
from scipy.special import jve


def _ratio(z: complex) -> complex:
    """J1/J0 from scaled functions (no overflow at large argument)."""
    return jve(1, z) / jve(0, z)


def enhancement(
    omega: float, u: float, radius: float, nu: float, prandtl: float, isothermal: bool
) -> float:
    """D, m2/s; wall held at the mean gas temperature (isothermal) or passing no heat."""
    if abs(prandtl - 1.0) < 1e-3:  # removable singularity: mean of both sides
        return 0.5 * sum(
            enhancement(omega, u, radius, nu, 1.0 + e, isothermal) for e in (-2e-3, 2e-3)
        )
    alpha, a = nu / prandtl, radius
    root = np.exp(0.75j * np.pi)
    lam, mu = root * np.sqrt(omega / nu), root * np.sqrt(omega / alpha)
    lc = np.conj(lam)

    def mean(p: complex) -> complex:
        return 2.0 * _ratio(p * a) / (p * a)

    def pair(p: complex, q: complex) -> complex:  # Lommel's integral, over J0(pa) J0(qa)
        return 2.0 * (p * _ratio(p * a) - q * _ratio(q * a)) / (a * (p * p - q * q))

    diff = mu * mu - lam * lam
    if isothermal:
        c = -(1.0 / mu**2 - 1.0 / diff)
    else:
        c = lam * _ratio(lam * a) / (diff * mu * _ratio(mu * a))
    amp = 1.0 / (1.0 - mean(lam))
    total = 1.0 / mu**2 - mean(lam) / diff + c * mean(mu)
    total -= mean(lc) / mu**2 - pair(lc, lam) / diff + c * pair(lc, mu)
    return float(-0.5 * u * u * abs(amp) ** 2 / alpha * total.real)


def boundary_layer(
    omega: float, u: float, radius: float, nu: float, prandtl: float, isothermal: bool
) -> float:
    """Limit of thin layers, error of order delta/a: (u^2/2w)(delta/a) times a function of Pr."""
    s = np.sqrt(prandtl)
    delta = np.sqrt(2.0 * nu / omega)
    f = (
        (1.0 + s + prandtl) / (s * (1.0 + s) * (1.0 + prandtl))
        if isothermal
        else s / ((1.0 + s) * (1.0 + prandtl))
    )
    return 0.5 * u * u / omega * delta / radius * f


def numerical(
    omega: float,
    u: float,
    radius: float,
    nu: float,
    prandtl: float,
    isothermal: bool,
    n: int = 4000,
) -> float:
    """The same by finite volumes over the radius, cells crowded at the wall."""
    s = np.linspace(0.0, 1.0, n + 1)
    stretch = 3.0
    face = radius * np.tanh(stretch * s) / np.tanh(stretch)
    centre = 0.5 * (face[1:] + face[:-1])
    area = face[1:] ** 2 - face[:-1] ** 2

    def solve(k: float, source: np.ndarray, wall: bool) -> np.ndarray:
        """i w f - k lap f = source; wall value 0 or slope 0."""
        g = 2.0 * k * face[1:-1] / np.diff(centre)
        band = np.zeros((3, n), dtype=complex)
        band[0, 1:] = -g
        band[2, :-1] = -g
        band[1] = 1j * omega * area
        band[1, :-1] += g
        band[1, 1:] += g
        if wall:
            band[1, -1] += 2.0 * k * face[-1] / (face[-1] - centre[-1])
        return solve_banded((1, 1), band, source * area)

    w = solve(nu, np.ones(n, dtype=complex), True)
    w = w * u / (np.sum(w * area) / radius**2)
    theta = solve(nu / prandtl, -w, isothermal)
    return float(-0.5 * np.sum((np.conj(w) * theta).real * area) / radius**2)


if __name__ == "__main__":
    for iso in (False, True):
        for wo in (2.0, 10.0, 40.0, 80.0):
            args = (wo**2, 1.0, 1.0, 1.0, 0.7, iso)
            print(iso, wo, *(f(*args) * wo**2 for f in (enhancement, numerical, boundary_layer)))
