"""One finished job, fitted once, and what is kept of it: what it saw of the unknowns that jobs
share, and what it makes of its own tone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from warmbranch.base.batch import FloatArray
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.parabolas import AXIS, COARSE_NODES
from warmbranch.belief.shop import USUAL, JobTraits, is_usual, of_the_gas
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import with_unknowns
from warmbranch.case.case import Case
from warmbranch.fit.ensemble import Ensemble
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.shared import EAR, named_scale
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.taught import FitOutcome, Taught, taught
from warmbranch.fit.weighing import moments
from warmbranch.learn.population import Seen
from warmbranch.steady.solve import solve

LEAST_SEEN = 0.1
"""Precision over the prior's, along a direction, that Laplace's approximation must find for the
draws to be asked about it: elsewhere their noise, some tenth of a variance, would pass for
knowledge, and thirty jobs would add it up."""

FORM = 0.12
"""Of a prior's spread: what no job tells better along any direction, as its likelihood is taken to
be normal and is not. With it, the sharpest readings of 960 invented jobs are likeliest; without,
they are 1.14 times as far from their truths as unit error makes. Where two unknowns alone are open
none is needed. By ``tests/benchmarks/unit_error.py``."""

NAMES = tuple(USUAL)
"""Unknowns that jobs share, in the order of all arrays here."""


@dataclass(frozen=True)
class MeasuredBranch:
    """The branch of one finished job, as a fit takes it.

    Parameters
    ----------
    name : str
    case : Case
        One design.
    readings : Readings
    heard : Heard
    spreads : Spreads
    warming : Warming, optional
    warm : bool
        Whether what has no time is known to be of the settled branch.
    as_read : Case, optional
    order, order_step : float
        As in :func:`warmbranch.fit.solve.fit`.
    """

    name: str
    case: Case
    readings: Readings
    heard: Heard
    spreads: Spreads
    warming: Warming | None = None
    warm: bool = False
    order: float | None = None
    order_step: float = 0.5
    as_read: Case | None = None


class Tone(NamedTuple):
    """What was heard of a job, and what its tone hangs on, to second order along each unknown.

    Parameters
    ----------
    heard : float
        ln of the tone heard, Hz.
    uncertainty : float
        Standard deviation of it, the ear's own error with it.
    middle : float
        ln of the tone with every unknown at the middle of its prior.
    straight, curved : (unknowns,) array
        Of each of ``NAMES``, over the job's own prior spread.
    rest : float
        Standard deviation by what is of this job alone.
    rest_shift : float
        By how much that moves the mean.
    """

    heard: float
    uncertainty: float
    middle: float
    straight: FloatArray
    curved: FloatArray
    rest: float
    rest_shift: float


@dataclass(frozen=True)
class Summary:
    """What is kept of a job.

    Parameters
    ----------
    name : str
    place : JobTraits
    outcome : FitOutcome
        Of its own fit.
    centre, spread : (unknowns,) array
        Of the job's own priors of ``NAMES``, less what its gas adds; NaN for what it does not
        share.
    of : (unknowns, readings) array
    shown : (readings,) array
        See :class:`Seen`.
    tone : Tone or None
        None where no warm tone was heard that counts.
    instruments : tuple of str
        Scale errors of thermometers with a name, as the fit calls them.
    of_instruments : (instruments, readings) array
        How each reading goes with each, over ``THERMOMETER``.
    """

    name: str
    place: JobTraits
    outcome: FitOutcome
    centre: FloatArray
    spread: FloatArray
    of: FloatArray
    shown: FloatArray
    tone: Tone | None
    instruments: tuple[str, ...] = ()
    of_instruments: FloatArray = field(default_factory=lambda: np.empty((0, 0)))

    @property
    def shares(self) -> FloatArray:
        """Which of ``NAMES`` the job has as other jobs have them, (unknowns,) of bool."""
        return ~np.isnan(self.spread)

    @property
    def more(self) -> FloatArray:
        """What this job differs by beyond others, as a variance over the usual one, (unknowns,)."""
        usual = np.array([USUAL[name].spread for name in NAMES])
        return np.where(self.shares, np.maximum((self.spread / usual) ** 2 - 1, 0.0), 0.0)

    def seen(self, instruments: Sequence[str] = ()) -> Seen:
        """For :class:`Jobs`, with what is told of some instruments after ``NAMES``."""
        of = np.zeros((len(NAMES) + len(instruments), len(self.shown)))
        of[: len(NAMES)] = self.of
        for name, row in zip(self.instruments, self.of_instruments, strict=True):
            if name in instruments:
                of[len(NAMES) + instruments.index(name)] = row
        return Seen(of, self.shown, np.concatenate([self.more, np.zeros(len(instruments))]))


def summary_of(job: MeasuredBranch) -> Summary:
    """Fit a job by itself, from the model's own priors, and keep what others can learn from.

    Raises
    ------
    InputError
        For readings that cannot be.
    NotConvergedError
        If the model fails.
    """
    found = taught(
        job.case,
        job.readings,
        job.heard,
        spreads=job.spreads,
        warming=job.warming,
        warm=job.warm,
        order=job.order,
        order_step=job.order_step,
        as_read=job.as_read,
    )
    prior = Calibration.prior(job.case, job.spreads)
    centre, spread = np.full(len(NAMES), np.nan), np.full(len(NAMES), np.nan)
    own = [i for i in range(len(prior.names)) if is_usual(prior, i)]
    at = [NAMES.index(prior.names[i]) for i in own]
    shared = prior.mean - of_the_gas(prior.names, job.spreads)
    centre[at], spread[at] = shared[own], prior.spread[own]
    of, shown = np.zeros((len(NAMES), 0)), np.zeros(0)
    errors = found.problem.shared.names
    scales = [i for i, name in enumerate(errors) if named_scale(name)]
    of_instruments = np.zeros((len(scales), 0))
    if found.after.white.shape[1] > 0:
        directions, shown = _seen(found, own, scales)
        directions, of_instruments = np.split(directions, [len(own)])
        middle = np.array([USUAL[name].centre for name in NAMES])[at]
        usual = np.array([USUAL[name].spread for name in NAMES])[at]
        # From the job's own white coordinates to the usual ones.
        directions = directions * (usual / spread[at])[:, None]
        shown = shown + directions.T @ ((centre[at] - middle) / usual)
        of = np.zeros((len(NAMES), len(shown)))
        of[at] = directions
    return Summary(
        name=job.name,
        place=JobTraits.of(job.case),
        outcome=found.outcome,
        centre=centre,
        spread=spread,
        of=of,
        shown=shown,
        tone=_tone(job, prior, found),
        instruments=tuple(errors[i] for i in scales),
        of_instruments=of_instruments,
    )


def _seen(found: Taught, own: list[int], scales: list[int]) -> tuple[FloatArray, FloatArray]:
    """Readings of unit error, (own + scales, readings) and (readings,), for the likelihood.

    Laplace's approximation tells which directions were seen at all; the draws, how well. The prior
    is divided out of both: what is left is the job's own likelihood.
    """
    every = np.linalg.inv(found.mode.summit.precision)
    at = [*own, *(len(found.problem) + i for i in scales)]
    block: FloatArray = np.asarray(every, dtype=np.float64)[np.ix_(at, at)]
    seen, axes = np.linalg.eigh(np.linalg.inv(block) - np.eye(len(at)))
    axes = axes[:, seen > LEAST_SEEN]
    mean, spread = _moments(found.after, own, scales)
    variances, turned = np.linalg.eigh(axes.T @ spread @ axes)
    axes = axes @ turned
    # By the draws some may be no better known than before: nothing was learned there.
    keep = 1 / variances - 1 > LEAST_SEEN
    axes, variances = axes[:, keep], variances[keep]
    precision = 1 / variances - 1
    root = np.sqrt(precision)
    shown = axes.T @ mean / variances / root
    sure = 1 / np.sqrt(1 + FORM**2 * precision)
    return axes * root * sure, shown * sure


def _moments(after: Ensemble, own: list[int], scales: list[int]) -> tuple[FloatArray, FloatArray]:
    """Mean and covariance of some unknowns, and of some shared errors with them."""
    mean, spread = after.moments()
    mean, spread = mean[own], spread[np.ix_(own, own)]
    if not scales:
        return mean, spread
    errors, weights = after.shared.draws[:, :, scales], after.shared.weights
    middle = np.einsum("ij,ijk->ik", weights, errors)
    every, _ = moments(middle, after.weights)
    squares = np.einsum("i,ij,ijk,ijl->kl", after.weights, weights, errors, errors, optimize=True)
    across = (after.white[:, own] - mean).T @ (after.weights[:, None] * (middle - every))
    whole = np.block([[spread, across], [across.T, squares - np.outer(every, every)]])
    return np.concatenate([mean, every]), whole


def _tone(job: MeasuredBranch, prior: Calibration, found: Taught) -> Tone | None:
    """The first warm tone that counts, and what the model makes of that build."""
    heard = job.heard
    counts = [i for i in range(len(heard)) if np.isnan(heard.time[i]) and found.tones[i] is None]
    if not counts:
        return None
    first = counts[0]
    length = heard.length[[first]]
    case = job.case.changed(branch=job.case.branch.with_length(length))
    size = len(prior.names)
    aside = AXIS * np.concatenate([np.zeros((1, size)), np.eye(size), -np.eye(size)])
    designs = with_unknowns(case, prior.names, prior.mean + aside * prior.spread)
    answer = solve(designs, nodes=COARSE_NODES, modes=1)
    tones = answer.resonance[:, 0]
    if np.isnan(tones[0]):
        return None
    # Where losses leave no resonance, the transit time still tells which way it would move.
    by_time: FloatArray = answer.transit_time / answer.transit_time[0]
    moved: FloatArray = np.log(np.where(np.isnan(tones), by_time, tones / tones[0]))
    up, down = moved[1 : 1 + size], moved[1 + size :]
    straight, curved = (up - down) / (2 * AXIS), (up + down) / (2 * AXIS**2)
    shared = np.array([is_usual(prior, i) for i in range(size)], dtype=np.bool_)
    at = [NAMES.index(prior.names[i]) for i in np.flatnonzero(shared)]
    by_name = np.zeros((2, len(NAMES)))
    by_name[:, at] = straight[shared], curved[shared]
    # Of a normal z, a z + b z² has the mean b and the variance a² + 2 b².
    alone = np.sum(straight[~shared] ** 2 + 2 * curved[~shared] ** 2)
    return Tone(
        heard=float(np.log(heard.frequency[first])),
        uncertainty=float(np.hypot(heard.relative[first], EAR)),
        middle=float(np.log(tones[0])),
        straight=by_name[0],
        curved=by_name[1],
        rest=float(np.sqrt(alone)),
        rest_shift=float(np.sum(curved[~shared])),
    )
