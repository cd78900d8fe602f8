"""What is kept of one job."""

from dataclasses import replace
from importlib import import_module

import numpy as np
import pytest

from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import LEVELS, expect
from warmbranch.belief.shop import USUAL
from warmbranch.belief.unknown import Spreads
from warmbranch.fit.readings import Heard, Readings
from warmbranch.learn import summary
from warmbranch.learn.solve import learn
from warmbranch.learn.summary import NAMES, MeasuredBranch, summary_of


def test_the_usual_priors_are_those_of_a_usual_case(synthetic):
    case = synthetic.a_case(np.random.default_rng(1))
    prior = Calibration.prior(case, Spreads(composition=0.0, length=0.0))
    found = {n: (m, s) for n, m, s in zip(prior.names, prior.mean, prior.spread, strict=True)}
    for name in set(found) & set(USUAL):
        assert found[name] == pytest.approx(tuple(USUAL[name]), abs=1e-12), name
    # The two others stand where a case gives them.
    assert set(USUAL) - set(found) == {"pulsation", "stanton"}


def test_a_job_without_readings_says_nothing(synthetic):
    case = synthetic.a_case(np.random.default_rng(1))
    found = summary_of(MeasuredBranch("none", case, Readings.none(), Heard.none(), Spreads()))
    assert found.of.shape == (len(NAMES), 0)
    assert found.tone is None
    learned = learn([found])
    assert learned.apart[0].chance == 1.0
    assert learned.held_out == (None,)


def test_the_readings_with_the_prior_give_back_the_fit(synthetic, monkeypatch):
    """Gauss's product of prior and readings against the draws' own moments, along what was seen."""
    monkeypatch.setattr(summary, "FORM", 0.0)
    found = {}
    inner = summary.taught
    monkeypatch.setattr(summary, "taught", lambda *a, **k: found.setdefault("fit", inner(*a, **k)))
    made = synthetic.experiment(np.random.default_rng(4), 7, listens=True)
    kept = summary_of(
        MeasuredBranch("one", made.case, made.readings, made.heard, Spreads(), warm=True)
    )
    prior = Calibration.prior(made.case)
    own = [prior.names.index(name) for name in NAMES if name in prior.names]
    mean, covariance = found["fit"].after.moments()
    at = [i for i, name in enumerate(NAMES) if name in prior.names]
    # The mixture is burnt fuel, so the tone is known a little worse than usual.
    usual = np.array([USUAL[name].spread for name in NAMES])[at]
    width = prior.spread[own] / usual
    of = kept.of[at] * width[:, None]
    precision = np.eye(len(own)) + of @ of.T
    after = np.linalg.inv(precision)
    along = of / np.linalg.norm(of, axis=0)
    assert len(kept.shown) >= 2
    drawn = along.T @ covariance[np.ix_(own, own)] @ along
    assert np.diag(along.T @ after @ along) == pytest.approx(np.diag(drawn), rel=1e-6)
    assert along.T @ after @ (of @ kept.shown) == pytest.approx(along.T @ mean[own], abs=1e-6)


def test_a_mouth_that_leans_differs_by_more(synthetic):
    case = synthetic.a_case(np.random.default_rng(1))
    leaning = case.changed(branch=replace(case.branch, lean=np.array([0.5])))
    plain, lean = (
        summary_of(MeasuredBranch("a", one, Readings.none(), Heard.none(), Spreads())).seen().more
        for one in (case, leaning)
    )
    more = [NAMES[i] for i in np.flatnonzero(lean > plain + 1e-9)]
    assert more == ["mouth_exchange", "stirring", "mouth_factor"]


def test_a_job_whose_tone_is_given_keeps_its_exchange_to_itself(synthetic):
    case = synthetic.a_case(np.random.default_rng(1))
    known = Spreads(cap_pressure=0.0)
    found = summary_of(MeasuredBranch("a", case, Readings.none(), Heard.none(), known))
    assert [NAMES[i] for i in np.flatnonzero(~found.shares)] == [
        "tone_exchange",
        "pulsation",
        "stanton",
    ]


def test_the_tone_without_other_jobs_is_the_priors(synthetic, kept):
    """Parabolas kept of a job against those of a prediction, which has the ear's error not."""
    rng = np.random.default_rng(21)
    for job in kept[:2]:
        made = synthetic.experiment(rng, 6, listens=True)
        expected = expect(made.case, Calibration.prior(made.case)).resonance
        sure = replace(job, tone=job.tone._replace(uncertainty=0.0))
        told = learn([sure]).held_out[0].untuned
        # What is of the job alone is taken for normal: 3 % of the width, by which it is not.
        width = expected[-1] - expected[0]
        assert told == pytest.approx(expected, abs=0.03 * width)
        assert len(told) == len(LEVELS)


@pytest.mark.slow
def test_readings_of_unit_error_are_of_unit_error():
    """What jobs show against their own truths, over 50 of them."""
    misfits = import_module("unit_error").misfits
    precision, off = misfits(np.random.default_rng(8), 50, Spreads())
    # Three standard errors of so many numbers.
    assert len(off) > 120
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(1.0, abs=3 / np.sqrt(2 * 120))
    assert np.mean(off) == pytest.approx(0.0, abs=3 / np.sqrt(120))
    # The sharp third no farther off.
    sharp = off[precision > np.quantile(precision, 2 / 3)]
    assert np.sqrt(np.mean(np.square(sharp))) == pytest.approx(1.0, abs=3 / np.sqrt(2 * 40))
