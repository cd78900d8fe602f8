"""A usual slip of whoever read is asked about before anything is advised to the saw."""

from __future__ import annotations

import math
import re

import pytest

from shared.readings import infrared
from warmbranch.fit.rivals import Rival
from warmbranch_service.fit.answer_schema import FitAnswer
from warmbranch_service.fit.table import headline

LONG_MM = 1000
"""Of the van's last straight: some 60 mm too much, so that a saw has work."""


def test_no_cut_is_advised_before_a_slip_is_settled(fit, van):
    """Readings in °F that pass for °C: far likelier as a slip than as written."""
    van["case"]["branch"]["centreline"][-1]["straight_mm"] = LONG_MM
    shown = [(60, 112), (120, 72), (200, 41), (305, 27)]
    van["readings"] = [infrared(place, 1.8 * degrees + 32) for place, degrees in shown]
    answer = fit({**van, "target_rpm": 2350, "time_s": "1 h"})
    assert answer["rivals"][0]["name"] == "fahrenheit"
    trim = answer["trim"]
    assert trim["withheld_for"] == "fahrenheit"
    assert trim["saw_now_mm"] == trim["cut_now_mm"] == trim["already_cut_mm"] == 0
    assert trim["next_step"] == "leave it"
    assert trim["cuts_ahead"] is None
    assert trim["chance_too_short"] < 0.015  # nothing is off
    assert answer["summary"].startswith("Settle a slip first. ")
    assert "did it show °F?" in answer["summary"]
    assert "fits what was read" not in answer["summary"]
    line = headline(FitAnswer.model_validate(answer))
    assert line.startswith("As degrees Fahrenheit")
    assert not re.search(r"\bcut \d", f"{line} {answer['summary']}", re.IGNORECASE)


@pytest.mark.parametrize(("odds", "waits"), [(0.994, False), (0.996, True)])
def test_the_saw_and_the_line_go_by_the_odds_that_are_told(fit, van, monkeypatch, odds, waits):
    """0.996 is told as 1: neither part of one answer may take it for less."""
    slip = Rival("from_cap", odds, 80.0)
    monkeypatch.setattr("warmbranch.fit.solve.weigh", lambda *_: (slip,))
    van["case"]["branch"]["centreline"][-1]["straight_mm"] = LONG_MM
    body = {**van, "heard": [{"quiet_rpm": 2130}], "target_rpm": 2350, "time_s": "1 h"}
    answer = fit(body)
    assert (answer["trim"]["withheld_for"] == "from_cap") is waits
    assert answer["summary"].startswith("Settle a slip first. ") is waits
    assert ("Settle that before any cut" in headline(FitAnswer.model_validate(answer))) is waits


@pytest.mark.parametrize("kind", ["infrared", "contact"])
def test_degrees_celsius_that_were_written_as_fahrenheit_are_asked_about(fit, van, kind):
    shown = [(60, 112), (120, 72), (200, 41), (305, 27)]
    surface = {"surface": "matt black paint"} if kind == "infrared" else {}
    van["readings"] = [
        {"thermometer": kind, **surface, "position_mm": place, "displayed_degC": f"{degrees} F"}
        for place, degrees in shown
    ]
    told = fit({**van, "time_s": "1 h"})["rivals"]
    assert told[0]["name"] == "celsius"
    assert "did it show °C?" in told[0]["sentence"]
    assert "fahrenheit" not in [one["name"] for one in told]


def test_the_line_of_a_fit_counts_no_cut_twice_and_tells_no_cut_of_nothing(fit, van):
    """Heard with 20 mm off already: what the saw takes now is of the branch as it stands."""
    van["case"]["branch"]["centreline"][-1]["straight_mm"] = LONG_MM
    length = LONG_MM + 180 + math.radians(90) * 72
    van["heard"] = [
        {"quiet_rpm": 2130, "uncertainty_rpm": 20},
        {"quiet_rpm": 2170, "uncertainty_rpm": 20, "centreline_length_mm": length - 20},
    ]
    answer = fit({**van, "target_rpm": 2350, "time_s": "1 h"})
    trim = answer["trim"]
    assert trim["already_cut_mm"] == pytest.approx(20, abs=0.06)
    assert trim["saw_now_mm"] == pytest.approx(trim["cut_now_mm"] - trim["already_cut_mm"])
    assert f"cut {trim['saw_now_mm']:.0f} mm now" in trim["message"]
    assert headline(FitAnswer.model_validate(answer)).endswith(
        f"Cut {trim['saw_now_mm']:.0f} mm now."
    )
    satisfied = FitAnswer.model_validate(fit({**van, "target_rpm": 2100, "time_s": "1 h"}))
    assert satisfied.trim is not None
    assert satisfied.trim.saw_now_mm == 0
    assert headline(satisfied).endswith("Do not cut.")
