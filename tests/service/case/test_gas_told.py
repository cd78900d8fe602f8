"""What burns, told or not: how wide an answer is, and what is said of it."""

from __future__ import annotations

import pytest

from warmbranch_service.case.belief import composition
from warmbranch_service.case.schema import Case

DRY_AIR = {"N2": 0.79, "O2": 0.21}


def with_gas(smallest, gas):
    body = smallest
    body["case"]["main_pipe"] = {**body["case"]["main_pipe"], **({"gas": gas} if gas else {})}
    return body


def believed(smallest, gas):
    return composition(Case.model_validate(with_gas(smallest, gas)["case"]))


def test_the_less_is_told_the_wider_and_the_higher(smallest):
    nothing = believed(smallest, None)
    fuel = believed(smallest, {"fuel": "petrol"})
    both = believed(smallest, {"fuel": "petrol", "excess_air_ratio": 1.0})
    assert nothing.spread > fuel.spread > both.spread
    assert nothing.centre > fuel.centre > both.centre > 0


@pytest.mark.parametrize("gas", [{"fuel": "dry air"}, {"mole_fractions": DRY_AIR}])
def test_what_does_not_burn_is_not_doubted_for_its_burning(smallest, gas):
    assert believed(smallest, gas).centre == 0


def test_a_mixture_that_is_given_is_known(smallest):
    assert believed(smallest, {"mole_fractions": DRY_AIR}).spread == 0


def test_an_answer_widens_and_says_what_would_narrow_it(steady, smallest):
    told = {"fuel": "petrol", "excess_air_ratio": 1.0}
    open_answer = steady(with_gas(smallest, None))
    sure = steady(with_gas(smallest, told))
    assert open_answer["resonance"] == sure["resonance"]

    def ends(answer):
        return answer["prediction"]["resonance_Hz"]["interval_90"]

    (low, high), (sure_low, sure_high) = ends(open_answer), ends(sure)
    assert high - low > sure_high - sure_low
    # What else may burn sounds higher: the upper end gives way for more than the lower.
    assert high - sure_high > sure_low - low
    said = [text for text in open_answer["assumptions"] if "main_pipe.gas" in text]
    assert len(said) == 1
    assert "0.8 %" in said[0]
    assert not any("main_pipe.gas" in text for text in sure["assumptions"])
    for answer, untold in ((open_answer, True), (sure, False)):
        narrowed = answer["prediction"]["narrowed_by"]
        (remedy,) = [one["remedy"] for one in narrowed if one["unknown"] == "tone"]
        assert ("main_pipe.gas" in remedy) is untold


def test_the_excess_air_alone_may_be_left_out(steady, smallest):
    answer = steady(with_gas(smallest, {"fuel": "diesel"}))
    said = [text for text in answer["assumptions"] if "excess_air_ratio" in text]
    assert len(said) == 1
    assert "diesel" in said[0]
    (remedy,) = [
        one["remedy"] for one in answer["prediction"]["narrowed_by"] if one["unknown"] == "tone"
    ]
    assert "main_pipe.gas.excess_air_ratio" in remedy
