"""What readings and tones teach of the unknowns: the part of a fit that others build on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from warmbranch.base import tally
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.unknown import Spreads
from warmbranch.case.case import Case
from warmbranch.fit.ensemble import Ensemble, PriorDraws
from warmbranch.fit.haste import Haste, allowing_for
from warmbranch.fit.posterior import InverseProblem, Mode
from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.standing import AsRead, Explored, weighed
from warmbranch.fit.suspicion import MISFIT, Suspicion, suspicious_readings, suspicious_tone

LITTLE = 0.2
"""Share of the resonance's prior width removed by the data below which the prior still rules."""

MANY_MISFITS = 1 / 3
"""Share of the readings that do not fit from which they contradict each other or the model."""

DRAWN, FOUND, WEIGHED = 0.2, 0.4, 0.9
"""Shares of a fit's work done once it has draws of the prior, the likeliest state and the
posterior: of five readings in a warm-up, measured; without times the last third comes sooner."""


class FitOutcome(StrEnum):
    """How a fit ended; none is an error."""

    FITTED = "fitted"
    PRIOR_DOMINATED = "prior-dominated"
    CONTRADICTORY = "contradictory readings"
    AT_BOUND = "at a bound"
    NOT_CONVERGED = "not converged"


@dataclass(frozen=True)
class Taught:
    """What the data say of the unknowns, before anything is made of it.

    Parameters
    ----------
    problem : InverseProblem
    drawn : PriorDraws
        Draws without the data, as they were solved.
    before, fitted, after : Ensemble
        Without the data; with them; and with room for a hasty job where nobody told the time.
    tones : tuple, one entry a tone heard, of Suspicion or None
    suspicions : tuple, one entry a reading, of tuples of Suspicion
    haste : Haste or None
    state : AsRead
        What the readings say of the state that they were taken in, where nobody told it;
        ``problem``, ``drawn`` and ``mode`` are of the likeliest.
    mode : Mode
    learns : bool
        Whether there was anything to learn, and to learn from.
    shares : tuple of float
        Of the width of ln(resonance), what the data removed: of ``fitted`` and of ``after``.
    """

    problem: InverseProblem
    drawn: PriorDraws
    before: Ensemble
    fitted: Ensemble
    after: Ensemble
    tones: tuple[Suspicion | None, ...]
    suspicions: tuple[tuple[Suspicion, ...], ...]
    haste: Haste | None
    state: AsRead
    mode: Mode
    learns: bool
    shares: tuple[float, float]

    @property
    def outcome(self) -> FitOutcome:
        """How the fit ended."""
        return _outcome(self.problem, self.mode, self.suspicions, self.tones, self.shares[0])


def _sounding(ensemble: Ensemble, case: Case) -> Ensemble:
    """The ensemble, in which something must sound: all that is told is told of what sounds."""
    if len(ensemble.frequency) == 0:
        raise InputError(
            "Losses leave this branch no resonance, whatever is believed of it.",
            field="branch.length",
            value=float(case.branch.length[0]),
            unit="m",
            remedy="Give a wider or a longer branch, or a shorter mouth correction.",
        )
    return ensemble


def taught(
    case: Case,
    readings: Readings,
    heard: Heard,
    *,
    spreads: Spreads | None = None,
    prior: Calibration | None = None,
    warming: Warming | None = None,
    warm: bool = False,
    order: float | None = None,
    order_step: float = 0.5,
    as_read: Case | None = None,
) -> Taught:
    """What :func:`warmbranch.fit.solve.fit` begins with, with its parameters and errors."""
    spreads = spreads or Spreads()
    believed = prior.effective_in(case) if prior else Calibration.prior(case, spreads)

    def problem_of(as_read: Case | None) -> InverseProblem:
        return InverseProblem(
            case,
            readings,
            heard,
            believed,
            warming,
            warm=warm,
            known=spreads.fixed,
            as_read=as_read,
        )

    problem = problem_of(as_read)
    drawn = PriorDraws(problem)
    tally.reached(DRAWN)
    before = _sounding(drawn.ensemble(problem), case)
    tones = tuple(
        suspicious_tone(
            case,
            float(heard.frequency[i]),
            float(heard.length[i]),
            before.heard[:, i],
            before,
            order,
            order_step,
        )
        for i in range(len(heard))
    )
    left_out = [i for i, suspicion in enumerate(tones) if suspicion]
    problem.leave_out(left_out)
    own = Explored(problem, drawn, problem.mode(drawn.starts(problem)))
    tally.reached(FOUND)
    learns = problem.counted > 0 and len(problem) > 0
    fitted, state = before, AsRead(None, 0.0)
    settled = len(readings) > 0 and not np.any(readings.timed)

    def explored(state: Case, least: float) -> Explored | None:
        try:
            other = problem_of(state)
            other.leave_out(left_out)
            return Explored.of(other, drawn.expected.forecast, least)
        except NotConvergedError:
            return None  # what cannot be was not read

    if learns and as_read is None and settled:
        own, fitted, state = weighed(own, case, explored)
    elif learns:
        fitted = own.drawn_out()
    fitted = _sounding(fitted, case)
    problem, chosen, mode = own
    tally.reached(WEIGHED)
    haste = Haste.of(problem, fitted) if learns else None
    after = allowing_for(haste, problem, fitted)
    misfits = problem.misfit(mode.displayed[None], mode.heard[None])[0, len(readings) :]
    tones = tuple(
        Suspicion("does_not_fit") if known is None and abs(misfit) > MISFIT else known
        for known, misfit in zip(tones, misfits, strict=True)
    )
    hottest = -np.inf if problem.warming is None else problem.warming.hottest
    suspicions = suspicious_readings(problem.state, readings, mode.displayed, hottest)
    width = _spread(before)
    by_data, learned = (
        1 - _spread(one) / width if learns and width > 0 else 0.0 for one in (fitted, after)
    )
    return Taught(
        problem=problem,
        drawn=chosen,
        before=before,
        fitted=fitted,
        after=after,
        tones=tones,
        suspicions=suspicions,
        haste=haste,
        state=state,
        mode=mode,
        learns=learns,
        shares=(by_data, learned),
    )


def _outcome(
    problem: InverseProblem,
    mode: Mode,
    suspicions: Sequence[Sequence[Suspicion]],
    tones: Sequence[Suspicion | None],
    learned: float,
) -> FitOutcome:
    codes = [{suspicion.code for suspicion in own} for own in suspicions]
    misfits = sum("does_not_fit" in own for own in codes)
    if not mode.summit.converged:
        return FitOutcome.NOT_CONVERGED
    if (
        any("contradicts" in own for own in codes)
        or (misfits > 1 and misfits >= MANY_MISFITS * len(codes))
        or any(tone is not None and tone.code == "does_not_fit" for tone in tones)
    ):
        return FitOutcome.CONTRADICTORY
    if np.any(mode.summit.at_bound):
        return FitOutcome.AT_BOUND
    if problem.counted < 2 or learned < LITTLE:
        return FitOutcome.PRIOR_DOMINATED
    return FitOutcome.FITTED


def _spread(ensemble: Ensemble) -> float:
    logs = np.log(ensemble.frequency)
    return float(np.sqrt(ensemble.weights @ (logs - ensemble.weights @ logs) ** 2))
