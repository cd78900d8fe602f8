"""Where a branch bites, and whether it is heard at all.

A notch stays at one frequency: every order dips as it crosses it. Levels of orders are a Gaussian
process (Rasmussen and Williams 2006): what an order does over the speed, what the place does over
frequency, what the recorder's gain does at a moment; a notch is a mean curve of known form. Its
likelihood is taken over all places and forms at once, and over several roughnesses of the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, cholesky, solve_triangular
from scipy.linalg.lapack import dpotri
from scipy.special import logsumexp

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.cells import Cells
from warmbranch.listen.matern import matern
from warmbranch.listen.shapes import (
    DIPS,
    ENDS,
    LEEWAY,
    SECONDS,
    Shape,
    dip_forms,
    heard_loss,
)

ROUGHNESSES = (0.7, 1.3, 2.4)
"""Factors on every rough part, weighed by the data."""

COARSE, FINE = 0.012, 0.002
"""Of the logarithm of the resonance: steps of the first grid and of the second."""

ABOUT = 0.08
"""Of the logarithm: reach of the second grid about the best of the first."""

MARGIN = 0.03
"""Of the logarithm: a notch is sought where orders are heard on both sides of it."""

EDGE = 0.15
"""Of the logarithm, above the lowest: where a first dip gains its full say."""

PAST_WAYS = 0.012
"""Of the logarithm: how far sound that passes the branch by, adding to it in pressure, may shift
the quietest frequency off the resonance; seen on made-up recordings."""

UNREFERRED = 0.4
"""Power of the likelihood where no recording before, from the same place, tells what is the place's
own: a cabin's dips are sharper and deeper than a Gaussian process has them, and without this the 90
% interval held the truth in two of three made-up recordings (seeds below 1000)."""

TOGETHER = 12
"""Places that are weighed at once, as they take from much the same cells."""

SURE_ODDS = 20.0
"""Odds at which a notch is said to be heard."""

OUTLIERS, ASTRAY = 0.1, 0.08
"""Chance that a branch is farther from where its case says than the case should be, and how far
then, a standard deviation of the logarithm: dimensions mistaken, not another place of the cabin."""


@dataclass(frozen=True)
class Prior:
    """Where the resonance is expected.

    Parameters
    ----------
    frequency : float, Hz
    spread : float
        Standard deviation of its logarithm.
    """

    frequency: float
    spread: float


@dataclass(frozen=True)
class Notch:
    """What the recordings say of a notch.

    Parameters
    ----------
    log_odds : float
        Natural logarithm of the odds of a notch against none, before which both are as likely.
    frequency : (points,) array, Hz
    chance : (points,) array
        Of each, given that there is a notch; sums to 1.
    searched : tuple of float, Hz
        Lowest and highest resonance that could have been heard.
    common : (curve,) array, dB
        What before and after have in common over ``common_frequency``: the cabin, the place.
    common_frequency : (curve,) array, Hz
    depth : float, dB
        Deepest drop heard, of the likeliest form at the likeliest place.
    """

    log_odds: float
    frequency: RealArray
    chance: RealArray
    searched: tuple[float, float]
    common: RealArray
    common_frequency: RealArray
    depth: float

    @property
    def heard(self) -> bool:
        """Whether a notch is said to be heard."""
        return bool(self.log_odds > np.log(SURE_ODDS))

    def quantile(self, share: float) -> float:
        """Resonance below which a share of the chance lies, Hz."""
        total = np.cumsum(self.chance) - self.chance / 2
        return float(np.exp(np.interp(share, total, np.log(self.frequency))))


PLACE = ((6.0, 0.3), (4.0, 0.08))
"""dB, and of the logarithm of the frequency: a place in a cabin, its smooth part and its rough."""


def _covariances(
    cells: Cells, recording: IntArray, after: BoolArray, moved: bool, gain_known: bool
) -> list[RealArray]:
    """Covariance of the cells for each of ``ROUGHNESSES``."""
    u, w = cells.log_speed, cells.log_frequency
    same_order = (cells.order[:, None] == cells.order[None, :]).astype(float)
    same_recording = (recording[:, None] == recording[None, :]).astype(float)
    same_side = (after[:, None] == after[None, :]).astype(float)
    moment = matern(u, u, 0.1)
    # An order's own level over the speed, and what differs from drive to drive.
    smooth = same_order * (100 + 16 * matern(u, u, 0.35)) + same_recording * (100 + same_order)
    rough = same_order * (2.25 * matern(u, u, 0.05) + 0.64 * same_recording * moment)
    # The recorder's gain, one for all orders at a moment.
    if not gain_known:
        smooth += same_recording * 4.0 * moment
    # The place, and the place that is another one.
    other = 1 + 0.8 * same_side if moved else 1.0
    smooth += other * PLACE[0][0] ** 2 * matern(w, w, PLACE[0][1])
    rough += other * PLACE[1][0] ** 2 * matern(w, w, PLACE[1][1])
    if not moved:
        rough += same_side * 0.49 * matern(w, w, 0.06)
    return [
        smooth + factor**2 * rough + np.diag(factor * np.square(cells.deviation))
        for factor in ROUGHNESSES
    ]


def find_notch(
    cells: Cells,
    recording: IntArray,
    after: BoolArray,
    shapes: tuple[Shape, ...] | None,
    *,
    moved: bool = False,
    gain_known: bool = False,
    prior: Prior | None = None,
) -> Notch | None:
    """Weigh a notch at every place against none.

    Parameters
    ----------
    cells : Cells
        Of all recordings.
    recording : (cells,) array of int
        Which recording each belongs to.
    after : (cells,) array of bool
        Whether that was made with the branch.
    shapes : tuple of Shape, or None
        Forms of a known branch's first dip; None where nothing is known of it.
    moved : bool
        The recorder lay elsewhere before than after.
    gain_known : bool
        The recorder's gain is taken off already.
    prior : Prior, optional
        By default every place is as likely, by octaves.

    Returns
    -------
    Notch or None
        None where too little was heard to look for one.
    """
    heard = np.sort(cells.log_frequency[after])
    if len(heard) < 20:
        return None
    low, high = np.quantile(heard, (0.02, 0.98)) + np.array([MARGIN, -MARGIN])
    if high - low < 0.1:
        return None
    rising = np.lexsort((cells.log_frequency, after))
    model = _Model(cells.where(rising), recording[rising], after[rising], moved, gain_known)
    # A first dip that is too low to be heard shows by its neighbours.
    lowest = low - np.log(SECONDS[0])
    neighbours = _Neighbours(model, low, high)
    forms = dip_forms(1.0) if shapes is None else shapes
    referred = bool(np.any(~after)) and not moved
    trust = 1.0 if referred else UNREFERRED

    def belief(places: RealArray, step: float) -> RealArray:
        """Log-likelihood over none's, prior and roughness weighed in: (rough, places, shapes)."""
        # At the edge of what is heard few levels tell, and those on one side only.
        inside = np.clip((places - low) / EDGE, 0, 1)
        gained = model.likelihood(places, forms) * inside[:, None]
        gained = trust * (gained + neighbours.beside(places)[:, :, None])
        gained = gained + model.weight[:, None, None] - np.log(gained.shape[2])
        return gained + _log_prior(places, prior, step)[None, :, None]

    places = np.arange(lowest, high, COARSE)
    coarse = belief(places, COARSE)
    evidence = float(logsumexp(coarse))
    peak = places[int(np.argmax(logsumexp(coarse, axis=(0, 2))))]
    near = np.arange(max(peak - ABOUT, lowest), min(peak + ABOUT, high), FINE)
    finer = belief(near, FINE)
    # The second grid where it lies, the first beyond it.
    beyond = (places < near[0] - FINE / 2) | (places > near[-1] + FINE / 2)
    frequency = np.concatenate([places[beyond], near])
    logs = np.concatenate([logsumexp(coarse, axis=(0, 2))[beyond], logsumexp(finer, axis=(0, 2))])
    rising = np.argsort(frequency)
    chance = np.exp(logs - logsumexp(logs))[rising]
    frequency = frequency[rising]
    blur = np.exp(-0.5 * ((frequency[:, None] - frequency[None, :]) / PAST_WAYS) ** 2)
    widths = np.gradient(frequency)
    chance = widths * (blur / (widths @ blur) @ chance)
    chance /= chance.sum()
    best = np.unravel_index(int(np.argmax(finer)), finer.shape)
    shape = forms[best[2]]
    drop = model.drop(shape, near[best[1] : best[1] + 1])[:, 0]
    curve = np.arange(cells.log_frequency.min(), cells.log_frequency.max(), 0.02)
    return Notch(
        evidence,
        np.exp(frequency),
        chance,
        (float(np.exp(low)), float(np.exp(high))),
        model.common(curve, drop, int(best[0])),
        np.exp(curve),
        float(drop.max(initial=0.0)),
    )


class _Neighbours:
    """Higher dips of a branch, each found by itself.

    Dips so far apart share no level, so their likelihoods multiply.
    """

    def __init__(self, model: _Model, low: float, high: float) -> None:
        self.step = COARSE / 2
        self.grid = np.arange(low, high, self.step)
        self.gains: list[RealArray] = []
        for number in (1, 3):
            narrow = 1.1 * (1 + number * 1.85)
            gained = model.likelihood(self.grid, dip_forms(narrow))
            self.gains.append(logsumexp(gained, axis=2) - np.log(gained.shape[2]))

    def _about(self, gain: RealArray, middle: RealArray, leeway: float) -> RealArray:
        """Log of the mean likelihood within a leeway of the middles, (roughnesses, middles).

        Where a dip would lie beyond what is heard, it says nothing.
        """
        reach = max(round(leeway / self.step), 1)
        spread = np.full((len(gain), len(self.grid) + 4 * reach), 0.0)
        spread[:, 2 * reach : -2 * reach] = gain
        place = np.rint((middle - self.grid[0]) / self.step).astype(np.int64) + 2 * reach
        inside = (place >= reach) & (place < spread.shape[1] - reach)
        place = np.clip(place, reach, spread.shape[1] - reach - 1)
        window = spread[:, place[:, None] + np.arange(-reach, reach + 1)]
        return (logsumexp(window, axis=2) - np.log(2 * reach + 1)) * inside

    def beside(self, places: RealArray) -> RealArray:
        """Log-likelihood of the dips above first ones at places, (roughnesses, places)."""
        options: list[RealArray] = []
        for second in SECONDS:
            total = self._about(self.gains[0], places + np.log(second), 0.02)
            for number in range(2, DIPS):
                ratio = 1 + number * (second - 1)
                total = total + self._about(self.gains[1], places + np.log(ratio), LEEWAY)
            options.append(total)
        return logsumexp(np.array(options), axis=0) - np.log(len(SECONDS))


def _log_prior(places: RealArray, prior: Prior | None, step: float) -> RealArray:
    """Logarithm of the chance of each place of a grid; of all places it is 1."""
    if prior is None:
        span = max(places[-1] - places[0] + step, step)
        return np.full(len(places), np.log(step / max(span, 1.0)))
    off = places - np.log(prior.frequency)
    parts = [
        np.log(share * step / (spread * np.sqrt(2 * np.pi))) - 0.5 * np.square(off / spread)
        for share, spread in (
            (1 - OUTLIERS, prior.spread),
            (OUTLIERS, float(np.hypot(prior.spread, ASTRAY))),
        )
    ]
    return np.logaddexp(*parts)


def _inverse(factor: RealArray) -> RealArray:
    """Inverse of a matrix whose lower Cholesky factor is given."""
    lower, failed = dpotri(factor, lower=1)
    if failed:
        raise np.linalg.LinAlgError(f"no inverse: {failed}")
    lower = np.tril(lower)
    return lower + np.tril(lower, -1).T


class _Model:
    """The Gaussian process of one set of cells, for each roughness.

    Those after come last, by rising frequency: a dip takes from a stretch of them.
    """

    def __init__(
        self, cells: Cells, recording: IntArray, after: BoolArray, moved: bool, gain_known: bool
    ) -> None:
        self.cells = cells
        self.first = len(after) - int(np.count_nonzero(after))
        self.level = cells.level - cells.level.mean()
        self.factors = [
            cholesky(covariance, lower=True, check_finite=False)
            for covariance in _covariances(cells, recording, after, moved, gain_known)
        ]
        whites: list[RealArray] = [
            solve_triangular(factor, self.level, lower=True, check_finite=False)
            for factor in self.factors
        ]
        self.none: RealArray = np.array(
            [
                -0.5 * white @ white - np.sum(np.log(np.diag(factor)))
                for factor, white in zip(self.factors, whites, strict=True)
            ]
        )
        # Nothing drops before, so of what comes after the inverse given before is all it takes.
        last = slice(self.first, None)
        self.precisions = [_inverse(factor[last, last]) for factor in self.factors]
        self.pulls: list[RealArray] = [
            solve_triangular(factor[last, last], white[last], lower=True, trans=1)
            for factor, white in zip(self.factors, whites, strict=True)
        ]

    @property
    def weight(self) -> RealArray:
        """Log-probability of each roughness, were there no notch, (roughnesses,)."""
        return self.none - logsumexp(self.none)

    def drop(self, shape: Shape, places: RealArray, cells: slice | None = None) -> RealArray:
        """Drops of the cells after for resonances at places, (cells after, places), dB."""
        which = cells or slice(None)
        log_frequency = self.cells.log_frequency[self.first :][which]
        noise_share = self.cells.noise_share[self.first :][which]
        ratio = np.exp(log_frequency[:, None] - places[None, :])
        return heard_loss(shape, ratio, noise_share[:, None])

    def likelihood(self, places: RealArray, shapes: tuple[Shape, ...]) -> RealArray:
        """Log-likelihood over that of no notch, (roughnesses, places, shapes); places rise."""
        gained = np.empty((len(self.factors), len(places), len(shapes)))
        log_frequency = self.cells.log_frequency[self.first :]
        reach = max(ENDS / shape.narrowness for shape in shapes)
        for first in range(0, len(places), TOGETHER):
            some = places[first : first + TOGETHER]
            ends = some[[0, -1]] + np.log([max(1 - reach, 1e-9), 1 + reach])
            told = slice(*np.searchsorted(log_frequency, ends).tolist())
            drops = np.concatenate([self.drop(shape, some, told) for shape in shapes], axis=1)
            for place, (precision, pull) in enumerate(
                zip(self.precisions, self.pulls, strict=True)
            ):
                # A drop lowers the level: the residual is level + drop.
                bent = np.einsum("ij,ij->j", drops, precision[told, told] @ drops)
                gain = -(pull[told] @ drops) - 0.5 * bent
                gained[place, first : first + len(some)] = gain.reshape(len(shapes), -1).T
        return gained

    def common(self, curve: RealArray, drop: RealArray, roughness: int) -> RealArray:
        """Mean of the place's part over the logarithm of the frequency, dB."""
        level = self.level.copy()
        level[self.first :] += drop
        weights = np.asarray(cho_solve((self.factors[roughness], True), level), np.float64)
        part = np.zeros(len(curve))
        for (size, length), factor in zip(PLACE, (1, ROUGHNESSES[roughness]), strict=True):
            part += (factor * size) ** 2 * (
                matern(curve, self.cells.log_frequency, length) @ weights
            )
        return part
