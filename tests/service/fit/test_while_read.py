"""``POST /v1/fit`` where it was read in another air, or by another gas, than it drones in."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jsonschema_rs import Draft202012Validator

from shared.document import KEPT
from shared.posting import refusals
from shared.readings import contact, infrared
from warmbranch.base.constants import ICE_POINT
from warmbranch.fit import solve as model
from warmbranch.fit.standing import Standing
from warmbranch.learn import summary as learning
from warmbranch.steady.solve import solve
from warmbranch_service.case.convert import to_physics
from warmbranch_service.command.cli import OK, main
from warmbranch_service.fit.as_read import as_read
from warmbranch_service.fit.request import WARM_FROM, FitRequest

Body = dict[str, Any]

STOOD = {"air_speed_m_s": 0.5}


@pytest.fixture
def refused(client):
    """Post a request that must be refused, and return its first entry."""
    return refusals(client, "/v1/fit")


@pytest.fixture
def body(van: Body) -> Body:
    """The demo van, driven in 4 m/s of air; its readings are invented."""
    return {**van, "readings": [infrared(80, 92), infrared(200, 40)], "time_s": "1 h"}


@pytest.fixture
def fitted(monkeypatch) -> list[Body]:
    """What the model was asked with, call by call."""
    calls: list[Body] = []

    def spy(*case, **asked):
        calls.append(asked)
        return model.fit(*case, **asked)

    monkeypatch.setattr("warmbranch_service.fit.answer.fit", spy)
    return calls


def cautions(answer: Body) -> list[Body]:
    return [one for one in answer["cautions"] if one["code"] == "read_in_the_wind"]


def admits(body: Body) -> bool:
    content = KEPT["paths"]["/v1/fit"]["post"]["requestBody"]["content"]
    schema = {**content["application/json"]["schema"], "components": KEPT["components"]}
    return Draft202012Validator(schema).is_valid(body)


EARLY = WARM_FROM - 1


@pytest.mark.parametrize(
    ("more", "pointer", "code"),
    [
        ({"while_read": {}}, "/while_read/air_speed_m_s", "nothing_told"),
        ({"while_read": {"mass_flow_kg_h": None}}, "/while_read/air_speed_m_s", "nothing_told"),
        ({"while_read": STOOD, "readings": []}, "/while_read", "nothing_read"),
        ({"while_read": STOOD, "time_s": EARLY}, "/time_s", "read_in_time"),
        (
            {"while_read": STOOD, "readings": [contact(80, 92), contact(80, 92, time_s=EARLY)]},
            "/readings/1/time_s",
            "read_in_time",
        ),
        ({"while_read": {"air_speed_m_s": 61}}, "/while_read/air_speed_m_s", "out_of_range"),
        ({"while_read": {"mass_flow_kg_h": -1}}, "/while_read/mass_flow_kg_h", "out_of_range"),
        ({"while_read": {"wind": 3}}, "/while_read/wind", "unknown_field"),
        ({"while_read": 0.5}, "/while_read", "wrong_type"),
    ],
)
def test_the_impossible_is_refused_and_the_schema_says_so(refused, body, more, pointer, code):
    entry = refused({**body, **more})
    assert (entry["pointer"], entry["code"]) == (pointer, code)
    assert not admits({**body, **more})


def test_the_schema_admits_what_is_answered(fit, body):
    late = [contact(80, 92, time_s=WARM_FROM), contact(200, 40)]
    for more in (
        {"while_read": STOOD},
        {"while_read": None, "readings": []},
        {"while_read": {"mass_flow_kg_h": 0, "air_speed_m_s": None}, "time_s": None},
        {"while_read": STOOD, "readings": late, "time_s": WARM_FROM},
    ):
        assert admits({**body, **more})
        fit({**body, **more})


def test_early_times_with_a_unit_are_refused_by_a_rule_of_the_schema(refused, body):
    entry = refused({**body, "while_read": STOOD, "time_s": "20 min"})
    assert (entry["pointer"], entry["code"]) == ("/time_s", "read_in_time")
    rules = KEPT["components"]["schemas"]["FitRequest"]["x-rules"]
    assert "read_in_time" in [rule["code"] for rule in rules]


@pytest.mark.parametrize(
    ("told", "value"),
    [({"mass_flow_kg_h": 5000}, 5000), ({"gas_temperature_degC": 1000}, None)],
)
def test_no_gas_outruns_sound_while_it_is_read(refused, body, put, told, value):
    """By a flow that is told, or by the case's through hotter gas."""
    put(body, "case.main_pipe.mass_flow_kg_h", 2000)  # at 0.7 times the speed of sound
    entry = refused({**body, "while_read": told})
    assert (entry["pointer"], entry["code"], entry["value"], entry["unit"]) == (
        "/while_read/mass_flow_kg_h",
        "mass_flow_out_of_range",
        value,
        "kg/h",
    )
    rules = KEPT["components"]["schemas"]["WhileRead"]["x-rules"]
    assert "mass_flow_out_of_range" in [rule["code"] for rule in rules]


def test_its_limits_are_the_cases(schemas):
    own = schemas["WhileRead"]["properties"]
    for name, field in own.items():
        of_the_case = {**schemas["Surroundings"], **schemas["MainPipe"]}["properties"]
        of_the_case = {**schemas["Surroundings"]["properties"], **of_the_case}
        forms = [form for form in of_the_case[name]["anyOf"] if form != {"type": "null"}]
        assert [form for form in field["anyOf"] if form != {"type": "null"}] == forms
        assert {"type": "null"} in field["anyOf"]


def test_the_model_is_told_and_the_answer_says_so(fit, body, fitted):
    answer = fit({**body, "while_read": {**STOOD, "gas_temperature_degC": 190}})
    state = fitted[0]["as_read"]
    assert state.surroundings.air_speed == [0.5]
    (said,) = [one for one in answer["assumptions"] if "while_read" in one]
    assert "air of 18 °C that moves at 0.5 m/s, with main gas of 190 °C at 95 kg/h" in said
    assert not cautions(answer)
    assert answer["read_standing"] is None
    untold = fit(body)
    assert fitted[1]["as_read"] is None
    assert untold["read_standing"]["chance"] < 1


def test_a_job_to_learn_from_is_told_the_same_way(client, body, monkeypatch):
    jobs = []

    def spy(job):
        jobs.append(job)
        return learning.summary_of(job)

    monkeypatch.setattr("warmbranch_service.learn.answer.summary_of", spy)
    told = {"name": "stood", **body, "while_read": STOOD}
    response = client.post("/v1/learn", json={"jobs": [told, {"name": "untold", **body}]})
    assert response.status_code == 200, response.text
    assert jobs[0].as_read.surroundings.air_speed == [0.5]
    assert jobs[1].as_read is None
    response = client.post("/v1/learn", json={"jobs": [{**told, "readings": [], "heard": []}]})
    assert response.json()["errors"][0]["pointer"] == "/jobs/0/while_read"


@pytest.mark.parametrize(
    ("around", "field"),
    [
        ({"air_speed_m_s": 2}, "air_speed_m_s"),
        ({"air_speed_m_s": 1.9}, None),
        ({"place": "under a moving car"}, "place"),
        ({"place": "under a moving car", "air_speed_m_s": 9}, "air_speed_m_s"),
        ({"place": "under a standing car"}, None),
        ({"place": "under a moving car", "air_speed_m_s": 0.5}, None),
        ({"rear": {"from_mm": 500, "air_speed_m_s": 3}}, "rear.air_speed_m_s"),
        ({}, None),
    ],
)
def test_a_windy_case_asks_how_it_was_read(fit, body, monkeypatch, around, field):
    def undecided(*case, **asked):
        found = model.fit(*case, **asked)
        return replace(found, standing=None if found.standing is None else Standing(0.5))

    monkeypatch.setattr("warmbranch_service.fit.answer.fit", undecided)
    body["case"]["surroundings"] = around
    answer = fit(body)
    fields = [one["field"] for one in cautions(answer)]
    assert fields == ([] if field is None else [f"case.surroundings.{field}"])
    # In which air the readings are taken to be stands there either way.
    assert [one for one in answer["assumptions"] if "m/s" in one and "eadings" in one]
    assert not cautions(fit({**body, "while_read": STOOD}))


def test_nothing_is_asked_where_nothing_was_read_of_the_settled_branch(fit, body):
    mixed = [*body["readings"], contact(300, 30, time_s=600)]
    assert not cautions(fit({**body, "readings": mixed}))  # for which while_read is refused
    for more in ({"readings": [], "heard": [{"quiet_rpm": 2380}]}, {"time_s": 600}):
        answer = fit({**body, **more})
        assert not cautions(answer)
        assert not [one for one in answer["assumptions"] if "eadings are taken to be" in one]


@pytest.mark.parametrize(
    ("odds", "told", "said"),
    [
        (37.4, 37, "taken standing still is 37 times likelier than in the case's air of 4 m/s"),
        (0.0204, 0.02, "taken in the case's air of 4 m/s is 50 times likelier than standing still"),
        (1.2, 1.2, "do not tell"),
        (1e9, 1e6, "1000 times likelier"),
        (0.0, 1e-6, "1000 times likelier"),
    ],
)
def test_what_the_fit_weighed_is_told(fit, body, monkeypatch, odds, told, said):
    def weighing(*case, **asked):
        return replace(model.fit(*case, **asked), standing=Standing(odds / (1 + odds)))

    monkeypatch.setattr("warmbranch_service.fit.answer.fit", weighing)
    answer = fit(body)
    standing = answer["read_standing"]
    assert standing["odds"] == told
    assert standing["chance"] == pytest.approx(odds / (1 + odds), abs=0.005)
    assert said in standing["message"]
    # Beyond doubt as the case tells: nothing to ask about.
    asked = told > 1e-6
    assert (said in answer["summary"]) is asked
    assert ("taken to be so" in standing["message"]) is (told in (1e6, 1e-6))
    assert ["Both are weighed" in one["message"] for one in cautions(answer)] == [True] * asked
    assert [one for one in answer["assumptions"] if "or standing still" in one]


def test_late_readings_count_as_settled(fit, body):
    late = [contact(80, 92, time_s="50 min"), contact(200, 40, time_s=3000)]
    answer = fit({**body, "readings": late, "time_s": None, "while_read": STOOD})
    assert [one["time_s"] for one in answer["residuals"]] == [None, None]
    assert answer["time_untold"] is None
    assert "warm-up" not in answer["summary"]


def test_the_command_sets_it(tmp_path: Path, capsys: pytest.CaptureFixture[str], body: Body, fit):
    file = tmp_path / "my.json"
    file.write_text(json.dumps(body))
    assert main(["fit", str(file), "--set", "while_read.air_speed_m_s=0.5", "--json"]) == OK
    assert json.loads(capsys.readouterr().out) == fit({**body, "while_read": STOOD})


@pytest.mark.parametrize(
    "otherwise", [STOOD, {**STOOD, "gas_temperature_degC": 220, "mass_flow_kg_h": 30}]
)
def test_told_how_it_was_read_the_tone_on_the_road_comes_right(fit, van, otherwise):
    """Readings of the model's own, taken standing, of a van that drones in 12 m/s of air."""
    van["case"]["surroundings"]["air_speed_m_s"] = 12
    places = [60, 120, 200, 350]
    body = {**van, "readings": [contact(place, 60) for place in places], "time_s": "1 h"}
    request = FitRequest.model_validate({**body, "while_read": otherwise})
    converted = to_physics(request.case)
    state = as_read(request, converted)
    assert state is not None
    stood = solve(state).profile
    shown = np.interp(np.array(places) / 1e3, stood.position[0], stood.skin[0]) - ICE_POINT
    body["readings"] = [
        contact(place, float(skin)) for place, skin in zip(places, shown, strict=True)
    ]
    truth = float(solve(converted.given).resonance[0, 0]) * 30  # order 2
    told = fit({**body, "while_read": otherwise})["prediction"]["quiet_rpm"]
    low, high = told["interval_50"]
    assert low < truth < high
    # Taken for readings in the wind they make a hotter branch of it.
    in_the_wind = fit({**body, "while_read": {"air_speed_m_s": 12}})["prediction"]["quiet_rpm"]
    assert truth < in_the_wind["interval_50"][0]
    assert in_the_wind["median"] > told["median"] + 30


@pytest.mark.parametrize(("chance", "said"), [(0.62, "more likely than not"), (0.3, "possible")])
def test_an_engine_that_may_have_idled_is_asked_about(fit, body, monkeypatch, chance, said):
    def weighing(*case, **asked):
        return replace(model.fit(*case, **asked), idling=chance)

    monkeypatch.setattr("warmbranch_service.fit.answer.fit", weighing)
    answer = fit(body)
    idle = answer["read_idling"]
    assert idle["chance"] == chance
    assert said in idle["message"]
    assert said in answer["summary"]
    (caution,) = [one for one in answer["cautions"] if one["code"] == "read_at_idle"]
    assert "while_read.gas_temperature_degC" in caution["message"]


def test_an_engine_that_hardly_idled_is_not(fit, body):
    answer = fit(body)
    assert answer["read_idling"] is None
    assert not [one for one in answer["cautions"] if one["code"] == "read_at_idle"]


def test_readings_of_a_real_idle_are_known_by_their_cold(fit, van):
    """Readings of the model's own, in still air, with half of the gas's excess and a third of the
    flow; who says so gets the tone of the droning engine, who does not is asked."""
    van["case"]["surroundings"]["air_speed_m_s"] = 0
    places = [60, 120, 200, 350, 600]
    body = {**van, "readings": [contact(place, 60) for place in places], "time_s": "1 h"}
    otherwise = {"gas_temperature_degC": 164, "mass_flow_kg_h": 30}
    request = FitRequest.model_validate({**body, "while_read": otherwise})
    converted = to_physics(request.case)
    idle = solve(as_read(request, converted)).profile
    shown = np.interp(np.array(places) / 1e3, idle.position[0], idle.skin[0]) - ICE_POINT
    body["readings"] = [
        contact(place, float(skin)) for place, skin in zip(places, shown, strict=True)
    ]
    truth = float(solve(converted.given).resonance[0, 0]) * 30  # order 2
    told, untold = fit({**body, "while_read": otherwise}), fit(body)
    assert told["read_idling"] is None
    low, high = told["prediction"]["quiet_rpm"]["interval_50"]
    assert low < truth < high
    assert untold["read_idling"]["chance"] >= 0.3
    low, high = untold["prediction"]["quiet_rpm"]["interval_90"]
    assert low < truth < high
    as_the_case = fit({**body, "while_read": {"air_speed_m_s": 0}})["prediction"]["quiet_rpm"]
    assert as_the_case["median"] < told["prediction"]["quiet_rpm"]["median"] - 20
