"""A job played through beforehand, against normal distributions and plain repetition."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from warmbranch.fit.job_ahead import LEAST_CUT, MOST_CUTS, job_ahead
from warmbranch.fit.trim_advice import RISK, SIGMAS

HEARING = 0.010
"""m: 1 % of a metre."""


def by_hand(spread: float, rng: np.random.Generator) -> tuple[int, float]:
    """One job, with the textbook's update of a normal belief from each hearing."""
    truth, belief, off, cuts = spread * rng.normal(), NormalDist(0.0, spread), -np.inf, 0
    while cuts < MOST_CUTS and belief.inv_cdf(RISK) - off >= LEAST_CUT:
        off, cuts = belief.inv_cdf(RISK), cuts + 1
        heard = truth + HEARING * rng.normal()
        sure = 1 / belief.variance + 1 / HEARING**2
        middle = (belief.mean / belief.variance + heard / HEARING**2) / sure
        belief = NormalDist(middle, sure**-0.5)
    return cuts, truth - off


@pytest.mark.parametrize("spread", [0.035, 0.022, 0.012])
def test_as_jobs_go(spread):
    rng = np.random.default_rng(8)
    cuts, left = np.array([by_hand(spread, rng) for _ in range(3000)]).T
    found = job_ahead(-SIGMAS * spread, spread, HEARING, SIGMAS)
    # Two standard errors of five hundred jobs.
    assert found.cuts == pytest.approx(cuts.mean(), abs=2 * cuts.std() / np.sqrt(500))
    assert found.left_over == pytest.approx(np.median(left), abs=2.5 * left.std() / np.sqrt(500))
    assert found.too_short == pytest.approx(np.mean(left < 0), abs=2 * np.sqrt(0.05 / 500))


@pytest.mark.parametrize("spread", [0.035, 0.022, 0.012, 0.006])
def test_a_whole_job_ends_too_short_in_one_of_twenty_at_most(spread):
    """Each look runs ``RISK``; this is what that is for."""
    found = job_ahead(-SIGMAS * spread, spread, HEARING, SIGMAS)
    # One standard error of five hundred jobs beyond.
    assert found.too_short <= 0.05 + np.sqrt(0.05 * 0.95 / 500)


def test_nothing_unknown_is_one_cut():
    found = job_ahead(0.0, 0.0, HEARING, SIGMAS)
    assert found.cuts == 1
    assert found.left_over == 0
    assert found.too_short == 0
