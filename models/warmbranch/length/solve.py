"""From what is wanted to lengths, on one page: right length, other tubes, build length, cuts."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from warmbranch.base import tally
from warmbranch.base.batch import FloatArray
from warmbranch.base.errors import OutOfReachError
from warmbranch.belief.calibration import Calibration
from warmbranch.case.case import Case
from warmbranch.length.bandwidth import LossBand, notch
from warmbranch.length.build_long import (
    CHANCE_TOO_SHORT,
    RightLengths,
    TrimPlan,
    trim_steps,
    uncertain_lengths,
)
from warmbranch.length.compromise import Aim, Compromise, Tones, best_length
from warmbranch.length.length_for_tone import (
    LONGEST,
    Sized,
    ToneOutcome,
    frozen_slope,
    length_for,
    reach,
)
from warmbranch.length.stock import StockTube, of_stock_tubes
from warmbranch.steady.answer import Answer

TAPE = 1e-4
"""m. Lengths to build are told to a tenth of a millimetre, rounded up."""

SIZED = 0.6
"""Share of the work done once the length is found; measured."""


@dataclass(frozen=True)
class Wanted:
    """What is to be quietened at each operating point.

    Parameters
    ----------
    tones : Tones
    weight : (points,) array, dimensionless
        How much each point counts.
    aim : Aim
        What is made least where no length meets all.
    """

    tones: Tones
    weight: FloatArray
    aim: Aim = Aim.MEAN

    @property
    def main(self) -> int:
        """The point that counts most: the first of those of the greatest weight."""
        return int(np.argmax(self.weight))

    @property
    def is_one_tone(self) -> bool:
        """Whether there is one point and one tone, so that the length can be met exactly."""
        return self.tones.frequency.shape == (1, 1)


@dataclass(frozen=True)
class Building:
    """How the branch is built and cut.

    Parameters
    ----------
    chance_too_short : float
        Chance of a branch built too short that is borne, ``0 < chance < 1``.
    allowance : float, m
        For what welds and cap take.
    trim_step : float, m
        Between the rows of the table of cuts.
    """

    chance_too_short: float = CHANCE_TOO_SHORT
    allowance: float = 0.0
    trim_step: float = 5e-3


@dataclass(frozen=True)
class Choice:
    """One choice of tube: None for the tube as given, its right length and its notch there."""

    tube: StockTube | None
    sized: Sized
    notch: LossBand


@dataclass(frozen=True)
class Lengths:
    """The right length and what hangs on it.

    Parameters
    ----------
    sized : Sized
        At the operating point that counts most, one design.
    answer : Answer
        At the right length, one design an operating point.
    compromise : Compromise or None
        None where one tone at one point was met exactly.
    choices : tuple of Choice
        The tube as given, then its stock neighbours.
    right : RightLengths
        What the right length may be, as far as the coefficients are known.
    build : float, m
        Length to build, allowance included.
    trim : TrimPlan
        What each cut from there gives.
    """

    sized: Sized
    answer: Answer
    compromise: Compromise | None
    choices: tuple[Choice, ...]
    right: RightLengths
    build: float
    trim: TrimPlan

    @property
    def length(self) -> float:
        """The right length, m."""
        return float(self.sized.length[0])

    @property
    def tone(self) -> float:
        """First resonance at the operating point that counts most, Hz."""
        return float(self.sized.frequency[0])


def solve(
    case: Case,
    wanted: Wanted,
    *,
    given: Case,
    believed: Callable[[float], Calibration],
    building: Building,
    stock: bool = False,
) -> Lengths:
    """How long the branch must be, how long to build it, and how to cut it.

    Parameters
    ----------
    case : Case
        One design an operating point; the branch's own length does not matter.
    wanted : Wanted
    given : Case
        The operating point that counts most, one design, as the user gives it: not yet
        :meth:`Calibration.applied_to`.
    believed : callable
        From a length, m, to what is believed of the unknowns of a branch that long: a prior, or
        what a fit learned.
    building : Building
    stock : bool
        Whether to work out the next stock tubes, too.

    Returns
    -------
    Lengths

    Raises
    ------
    OutOfReachError
        No admissible length of this tube has the tone.
    NotConvergedError
    """
    if wanted.is_one_tone:
        sized, choices = _met(case, wanted.tones.frequency[:, 0], stock)
        answer, compromise = sized.answer, None
    else:
        compromise = best_length(case, wanted.tones, wanted.weight, wanted.aim)
        answer = compromise.answer
        sized, choices = _bargained(compromise, wanted.main, stock)
    tally.reached(SIZED)
    right = uncertain_lengths(sized, given, believed(float(sized.length[0])))
    likely = right.build(building.chance_too_short)
    longest = max(min(likely, LONGEST), float(sized.length[0]))
    # Rounded up, so that what is printed is no shorter than what was meant.
    build = math.ceil((longest + building.allowance) / TAPE - 1e-6) * TAPE
    trim = trim_steps(sized, build, building.trim_step)
    return Lengths(sized, answer, compromise, choices, right, build, trim)


def _met(case: Case, tone: FloatArray, stock: bool) -> tuple[Sized, tuple[Choice, ...]]:
    """One tone at one point: the length meets it, and the neighbouring tubes' with it."""
    others = of_stock_tubes(case) if stock else []
    batch = Case.concatenate([case, *(other for _, other in others)]) if others else case
    sized = length_for(batch, np.full(len(batch), tone[0]))
    if sized.outcome[0] == ToneOutcome.OVERDAMPED:
        raise OutOfReachError("Losses take this tone.", reach=(math.nan, math.nan), point=0)
    if sized.outcome[0] != ToneOutcome.FOUND:
        raise OutOfReachError("No admissible length has this tone.", reach=reach(case), point=0)
    return sized.take(slice(0, 1)), _choices([None, *(tube for tube, _ in others)], sized)


def _bargained(best: Compromise, main: int, stock: bool) -> tuple[Sized, tuple[Choice, ...]]:
    """The length that leaves the least over all points and tones, as if it were sought for one."""
    answer = best.answer.take(slice(main, main + 1))
    tone = answer.resonance[:, 0]
    if np.isnan(tone[0]):
        raise OutOfReachError(
            "Losses leave the best length no resonance.", reach=(math.nan, math.nan), point=main
        )
    sized = Sized(
        frequency=tone,
        length=np.array([best.length]),
        slope=frozen_slope(answer, tone),
        outcome=np.array([float(ToneOutcome.FOUND)]),
        solves=np.array([float(best.designs)]),
        answer=answer,
    )
    choices = _choices([None], sized)
    others = of_stock_tubes(answer.case) if stock else []
    if others:
        batch = Case.concatenate([other for _, other in others])
        found = length_for(batch, np.full(len(batch), tone[0]))
        choices += _choices([tube for tube, _ in others], found)
    return sized, choices


def _choices(tubes: list[StockTube | None], sized: Sized) -> tuple[Choice, ...]:
    found = notch(sized.answer)
    return tuple(
        Choice(tube, sized.take(slice(i, i + 1)), found.of_design(i))
        for i, tube in enumerate(tubes)
    )
