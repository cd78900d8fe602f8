"""How much a branch keeps back at its best, as a range."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.belief.depth import depth
from warmbranch.belief.unknown import Spreads
from warmbranch.case.closures import FLOW_LOSS, LEVEL_LOSS
from warmbranch.sound.acoustics import input_impedance, transmission_loss
from warmbranch.steady.solve import solve


def resisting(case, **coefficients):
    """The case with other coefficients of what resists at the mouth."""
    values = {name: np.full(len(case), value) for name, value in coefficients.items()}
    return replace(case, closures=replace(case.closures, **values))


def test_without_the_mouth_it_is_the_wall_alone_to_the_last_digit(make_case):
    """Exact limit: no coefficient, no resistance, and the answers of before."""
    answer = solve(resisting(make_case(), flow_loss=0.0, level_loss=0.0))
    tones = answer.resonance[:, :1] * np.linspace(0.5, 1.5, 41)
    plain = transmission_loss(input_impedance(answer.duct, tones), answer.main_impedance[:, None])
    assert_array_equal(answer.transmission_loss(tones), plain)
    found = depth(answer)
    for value in (found.low, found.high, found.usual):
        assert_array_equal(value, found.wall_alone)


def test_the_mouth_moves_no_resonance(make_case):
    quiet = solve(resisting(make_case(), flow_loss=0.0, level_loss=0.0))
    loud = solve(resisting(make_case(), flow_loss=1.0, level_loss=2.0))
    assert_array_equal(quiet.resonance, loud.resonance)


@pytest.mark.parametrize("z", [0.05, 0.0167])
def test_a_branch_whose_mouth_alone_resists(make_case, z):
    """Exact: 20 log₁₀[1 + s/(2 z)]."""
    case = make_case(wall_losses=False)
    bare = solve(case)
    mach = bare.main_speed / bare.main_sound_speed
    answer = solve(resisting(case, flow_loss=float(z / mach[0]), level_loss=0.0))
    ratio = case.branch.bore_area / case.main_pipe.bore_area
    told = depth(answer).usual
    assert_allclose(told, 20 * np.log10(1 + ratio / (2 * z)), rtol=1e-6)  # tone found to 1e-8
    # Im Z at the tone found is 1e-8 of its slope, far below z.
    assert_allclose(answer.transmission_loss(answer.resonance[:, :1])[:, 0], told, rtol=1e-6)


def test_the_range_holds_nine_draws_in_ten(make_case):
    """Against independent random draws of the priors, each through the formula by hand."""
    answer = solve(make_case())
    random = np.random.default_rng(7)
    size = 200_000

    def drawn(prior):
        spread = np.log(prior.high / prior.low) / (2 * 1.959964)
        return prior.median * np.exp(spread * random.standard_normal(size))

    pressure = 1000.0 * np.exp(np.log(25.0) / (2 * 1.959964) * random.standard_normal(size))
    mach = float((answer.main_speed / answer.main_sound_speed)[0])
    mach = mach * np.exp(0.05 * random.standard_normal(size))
    speed = float(answer.main_sound_speed[0])
    rho_c = float((answer.main_impedance * answer.case.main_pipe.bore_area)[0])
    z = drawn(FLOW_LOSS) * mach
    z += 4 / (3 * np.pi) * drawn(LEVEL_LOSS) * pressure / rho_c / speed
    z += float(answer.wall_resistance[0])
    ratio = answer.case.branch.bore_area / answer.case.main_pipe.bore_area
    loss = 20 * np.log10(1 + ratio / (2 * z))
    found = depth(answer)
    # 200,000 draws hold a quantile within 0.02 dB, 4096 spread ones within 0.05.
    assert_allclose([found.low[0], found.high[0]], np.quantile(loss, [0.05, 0.95]), atol=0.1)
    assert found.low < found.usual < found.high < found.wall_alone


def test_what_is_known_narrows_it(make_case):
    answer = solve(make_case())
    wide, narrow = depth(answer), depth(answer, Spreads(cap_pressure=0.0, mass_flow=0.0))
    assert narrow.high - narrow.low < wide.high - wide.low


def test_batch_equals_singles(box_sample):
    answer = solve(box_sample(24, seed=5))
    together = depth(answer)
    for i in range(0, 24, 5):
        alone = depth(answer.take(np.array([i])))
        for whole, one in zip(together, alone, strict=True):
            assert_allclose(one[0], whole[i], rtol=1e-9)
