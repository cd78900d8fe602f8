"""What a sweep may not ask, and the place, value, unit and remedy that a refusal names."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from shared.requests import GAS
from warmbranch_service.http.app import create_app
from warmbranch_service.http.settings import Settings

SOBOL = {"method": "sobol", "count": 8}


def vary(field, **way):
    return {"field": field, **way}


REFUSED = [
    # field
    (vary("case.main_pipe.gas_temperatur_degC", values=[1]), "/field", "no_such_field",
     "Did you mean gas_temperature_degC?"),
    (vary("main_pipe.gas_temperature_degC", values=[1]), "/field", "no_such_field",
     "begins with case"),
    (vary("case.branch.wrap.thickness_mm", values=[1]), "/field", "no_such_field",
     "Give case.branch.wrap in the case"),
    (vary("case.branch.centreline[7].straight_mm", values=[1]), "/field", "no_such_field",
     "0 to 2"),
    (vary("case.branch.centreline", values=[1]), "/field", "no_such_field", "single number"),
    (vary("case", values=[1]), "/field", "no_such_field", "single number"),
    (vary("", values=[1]), "/field", "no_such_field", "begins with case"),
    (vary("case.closures.wall_losses", values=[1]), "/field", "no_such_field", "single number"),
    (vary("case.closures.mixing.model", values=[1]), "/field", "no_such_field", "single number"),
    (vary("case.closures.calibration.mean[0]", values=[1]), "/field", "no_such_field",
     "without it"),
    (vary(GAS + ".x", values=[1]), "/field", "no_such_field", "gas_temperature_degC"),
    (vary("case.branch.length_mm", values=[900]), "/field", "field_given_twice", "centreline"),
    (vary("case.branch.emissivity", values=[0.5]), "/field", "field_given_twice", "emissivity"),
    # values
    (vary(GAS, values=[300, 1200]), "/values/1", "out_of_range", "from -40 to 1000 degC"),
    (vary(GAS, values=["300 mm"]), "/values/0", "wrong_unit", "degC"),
    (vary(GAS, values=["hot"]), "/values/0", "no_quantity", "degC"),
    (vary(GAS, values=[True]), "/values/0", "not_a_number", "number"),
    (vary(GAS, values=[None]), "/values/0", "not_a_number", "number"),
    (vary(GAS, values=[]), "/values", "too_short", "at least 1"),
    (vary("case.branch.material", values=["steal"]), "/values/0", "unknown_name", "Give one of"),
    (vary("case.engine.cylinders", values=[2.5]), "/values/0", "not_a_number", "whole"),
    # ways
    (vary(GAS), "", "not_one_way", "exactly one"),
    (vary(GAS, values=[1], uniform={"low": 1, "high": 2}), "", "not_one_way", "exactly one"),
    (vary(GAS, grid={"from": 1, "to": 2000, "count": 3}), "/grid/to", "out_of_range", "degC"),
    (vary(GAS, grid={"from": 1, "to": 1, "count": 3}), "/grid/to", "grid_of_one_value", "values"),
    (vary(GAS, grid={"from": 0, "to": 9, "count": 3, "spacing": "logarithmic"}), "/grid/spacing",
     "no_ratio", "linear"),
    (vary(GAS, grid={"from_": 0, "to": 9, "count": 3}), "/grid/from", "missing", "Give from"),
    (vary(GAS, grid={"from": 0, "to": 9, "count": 1}), "/grid/count", "out_of_range", "from 2"),
    (vary("case.branch.material", grid={"from": "copper", "to": "mild steel", "count": 3}), "/grid",
     "names_have_no_grid", "values"),
    (vary("case.engine.cylinders", grid={"from": 2, "to": 5, "count": 3}), "/grid", "not_a_number",
     "whole"),
    (vary(GAS, uniform={"low": 300, "high": 200}), "/uniform/high", "range_falls", "above 300"),
    (vary(GAS, normal={"mean": 300, "standard_deviation": 0}), "/normal/standard_deviation",
     "not_a_deviation", "above 0"),
    (vary(GAS, normal={"mean": 300, "standard_deviation": 1, "low": 400}), "/normal",
     "nothing_within_limits", "limits"),
    (vary(GAS, lognormal={"median": -5, "log_standard_deviation": 1}), "/lognormal/median",
     "no_logarithm", "above 0"),
    (vary("case.engine.cylinders", uniform={"low": 2, "high": 5}), "/uniform", "no_distribution",
     "values"),
]  # fmt: skip


@pytest.mark.parametrize(("entry", "place", "code", "words"), REFUSED)
def test_refusal_names_place_and_remedy(sweep_refused, van, entry, place, code, words):
    found = sweep_refused({**van, "vary": [entry], "sampling": SOBOL})
    assert found["pointer"] == f"/vary/0{place}"
    assert found["code"] == code
    assert words in found["detail"] + found["remedy"]


def test_refused_value_is_told_with_its_unit(sweep_refused, van):
    found = sweep_refused({**van, "vary": [vary(GAS, values=[1200])]})
    assert (found["value"], found["unit"]) == (1200, "degC")
    assert GAS in found["detail"]


WHOLE = [
    ({"sampling": {"method": "grid"}, "vary": [vary(GAS, uniform={"low": 1, "high": 2})]},
     "/vary/0/uniform", "needs_a_sample"),
    ({"sampling": {"method": "list"},
      "vary": [vary(GAS, values=[1, 2]), vary("case.surroundings.air_speed_m_s", values=[1])]},
     "/vary/1/values", "unequal_lists"),
    ({"vary": [vary(GAS, values=[1]), vary("/case/main_pipe/gas_temperature_degC", values=[2])]},
     "/vary/1/field", "field_given_twice"),
    ({"vary": []}, "/vary", "too_short"),
    ({"vary": [vary(GAS, values=[1])] * 41}, "/vary", "too_long"),
    ({"sampling": {"method": "dice"}}, "/sampling", "unknown_model"),
    ({"sampling": {"method": "sobol"}}, "/sampling/count", "missing"),
    ({"sampling": {"method": "latin hypercube", "count": 1_000_001}}, "/sampling/count",
     "out_of_range"),
    ({"outputs": ["resonance.loudness"]}, "/outputs/0", "unknown_name"),
    ({"outputs": []}, "/outputs", "too_short"),
    ({"from_line": 0}, "/from_line", "out_of_range"),
    ({"from_line": 12}, "/from_line", "beyond_the_end"),
    ({"transmission_loss_at_Hz": [0]}, "/transmission_loss_at_Hz/0", "out_of_range"),
    ({"transmission_loss_at_rpm": [2000] * 102}, "/transmission_loss_at_rpm", "too_long"),
    ({"colour": 1}, "/colour", "unknown_field"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "pointer", "code"), WHOLE)
def test_parts_must_fit_each_other(sweep_refused, van, changes, pointer, code):
    body = {**van, "vary": [vary(GAS, values=[300])], "sampling": SOBOL, **changes}
    found = sweep_refused(body)
    assert (found["pointer"], found["code"]) == (pointer, code)


def test_engine_speeds_need_an_engine(sweep_refused, smallest):
    body = {**smallest, "vary": [vary(GAS, values=[300])], "transmission_loss_at_rpm": [2000]}
    assert sweep_refused(body)["pointer"] == "/transmission_loss_at_rpm"


def test_case_itself_must_be_admitted(sweep_refused, van):
    van["case"]["branch"]["wall_thickness_mm"] = 30
    found = sweep_refused({**van, "vary": [vary(GAS, values=[300])]})
    assert found["pointer"] == "/case/branch/wall_thickness_mm"


def test_service_admits_so_many_designs(van):
    body = {**van, "vary": [vary(GAS, values=[300, 310, 320])]}
    with TestClient(
        create_app(Settings(warm_up=0, seconds_per_request=600, sweep_designs=2))
    ) as client:
        refused = client.post("/v1/sweep", json=body)
        assert refused.status_code == 422
        entry = refused.json()["errors"][0]
        assert (entry["pointer"], entry["code"], entry["value"]) == (
            "/sampling",
            "too_many_designs",
            3,
        )
        assert "at most 2" in entry["remedy"]
        body["vary"][0]["values"].pop()
        assert client.post("/v1/sweep", json=body).status_code == 200


def test_millions_of_combinations_are_counted_before_they_are_made(sweep_refused, van):
    grids = [
        vary(field, grid={"from": 1, "to": 2, "count": 100_000})
        for field in (GAS, "case.surroundings.air_speed_m_s")
    ]
    assert sweep_refused({**van, "vary": grids})["code"] == "too_many_designs"


@pytest.mark.parametrize(
    ("content", "headers", "status"),
    [
        (b"{", {"content-type": "application/json"}, 400),
        (b"{}", {"content-type": "text/plain"}, 415),
        (b" " * (1024 * 1024 + 1), {"content-type": "application/json"}, 413),
    ],
)
def test_other_failures_are_those_of_every_route(client, content, headers, status):
    response = client.post("/v1/sweep", content=content, headers=headers)
    assert response.status_code == status
    assert response.headers["content-type"] == "application/problem+json"


def test_wrong_method(client):
    response = client.get("/v1/sweep")
    assert response.status_code == 405
    assert response.headers["allow"] == "POST"
