"""What ``POST /v1/learn`` refuses: by named field, with what to do instead."""

from __future__ import annotations

import copy
import json

import pytest

from shared.posting import refusals
from warmbranch_service.learn.request import MOST_JOBS


@pytest.fixture
def refused(client):
    return refusals(client, "/v1/learn")


def test_no_job(refused):
    for body in ({}, {"jobs": []}, {"jobs": [], "earlier": None}):
        entry = refused(body)
        assert (entry["pointer"], entry["code"]) == ("/jobs", "no_job")
        assert "three or more" in entry["remedy"]


def test_a_job_twice_by_name(refused, jobs, all_four):
    entry = refused({"jobs": [jobs[0], {**jobs[1], "name": "van 0"}]})
    assert (entry["pointer"], entry["code"]) == ("/jobs/1/name", "job_twice")
    assert entry["value"] == "van 0"
    entry = refused({"jobs": jobs[2:3], "earlier": all_four["calibration"]})
    assert (entry["pointer"], entry["code"]) == ("/jobs/0/name", "job_twice")
    assert "earlier.shop" in entry["detail"]


def test_a_job_of_another_form(refused, jobs):
    entry = refused({"jobs": [{**jobs[0], "form": 2}]})
    assert (entry["pointer"], entry["code"]) == ("/jobs/0/form", "another_form")
    assert "of form 2" in entry["detail"]


def test_a_job_without_readings_or_tones(refused, jobs):
    for nothing in ({}, {"readings": [], "heard": []}):
        job = {"name": "bare", "case": jobs[0]["case"], **nothing}
        entry = refused({"jobs": [jobs[0], job]})
        assert (entry["pointer"], entry["code"]) == ("/jobs/1/readings", "nothing_measured")
        assert '"bare"' in entry["detail"]


def test_a_job_without_a_name(refused, jobs):
    del jobs[0]["name"]
    entry = refused({"jobs": jobs})
    assert (entry["pointer"], entry["code"]) == ("/jobs/0/name", "missing")


def test_a_thousand_jobs_are_refused_before_any_is_fitted(refused, smallest):
    job = {**smallest, "heard": [{"frequency_Hz": 90}]}
    entry = refused({"jobs": [{**job, "name": f"job {i}"} for i in range(1000)]})
    assert (entry["pointer"], entry["code"]) == ("/jobs", "too_long")
    assert entry["remedy"] == f"Give at most {MOST_JOBS}."


def test_what_is_wrong_with_a_job_is_told_of_its_place(refused, jobs):
    jobs[2]["readings"][1]["position_mm"] = 5000
    entry = refused({"jobs": jobs})
    assert (entry["pointer"], entry["code"]) == ("/jobs/2/readings/1/position_mm", "beyond_the_cap")
    jobs[2]["readings"][1]["position_mm"] = 200
    jobs[1]["case"]["main_pipe"]["mass_flow_kg_h"] = 9000
    entry = refused({"jobs": jobs})
    assert entry["pointer"] == "/jobs/1/case/main_pipe/mass_flow_kg_h"


def test_a_day_that_is_none(refused, jobs):
    entry = refused({"jobs": jobs, "learned_at": "2026-02-30"})
    assert (entry["pointer"], entry["code"]) == ("/learned_at", "no_day")


def test_a_fit_s_calibration_is_no_shop(client, refused, jobs):
    fitted = {name: value for name, value in jobs[0].items() if name != "name"}
    found = client.post("/v1/fit", json=fitted).json()["calibration"]
    assert found["shop"] is None
    entry = refused({"jobs": jobs[1:], "earlier": found})
    assert (entry["pointer"], entry["code"]) == ("/earlier/shop", "no_shop")


@pytest.mark.parametrize(
    ("path", "value", "pointer", "code"),
    [
        ("form", 3, "/form", "another_form"),
        ("jobs.0.form", 3, "/jobs/0/form", "another_form"),
        ("jobs.1.name", "van 0", "/jobs/1/name", "broken_calibration"),
        ("jobs.0.shown", [], "/jobs/0", "broken_calibration"),
        ("jobs.0.centre", [0.0], "/jobs/0", "broken_calibration"),
        ("jobs.0.spread.0", 1e-3, "/jobs/0/centre", "broken_calibration"),
        ("jobs.0.centre.0", 50.0, "/jobs/0/centre", "broken_calibration"),
        ("learned_on.least.bore_mm", 900, "/learned_on/least", "broken_calibration"),
        ("unknowns.0", "emissivity", "/unknowns/0", "unknown_name"),
        ("jobs", [], "/jobs", "too_short"),
    ],
)
def test_a_shop_that_was_changed(client, refused, van, put, all_four, path, value, pointer, code):
    """Refused where it is learned from, and where it is used."""
    broken = copy.deepcopy(all_four["calibration"])
    put(broken["shop"], path, value)
    entry = refused({"earlier": broken})
    assert (entry["pointer"], entry["code"]) == (f"/earlier/shop{pointer}", code)
    put(van, "case.closures.calibration", broken)
    entry = client.post("/v1/steady", json=van).json()["errors"][0]
    assert (entry["pointer"], entry["code"]) == (f"/case/closures/calibration/shop{pointer}", code)


def test_a_shop_of_what_is_one_job_s_alone(client, van, put, all_four):
    broken = copy.deepcopy(all_four["calibration"])
    broken["unknowns"][0] = "gas_temperature"
    put(van, "case.closures.calibration", broken)
    entry = client.post("/v1/steady", json=van).json()["errors"][0]
    assert entry["code"] == "broken_calibration"


def test_numbers_that_no_job_shows_are_answered_all_the_same(client, all_four):
    """Far beyond any fit, within what the schema admits: no failure of the service."""
    wild = copy.deepcopy(all_four["calibration"])
    for job in wild["shop"]["jobs"]:
        job["shown"] = [100.0] * len(job["shown"])
        job["tone"]["straight"] = [10.0] * len(job["tone"]["straight"])
        job["tone"]["curved"] = [10.0] * len(job["tone"]["curved"])
    response = client.post("/v1/learn", json={"earlier": wild})
    assert response.status_code == 200, response.text
    assert response.json()["jobs"][0]["held_out"] is None
    json.loads(response.text, parse_constant=lambda name: pytest.fail(name))
