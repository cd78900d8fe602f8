"""Errors that all readings or all tones share, and that more of them therefore do not average out.

One thermometer shows a few per cent too much everywhere; the skin's temperature departs smoothly
from what one film and one emissivity along the branch would make of it; one listener finds the
quiet rpm a per cent high each time. Every such error is normal with spread 1 in its own
coordinate, and moves what is seen in proportion, so that given the model's unknowns it is found
and integrated without solving the model again.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import BoolArray, FloatArray
from warmbranch.base.constants import ICE_POINT
from warmbranch.belief.draws import standard_normal
from warmbranch.fit.search import DEGREES_OF_FREEDOM, log_likelihood

EAR = 0.009
"""One standard deviation of ln(perceived quiet tone over the true one): load, cabin and the skew
of the notch move the minimum that a person or a recording finds. Our judgement; no source."""

THERMOMETER = 0.015
"""One standard deviation of an instrument's scale, on the °C: what makers of hand instruments
state. Common practice, no source."""

REFLECTED = 25.0
"""K, one standard deviation of what skins mirror, over what the branch radiates to, where a reading
does not tell it: a hot pipe in a tenth of the view adds some 30 K, a clear sky takes as much off.
Our judgement; paint hardly cares."""

PATTERN = 0.03
"""One standard deviation of the smooth departure of the skin's excess over the air, relative: a
film, a wind, a shelter that changes along the branch. Our judgement, and one scale does: half or
twice of it moves the interval's width by 5 % at most, and what it holds by one job of thirty, in
the model's own world, in an everyday mixture and where readings wave by 8 to 15 %
(``coverage_fit.py --pattern``)."""

PATTERN_LENGTH = 0.3
"""Over the branch's length: distance over which that departure changes."""

PATTERNS = 4
"""Shapes that stand for it; they hold 99 % of its variance."""

DRAWS = 16
"""Of the shared errors, for each set of unknowns."""

STRETCH = 1.2
"""Width of those draws over the normal distribution that they stand for."""

REWEIGHTED = 4
"""Turns in which Student's weights are found; more would move ln(evidence) by 0.01 at most."""

SEED = 31

NAMES = (
    "ear",
    "infrared_scale",
    "contact_scale",
    "reflected",
    *(f"pattern_{i + 1}" for i in range(PATTERNS)),
)
"""Of all shared errors; those without an observation are left out."""


class Conditional(NamedTuple):
    """Shared errors given each set of unknowns.

    Parameters
    ----------
    log_evidence : (sets,) array
        Logarithm of the likelihood, integrated over them.
    draws : (sets, draws, shared) array
    weights : (sets, draws) array
        Sum 1 a set.
    """

    log_evidence: FloatArray
    draws: FloatArray
    weights: FloatArray


@dataclass(frozen=True)
class Shared:
    """What one set of observations shares.

    Parameters
    ----------
    names : tuple of str
    on_display : (readings, shared) array
        Part of the display's °C, or of its excess over the air, that one unit moves it by.
    added : (readings, shared) array, K
        What one unit adds to the display besides.
    above_air : (shared,) array of bool
        Which are parts of the excess over the air.
    on_tone : (heard, shared) array
        What one unit adds to ln f.
    air : float, K
    """

    names: tuple[str, ...]
    on_display: FloatArray
    added: FloatArray
    above_air: BoolArray
    on_tone: FloatArray
    air: float

    @classmethod
    def of(
        cls,
        place: FloatArray,
        infrared: BoolArray,
        heard: int,
        air: float,
        *,
        mirrors: FloatArray | None = None,
        instrument: tuple[str, ...] = (),
        known: frozenset[str] = frozenset(),
    ) -> Shared:
        """Of readings at places over the length, by which instrument, and tones heard.

        Parameters
        ----------
        place : (readings,) array, dimensionless
        infrared : (readings,) array of bool
        heard : int
        air : float, K
        mirrors : (readings,) array, K/K, optional
            By how much displays rise with what the skins mirror.
        instrument : tuple of str
            Names of the thermometers, one a reading, or none; those of one kind and name share
            their scale.
        known : frozenset of str
            Of ``NAMES``: what is taken to be free of error.
        """
        unread, unheard = np.zeros(len(place)), np.zeros(heard)
        mirrors = unread if mirrors is None else mirrors
        # Of displays a part, to displays some kelvins, to ln of the tones.
        columns = {
            "ear": (unread, unread, EAR * np.ones(heard)),
            "infrared_scale": (THERMOMETER * infrared, unread, unheard),
            "contact_scale": (THERMOMETER * ~infrared, unread, unheard),
        }
        names = np.array(instrument or [""] * len(place))
        for name in dict.fromkeys(instrument):
            for kind, own in (("infrared_scale", infrared), ("contact_scale", ~infrared)):
                if name and kind not in known:
                    scale = THERMOMETER * (own & (names == name))
                    columns[scale_of(kind, name)] = (scale, unread, unheard)
                    columns[kind] = (columns[kind][0] - scale, unread, unheard)
        columns["reflected"] = (unread, REFLECTED * mirrors, unheard)
        for i, shape in enumerate(patterns(place).T):
            columns[f"pattern_{i + 1}"] = (PATTERN * shape, unread, unheard)
        kept = [n for n, parts in columns.items() if n not in known and any(map(np.any, parts))]
        read, added, tones = (
            np.array([columns[name][part] for name in kept]).reshape(len(kept), size).T
            for part, size in enumerate((len(place), len(place), heard))
        )
        above = np.array([name.startswith("pattern") for name in kept], dtype=np.bool_)
        return cls(
            tuple(kept),
            np.asarray(read, dtype=np.float64),
            np.asarray(added, dtype=np.float64),
            above,
            np.asarray(tones, dtype=np.float64),
            air,
        )

    def __len__(self) -> int:
        return len(self.names)

    def moves(self, displayed: FloatArray) -> FloatArray:
        """What one unit of each adds to displays (sets, readings), K: (sets, readings, shared)."""
        base = np.where(self.above_air, self.air, ICE_POINT)
        return (displayed[:, :, None] - base) * self.on_display + self.added

    def prior_draws(self, sets: int) -> Conditional:
        """As before any observation."""
        drawn = standard_normal(DRAWS, len(self), SEED)
        every = np.broadcast_to(drawn, (sets, DRAWS, len(self)))
        return Conditional(np.zeros(sets), every, np.full((sets, DRAWS), 1 / DRAWS))


OF = " of "
"""Between the kind of a thermometer's scale error and the name of the thermometer."""


def scale_of(kind: str, instrument: str) -> str:
    """Name of the scale error of a thermometer that has a name, by that of its kind."""
    return kind + OF + instrument


def named_scale(error: str) -> tuple[str, str] | None:
    """Kind and thermometer of a shared error, where it is that of a thermometer with a name."""
    kind, of, instrument = error.partition(OF)
    return (kind, instrument) if of else None


def patterns(place: FloatArray) -> FloatArray:
    """Shapes of a smooth departure of spread 1 at places over the length, (places, PATTERNS).

    The first eigenfunctions of a Gaussian process with the kernel
    ``exp[−(s − s')²/(2 ℓ²)]``, by Nyström's method on even places.
    """
    return _kernel(place) @ _shapes()


EVEN: FloatArray = (np.arange(64) + 0.5) / 64


def _kernel(place: FloatArray) -> FloatArray:
    return np.exp(-((place[:, None] - EVEN) ** 2) / (2 * PATTERN_LENGTH**2))


@cache
def _shapes() -> FloatArray:
    """From the kernel between a place and ``EVEN`` to the patterns, (64, PATTERNS)."""
    values, vectors = np.linalg.eigh(_kernel(EVEN))
    first = slice(None, -PATTERNS - 1, -1)
    return vectors[:, first] / np.sqrt(values[first])


def most_likely(misfit: FloatArray, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shared errors that explain misfits best, and the curvature there.

    Parameters
    ----------
    misfit : (sets, residuals) array
        Without shared errors, over the uncertainties.
    slopes : (sets, residuals, shared) array

    Returns
    -------
    (sets, shared) array, (sets, shared, shared) array
    """
    unit, across = np.eye(slopes.shape[2]), slopes.transpose(0, 2, 1)
    found: FloatArray = np.zeros((len(misfit), slopes.shape[2]))
    precision = np.broadcast_to(unit, (len(misfit), *unit.shape))
    residual = misfit
    for _ in range(REWEIGHTED):
        weight = (DEGREES_OF_FREEDOM + 1) / (DEGREES_OF_FREEDOM + residual**2)
        weighted = across * weight[:, None]
        precision = weighted @ slopes + unit
        solved = np.linalg.solve(precision, -(weighted @ misfit[:, :, None]))
        found = np.asarray(solved[:, :, 0], dtype=np.float64)
        residual = misfit + (slopes @ solved)[:, :, 0]
    return found, precision


def given(misfit: FloatArray, slopes: FloatArray) -> Conditional:
    """Integrate shared errors out by draws about the most likely ones, weighed exactly.

    Parameters
    ----------
    misfit : (sets, residuals) array
    slopes : (sets, residuals, shared) array
    """
    sets, size = len(misfit), slopes.shape[2]
    if size == 0:
        one = np.ones((sets, 1))
        return Conditional(log_likelihood(misfit), np.empty((sets, 1, 0)), one)
    solvable = np.all(np.isfinite(misfit), axis=1) & np.all(np.isfinite(slopes), axis=(1, 2))
    slopes = np.where(solvable[:, None, None], slopes, 0.0)
    middle, precision = most_likely(np.where(solvable[:, None], misfit, 0.0), slopes)
    root = np.asarray(np.linalg.cholesky(precision), dtype=np.float64)
    unit = standard_normal(DRAWS, size, SEED) * STRETCH
    # z = z₀ + R⁻ᵀ u has the covariance of the curvature R Rᵀ.
    spread = _back_substituted(root, unit.T)
    draws = middle[:, :, None] + spread
    residual = misfit[:, :, None] + slopes @ draws
    log_joint = log_likelihood(residual, axis=1) - np.sum(draws**2, axis=1) / 2
    # Both densities lack the same (2π)^(−size/2).
    log_drawn = np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)[:, None]
    log_drawn = log_drawn - size * np.log(STRETCH) - np.sum((unit / STRETCH) ** 2, axis=1) / 2
    log_weights = log_joint - log_drawn
    peak = np.max(log_weights, axis=1, keepdims=True)
    weights = np.exp(log_weights - peak)
    total = np.sum(weights, axis=1)
    evidence = peak[:, 0] + np.log(total / DRAWS)
    evidence = np.where(solvable, evidence, -np.inf)
    return Conditional(evidence, draws.transpose(0, 2, 1), weights / total[:, None])


def _back_substituted(root: FloatArray, right: FloatArray) -> FloatArray:
    """x of ``rootᵀ x = right`` for many lower triangles: (sets, n, n) and (n, m) to (sets, n, m).

    Row by row for all sets at once, at a quarter of what solving each by itself costs.
    """
    found: FloatArray = np.empty((len(root), *right.shape))
    for i in range(len(right) - 1, -1, -1):
        known = (root[:, None, i + 1 :, i] @ found[:, i + 1 :])[:, 0]
        found[:, i] = (right[i] - known) / root[:, i, i, None]
    return found
