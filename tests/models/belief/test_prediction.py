"""The interval of an answer from what is believed before any reading."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.belief.calibration import Calibration, calibrated_ensemble
from warmbranch.belief.parabolas import COARSE_NODES, Parabolas
from warmbranch.belief.prediction import LEVELS, expect, expect_each
from warmbranch.belief.unknown import Spreads
from warmbranch.belief.unknowns import UNKNOWNS, with_unknowns
from warmbranch.case.case import Case
from warmbranch.steady.solve import solve

HOT = [423.15, 548.15, 673.15]
OPEN = Spreads(air_temperature=10.0, air_speed=0.82, radiant_temperature=10.0)
"""Of a request that leaves open what is around the branch."""


@pytest.mark.parametrize("gas_temperature", HOT)
def test_levels_are_those_of_a_solution_for_every_draw(make_case, gas_temperature):
    """Within a sixth of the 90 % interval's half width; measured: an eighth at the upper end."""
    case = make_case(gas_temperature=gas_temperature)
    prior = Calibration.prior(case)
    found = expect(case, prior).resonance
    draws = calibrated_ensemble(case, prior, size=2048, seed=5)
    whole = np.quantile(solve(draws, nodes=COARSE_NODES, modes=1).resonance[:, 0], LEVELS)
    half = (whole[4] - whole[0]) / 2
    assert_allclose(found, whole, rtol=0, atol=half / 6)


@pytest.mark.parametrize("gas_temperature", HOT)
def test_levels_hold_where_the_surroundings_are_open(make_case, gas_temperature):
    """Within a sixth, with the unknowns of what was left open; still air is only a start. Measured:
    0.15 at the upper end of the hottest."""
    case = make_case(gas_temperature=gas_temperature, air_speed=0.0)
    prior = Calibration.prior(case, OPEN)
    found = expect(case, prior).resonance
    draws = calibrated_ensemble(case, prior, size=2048, seed=5)
    whole = np.quantile(solve(draws, nodes=COARSE_NODES, modes=1).resonance[:, 0], LEVELS)
    assert_allclose(found, whole, rtol=0, atol=(whole[4] - whole[0]) / 12)


def test_levels_hold_where_the_rise_is_guessed(make_case):
    """A branch that rises stirs, one that falls does not: a bend amid the prior, which no parabola
    follows. Within a sixth of the half width; measured: 0.14 at the upper end.
    """
    case = make_case(gas_temperature=HOT[2], air_speed=0.0)
    prior = Calibration.prior(case, replace(OPEN, rise=np.radians(3.0)))
    found = expect(case, prior).resonance
    draws = calibrated_ensemble(case, prior, size=2048, seed=5)
    whole = np.quantile(solve(draws, nodes=COARSE_NODES, modes=1).resonance[:, 0], LEVELS)
    assert_allclose(found, whole, rtol=0, atol=(whole[4] - whole[0]) / 12)


def test_many_designs_are_told_what_each_is_told_alone(make_case, monkeypatch):
    """To rounding, whoever stands beside them and in however many calls: where one is wet, all are
    eliminated with vapour as an unknown."""
    monkeypatch.setattr("warmbranch.belief.prediction.TOGETHER", 2)
    given = [make_case(gas_temperature=t) for t in (423.15, 548.15, 673.15)]
    given.append(make_case(outside_diameter=6e-3, wall_thickness=2.6e-3, length=3.0))
    priors = [
        Calibration.prior(case, spreads)
        for case, spreads in zip(given, (Spreads(), OPEN, Spreads(), Spreads()), strict=True)
    ]
    found = expect_each(Case.concatenate(given), priors)
    for one, case, prior in zip(found, given, priors, strict=True):
        alone = expect(case, prior)
        assert one.names == alone.names
        np.testing.assert_allclose(one.resonance, alone.resonance, rtol=1e-13)
        np.testing.assert_allclose(one.shares, alone.shares, rtol=1e-11)


def test_the_middle_is_the_case_itself(make_case):
    case = make_case(gas_temperature=600.0)
    found = expect(case, Calibration.prior(case)).resonance[2]
    own = solve(case, nodes=COARSE_NODES, modes=1).resonance[0, 0]
    assert found == pytest.approx(own, rel=3e-3)


def test_more_doubt_is_wider_and_none_is_a_point(make_case):
    case = make_case(gas_temperature=600.0)
    usual, wide = (
        expect(case, Calibration.prior(case, Spreads(mass_flow=m, gas_temperature=g))).resonance
        for m, g in ((0.05, 0.1), (0.5, 0.2))
    )
    assert wide[4] - wide[0] > usual[4] - usual[0]
    none = expect(case, Calibration.prior(case, Spreads(fixed=frozenset(UNKNOWNS)))).resonance
    assert_allclose(none, none[0], rtol=0)


def test_shares_are_what_knowing_one_removes(make_case):
    """Against the variance of ln f over draws with that unknown at its mean."""
    case = make_case(gas_temperature=600.0)
    prior = Calibration.prior(case)
    found = expect(case, prior)
    assert found.shares.sum() == pytest.approx(1.0, abs=1e-9)  # unknowns are independent
    assert np.all(np.diff(found.shares) <= 0)

    def variance(known=None):
        drawn = prior.draws(1024, seed=2)
        if known is not None:
            place = prior.names.index(known)
            drawn[:, place] = prior.mean[place]
        tones = solve(with_unknowns(case, prior.names, drawn), nodes=COARSE_NODES, modes=1)
        return np.var(np.log(tones.resonance[:, 0]))

    removed = 1 - variance(found.names[0]) / variance()
    # 1,024 draws leave some 4 % of a variance's ratio; curvature about as much.
    assert removed == pytest.approx(found.shares[0], abs=0.08)


def test_pairs_matter_little_to_a_tone(make_case):
    case = make_case(gas_temperature=600.0)
    prior = Calibration.prior(case)
    there = Parabolas.around(case, prior)
    tones = solve(there.cases, nodes=COARSE_NODES, modes=1).resonance[:, 0]
    with_pairs = np.exp(there.draws(np.log(tones / tones[0]))) * tones[0]
    found = expect(case, prior).resonance
    whole = np.quantile(with_pairs, LEVELS)
    assert_allclose(found, whole, rtol=0, atol=0.125 * (whole[4] - whole[0]) / 2)


def test_a_branch_without_resonance_has_no_interval(make_case):
    case = make_case(outside_diameter=6e-3, wall_thickness=2.6e-3, length=3.0)
    found = expect(case, Calibration.prior(case))
    assert np.isnan(solve(case, modes=1).resonance[0, 0])
    assert len(found.resonance) == 0
