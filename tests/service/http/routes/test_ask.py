"""``GET /v1/ask``: the same answers and refusals as the POST, for spreadsheets."""

from __future__ import annotations

import csv
import io
from urllib.parse import urlencode

import pytest

from shared.requests import BRANCH, ENGINE, HOT_PIPE

IN_UNITS = {"outside_diameter_mm": "2.375 in", "gas_temperature_degC": "590 F"}
CASE = {"branch": BRANCH, "main_pipe": HOT_PIPE | IN_UNITS, "engine": ENGINE}
QUERY = {f"{part}.{name}": value for part, own in CASE.items() for name, value in own.items()}


@pytest.fixture
def asked(client):
    def get(question: str, **more: object):
        return client.get(f"/v1/ask/{question}?{urlencode(QUERY | more)}")

    return get


def test_one_number(asked, client):
    response = asked("steady", answer="resonance.quiet_rpm")
    posted = client.post("/v1/steady", json={"case": CASE}).json()
    assert response.text == str(posted["resonance"]["quiet_rpm"])
    assert response.headers["content-type"].startswith("text/plain")
    second = asked("steady", answer="resonance.frequency_Hz[1]").text
    assert second == str(posted["resonance"]["frequency_Hz"][1])


def test_a_length_for_an_engine_speed(asked, client):
    response = asked("length", answer="centreline_length_mm", rpm=2350)
    body = {"case": CASE, "target": {"quiet_rpm": 2350}}
    assert response.text == str(client.post("/v1/length", json=body).json()["centreline_length_mm"])


def test_a_table_that_charts_as_it_is(asked, client):
    response = asked("steady", table="profile")
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text)))
    profile = client.post("/v1/steady", json={"case": CASE}).json()["profile"]
    assert list(rows[0]) == list(profile)
    assert [float(row["gas_degC"]) for row in rows] == profile["gas_degC"]


def test_all_of_it(asked):
    assert asked("steady").text.startswith("section,row,field,value,unit\n")


@pytest.mark.parametrize(
    ("question", "more", "status", "field", "remedy"),
    [
        ("steady", {"branch.wall_thickness_mm": 30}, 422, "case.branch.wall_thickness_mm", "0.5"),
        ("steady", {"branch.colour": "red"}, 422, "case.branch.colour", "Fields here are"),
        ("steady", {"colour": "red"}, 422, "colour", "Fields here are"),
        ("steady", {"answer": "resonance.colour"}, 422, "answer", "resonance.quiet_rpm"),
        ("steady", {"answer": "profile"}, 422, "answer", "table="),
        ("steady", {"table": "colours"}, 422, "table", "profile, attenuation"),
        ("steady", {"rpm": 2350}, 422, "rpm", "Leave it out"),
        ("length", {"rpm": 2350, "Hz": 80}, 422, "Hz", "one of them"),
        ("length", {}, 422, "target", "Give target"),
        ("colour", {}, 404, None, "/v1/ask/length"),
    ],
)
def test_refusals(asked, question, more, status, field, remedy):
    response = asked(question, **more)
    assert response.status_code == status
    problem = response.json()
    if field is None:
        assert remedy in problem["detail"]
    else:
        assert problem["errors"][0]["field"] == field
        assert remedy in problem["errors"][0]["remedy"]


def test_twice_is_refused(client):
    response = client.get("/v1/ask/steady?answer=a&answer=b")
    assert response.status_code == 422
    assert "twice" in response.json()["detail"]


@pytest.mark.parametrize(
    ("method", "path", "status", "says"),
    [
        ("GET", "/v1/stedy", 404, "Did you mean /v1/steady?"),
        ("GET", "/nowhere", 404, "/v1/docs"),
        ("GET", "/v1/steady", 405, "takes POST. Send a JSON body: curl"),
        ("POST", "/v1/health", 405, "takes GET"),
        ("POST", "/v1/steady", 415, "Send the header Content-Type: application/json."),
    ],
)
def test_wrong_calls_are_told_the_right_one(client, method, path, status, says):
    content = b"{}" if method == "POST" else None
    response = client.request(method, path, content=content, headers={"content-type": "text/plain"})
    assert response.status_code == status
    assert says in response.json()["detail"]
