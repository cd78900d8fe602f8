"""From what was kept of finished jobs to a shop: what is believed of the next one, on one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import quantiles, standard_normal
from warmbranch.belief.prediction import LEVELS
from warmbranch.belief.shop import USUAL, Place, Ranges, Shop
from warmbranch.fit.shared import THERMOMETER
from warmbranch.learn.population import Jobs, Population, Seen
from warmbranch.learn.summary import NAMES, Summary, Tone

DRAWS = 2048
"""Through the parabolas of a job's tone."""

APART = 0.01
"""Chance, over all jobs together, at which a job that fits the others would be called apart."""

CENTRES: FloatArray = np.array([USUAL[name].centre for name in NAMES])
SPREADS: FloatArray = np.array([USUAL[name].spread for name in NAMES])


@dataclass(frozen=True)
class Unknown:
    """What all jobs say of one unknown, in its own coordinate.

    Parameters
    ----------
    name : str
        A key of ``USUAL``.
    common, common_spread : float
        What is common to all jobs, and how well it is known.
    between : (levels,) array
        Standard deviation between jobs, at ``LEVELS``.
    next_spread : float
        Standard deviation of the next job's.
    jobs : int
        That have it as a shared one.
    """

    name: str
    common: float
    common_spread: float
    between: FloatArray
    next_spread: float
    jobs: int


@dataclass(frozen=True)
class Instrument:
    """What all jobs say of one thermometer that they name.

    Parameters
    ----------
    name : str
        Of its scale error, as the fit calls it.
    scale, spread : float, dimensionless
        By what part of the °C it shows too much, and how well that is known.
    jobs : int
        That were read with it.
    """

    name: str
    scale: float
    spread: float
    jobs: int


@dataclass(frozen=True)
class HeldOut:
    """What all other jobs say of one job's tone as it was heard, and without any, at ``LEVELS``.

    Parameters
    ----------
    heard : float, Hz
    tuned, untuned : (levels,) array, Hz
        With the ear's error, as that is part of what was heard.
    """

    heard: float
    tuned: FloatArray
    untuned: FloatArray

    @property
    def within_50(self) -> bool:
        """Whether the half that the others hold likeliest has it."""
        return bool(self.tuned[1] <= self.heard <= self.tuned[3])

    @property
    def within_90(self) -> bool:
        """The same of nine tenths."""
        return bool(self.tuned[0] <= self.heard <= self.tuned[4])

    @property
    def width_ratio(self) -> float:
        """Width of the 90 % interval over that without other jobs."""
        tuned, untuned = (np.log(one[4] / one[0]) for one in (self.tuned, self.untuned))
        return float(tuned / untuned)


@dataclass(frozen=True)
class Apart:
    """How far one job lies from what all others say.

    Parameters
    ----------
    chance : float
        That a job of their kind lies so far.
    apart : bool
        Whether that is too unlikely, as many jobs as there are.
    unknown : str
        Where it differs most, a key of ``USUAL``; empty where it saw nothing.
    factor : float
        By what the coefficient differs there, as far as this job tells.
    """

    chance: float
    apart: bool
    unknown: str
    factor: float


@dataclass(frozen=True)
class Learned:
    """What jobs taught.

    Parameters
    ----------
    shop : Shop
    unknowns : tuple of Unknown
    held_out : tuple, one entry a job, of HeldOut or None
        None where no warm tone was heard that counts.
    apart : tuple of Apart, one a job
    effective : float
        How many equally weighted sets of shares would tell as much.
    instruments : tuple of Instrument
        By their names.
    """

    shop: Shop
    unknowns: tuple[Unknown, ...]
    held_out: tuple[HeldOut | None, ...]
    apart: tuple[Apart, ...]
    effective: float
    instruments: tuple[Instrument, ...]


def learn(jobs: Sequence[Summary]) -> Learned:
    """Learn from all jobs together.

    Parameters
    ----------
    jobs : sequence of Summary
        One or more. What was kept of earlier ones serves as it is: adding a job costs its own fit,
        and gives what all together give.

    Raises
    ------
    InputError
        Without a job, or for one that stands there twice.

    Valid for
    ---------
    Likelihoods that are near normal in the usual coordinates, in the few directions that a job
    sees. By coverage, in tests/benchmarks/shop.py.
    """
    _check([job.name for job in jobs])
    ordered = sorted(range(len(jobs)), key=lambda i: jobs[i].name)
    instruments = sorted({name for job in jobs for name in job.instruments})
    size = len(NAMES)
    seen = [jobs[i].seen(instruments) for i in ordered]
    sums = Jobs(seen, size, same=len(instruments))
    population = sums.population()
    counts = np.sum([job.shares for job in jobs], axis=0)
    known = np.flatnonzero(counts)
    mean, covariance = population.next_job()
    mean, covariance = mean[:size], covariance[:size, :size]
    held_out: list[HeldOut | None] = [None] * len(jobs)
    apart: list[Apart | None] = [None] * len(jobs)
    for place, i in enumerate(ordered):
        believed = sums.without(place).next_job()
        held_out[i] = _held_out(jobs[i], *believed)
        apart[i] = _apart(seen[place], *believed, len(jobs))
    return Learned(
        shop=Shop(
            Calibration(
                tuple(NAMES[k] for k in known),
                (CENTRES + SPREADS * mean)[known],
                (covariance * np.outer(SPREADS, SPREADS))[np.ix_(known, known)],
            ),
            ranges_of([job.place for job in jobs]),
        ),
        unknowns=_unknowns(population, covariance, counts),
        held_out=tuple(held_out),
        apart=tuple(one for one in apart if one is not None),
        effective=population.effective,
        instruments=_instruments(population, instruments, jobs),
    )


def _check(names: Sequence[str]) -> None:
    if not names:
        raise InputError(
            "Nothing can be learned from no job.",
            field="jobs",
            value=0,
            unit="1",
            remedy="Give one finished job at least; three or more teach something.",
        )
    for place, name in enumerate(names):
        if name in names[:place]:
            raise InputError(
                f'The job "{name}" stands there twice, and would count twice.',
                field=f"jobs[{place}].name",
                value=name,
                unit="1",
                remedy="Leave it out once, or give the other one a name of its own.",
            )


def ranges_of(places: Sequence[Place]) -> Ranges:
    """Least and most of each."""
    names = ("bore", "length", "gas_temperature", "mass_flow")
    every = np.array([[getattr(place, name) for name in names] for place in places])
    return Ranges(Place(*every.min(axis=0).tolist()), Place(*every.max(axis=0).tolist()))


def _unknowns(
    population: Population, next_covariance: FloatArray, counts: FloatArray
) -> tuple[Unknown, ...]:
    mean, covariance = population.common_moments()
    spread = np.sqrt(np.diag(covariance))
    ahead = np.sqrt(np.diag(next_covariance))
    between = population.scatter(LEVELS)
    return tuple(
        Unknown(
            NAMES[k],
            float(CENTRES[k] + SPREADS[k] * mean[k]),
            float(SPREADS[k] * spread[k]),
            SPREADS[k] * between[:, k],
            float(SPREADS[k] * ahead[k]),
            int(counts[k]),
        )
        for k in np.flatnonzero(counts)
    )


def _instruments(
    population: Population, names: Sequence[str], jobs: Sequence[Summary]
) -> tuple[Instrument, ...]:
    mean, covariance = population.common_moments()
    spread = np.sqrt(np.diag(covariance))
    return tuple(
        Instrument(
            name,
            THERMOMETER * float(mean[k]),
            THERMOMETER * float(spread[k]),
            sum(name in job.instruments for job in jobs),
        )
        for k, name in enumerate(names, start=len(NAMES))
    )


def _held_out(job: Summary, mean: FloatArray, covariance: FloatArray) -> HeldOut | None:
    """By what all others say of the next job's unknowns."""
    if job.tone is None:
        return None
    size = len(NAMES)
    mean, root = _own_moments(job, mean[:size], covariance[:size, :size])
    return HeldOut(
        float(np.exp(job.tone.heard)),
        _tone_levels(job.tone, mean, root),
        _tone_levels(job.tone, np.zeros(size), np.eye(size)),
    )


def _own_moments(
    job: Summary, mean: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and a root of the covariance over the job's own priors, from the usual coordinates.

    What the job does not share keeps its prior there.
    """
    shared = job.shares
    centre = np.where(shared, job.centre, CENTRES)
    spread = np.where(shared, job.spread, SPREADS)
    whole = covariance + np.diag(job.seen().more)
    whole = whole * np.outer(SPREADS / spread, SPREADS / spread)
    whole = np.where(np.outer(shared, shared), whole, np.eye(len(NAMES)))
    own = np.where(shared, (CENTRES + SPREADS * mean - centre) / spread, 0.0)
    return own, np.asarray(np.linalg.cholesky(whole), dtype=np.float64)


def _tone_levels(tone: Tone, mean: FloatArray, root: FloatArray) -> FloatArray:
    """The tone as it would be heard, at ``LEVELS``, Hz."""
    unit = standard_normal(DRAWS, len(NAMES) + 1, 3)
    z = mean + unit[:, :-1] @ root.T
    logs = tone.middle + tone.rest_shift + z @ tone.straight + z**2 @ tone.curved
    logs = logs + np.hypot(tone.rest, tone.uncertainty) * unit[:, -1]
    with np.errstate(over="ignore"):  # of numbers that no fit gives
        return np.exp(quantiles(logs, np.full(DRAWS, 1 / DRAWS), LEVELS))


def _apart(job: Seen, mean: FloatArray, covariance: FloatArray, jobs: int) -> Apart:
    """By what all others say of the next job's unknowns."""
    if len(job.shown) == 0:
        return Apart(1.0, False, "", 1.0)
    covariance = covariance + np.diag(job.more)
    misfit = job.shown - job.of.T @ mean
    whole = np.eye(len(misfit)) + job.of.T @ covariance @ job.of
    weighed = np.linalg.solve(whole, misfit)
    # Of a squared distance of so many unit normal numbers to be larger.
    chance = float(gammaincc(len(misfit) / 2, float(misfit @ weighed) / 2))
    # What this job adds to what the others say of it, over how well they know it.
    shift: FloatArray = covariance @ job.of @ weighed
    moved = np.abs(shift) / np.sqrt(np.diag(covariance))
    most = int(np.argmax(moved[: len(NAMES)]))
    return Apart(
        chance, chance < APART / jobs, NAMES[most], float(np.exp(SPREADS[most] * shift[most]))
    )
