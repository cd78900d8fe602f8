"""Where nobody tells when a branch was read: what is held back, and what telling the time gives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from types import ModuleType

import numpy as np
import pytest

from warmbranch.base.interpolation import interpolated
from warmbranch.belief.calibration import Calibration
from warmbranch.case.case import Case
from warmbranch.fit.ensemble import PriorDraws, posterior_ensemble
from warmbranch.fit.haste import HASTY, SHARE, Haste, allowing_for
from warmbranch.fit.posterior import InverseProblem
from warmbranch.fit.readings import Heard
from warmbranch.fit.skin_in_time import Warming
from warmbranch.fit.solve import Fitted, fit
from warmbranch.length.length_for_tone import length_for
from warmbranch.sound.resonance import resonances
from warmbranch.warming.drive import Drive
from warmbranch.warming.solve import warm_up
from warmbranch.warming.wander import ducts

SETTLED = 7200.0


class Looked:
    """A branch as the middle of the prior has it, read and heard at some time after the start."""

    def __init__(self, case: Case, synthetic: ModuleType, seconds: float) -> None:
        moments = np.array([seconds, SETTLED])
        found = warm_up(case, Drive.cold_start(SETTLED), moments)
        early, self.tone = resonances(ducts(found)[0], modes=1)[0][:, 0]
        self.lag = 1 - early / self.tone
        place = np.array([0.08, 0.2, 0.4, 0.7]) * float(case.branch.length[0])
        skin = interpolated(found.position, found.skin[0][:1], place)[0]
        empty = synthetic.to_be_read(case, place, ("contact",) * len(place))
        self.case, self.seconds = case, seconds
        self.readings = replace(empty, displayed=skin, uncertainty=np.full(len(place), 2.0))
        self.heard = Heard.of_warm(np.array([early]), np.array([0.01 * early]), case.branch.length)
        self.target = 1.08 * self.tone

    @property
    def to_come_off(self) -> float:
        """What the truth asks for, m."""
        wanted = length_for(self.case, np.array([self.target])).length
        return float(self.case.branch.length[0] - wanted[0])

    @cached_property
    def untold(self) -> Fitted:
        return fit(self.case, self.readings, self.heard, target=self.target)

    @cached_property
    def called_warm(self) -> Fitted:
        return fit(self.case, self.readings, self.heard, target=self.target, warm=True)

    @cached_property
    def in_time(self) -> Fitted:
        readings = replace(self.readings, time=np.full(len(self.readings), self.seconds))
        heard = replace(self.heard, time=np.array([self.seconds]))
        warming = Warming(Drive.cold_start(SETTLED))
        return fit(self.case, readings, heard, target=self.target, warming=warming)


@pytest.fixture(scope="module")
def hasty(make_case: Callable[..., Case], synthetic: ModuleType) -> Looked:
    return Looked(make_case(), synthetic, HASTY)


def rank(found: Fitted, tone: float) -> float:
    return float(found.ensemble.weights @ (found.ensemble.frequency < tone))


def test_a_hasty_job_called_warm_is_taken_for_a_cool_branch_and_one_without_a_time_is_not(
    hasty: Looked,
):
    """The very mistake that the advice leaves room for."""
    called, untold = hasty.called_warm, hasty.untold
    assert rank(called, hasty.tone) > 0.85
    # Within its 90 %, and well within of where the other one has it.
    assert 0.05 < rank(untold, hasty.tone) < min(0.95, rank(called, hasty.tone) - 0.05)
    assert called.trim is not None
    assert untold.trim is not None
    assert untold.trim.cut_now < called.trim.cut_now - 0.005


def test_what_is_held_back_is_what_telling_that_it_was_warm_gives(
    make_case: Callable[..., Case], synthetic: ModuleType
):
    for seconds in (HASTY, SETTLED):
        looked = Looked(make_case(), synthetic, seconds)
        untold, called = looked.untold.trim, looked.called_warm.trim
        assert untold is not None
        assert called is not None
        # Other draws, and a tail of few: by simulation the advice moves by 2 mm with them.
        assert untold.cut_now + untold.held_back == pytest.approx(called.cut_now, abs=0.004)
        assert untold.held_back > 0


def test_the_lag_is_that_of_this_branch_by_our_own_warm_up(hasty: Looked):
    found = hasty.untold.haste
    assert found is not None
    # Interpolated between moments a quarter apart, in the middle of the prior on a coarser grid.
    assert found.lag == pytest.approx(hasty.lag, rel=0.03)


def test_whoever_tells_the_time_loses_nothing(hasty: Looked):
    for told in (hasty.called_warm, hasty.in_time):
        assert told.haste is None
        assert told.trim is not None
        assert told.trim.held_back == 0
    known = hasty.in_time
    assert known.after[0] < hasty.tone < known.after[4]


def test_data_that_speak_for_a_warm_branch_make_haste_less_likely(
    make_case: Callable[..., Case], synthetic: ModuleType
):
    warm = Looked(make_case(), synthetic, SETTLED).untold.haste
    early = Looked(make_case(), synthetic, HASTY).untold.haste
    assert warm is not None
    assert early is not None
    assert 0 < warm.share < early.share <= SHARE


def test_a_calibration_carries_the_rise_in_the_tone(hasty: Looked):
    """Mean and variance of a mixture, from its two halves (exact)."""
    found = hasty.untold
    haste, names = found.haste, found.calibration.names
    assert haste is not None
    problem = InverseProblem(
        hasty.case, hasty.readings, hasty.heard, Calibration.prior(hasty.case), warm=False
    )
    fitted = posterior_ensemble(problem, found.mode, PriorDraws(problem))
    column = problem.coordinates(fitted.white)[:, names.index("tone")]
    plain = float(fitted.weights @ column)
    risen = float(fitted.weights @ (column + haste.rise))
    mean = (1 - haste.share) * plain + haste.share * risen
    assert found.calibration.mean[names.index("tone")] == pytest.approx(mean, abs=1e-10)
    assert risen > plain
    others = [i for i, name in enumerate(names) if name != "tone"]
    same = problem.calibration(*fitted.moments())
    np.testing.assert_allclose(found.calibration.mean[others], same.mean[others], atol=1e-10)


def test_draws_beside_draws(hasty: Looked):
    problem = InverseProblem(hasty.case, hasty.readings, hasty.heard, Calibration.prior(hasty.case))
    plain = PriorDraws(problem).ensemble(problem)
    size = len(plain.white)
    haste = Haste(0.02, 0.25, np.linspace(0, 0.02, size), np.ones(size, dtype=np.bool_))
    both = allowing_for(haste, problem, plain)
    assert both.weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert both.weights[size:].sum() == pytest.approx(0.25, abs=1e-12)
    np.testing.assert_allclose(both.frequency[size:] / plain.frequency, np.exp(haste.rise))
    moved = problem.coordinates(both.white[size:]) - problem.coordinates(plain.white)
    tone = problem.names.index("tone")
    np.testing.assert_allclose(moved[:, tone], haste.rise, atol=1e-12)
    np.testing.assert_allclose(np.delete(moved, tone, axis=1), 0, atol=1e-12)
    assert allowing_for(None, problem, plain) is plain
