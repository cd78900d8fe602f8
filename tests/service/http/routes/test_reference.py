"""``GET /v1/reference``: every name that a case may use, and nothing else."""

from __future__ import annotations

import pytest

from warmbranch.case.materials import METALS
from warmbranch.case.surfaces import SURFACES
from warmbranch.gas.combustion import FUELS
from warmbranch.gas.gas import SPECIES
from warmbranch_service.case.around import PLACES


@pytest.fixture
def reference(client):
    response = client.get("/v1/reference")
    assert response.status_code == 200
    assert response.headers["cache-control"] == "public, max-age=3600"
    return response.json()


def test_names_are_those_of_the_physics(reference):
    assert [entry["name"] for entry in reference["materials"]] == list(METALS)
    assert [entry["name"] for entry in reference["surfaces"]] == list(SURFACES)
    assert [entry["name"] for entry in reference["fuels"]] == list(FUELS)
    assert reference["gases"] == list(SPECIES)


def test_everything_has_a_source(reference):
    for table in ("materials", "surfaces", "fuels"):
        for entry in reference[table]:
            assert len(entry["source"]) > 4


def test_every_name_is_admitted_in_a_case(reference, steady, smallest, put):
    for entry in reference["materials"]:
        steady(put(smallest, "case.branch.material", entry["name"]))
    for entry in reference["surfaces"]:
        steady(put(smallest, "case.branch.surface", entry["name"]))
    for name in [*(entry["name"] for entry in reference["fuels"]), reference["air"]]:
        steady(put(smallest, "case.main_pipe.gas", {"fuel": name}))


def test_numbers_are_in_the_units_of_the_names(reference):
    steel = next(entry for entry in reference["materials"] if entry["name"] == "stainless 304")
    record = METALS["stainless 304"]
    assert steel["limit_degC"] == pytest.approx(record.limit_temperature - 273.15, abs=0.051)
    first = steel["conductivity_W_mK"][0]
    assert first["temperature_degC"] == pytest.approx(
        record.conductivity_points[0][0] - 273.15, abs=0.0051
    )
    assert first["value"] == record.conductivity_points[0][1]


@pytest.mark.parametrize("path", ["/v1/reference", "/v1/openapi.json"])
def test_what_is_at_hand_is_not_sent_again(client, path):
    first = client.get(path)
    etag = first.headers["etag"]
    assert client.get(path).headers["etag"] == etag
    for condition in (etag, f"W/{etag}", "*", f'"old", W/{etag} , "older"'):
        again = client.get(path, headers={"if-none-match": condition})
        assert again.status_code == 304
        assert again.content == b""
        assert again.headers["etag"] == etag
        assert again.headers["cache-control"] == first.headers["cache-control"]
    for condition in ("", '"other"', etag.strip('"'), f'"{etag[1:5]}"', "W/*"):
        again = client.get(path, headers={"if-none-match": condition})
        assert again.status_code == 200
        assert again.content == first.content


def test_a_place_is_what_a_case_takes_for_it(reference, steady, smallest):
    """The numbers of the list are those that an answer's assumptions tell."""
    assert [place["name"] for place in reference["places"]] == list(PLACES)
    for place in reference["places"]:
        smallest["case"]["surroundings"] = {"place": place["name"]}
        told = " ".join(steady(smallest)["assumptions"])
        assert (
            f"{place['air_temperature_degC']:g} °C ± {place['air_temperature_spread_K']:g} K"
            in told
        )
        assert f"{place['air_speed_m_s']:g} m/s" in told
        warmer = place["radiant_temperature_degC"] - place["air_temperature_degC"]
        assert f"faces {warmer:g} K warmer ± {place['radiant_temperature_spread_K']:g} K" in told
