"""``POST /v1/fit`` and ``warmbranch fit`` with readings taken while the branch warms up."""

from __future__ import annotations

import json
from typing import Any

import pytest

from warmbranch.belief.unknowns import UNKNOWNS
from warmbranch_service.command.cli import OK, REFUSED, main

Body = dict[str, Any]

CURVE = [
    {"time_s": 0, "gas_temperature_degC": 18},
    {"time_s": 60, "gas_temperature_degC": 200},
    {"time_s": 300, "gas_temperature_degC": "590 F"},
]


def contact(position: float, shown: float, **more: Any) -> Body:
    return {"position_mm": position, "displayed_degC": shown, "thermometer": "contact", **more}


@pytest.fixture
def body(van) -> Body:
    """The demo van, read 2, 5 and 9 minutes after a cold start; the displays are invented."""
    van["readings"] = [
        contact(60, 55, time_s=120),
        contact(60, 91, time_s="5 min"),
        contact(150, 52, time_s=540),
    ]
    return van


def test_the_answer_says_what_readings_in_time_did(fit, body):
    answer = fit(body)
    assert answer["outcome"] in ("fitted", "prior-dominated")
    assert [one["time_s"] for one in answer["residuals"]] == [120, 300, 540]
    # The same spot twice, each compared with its own moment.
    assert [one["suspect"] for one in answer["residuals"]] == [False] * 3
    assert "taken during the warm-up" in answer["summary"]
    assert answer["parameters"][-1]["name"] == "start_time_factor"
    assert any("30 s and 240 s, an assumption" in said for said in answer["assumptions"])
    assert answer["prediction"]["learned_share"] > 0.03


def test_one_settled_reading_beside_them_is_told_apart(fit, body):
    answer = fit({**body, "readings": [*body["readings"], contact(400, 60)]})
    assert answer["residuals"][-1]["time_s"] is None
    assert "3 of 4 were taken during the warm-up" in answer["summary"]


def test_what_is_reached_early_needs_more_stirring_than_what_is_settled(fit, body):
    """One unknown, one reading of 95 °C: after five minutes, or when all has settled."""
    known = {"fixed": [name for name in UNKNOWNS if name != "stirring"]}
    known["start_time_spread_percent"] = 0
    early = body["readings"][1]
    settled = {name: value for name, value in early.items() if name != "time_s"}
    # Untold, so cool a skin would be taken for that of an engine at idle.
    droning = {"gas_temperature_degC": body["case"]["main_pipe"]["gas_temperature_degC"]}
    stirring = [
        fit({**body, "readings": [one], "unknowns": known, **more})["parameters"][0]["estimate"]
        for one, more in ((early, {}), (settled, {"while_read": droning}))
    ]
    assert stirring[0] > 1.1 * stirring[1]


def test_a_curve_is_taken_as_drawn(fit, body):
    answer = fit({**body, "warm_up": {"gas_temperature_curve": CURVE}})
    assert all(one["name"] != "start_time_factor" for one in answer["parameters"])
    assert not any("an assumption: give your own" in said for said in answer["assumptions"])


def test_time_constants_may_be_known(fit, body):
    start = {"model": "cold start", "time_constants_s": [20, 200], "first_share": 0.7}
    given = {"warm_up": {"start": start}, "unknowns": {"start_time_spread_percent": 0}}
    answer = fit({**body, **given})
    assert all(one["name"] != "start_time_factor" for one in answer["parameters"])
    assert any("20 s and 200 s." in said for said in answer["assumptions"])


def test_after_a_stop_the_skin_cools(fit, van):
    """Minutes after the stop the skin near the mouth is far below the running one."""
    warm_up = {"start": {"model": "engine stop"}}
    readings = [contact(60, 60, time_s="2 min"), contact(60, 40, time_s="8 min")]
    answer = fit({**van, "readings": readings, "warm_up": warm_up})
    shown = [one["expected_degC"] for one in answer["residuals"]]
    assert shown[0] > shown[1] + 5
    assert any("After the stop" in said for said in answer["assumptions"])


def test_a_warm_up_that_no_reading_uses_is_told(fit, van):
    answer = fit({**van, "readings": [contact(120, 95)], "warm_up": {}})
    assert any("the warm-up tells only how a branch lags" in said for said in answer["assumptions"])


REFUSED_BODIES = {
    "before the start": (
        {"readings": [contact(120, 60, time_s=-1)]}, "readings[0].time_s", "s",
    ),
    "over six hours": (
        {"readings": [contact(120, 60, time_s=21601)]}, "readings[0].time_s", "s",
    ),
    "no time": (
        {"readings": [contact(120, 60, time_s="soon")]}, "readings[0].time_s", "s",
    ),
    "a curve that goes back": (
        {"warm_up": {"gas_temperature_curve": [CURVE[0], CURVE[2], CURVE[1]]}},
        "warm_up.gas_temperature_curve[2].time_s", "s",
    ),
    "a curve from later on": (
        {"warm_up": {"gas_temperature_curve": CURVE[1:]}},
        "warm_up.gas_temperature_curve[0].time_s", "s",
    ),
    "curve and start": (
        {"warm_up": {"gas_temperature_curve": CURVE, "start": {"model": "cold start"}}},
        "warm_up.start", None,
    ),
    "an unknown start": ({"warm_up": {"start": {"model": "lukewarm"}}}, "warm_up.start", None),
    "a duration": ({"warm_up": {"duration_min": 5}}, "warm_up.duration_min", None),
    "a spread beyond all": (
        {"unknowns": {"start_time_spread_percent": 101}},
        "unknowns.start_time_spread_percent", "%",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED_BODIES)
def test_refusals_name_field_unit_and_remedy(client, van, name):
    change, field, unit = REFUSED_BODIES[name]
    response = client.post("/v1/fit", json={**van, **change})
    assert response.status_code == 422, response.text
    entry = response.json()["errors"][0]
    assert entry["field"] == field
    assert entry["remedy"].endswith(".")
    if unit is not None:
        assert entry["unit"] == unit


def test_a_table_may_have_a_column_of_times(van, tmp_path, capsys):
    request, table = tmp_path / "van.json", tmp_path / "readings.csv"
    request.write_text(json.dumps(van))
    table.write_text(
        "position_mm,displayed_degC,thermometer,time_s\n"
        "120,62,contact,120\n120,95,contact,5 min\n400,60,contact,\n"
    )
    assert main(["fit", str(request), "--readings", str(table)]) == OK
    printed = capsys.readouterr().out
    assert "2.0 min after the start" in printed
    assert "5.0 min after the start" in printed
    assert printed.count("min after the start") == 2
    table.write_text("position_mm,displayed_degC,thermometer,time_s\n120,62,contact,-5\n")
    assert main(["fit", str(request), "--readings", str(table)]) == REFUSED
    assert "readings[0].time_s" in capsys.readouterr().err
