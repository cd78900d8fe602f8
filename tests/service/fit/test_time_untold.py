"""``POST /v1/fit`` and ``warmbranch fit`` where nobody tells how long the engine had run."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from warmbranch_service.command.cli import OK, REFUSED, main

Body = dict[str, Any]


@pytest.fixture
def body(van: Body) -> Body:
    """The demo van, heard once; the number is invented."""
    return {**van, "heard": [{"quiet_rpm": 2300, "uncertainty_rpm": 20}], "target_rpm": 2500}


def test_it_is_asked_for_and_what_telling_gives_is_said(fit: Callable[..., Body], body: Body):
    untold, warm = fit(body), fit({**body, "time_s": "1 h"})
    told = untold["time_untold"]
    assert warm["time_untold"] is None
    assert "How many minutes" in told["question"]
    held_back = told["held_back_mm"]
    assert 0 < told["chance"] <= 0.5
    assert told["tone_low_percent"] > 0
    gained = warm["trim"]["cut_now_mm"] - untold["trim"]["cut_now_mm"]
    # Other draws and their tails: the advice moves by 2 mm with them.
    assert held_back == pytest.approx(gained, abs=4)
    assert held_back > 0
    assert f"{held_back:.0f} mm are kept back" in untold["trim"]["message"]
    assert f"keeps back {held_back:.0f} mm" in told["message"]
    assert "kept back" not in warm["summary"]
    (caution,) = [one for one in untold["cautions"] if one["code"] == "time_untold"]
    assert caution["field"] == "time_s"
    assert not [one for one in warm["cautions"] if one["code"] == "time_untold"]


def test_the_interval_reaches_higher_and_no_lower(fit: Callable[..., Body], body: Body):
    low, high = fit(body)["prediction"]["quiet_rpm"]["interval_90"]
    least, most = fit({**body, "time_s": 3600})["prediction"]["quiet_rpm"]["interval_90"]
    assert high > most
    # The branch that may be warming already moved the lower end, a little.
    assert low == pytest.approx(least, rel=0.01)


def test_nothing_is_asked_where_it_makes_no_difference(fit: Callable[..., Body], body: Body):
    assert fit({**body, "heard": []})["time_untold"] is None
    without = fit({name: part for name, part in body.items() if name != "target_rpm"})
    assert without["time_untold"]["held_back_mm"] is None
    assert "keeps back" not in without["time_untold"]["message"]
    timed = [{"quiet_rpm": 2300, "time_s": 900}]
    assert fit({**body, "heard": timed})["time_untold"] is None


def test_the_command_takes_the_time(tmp_path: Path, capsys: pytest.CaptureFixture[str], body: Body):
    file = tmp_path / "my.json"
    file.write_text(json.dumps(body))
    assert main(["fit", str(file)]) == OK
    assert "kept back" in " ".join(capsys.readouterr().out.split())
    assert main(["fit", str(file), "--since-start", "45 min", "--json"]) == OK
    assert json.loads(capsys.readouterr().out)["time_untold"] is None
    assert main(["fit", str(file), "--since-start", "soon"]) == REFUSED
    assert "time_s" in capsys.readouterr().err
