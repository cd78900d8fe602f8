"""The length whose first resonance is a wanted tone.

The temperature profile changes with the length, so every step solves the whole model. Lengths are
those of the centre-line; they are changed at the cap, where a saw or a longer last piece would.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from warmbranch.base.batch import Batched, FloatArray
from warmbranch.base.errors import NotConvergedError
from warmbranch.case.case import Case
from warmbranch.case.geometry import SHORTEST_IN_BORES
from warmbranch.heat.grid import DEFAULT_NODES
from warmbranch.sound import acoustics
from warmbranch.sound.resonance import one_temperature_estimate
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

LONGEST = 6.0
"""m. Longest branch that the model admits."""

FREQUENCY_TOLERANCE = 1e-7
"""Relative distance from the wanted tone at which a length is accepted: ten times closer than the
millionth that is promised, as the resonance itself is known to 1e-8."""

FIRST_GUESS = 0.82
"""First length tried, over the one-temperature length: hot branches end up at 0.7 to 0.95 of it."""

MOST_LENGTH_STEPS = 60
"""Four are the rule. Where the tone falls as a cliff does, each halves what is left."""

LONGEST_STEP = 0.7
"""In the logarithm of the length; keeps a bad first slope from leaving the range at once."""

FAIR_SLOPES = (-3.0, -0.3)
"""Of ln f against ln L. A quarter wave has −1, a hot mouth and a cold cap make it steeper."""


class ToneOutcome(IntEnum):
    """How the search for a length ended."""

    FOUND = 0
    TOO_LOW = 1
    """The tone is lower than that of the longest admissible branch."""
    TOO_HIGH = 2
    """The tone is higher than that of the shortest admissible branch."""
    OVERDAMPED = 3
    """Losses leave a branch of about this length no resonance, or take its first one: the next that
    is left is higher."""


@dataclass(frozen=True)
class Sized(Batched):
    """Lengths for wanted tones, and the model's whole answer at them.

    Parameters
    ----------
    frequency : (designs,) array, Hz
        Wanted first resonance.
    length : (designs,) array, m
        Centre-line length; at a bound of the range where the tone cannot be had.
    slope : (designs,) array, dimensionless
        ``d ln f / d ln L`` there.
    outcome : (designs,) array of ToneOutcome
    solves : (designs,) array
        Solutions of the whole model spent.
    answer : Answer
        At ``length``.
    """

    frequency: FloatArray
    length: FloatArray
    slope: FloatArray
    outcome: FloatArray
    solves: FloatArray
    answer: Answer

    @property
    def frequency_per_length(self) -> FloatArray:
        """Change of the first resonance with the length, (designs,), Hz/m; negative."""
        return self.slope * self.answer.resonance[:, 0] / self.length


def with_length(case: Case, length: FloatArray) -> Case:
    """The same cases with branches of other centre-line lengths, (designs,), m."""
    return replace(case, branch=case.branch.with_length(length))


def bounds(case: Case) -> tuple[FloatArray, FloatArray]:
    """Shortest and longest admissible length of each design, m."""
    # A hair above three bores: rounding must not put a branch below its own bound.
    shortest = SHORTEST_IN_BORES * case.branch.bore * (1 + 1e-9)
    return shortest, np.full(len(case), LONGEST)


def reach(case: Case) -> tuple[float, float]:
    """First resonances of the longest and of the shortest admissible branch of a design, Hz.

    NaN where losses leave none.
    """
    low, high = bounds(case)
    ends = solve(with_length(case.repeat(2), np.concatenate([high, low])))
    return float(ends.resonance[0, 0]), float(ends.resonance[1, 0])


def one_temperature_length(frequency: FloatArray, gas_temperature: FloatArray) -> FloatArray:
    """``L = c/(4f)``, m, with c of dry air at the main gas temperature: today's habit.

    Check
    -----
    Common practice, no source: 100 Hz in air of 20 °C, 0.858 m.

    >>> one_temperature_length(np.array([100.0]), np.array([293.15])).round(3)
    array([0.858])
    """
    # Length and frequency change places in c/4.
    return one_temperature_estimate(frequency, gas_temperature)


def length_for(case: Case, frequency: FloatArray, *, nodes: int = DEFAULT_NODES) -> Sized:
    """Find the lengths whose first resonances are wanted tones.

    Parameters
    ----------
    case : Case
        Of any length: the answer does not depend on it, but for bends beyond the cap, which are
        cut off.
    frequency : (designs,) array, Hz
    nodes : int
        Of the grid along the branch.

    Returns
    -------
    Sized

    Valid for
    ---------
    Lengths from three bores to ``LONGEST``; outside, ``outcome`` says which way.

    Raises
    ------
    NotConvergedError
        If ``MOST_LENGTH_STEPS`` do not suffice, or the model itself does not converge.

    Check
    -----
    Exact: the round trip through :func:`warmbranch.steady.solve.solve`.

    Notes
    -----
    Secant steps in ln f against ln L, which is almost a straight line. The first slope is that of
    a cap moved through an unchanged profile; later ones are secants, turned by as much as that
    slope turned between the two points. Three solutions of the model mostly do.
    """
    low, high = bounds(case)
    hot = case.main_pipe.gas_temperature
    length = np.clip(FIRST_GUESS * one_temperature_length(frequency, hot), low, high)
    search = _Search(np.log(length), np.log(low), np.log(high))
    open_ = np.arange(len(case))
    found: list[tuple[NDArray[np.intp], Sized]] = []
    part = case
    for step in range(1, MOST_LENGTH_STEPS + 1):
        length = np.exp(search.x)
        answer = solve(with_length(part, length), nodes=nodes)
        # Where there is no resonance, the transit time still tells which way to go.
        overdamped = np.isnan(answer.resonance[:, 0])
        offset = np.log(answer.tone / frequency[open_])
        ideal = frozen_slope(answer, answer.tone)
        stuck = search.advance(offset, ideal)
        jumps = search.closed & (np.abs(offset) >= FREQUENCY_TOLERANCE)
        overdamped |= jumps
        done = (np.abs(offset) < FREQUENCY_TOLERANCE) | stuck | jumps
        if np.any(done):
            reached = np.where(offset < 0, ToneOutcome.TOO_HIGH, ToneOutcome.TOO_LOW)
            outcome = np.where(stuck, reached, ToneOutcome.FOUND)
            here = Sized(
                frequency=frequency[open_],
                length=length,
                slope=search.slope,
                outcome=np.where(overdamped, ToneOutcome.OVERDAMPED, outcome).astype(np.float64),
                solves=np.full(len(part), float(step)),
                answer=answer,
            )
            if np.all(done) and not found:
                return here
            found.append((open_[done], here.take(done)))
            keep = ~done
            part, open_, search = part.take(keep), open_[keep], search.take(keep)
            if len(open_) == 0:
                order = np.argsort(np.concatenate([index for index, _ in found]))
                return Sized.concatenate([sized for _, sized in found]).take(order)
    raise NotConvergedError(
        "The search for a length did not converge.",
        designs=tuple(int(i) for i in open_),
        residual=float(np.max(np.abs(search.offset))),
        iterations=MOST_LENGTH_STEPS,
    )


class _Search:
    """Where each design's search stands: ln L now and before, with what was found there."""

    def __init__(self, x: FloatArray, low: FloatArray, high: FloatArray) -> None:
        self.x, self.low, self.high = x, low, high
        self.last = np.full_like(x, np.nan)
        self.offset = np.full_like(x, np.nan)
        self.ideal = np.full_like(x, np.nan)
        self.slope = np.full_like(x, np.nan)
        self.too_short, self.too_long = np.full_like(x, -np.inf), np.full_like(x, np.inf)
        self.width = np.full_like(x, np.inf)

    @property
    def closed(self) -> NDArray[np.bool_]:
        """Where no length is left between too short and too long: the tone jumps there."""
        return self.too_long - self.too_short < FREQUENCY_TOLERANCE / 4

    def take(self, keep: NDArray[np.bool_]) -> _Search:
        rest = _Search(self.x[keep], self.low[keep], self.high[keep])
        for name in ("last", "offset", "ideal", "slope", "too_short", "too_long", "width"):
            setattr(rest, name, getattr(self, name)[keep])
        return rest

    def advance(self, offset: FloatArray, ideal: FloatArray) -> NDArray[np.bool_]:
        """Take in ln(f/wanted) here and step on; True where the step leads out of the range."""
        with np.errstate(divide="ignore", invalid="ignore"):
            secant = (offset - self.offset) / (self.x - self.last)
            turned = secant * ideal / ((ideal + self.ideal) / 2)
        fair = (turned > FAIR_SLOPES[0]) & (turned < FAIR_SLOPES[1])
        self.slope = np.where(fair, turned, np.clip(ideal, *FAIR_SLOPES))
        slow = np.abs(offset) > np.abs(self.offset) / 2
        self.last, self.offset, self.ideal = self.x, offset, ideal
        step = np.clip(-offset / self.slope, -LONGEST_STEP, LONGEST_STEP)
        wanted = np.clip(self.last + step, self.low, self.high)
        self.x = self._between(wanted, secant, fair, slow)
        return (self.x == self.last) & (np.abs(offset) >= FREQUENCY_TOLERANCE)

    def _between(
        self,
        wanted: FloatArray,
        secant: FloatArray,
        fair: NDArray[np.bool_],
        slow: NDArray[np.bool_],
    ) -> FloatArray:
        """Where to step, kept between a length that is too short and one that is too long.

        Behind a large step of the bore the tone falls many times as steeply as any slope that is
        fair: the plain secant, or halfway, leads on. Halfway, too, where neither the offset nor
        what lies between has been halved: at a cliff, secants take turns on either side.
        """
        here = self.last
        self.too_short = np.where(self.offset > 0, np.maximum(self.too_short, here), self.too_short)
        self.too_long = np.where(self.offset < 0, np.minimum(self.too_long, here), self.too_long)

        def within(x: FloatArray) -> NDArray[np.bool_]:
            return (x > self.too_short) & (x < self.too_long)

        both = np.isfinite(self.too_short) & np.isfinite(self.too_long)
        with np.errstate(divide="ignore", invalid="ignore"):
            plain, halfway = here - self.offset / secant, (self.too_short + self.too_long) / 2
            width = self.too_long - self.too_short
            stalls = slow & (width > self.width / 2)
        self.width = width
        led = np.where(within(plain) & ~stalls, plain, halfway)
        return np.where(both & ~(fair & within(wanted) & ~stalls), led, wanted)


def frozen_slope(answer: Answer, frequency: FloatArray) -> FloatArray:
    r"""``d ln f / d ln L`` for a cap that moves through a profile that does not change.

    .. math:: \frac{d\ln f}{d\ln L} = -\frac{L}{2}\,
              \frac{p_{cap}^2\,/\,(\gamma P_0)}{\int p^2 / (\gamma P_0)\, dx}

    Parameters
    ----------
    answer : Answer
    frequency : (designs,) array, Hz
        Resonances.

    Returns
    -------
    (designs,) array, dimensionless

    Valid for
    ---------
    A first-order perturbation; the true slope differs by a few percent, as the profile does
    change.

    Check
    -----
    Exact: −1 for a uniform tube without mouth correction. TONE.

    Source
    ------
    Rayleigh's principle.
    """
    duct = answer.duct
    pressure, _ = acoustics.standing_wave(duct, frequency)
    squared = np.square(np.abs(pressure))
    middle = np.square(np.abs(pressure[:, 1:] + pressure[:, :-1]) / 2)
    within = (squared[:, 1:] + squared[:, :-1] + 4 * middle) / 6
    compliance = np.sum(within * duct.cell_length / duct.bulk_modulus, axis=1)
    at_cap = squared[:, -1] / duct.bulk_modulus[:, -1]
    return -answer.length * at_cap / (2 * compliance)
