"""How much a branch keeps back at its best, as answers tell it."""

from __future__ import annotations

import copy

import pytest

from shared.requests import CASE
from warmbranch_service.length.answer import answer_length
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest


def asked(**closures):
    case = copy.deepcopy(CASE) | {"closures": closures}
    return steady(SteadyRequest.model_validate({"case": case, "interval": False}))


def test_the_range_lies_below_what_the_wall_alone_would_leave():
    best = asked().attenuation.deepest
    low, high = best.interval_90_dB
    assert low < best.transmission_loss_dB < high < best.wall_alone_dB
    assert high - low > 2  # nothing told of mouth and tone: not known within 2 dB


def test_no_answer_promises_a_depth_without_its_range():
    answer = asked()
    low, high = answer.attenuation.deepest.interval_90_dB
    told = f"90 % between {low:.0f} and {high:.0f}"
    assert told in answer.summary
    assert told in " ".join(answer.report().split())
    size = LengthRequest.model_validate({"case": CASE, "target": {"quiet_rpm": 2350}})
    sized = answer_length(size)
    low, high = sized.notch.peak_90_dB
    assert low < sized.notch.peak_dB < high
    assert f"90 % between {low:.0f} and {high:.0f}" in " ".join(sized.report().split())
    for tube in sized.diameters:
        assert tube.peak_90_dB[0] < tube.peak_dB < tube.peak_90_dB[1]


def test_without_the_mouth_it_is_the_wall_alone():
    """Exact limit: coefficients of 0."""
    best = asked(mouth_loss={"flow_coefficient": 0, "level_coefficient": 0}).attenuation.deepest
    assert best.transmission_loss_dB == best.wall_alone_dB
    assert best.interval_90_dB == pytest.approx((best.wall_alone_dB,) * 2, abs=0.051)  # to 0.1 dB


def test_without_any_loss_it_has_no_bound():
    none = {"flow_coefficient": 0, "level_coefficient": 0}
    best = asked(mouth_loss=none, wall_losses=False).attenuation.deepest
    assert best.transmission_loss_dB is None
    assert best.interval_90_dB is None
    assert best.wall_alone_dB is None


@pytest.mark.parametrize("pressure", [1000, 5000])  # in dB a fainter one is wider by itself
def test_a_tone_that_is_given_narrows_it(pressure):
    known = asked(mixing={"model": "stirred mouth", "cap_pressure_Pa": pressure})
    low, high = known.attenuation.deepest.interval_90_dB
    open_ = asked(mixing={"model": "stirred mouth", "tone_exchange_coefficient": 0.36})
    assert (
        high - low
        < open_.attenuation.deepest.interval_90_dB[1]
        - (open_.attenuation.deepest.interval_90_dB[0])
    )


def test_a_louder_tone_makes_a_shallower_notch():
    by_tone = [
        asked(
            mixing={"model": "stirred mouth", "incident_pressure_Pa": pressure}
        ).attenuation.deepest.transmission_loss_dB
        for pressure in (200, 1000, 3000)
    ]
    assert by_tone[0] > by_tone[1] > by_tone[2]
