"""From a file of a finished job to what is learned from: requests to fit, and the page's jobs."""

from __future__ import annotations

import json
import math

import pytest

from shared.requests import BRANCH, ENGINE, HOT_PIPE, TUBE
from warmbranch_service.contract.errors import Problem
from warmbranch_service.learn.job_files import finished_job
from warmbranch_service.learn.request import FinishedJob

NO_WALL = {"outside_diameter_mm": 48.3, "length_mm": 1200}


def page_job(**more):
    """As page/job.js keeps one: 1,200 mm built, 30 and 20 mm cut."""
    return {
        "warmbranch_job": 1,
        "name": "blue van",
        "built": True,
        "case": {"branch": {**NO_WALL}, "main_pipe": HOT_PIPE, "engine": ENGINE},
        "trims": [{"cut_mm": 30}, {"cut_mm": "2 cm"}],
        "readings": [
            {"position_mm": 80, "displayed_degC": 99, "thermometer": "contact", "after_cuts": 0},
            {
                "position_mm": 80,
                "displayed_degC": 95,
                "thermometer": "contact",
                "surface": "matt black paint",
                "uncertainty_K": None,
                "after_cuts": 1,
            },
            {"position_mm": 200, "displayed_degC": None, "after_cuts": 2},
        ],
        "heard": [
            {"quiet_rpm": 2300, "after_cuts": 0},
            {"quiet_rpm": 2350, "uncertainty_rpm": 20, "after_cuts": 2},
            {"quiet_rpm": 2500, "moved": True, "centreline_length_mm": None, "after_cuts": 2},
            {"quiet_rpm": None, "after_cuts": 2},
        ],
        **more,
    }


def read(job, name="file"):
    return finished_job(json.dumps(job).encode(), name)


def test_readings_are_of_the_latest_length_and_tones_of_every_one():
    found = read(page_job())
    assert found["name"] == "blue van"
    assert found["case"]["branch"]["length_mm"] == pytest.approx(1170)
    assert found["case"]["branch"]["wall_thickness_mm"] == 1.5
    assert found["readings"] == [
        {"position_mm": 80, "displayed_degC": 95, "thermometer": "contact"}
    ]
    assert found["heard"] == [
        {"quiet_rpm": 2300, "centreline_length_mm": 1200},
        {"quiet_rpm": 2350, "centreline_length_mm": 1150, "uncertainty_rpm": 20},
    ]
    FinishedJob.model_validate(found)


def test_without_readings_the_branch_is_as_it_stands():
    found = read(page_job(readings=[]))
    assert found["case"]["branch"]["length_mm"] == pytest.approx(1150)


def test_a_cut_takes_the_pieces_at_the_cap():
    centreline = [
        {"straight_mm": 1000},
        {"bend_deg": 90, "bend_radius_mm": 100},
        {"straight_mm": "30 mm"},
    ]
    branch = TUBE | {"centreline": centreline}
    case = {**page_job()["case"], "branch": branch}
    found = read(page_job(readings=[], case=case))["case"]["branch"]["centreline"]
    # 50 mm: the straight of 30, and 20 of the bend's quarter circle.
    assert found[0] == centreline[0]
    assert found[1]["bend_deg"] == pytest.approx(90 - math.degrees(20 / 100))
    assert len(found) == 2


def test_a_page_without_cylinders_has_no_engine():
    case = {**page_job()["case"], "engine": {}}
    assert "engine" not in read(page_job(case=case))["case"]


def test_a_request_to_fit_takes_the_name_of_its_file():
    case = {"branch": {**BRANCH}, "main_pipe": HOT_PIPE}
    found = read({"case": case, "heard": [{"frequency_Hz": 80}], "target": {"quiet_rpm": 1}}, "bus")
    assert found == {"name": "bus", "case": case, "heard": [{"frequency_Hz": 80}]}


@pytest.mark.parametrize(
    ("content", "field"),
    [
        ({}, "case"),
        ({"case": 3}, "case"),
        ([], "case"),
        (page_job(warmbranch_job=2), "warmbranch_job"),
        (page_job(readings=3), "readings"),
        (page_job(case={"branch": {}}), "case.main_pipe"),
    ],
)
def test_what_is_no_job_is_refused_by_field(content, field):
    with pytest.raises(Problem) as caught:
        read(content)
    (entry,) = caught.value.errors
    assert (entry.field, entry.code) == (field, "no_job_file")
    assert entry.remedy


@pytest.mark.parametrize(
    "change",
    [
        {"trims": [{"cut_mm": "much"}]},
        {"trims": [{}]},
        {"case": {"branch": {"length_mm": "long"}, "main_pipe": {}}},
        {"case": {"branch": {"centreline": [{}]}, "main_pipe": {}}},
        {"case": {"branch": {"centreline": [{"bend_deg": "?", "bend_radius_mm": 1}]},
                  "main_pipe": {}}},
        {"case": {"branch": {"centreline": 3}, "main_pipe": {}}},
        {"heard": [{"quiet_rpm": 2000, "after_cuts": "two"}]},
    ],
)  # fmt: skip
def test_a_damaged_job_is_refused_and_breaks_nothing(change):
    from pydantic import ValidationError

    with pytest.raises((Problem, ValidationError)):
        FinishedJob.model_validate(read(page_job(readings=[], **change)) | {"form": 9})


@pytest.mark.parametrize(
    ("read_after", "heard_after", "whole", "each"),
    [
        (None, (None, None), None, []),
        (60, (60, 90), 3600, []),  # warm
        (10, (12, 60), None, [600, 720, 3600]),
        (None, (8, 60), 480, [480, 3600]),  # untold ones go with the earliest
        (None, (60, 60), None, []),  # warm when heard says nothing of when it was read
    ],
)
def test_what_the_page_was_told_of_the_minutes_is_kept(read_after, heard_after, whole, each):
    job = page_job(readings_min=read_after)
    for one, minutes in zip(job["heard"], heard_after, strict=False):
        one["run_min"] = minutes
    found = read(job)
    assert found.get("time_s") == whole
    told = [one["time_s"] for one in (*found["readings"], *found["heard"]) if "time_s" in one]
    assert told == each
    FinishedJob.model_validate(found)


def test_minutes_that_are_none_are_named():
    with pytest.raises(Problem) as refused:
        read(page_job(readings_min="a while"))
    assert refused.value.parts.entries[0].path == ("readings_min",)


def test_how_it_was_read_goes_with_a_request(van):
    body = {**van, "while_read": {"air_speed_m_s": 0.5}}
    assert finished_job(json.dumps(body).encode(), "stood")["while_read"] == {"air_speed_m_s": 0.5}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, True),
        ({"readings_min": 60}, True),
        ({"readings_min": 4}, False),
        ({"readings": []}, False),
        ({"while_read": {"air_speed_m_s": None}}, False),
        ({"while_read": None}, False),
    ],
    ids=["minutes untold", "warm", "warming", "nothing read", "left empty", "never asked"],
)
def test_how_it_was_read_goes_with_a_job_of_the_page(more, said):
    """As page/job.js has it: how it was while it warmed, the warm-up tells."""
    found = read(page_job(**{"while_read": {"air_speed_m_s": 0.5}, **more}))
    assert ("while_read" in found) is said
    FinishedJob.model_validate(found)
