"""The effects add up, and each is what a search without it finds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.length.effects import effects, transit_time_length
from warmbranch.length.length_for_tone import length_for, one_temperature_length, with_length

TONE = np.array([78.0])


@pytest.fixture(scope="module")
def sized(a_case, bent):
    return length_for(a_case(pieces=bent), TONE)


def test_they_add_up(sized):
    told = effects(sized.answer, TONE)
    hot = sized.answer.case.main_pipe.gas_temperature
    # A telescoping sum: rounding alone.
    assert_allclose(told.total + one_temperature_length(TONE, hot), sized.length, rtol=1e-12)


def test_signs(sized):
    """Each shortens the branch, but bends, whose lower inertance must be made up for."""
    told = effects(sized.answer, TONE)
    for name in ("gas_composition", "cold_tail", "mouth_correction", "wall_losses"):
        assert getattr(told, name)[0] < 0, name
    assert told.bends[0] > 0


def test_a_uniform_tube_with_a_mouth(uniform_case):
    """Exact: cot kL = kδ."""
    delta = 0.015
    sized = length_for(uniform_case(fixed_mouth_length=delta), TONE)
    k = 2 * np.pi * TONE / sized.answer.main_sound_speed
    told = effects(sized.answer, TONE)
    quarter = np.pi / (2 * k)
    # The search for the length ends at 1e-7 of it.
    assert_allclose(told.mouth_correction, np.arctan(1 / (k * delta)) / k - quarter, atol=3e-7)
    for name in ("cold_tail", "wall_losses", "bends"):
        assert_allclose(getattr(told, name), 0.0, atol=3e-7, err_msg=name)


@pytest.mark.parametrize(
    ("effect", "without"),
    [
        ("wall_losses", {"wall_losses": np.array([False])}),
        ("mouth_correction", {"fixed_mouth_length": np.array([0.0])}),
    ],
)
def test_against_a_search_without_the_effect(sized, effect, without):
    """The order of effects and the held temperatures shift each by less than a tenth of it."""
    case = sized.answer.case
    other = length_for(replace(case, closures=replace(case.closures, **without)), TONE)
    told = getattr(effects(sized.answer, TONE), effect)
    assert_allclose(told, sized.length - other.length, rtol=0.1)


def test_bends_against_a_straight_branch(sized):
    case = sized.answer.case
    straight = replace(case, branch=case.branch.with_length(np.array([0.15])))  # bend cut off
    other = length_for(with_length(straight, np.array([1.0])), TONE)
    # Nothing but the bends differs, the temperatures included but for two millimetres of length.
    assert_allclose(effects(sized.answer, TONE).bends, sized.length - other.length, rtol=0.02)


def test_transit_time_length(uniform_case, sized):
    uniform = length_for(uniform_case(), TONE)
    wanted = uniform.answer.main_sound_speed / (4 * TONE)
    assert_allclose(transit_time_length(uniform.answer, TONE), wanted, rtol=2e-7)
    # Beyond the cap the gas stays as it is there: a lower tone in the same tube.
    assert_allclose(transit_time_length(uniform.answer, TONE / 2), 2 * wanted, rtol=2e-7)
    # The rule is 2 to 8 % low in frequency for a hot mouth and a cold cap, so it cuts too short.
    short = transit_time_length(sized.answer, TONE) / sized.length
    assert 0.92 < short[0] < 0.98
