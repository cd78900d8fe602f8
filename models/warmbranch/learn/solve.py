"""From what was kept of finished jobs to a shop: what is believed of the next one, on one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaincc

from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.draws import standard_normal
from warmbranch.belief.prediction import LEVELS
from warmbranch.belief.shop import USUAL, JobTraits, Ranges, Shop
from warmbranch.fit.shared import THERMOMETER
from warmbranch.learn.population import Jobs, Population, Seen
from warmbranch.learn.summary import NAMES, Summary, Tone

DRAWS = 1024
"""Through the parabolas of a job's tone."""

TOGETHER = 64
"""Jobs whose tones are worked out in one go, so that memory is bounded."""

APART = 0.01
"""Chance, over all jobs together, at which a job that fits the others would be called apart."""

CENTRES: FloatArray = np.array([USUAL[name].centre for name in NAMES])
SPREADS: FloatArray = np.array([USUAL[name].spread for name in NAMES])


@dataclass(frozen=True)
class SharedUnknown:
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

    @classmethod
    def nothing(cls) -> Apart:
        """Of a job that saw nothing."""
        return cls(1.0, False, "", 1.0)


@dataclass(frozen=True)
class Learned:
    """What jobs taught.

    Parameters
    ----------
    shop : Shop
    unknowns : tuple of SharedUnknown
    held_out : tuple, one entry a job, of HeldOut or None
        None where no warm tone was heard that counts.
    apart : tuple of Apart, one a job
    effective : float
        How many equally weighted sets of shares would tell as much.
    instruments : tuple of Instrument
        By their names.
    """

    shop: Shop
    unknowns: tuple[SharedUnknown, ...]
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
    others = sums.next_job_without()
    held_out: list[HeldOut | None] = [None] * len(jobs)
    apart = [Apart.nothing()] * len(jobs)
    for begin in range(0, len(jobs), TOGETHER):
        places = range(begin, min(begin + TOGETHER, len(jobs)))
        found = _held_out([jobs[ordered[i]] for i in places], [others[i] for i in places])
        for place, one in zip(places, found, strict=True):
            held_out[ordered[place]] = one
            apart[ordered[place]] = _apart(seen[place], *others[place], len(jobs))
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
        apart=tuple(apart),
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


def ranges_of(places: Sequence[JobTraits]) -> Ranges:
    """Least and most of each."""
    names = ("bore", "length", "gas_temperature", "mass_flow")
    every = np.array([[getattr(place, name) for name in names] for place in places])
    return Ranges(JobTraits(*every.min(axis=0).tolist()), JobTraits(*every.max(axis=0).tolist()))


def _unknowns(
    population: Population, next_covariance: FloatArray, counts: FloatArray
) -> tuple[SharedUnknown, ...]:
    mean, covariance = population.common_moments()
    spread = np.sqrt(np.diag(covariance))
    ahead = np.sqrt(np.diag(next_covariance))
    between = population.scatter(LEVELS)
    return tuple(
        SharedUnknown(
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


def _held_out(
    jobs: Sequence[Summary], others: Sequence[tuple[FloatArray, FloatArray]]
) -> list[HeldOut | None]:
    """By what all others say of the next job's unknowns, for each; None where no tone counts."""
    size = len(NAMES)
    sounding = [i for i in range(len(jobs)) if jobs[i].tone is not None]
    tones = [tone for job in jobs if (tone := job.tone) is not None]
    if not tones:
        return [None] * len(jobs)
    mean, covariance = _in_their_own_spreads(
        [jobs[i] for i in sounding],
        np.array([others[i][0][:size] for i in sounding]),
        np.array([others[i][1][:size, :size] for i in sounding]),
    )
    tuned = _tone_levels(tones, mean, covariance)
    untuned = _tone_levels(
        tones, np.zeros_like(mean), np.broadcast_to(np.eye(size), covariance.shape)
    )
    found: list[HeldOut | None] = [None] * len(jobs)
    for i, tone, *levels in zip(sounding, tones, tuned, untuned, strict=True):
        found[i] = HeldOut(float(np.exp(tone.heard)), *levels)
    return found


def _in_their_own_spreads(
    jobs: Sequence[Summary], mean: FloatArray, covariance: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Means (jobs, unknowns) and covariances over each job's own priors, from usual coordinates.

    What a job does not share keeps its prior there.
    """
    shared = np.array([job.shares for job in jobs], dtype=np.bool_)
    centre = np.where(shared, [job.centre for job in jobs], CENTRES)
    spread = np.where(shared, [job.spread for job in jobs], SPREADS)
    ratio = SPREADS / spread
    whole = covariance + np.array([job.more for job in jobs])[:, :, None] * np.eye(len(NAMES))
    whole = whole * ratio[:, :, None] * ratio[:, None]
    whole = np.where(shared[:, :, None] & shared[:, None], whole, np.eye(len(NAMES)))
    return np.where(shared, (CENTRES + SPREADS * mean - centre) / spread, 0.0), whole


def _tone_levels(tones: Sequence[Tone], mean: FloatArray, covariance: FloatArray) -> FloatArray:
    """Tones as they would be heard, (jobs, levels), Hz, from (jobs, unknowns) and covariances.

    A tone bends along unknowns that go together: in independent ones it hangs on each and on each
    two, so that the draws of all tones are one product of matrices.
    """
    size = len(NAMES)
    unit = standard_normal(DRAWS, size + 1, 3)
    a, b = np.tril_indices(size)
    root = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    every: list[FloatArray] = [np.array(column) for column in zip(*tones, strict=True)]
    _, uncertainty, middle, straight, curved, rest, shift = every
    middle = middle + shift + np.sum(mean * (straight + mean * curved), axis=1)
    slope = ((straight + 2 * mean * curved)[:, None] @ root)[:, 0]
    bend = root.transpose(0, 2, 1) @ (curved[:, :, None] * root)
    pairs = bend[:, a, b] * np.where(a == b, 1, 2)
    about = np.column_stack([slope, np.hypot(rest, uncertainty), pairs])
    drawn = np.column_stack([unit, unit[:, a] * unit[:, b]])
    logs = middle[:, None] + about @ drawn.T
    levels: FloatArray = np.quantile(logs, LEVELS, axis=1, method="hazen").T
    with np.errstate(over="ignore"):  # of numbers that no fit gives
        return np.exp(levels)


def _apart(job: Seen, mean: FloatArray, covariance: FloatArray, jobs: int) -> Apart:
    """By what all others say of the next job's unknowns."""
    if len(job.shown) == 0:
        return Apart.nothing()
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
