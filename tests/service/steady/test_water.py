"""The water that condenses, as an answer tells it."""

from __future__ import annotations

import copy
import json

import pytest

from warmbranch_service.demo import demo_text
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest

VAN = json.loads(demo_text("van"))


def asked(**branch):
    request = copy.deepcopy(VAN)
    request["case"]["branch"].update(branch)
    return steady(SteadyRequest.model_validate({**request, "interval": False}))


def test_it_is_told_where_the_wall_is_below_the_dew_point():
    answer = asked()
    water, profile = answer.condensate, answer.profile
    first = next(
        x for x, wall in zip(profile.position_mm, profile.wall_degC, strict=True)
        if wall < answer.dew_point_degC
    )  # fmt: skip
    # The place is a node: the first whose wall is colder than what the drying gas condenses at.
    assert first <= water.from_position_mm < first + 100
    (said,) = (one.message for one in answer.cautions if one.code == "condensation")
    assert said.startswith(f"From {water.from_position_mm:.0f} mm on")
    assert 1 < water.rate_g_h < 100
    # Latent heat by hand: 2.45 MJ/kg at some 20 to 50 degC.
    assert water.latent_heat_W == pytest.approx(water.rate_g_h / 3.6e6 * 2.42e6, rel=0.02)
    assert water.latent_heat_W < answer.heat.entering_W
    # What is left at the cap is saturated there, or was never more.
    assert 0 < water.vapour_at_cap_percent < 13
    assert water.fills_mm_h is None
    assert f"{water.rate_g_h:.1f} g/h" in answer.report()


def test_a_falling_branch_fills():
    water = asked(rise_deg=-10).condensate
    bore = 48.3 - 3.0
    grams = water.fills_mm_h * 3.14159 / 4 * bore**2 / 1e3 * 0.998
    assert grams == pytest.approx(water.rate_g_h, rel=0.01)


def test_none_in_dry_gas():
    request = copy.deepcopy(VAN)
    request["case"]["main_pipe"]["gas"] = {"mole_fractions": {"N2": 0.79, "O2": 0.21}}
    assert steady(SteadyRequest.model_validate(request)).condensate is None
