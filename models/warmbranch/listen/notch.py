"""Where a branch bites, and whether it is heard at all.

A notch stays at one frequency: every order dips as it crosses it. Levels of orders are a Gaussian
process (Rasmussen and Williams 2006): what an order does over the speed, what the place does over
frequency, what the recorder's gain does at a moment; a notch is a mean curve of known form. Its
likelihood is taken over all places and forms at once, and over several roughnesses of the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from warmbranch.base.batch import BoolArray, IntArray, RealArray
from warmbranch.listen.cells import Cells
from warmbranch.listen.process import CURVE, HeardLoss, LevelProcess
from warmbranch.listen.shapes import (
    DIPS,
    LEEWAY,
    SECONDS,
    Shape,
    dip_forms,
)

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
own: a cabin's dips are sharper and deeper than a Gaussian process has them."""

UNREFERRED_KNOWN = 0.3
"""The same where a case says where to look. It weighs whether a notch is heard, and not its place:
other dips of the cabin are then out of the way. With 0.4, 6.8 % of 544 cases where there was no
branch were taken for one (34 made-up recordings, seeds 20000 on, 16 places each), with 0.3 4.2 %;
of 17 branches 11 were heard either way."""

SURE_ODDS = 20.0
"""Odds at which a notch is said to be heard."""

OUTLIERS, ASTRAY = 0.1, 0.08
"""Chance that a branch is farther from where its case says than the case should be, and how far
then, a standard deviation of the logarithm: dimensions mistaken, not another place of the cabin."""


@dataclass(frozen=True)
class ExpectedNotch:
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
    loss : HeardLoss
    """

    log_odds: float
    frequency: RealArray
    chance: RealArray
    searched: tuple[float, float]
    common: RealArray
    common_frequency: RealArray
    depth: float
    loss: HeardLoss

    @property
    def heard(self) -> bool:
        """Whether a notch is said to be heard."""
        return bool(self.log_odds > np.log(SURE_ODDS))

    def quantile(self, share: float) -> float:
        """Resonance below which a share of the chance lies, Hz."""
        total = np.cumsum(self.chance) - self.chance / 2
        return float(np.exp(np.interp(share, total, np.log(self.frequency))))


def find_notch(
    cells: Cells,
    recording: IntArray,
    after: BoolArray,
    shapes: tuple[Shape, ...] | None,
    *,
    moved: bool = False,
    gain_known: bool = False,
    prior: ExpectedNotch | None = None,
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
    prior : ExpectedNotch, optional
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
    model = LevelProcess(cells.where(rising), recording[rising], after[rising], moved, gain_known)
    # A first dip that is too low to be heard shows by its neighbours.
    lowest = low - np.log(SECONDS[0])
    neighbours = _Neighbours(model, low, high)
    forms = dip_forms(1.0) if shapes is None else shapes
    referred = bool(np.any(~after)) and not moved
    unreferred = UNREFERRED if prior is None else UNREFERRED_KNOWN
    trust = 1.0 if referred else unreferred

    def belief(places: RealArray, step: float) -> tuple[RealArray, float]:
        """Of places and forms, (rough, places, shapes), and evidence; over none's, logarithms."""
        # At the edge of what is heard few levels tell, and those on one side only.
        inside = np.clip((places - low) / EDGE, 0, 1)
        gained = model.likelihood(places, forms) * inside[:, None]
        gained = gained + neighbours.beside(places)[:, :, None]
        before = model.weight[:, None, None] - np.log(gained.shape[2])
        before = before + _log_prior(places, prior, step)[None, :, None]
        whether = trust * gained + before
        return (whether if prior is None else gained + before), float(logsumexp(whether))

    places = np.arange(lowest, high, COARSE)
    coarse, evidence = belief(places, COARSE)
    peak = places[int(np.argmax(logsumexp(coarse, axis=(0, 2))))]
    near = np.arange(max(peak - ABOUT, lowest), min(peak + ABOUT, high), FINE)
    finer, _ = belief(near, FINE)
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
    curve = np.arange(cells.log_frequency.min(), cells.log_frequency.max(), CURVE)
    return Notch(
        evidence,
        np.exp(frequency),
        chance,
        (float(np.exp(low)), float(np.exp(high))),
        model.common(curve, drop, int(best[0])),
        np.exp(curve),
        float(drop.max(initial=0.0)),
        model.loss(int(best[0])),
    )


class _Neighbours:
    """Higher dips of a branch, each found by itself.

    Dips so far apart share no level, so their likelihoods multiply.
    """

    def __init__(self, model: LevelProcess, low: float, high: float) -> None:
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


def _log_prior(places: RealArray, prior: ExpectedNotch | None, step: float) -> RealArray:
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
