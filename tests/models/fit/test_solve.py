from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from shared.readings import contacts
from warmbranch.belief.calibration import Calibration
from warmbranch.belief.prediction import LEVELS, predict
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS, with_unknowns
from warmbranch.fit.clock import WARMTH
from warmbranch.fit.readings import KNOWN, Heard, Readings
from warmbranch.fit.shared import NAMES as SHARED
from warmbranch.fit.solve import fit
from warmbranch.fit.taught import FitOutcome
from warmbranch.steady.solve import solve

ORDER = 3.0
"""Of a six-cylinder four-stroke engine."""


def heard(rpm, uncertainty=20.0, length=1.031) -> Heard:
    per_rpm = ORDER / 60
    given = (rpm * per_rpm, uncertainty * per_rpm, length)
    return Heard.of_warm(*(np.array([value]) for value in given))


@pytest.mark.parametrize("cap", [None, 40.0], ids=["heard alone", "with the cap end read"])
def test_common_practice_trim(make_case, cap):
    """Common practice, no source.

    A branch of 1031 mm, built for 2000 rpm, was heard to cancel at 1800 rpm, with gas of 150 °C
    and a cap end of about 40 °C; wanted at 2200 rpm, it was trimmed by 186.5 mm and was right.
    """
    readings = Readings.none() if cap is None else contacts([1.02], [cap + 273.15], uncertainty=5.0)
    found = fit(make_case(), readings, heard(1800.0), target=2200 * ORDER / 60, order=ORDER)
    assert found.trim is not None
    assert found.trim.final_cut * 1e3 == pytest.approx(186.5, abs=15)
    assert 0 < found.trim.cut_now < found.trim.final_cut
    assert found.trim.chance_too_short <= 0.05
    # Of the gas as told the rule of one temperature promises 2000 rpm; what makes the difference
    # of the fitted branch is told.
    promised = solve(make_case()).one_temperature[0]
    assert promised * 60 / ORDER == pytest.approx(2000, abs=20)
    parts = found.effects
    assert parts is not None
    assert parts.total[0] == pytest.approx(
        1.031 - found.answer.one_temperature[0] * 1.031 / found.answer.resonance[0, 0], abs=1e-6
    )
    assert parts.cold_tail[0] < 3 * parts.gas_composition[0] < 0
    assert parts.gas_composition[0] < parts.mouth_correction[0] < 0


def test_nothing_read_or_heard_is_the_prior(make_case):
    found = fit(make_case(), Readings.none(), Heard.none())
    assert found.outcome is FitOutcome.PRIOR_DOMINATED
    np.testing.assert_array_equal(found.before, found.after)
    prior = Calibration.prior(make_case())
    np.testing.assert_allclose(found.calibration.mean, prior.mean, rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.calibration.covariance, prior.covariance, rtol=0, atol=1e-8)
    assert all(one.learned_share == 0 for one in found.parameters)


def test_one_reading_still_answers(make_case):
    found = fit(make_case(), contacts([0.3], [333.15]), Heard.none())
    assert found.outcome is FitOutcome.PRIOR_DOMINATED
    assert len(found.after) == len(LEVELS)


def test_many_readings_and_a_tone_recover_the_truth(synthetic):
    """Six truths inside their 90 % intervals but for one or two, and all within three widths.

    How often the intervals hold the truth, test_coverage.py and the benchmark show by many more.
    """
    rng = np.random.default_rng(40)
    inside, learned = [], []
    for _ in range(6):
        drawn = synthetic.experiment(rng, 8, listens=True)
        found = fit(drawn.case, drawn.readings, drawn.heard, warm=True)
        assert found.outcome in (FitOutcome.FITTED, FitOutcome.PRIOR_DOMINATED)
        low, _, middle, _, high = found.after
        true = drawn.truth.resonance[0, 0]
        assert abs(true - middle) < 1.5 * (high - low)
        inside.append(low <= true <= high)
        learned.append(found.learned_share)
    # Fewer than 4 of 6 happen once in 60 runs of an honest interval.
    assert sum(inside) >= 4
    # Some half of the prior's width goes; a gas of 135 °C, whose prior is narrow, leaves little to
    # learn and has a quarter.
    assert np.median(learned) > 0.45
    assert sum(share > 0.3 for share in learned) >= 5


def test_precise_data_find_the_coefficients(synthetic):
    """Without noise, with the rest known, the coefficients come back."""
    rng = np.random.default_rng(41)
    known = frozenset(UNKNOWNS) - {"stirring", "reach", "stirred_film"}
    case = synthetic.a_case(rng)
    prior = Calibration.prior(case, Spreads(fixed=known))
    truth = prior.mean + prior.spread * np.array([0.6, -0.4, 0.5])
    answer = solve(with_unknowns(case, prior.names, truth[None]))
    place = np.linspace(0.1, 0.95, 8) * case.branch.length[0]
    skin = np.interp(place, answer.profile.position[0], answer.profile.skin[0])
    found = fit(
        case,
        contacts(place, skin, 0.5),
        Heard.none(),
        spreads=Spreads(fixed=known),
        warm=True,
    )
    for one, true in zip(found.parameters, np.exp(truth), strict=True):
        assert one.interval_90[0] < true < one.interval_90[1], one
        # Of the film less, which latent heat and the gas's radiation resemble.
        assert one.learned_share > (0.35 if one.name == "stirred_film" else 0.5)


def test_contradicting_readings_are_answered_and_flagged(make_case):
    found = fit(make_case(), contacts([0.4, 0.4, 0.7], [313.15, 363.15, 308.15]), Heard.none())
    assert found.outcome is FitOutcome.CONTRADICTORY
    codes = [{s.code for s in own} for own in found.suspicions]
    assert "contradicts" in codes[0]
    assert "contradicts" in codes[1]
    assert "contradicts" not in codes[2]
    assert np.all(np.isfinite(found.after))


def test_at_a_bound(make_case):
    """Cooled by half of the least film that can be believed, with all else known: an end of the
    prior, and what no skin tells of stays where it was believed to be."""
    case, free = make_case(), ("outer_film_factor", "mouth_factor", "tone")
    known = frozenset(UNKNOWNS) - set(free) | {WARMTH}
    sure = Spreads(fixed=known | frozenset(SHARED))
    little = with_unknowns(case, free[:1], np.log([[0.2]]))
    profile = solve(little).profile
    place = np.linspace(0.02, 0.3, 8)
    skin = np.interp(place, profile.position[0], profile.skin[0])
    found = fit(case, contacts(place, skin, 3.0), Heard.none(), spreads=sure)
    assert found.outcome is FitOutcome.AT_BOUND
    assert [one.name for one in found.parameters if one.at_bound] == ["outer_film_factor"]
    assert found.parameters[0].name == "outer_film_factor"
    assert found.parameters[0].estimate < found.parameters[0].prior_90[0]
    np.testing.assert_allclose(found.mode.summit.white[1:], 0, rtol=0, atol=0.05)


def test_a_tone_thrice_the_prediction_is_left_out(make_case):
    found = fit(make_case(), Readings.none(), heard(5350.0), order=ORDER)
    (suspicion,) = found.heard_suspicions
    assert suspicion is not None
    assert suspicion.numbers["resonance"] == 2
    assert suspicion.numbers["order"] == 1
    np.testing.assert_array_equal(found.after, found.before)


def test_everything_fixed(make_case):
    found = fit(
        make_case(),
        contacts([0.3, 0.6], [333.15, 313.15]),
        Heard.none(),
        spreads=Spreads(fixed=frozenset(UNKNOWNS) | {WARMTH}),
        target=110.0,
    )
    assert found.parameters == ()
    np.testing.assert_allclose(found.after, found.after[0], rtol=1e-12, atol=0)
    assert found.after[0] == pytest.approx(found.answer.resonance[0, 0], rel=1e-6)
    assert found.trim is not None


def test_a_calibration_predicts_what_the_fit_did(synthetic):
    drawn = synthetic.experiment(np.random.default_rng(42), 7, listens=True)
    found = fit(drawn.case, drawn.readings, drawn.heard)
    again = predict(drawn.case, found.calibration).resonance
    spread = (found.after[-1] - found.after[0]) / 3.29
    # A normal distribution of the unknowns stands for the weighted draws.
    assert abs(again[2] - found.after[2]) < 0.35 * spread
    assert (again[-1] - again[0]) / (found.after[-1] - found.after[0]) == pytest.approx(1, abs=0.3)


def test_a_calibration_predicts_the_temperatures_it_learned(synthetic):
    drawn = synthetic.experiment(np.random.default_rng(42), 7, listens=True)
    found = fit(drawn.case, drawn.readings, drawn.heard)
    profile = found.answer.profile
    at = profile.position[0, 1::8]
    after = predict(drawn.case, found.calibration, at)
    none = Readings.none()
    before = predict(drawn.case, fit(drawn.case, none, Heard.none()).calibration, at)
    for name in ("gas", "skin"):
        levels, best = getattr(after, name), getattr(profile, name)[0, 1::8]
        assert np.all(np.diff(levels, axis=0) >= 0)
        # The most probable set lies among the draws of a normal distribution about it.
        assert np.all((levels[0] < best) & (best < levels[-1]))
        # Seven readings and a tone narrow it.
        widths = [np.mean(x[-1] - x[0]) for x in (levels, getattr(before, name))]
        assert widths[0] < 0.7 * widths[1]


def test_learning_in_two_steps_is_learning_at_once(synthetic):
    """A calibration serves as the prior of the next fit."""
    drawn = synthetic.experiment(np.random.default_rng(47), 8, listens=False)
    # Known emissivities: a patch's own is not part of a calibration.
    bare = np.array([i for i, s in enumerate(drawn.readings.surface) if s == KNOWN])
    readings = drawn.readings.take(np.resize(bare, 6))
    first = fit(drawn.case, readings.take(np.arange(3)), drawn.heard)
    second = fit(drawn.case, readings.take(np.arange(3, 6)), drawn.heard, prior=first.calibration)
    once = fit(drawn.case, readings, drawn.heard)
    spread = (once.after[-1] - once.after[0]) / 3.29
    assert abs(second.after[2] - once.after[2]) < 0.5 * spread
    assert (second.after[-1] - second.after[0]) / (once.after[-1] - once.after[0]) == (
        pytest.approx(1, abs=0.3)
    )


def test_wild_reading_is_flagged_and_hardly_moves_the_prediction(synthetic):
    drawn = synthetic.experiment(np.random.default_rng(44), 8, listens=True)
    shown = drawn.readings.displayed.copy()
    shown[2] += 60.0
    honest = fit(drawn.case, drawn.readings, drawn.heard)
    wild = fit(drawn.case, replace(drawn.readings, displayed=shown), drawn.heard)
    assert "does_not_fit" in {s.code for s in wild.suspicions[2]}
    spread = (honest.after[-1] - honest.after[0]) / 3.29
    assert abs(wild.after[2] - honest.after[2]) < spread


def test_equal_requests_get_equal_answers(make_case):
    first, second = (fit(make_case(), contacts([0.3], [333.15]), heard(1800.0)) for _ in range(2))
    np.testing.assert_array_equal(first.after, second.after)
