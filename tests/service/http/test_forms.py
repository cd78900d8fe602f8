"""The same answer as JSON or as CSV, as the header Accept asks for."""

from __future__ import annotations

import csv
import io

import pytest

from warmbranch_service.length.examples import example_text

CSV = "text/csv; charset=utf-8; header=present"
JSON = "application/json"
ROUTES = ["steady", "warmup", "fit", "length", "reference"]


@pytest.fixture
def ask(client, van):
    def send(route, accept):
        headers = {"accept": accept, "content-type": JSON}
        if route == "reference":
            return client.get("/v1/reference", headers=headers)
        if route == "length":
            return client.post("/v1/length", content=example_text("length"), headers=headers)
        return client.post(f"/v1/{route}", json=van, headers=headers)

    return send


def numbers(value):
    if isinstance(value, dict):
        return [n for key, v in value.items() if not key.endswith("_svg") for n in numbers(v)]
    if isinstance(value, list):
        return [number for part in value for number in numbers(part)]
    return [] if isinstance(value, (bool, str)) or value is None else [value]


@pytest.mark.parametrize("route", ROUTES)
def test_csv_holds_every_number_of_the_json(ask, route):
    response = ask(route, "text/csv")
    assert response.status_code == 200, response.text
    assert response.headers["content-type"] == CSV
    assert response.headers["vary"] == "Accept"
    heading, *rows = csv.reader(io.StringIO(response.text))
    assert heading == ["section", "row", "field", "value", "unit"]
    assert len({tuple(row[:3]) for row in rows}) == len(rows)
    plain = ask(route, JSON)
    assert plain.headers["content-type"] == JSON
    assert plain.headers["vary"] == "Accept"
    told = [row[3] for row in rows]
    for number in numbers(plain.json()):
        assert str(number) in told


def test_units_stand_beside_the_numbers(ask):
    rows = list(csv.reader(io.StringIO(ask("steady", "text/csv").text)))
    units = {row[2]: row[4] for row in rows}
    assert units["gas_degC"] == "degC"
    assert units["position_mm"] == "mm"
    assert units["transmission_loss_dB"] == "dB"


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("", JSON),
        ("*/*", JSON),
        ("text/*", CSV),
        ("text/csv, application/json", JSON),
        ("text/csv, application/json;q=0.9", CSV),
        ("text/csv;q=0.5, */*;q=0.1", CSV),
        ("application/json;q=0, */*", CSV),
        ("Text/CSV ; Q=1 , application/*;q=0.2", CSV),
        ("text/csv;q=many, application/json", JSON),
        ("text/html, application/xhtml+xml, */*;q=0.8", JSON),
    ],
)
def test_quality_values_are_honoured(ask, accept, kind):
    assert ask("steady", accept).headers["content-type"] == kind


@pytest.mark.parametrize("accept", ["text/html", "*/*;q=0", "text/csv;q=0, text/html", "csv"])
@pytest.mark.parametrize("route", ["steady", "reference"])
def test_no_other_form_is_given(ask, accept, route):
    response = ask(route, accept)
    assert response.status_code == 406
    assert response.json()["type"] == "/v1/problems/not-acceptable"
    assert "text/csv" in response.json()["detail"]


def test_each_form_of_the_reference_has_its_own_etag(ask, client):
    etag = ask("reference", "text/csv").headers["etag"]
    assert etag != ask("reference", JSON).headers["etag"]
    again = client.get("/v1/reference", headers={"accept": "text/csv", "if-none-match": etag})
    assert again.status_code == 304
    assert again.headers["vary"] == "Accept"
