"""Every answer with a part on the work that was done says who went through the hot loops."""

from __future__ import annotations

import pytest

from shared.readings import infrared
from shared.requests import CASE
from warmbranch import core
from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch_service.fit.answer import answer_fit
from warmbranch_service.fit.request import FitRequest
from warmbranch_service.length.answer import answer_length
from warmbranch_service.length.request import LengthRequest
from warmbranch_service.steady.answer import steady
from warmbranch_service.steady.request import SteadyRequest
from warmbranch_service.warmup.answer import warmup
from warmbranch_service.warmup.request import WarmupRequest

READINGS = [infrared(x, t, emissivity_set=0.95) for x, t in ((120, 150), (450, 80))]


def _steady():
    return steady(SteadyRequest(case=CASE)).solver


def _length():
    return answer_length(LengthRequest(case=CASE, target={"quiet_rpm": 2350})).work


def _warmup():
    return warmup(WarmupRequest(case=CASE)).solver


def _fit():
    known = {"fixed": [name for name in UNKNOWNS if name != "stirring"]}  # sooner answered
    return answer_fit(FitRequest(case=CASE, readings=READINGS, unknowns=known)).solver


@pytest.mark.parametrize("setting", ["on", "off"])
@pytest.mark.parametrize("asked", [_steady, _length, _warmup, _fit])
def test_an_answer_says_who_went_through_the_loops(asked, setting, monkeypatch):
    monkeypatch.setenv(core.OFF, setting)
    told = asked().loops
    assert told == core.name()
    assert told == "numpy" if setting == "off" else told.startswith("c ")
