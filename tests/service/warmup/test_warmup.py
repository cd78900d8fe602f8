"""``POST /v1/warmup``: the contract, the numbers, the refusals."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from shared.posting import answers, refusals
from warmbranch_service.case.convert import to_physics
from warmbranch_service.case.schema import Case
from warmbranch_service.command.cli import main
from warmbranch_service.http.openapi import request_examples
from warmbranch_service.local import warmup_of

REQUEST = Path(__file__).parents[3] / "fixtures" / "requests" / "warmup_camper_van.json"

SERIES = {"time_s", "resonance_Hz", "quiet_rpm", "mouth_gas_degC", "skin_degC"}


@pytest.fixture
def request_of_drive():
    return json.loads(REQUEST.read_text(encoding="utf-8"))


@pytest.fixture
def ask(client):
    return answers(client, "/v1/warmup")


@pytest.fixture
def refused_warmup(client):
    return refusals(client, "/v1/warmup")


def test_contract_has_all_its_names(ask, van):
    answer = ask({"case": van["case"]})
    assert set(answer["series"]) >= SERIES
    assert set(answer["settled"]) == {"within_1_percent_s", "within_0_3_percent_s"}
    assert {"cold_quiet_rpm", "warm_quiet_rpm"} <= set(answer)
    count = len(answer["series"]["time_s"])
    assert count == 121
    assert all(len(values) == count for values in answer["series"].values())
    assert all(len(row) == 3 for row in answer["series"]["skin_degC"])


def test_warm_is_the_steady_answer_and_cold_is_below(ask, steady, van):
    answer, warm = ask({"case": van["case"], "duration_min": 40}), steady(van)
    assert answer["warm_quiet_rpm"] == warm["resonance"]["quiet_rpm"]
    assert answer["cold_quiet_rpm"] < 0.95 * answer["warm_quiet_rpm"]
    last = answer["series"]["quiet_rpm"][-1]
    assert_allclose(last, answer["warm_quiet_rpm"], rtol=1e-3)  # 40 min: settled but for the cap
    assert 0 < answer["settled"]["within_1_percent_s"] < answer["settled"]["within_0_3_percent_s"]
    assert answer["series"]["skin_degC"][0] == [18.0, 18.0, 18.0]
    assert answer["heat"]["imbalance"] < 1e-6
    drift = answer["drift"]
    assert_allclose(
        drift["quiet_rpm"], answer["cold_quiet_rpm"] - answer["warm_quiet_rpm"], atol=0.11
    )
    # Lower by a tenth is longer by a tenth or so of some 1.2 m.
    assert 80 < drift["length_equivalent_mm"] < 260
    assert answer["driven"]["most_lost_to_cold_dB"] > 5
    assert any("cold start" in sentence for sentence in answer["assumptions"])


def test_the_drive_of_the_fixture(ask, request_of_drive):
    answer = ask(request_of_drive)
    assert [round(rest["from_s"]) for rest in answer["plateaus"]] == [300, 930, 1230]
    rpm = np.array([rest["quiet_rpm"] for rest in answer["plateaus"]])
    assert rpm[1] > 1.03 * rpm[0]
    assert rpm[2] == rpm[0]
    found = answer["conditions"]
    assert len(found["grid"]) == 4 * 3 * 2
    quiet = [one["quiet_rpm"] for one in found["grid"]]
    assert_allclose(found["spread_rpm"], max(quiet) - min(quiet), atol=0.11)
    worst = min(one["transmission_loss_dB"] for one in found["grid"])
    assert found["best_for_worst"]["transmission_loss_dB"] >= worst - 0.01
    text_lengths = {
        found[name]["centreline_length_mm"] for name in found if name.startswith("best")
    }
    assert len(text_lengths) == 2


def test_engine_stop_begins_warm(ask, van):
    answer = ask(
        {"case": van["case"], "start": {"model": "engine stop"}, "duration_min": 30,
         "positions_mm": [60]}
    )  # fmt: skip
    skin = [row[0] for row in answer["series"]["skin_degC"]]
    assert skin[0] > 60
    assert np.all(np.diff(skin) <= 0)  # told to 0.01 K, which the last minutes do not reach
    assert skin[-1] < 20


def test_a_calibration_gives_bands(ask, van):
    case = van["case"]
    case.setdefault("closures", {})["calibration"] = {
        "version": 2, "model_version": "0.1.0", "unknowns": ["stirring", "outer_film_factor"],
        "mean": [-1.9, 0.1], "covariance": [[0.16, 0.0], [0.0, 0.01]],
    }  # fmt: skip
    answer = ask({"case": case, "output_times_s": [0, 60, 300, 1200]})
    bands = answer["bands"]
    assert bands["time_s"] == [0, 60, 300, 1200]
    wide, narrow = (np.array(bands[f"quiet_rpm_interval_{level}"]) for level in (90, 50))
    assert np.all(wide[1:, 0] < narrow[1:, 0])
    assert np.all(narrow[1:, 1] < wide[1:, 1])
    middle = np.array(answer["series"]["quiet_rpm"])[1:]
    assert np.all((wide[1:, 0] < middle) & (middle < wide[1:, 1]))
    without = ask({"case": case, "output_times_s": [0, 60, 300, 1200], "intervals": False})
    assert without.pop("bands") is None
    assert answer | without == answer


def test_a_wraps_store_counts(ask, van):
    van["case"]["branch"]["wrap"] = {"thickness_mm": 8, "conductivity_W_mK": 0.08}
    light, heavy = (
        ask({"case": _with_density(van["case"], density)})["heat"]["stored_kJ"]
        for density in (50, 1500)
    )
    assert heavy > 1.2 * light


def _with_density(case, density):
    copied = json.loads(json.dumps(case))
    copied["branch"]["wrap"]["density_kg_m3"] = density
    return copied


def points(*pairs):
    return [{"time_s": time, "gas_temperature_degC": gas} for time, gas in pairs]


REFUSED = {
    "empty curve": ({"gas_temperature_curve": []}, "gas_temperature_curve"),
    "goes back": (
        {"gas_temperature_curve": points((0, 20), (60, 100), (30, 200))},
        "gas_temperature_curve[2].time_s",
    ),
    "starts in the future": (
        {"gas_temperature_curve": points((10, 20))}, "gas_temperature_curve[0].time_s",
    ),
    "three points at one time": (
        {"gas_temperature_curve": points((0, 20), (0, 30), (0, 40))},
        "gas_temperature_curve[2].time_s",
    ),
    "too hot": (
        {"gas_temperature_curve": points((0, 1001))},
        "gas_temperature_curve[0].gas_temperature_degC",
    ),
    "over six hours": ({"duration_min": 361}, "duration_min"),
    "too many times": ({"output_times_s": [0] * 10_001}, "output_times_s"),
    "time beyond the end": ({"duration_min": 1, "output_times_s": [0, 61]}, "output_times_s[1]"),
    "falling times": ({"output_times_s": [0, 9, 5]}, "output_times_s[2]"),
    "beyond the cap": ({"positions_mm": [2999]}, "positions_mm[0]"),
    "curve and start": (
        {"gas_temperature_curve": points((0, 20)), "start": {"model": "cold start"}}, "start",
    ),
    "warm without a curve": ({"begin": "warm"}, "begin"),
    "two driven tones": ({"driven_rpm": 2000, "driven_frequency_Hz": 70}, "driven_rpm"),
    "unknown start": ({"start": {"model": "lukewarm"}}, "start"),
    "too many conditions": (
        {"conditions": {"air_temperatures_degC": list(range(-20, 10)),
                        "air_speeds_m_s": list(range(11))}},
        "conditions.air_temperatures_degC",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refusals_name_the_field_and_the_remedy(refused_warmup, van, name):
    change, field = REFUSED[name]
    entry = refused_warmup({"case": van["case"], **change})
    assert entry["field"] == field
    assert entry["remedy"]


def test_unknown_fields_are_refused_with_those_there_are(refused_warmup, van):
    entry = refused_warmup({"case": van["case"], "duration_s": 60})
    assert entry["code"] == "unknown_field"
    assert "duration_min" in entry["remedy"]


def test_command_line_prints_table_and_json(capsys, tmp_path, van):
    file = tmp_path / "request.json"
    file.write_text(json.dumps({"case": van["case"], "duration_min": 5}))
    assert main(["warmup", str(file)]) == 0
    table = capsys.readouterr().out
    assert "Against time" in table
    assert "within 1 % of warm" in table
    assert main(["warmup", str(file), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer == json.loads(warmup_of(file.read_bytes()).model_dump_json())


def test_the_table_tells_how_sure(capsys, tmp_path):
    file = tmp_path / "drive.json"
    file.write_text(json.dumps(request_examples.warmup()["drive"]["value"]))
    assert main(["warmup", str(file), "--json"]) == 0
    bands = json.loads(capsys.readouterr().out)["bands"]
    assert main(["warmup", str(file)]) == 0
    table = capsys.readouterr().out.splitlines()
    start = table.index("How sure, by the calibration; quiet rpm")
    (low, high), (lowest, highest) = (bands[f"quiet_rpm_interval_{p}"][-1] for p in (50, 90))
    rows = [line.split() for line in table[start + 2 : start + 2 + len(bands["time_s"])]]
    assert rows[-1] == ["15.0", *(f"{value:.1f}" for value in (lowest, low, high, highest))]


def test_a_given_wrap_reaches_the_physics_unchanged(van):
    van["case"]["branch"]["wrap"] = {"thickness_mm": 8, "conductivity_W_mK": 0.08}
    case = to_physics(Case.model_validate(van["case"])).case
    assert case.covering.wrap_thickness[0] == pytest.approx(0.008, rel=1e-12)
