"""``POST /v1/sweep``: the lines, and that each says what the steady answer of its design says."""

from __future__ import annotations

import copy
import json
import math
import re

import numpy as np
import pytest

from shared.requests import GAS
from warmbranch_service.steady.outputs import OUTPUTS
from warmbranch_service.sweep.varied import CHUNK

LAST = "case.branch.centreline[2].straight_mm"


def rows(lines):
    return [line for line in lines if "index" in line]


def with_inputs(case, inputs):
    """The case with a design's inputs, as a user would write them in."""
    body = copy.deepcopy({"case": case})
    for name, value in inputs.items():
        *way, last = [
            int(part) if part.isdigit() else part for part in re.findall(r"[^.\[\]]+", name)
        ]
        here = body
        for part in way:
            here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
        here[last] = value
    return body


def walk(answer, name):
    for part in re.findall(r"[^.\[\]]+", name):
        answer = answer[int(part)] if re.fullmatch(r"-?\d+", part) else answer[part]
    return answer


def test_header_rows_progress_end_in_order(swept, grid):
    lines = swept(grid)
    assert len(lines) == lines[0]["sweep"]["lines"] == 9
    header = lines[0]["sweep"]
    assert header["designs"] == 6
    assert [entry["name"] for entry in header["inputs"]] == [LAST, GAS]
    assert header["inputs"][0]["pointer"] == "/case/branch/centreline/2/straight_mm"
    assert [entry["unit"] for entry in header["inputs"]] == ["mm", "degC"]
    assert [entry["unit"] for entry in header["outputs"]] == ["rpm", "Hz", "1", "degC"]
    assert [row["index"] for row in rows(lines)] == list(range(6))
    assert lines[-2]["progress"] == {
        "designs_done": 6, "designs": 6, "next_line": 9, "outcomes": {"resonance found": 6},
    }  # fmt: skip
    assert lines[-1]["end"] == {"complete": True, "designs": 6, "lines": 9}


def test_grid_is_every_combination_in_the_fields_units(swept, grid):
    found = [(row["inputs"][LAST], row["inputs"][GAS]) for row in rows(swept(grid))]
    hot = (700 - 32) / 1.8
    # 37 in is 939.8 mm exactly; the last field changes fastest.
    expected = [(a, b) for a in (900, 939.8) for b in (250, (250 + hot) / 2, hot)]
    np.testing.assert_allclose(found, expected, rtol=1e-11)  # twelve digits are written


def test_every_output_is_what_the_steady_answer_says(swept, steady, grid):
    """All outputs, in designs that differ in length, gas, order, metal and surface."""
    grid["outputs"] = list(OUTPUTS)
    grid["vary"][1] = {"field": GAS, "values": [250, 420]}
    grid["vary"] += [
        {"field": "case.engine.cylinders", "values": [3, 4]},
        {"field": "case.branch.material", "values": ["mild steel", "copper"]},
        {"field": "/case/surroundings/air_speed_m_s", "values": [0, "20 mph"]},
    ]
    found = rows(swept(grid))
    assert len(found) == 32
    for row in found[::5]:
        answer = steady(with_inputs(grid["case"], row["inputs"]))
        for name, value in row["outputs"].items():
            expected = walk(answer, name)
            if isinstance(expected, float) and name != "heat.closure_error":
                # One in the last digit that is printed: rounding may fall to either side, as one
                # design and a batch of them are summed in another order.
                assert value == pytest.approx(expected, rel=2e-4, abs=1.01e-3), name
                assert abs(value - expected) <= 1.01 * 10 ** -len(str(expected).partition(".")[2])
            elif name != "heat.closure_error":  # that is rounding alone
                assert value == expected, name


def test_transmission_loss_is_what_the_steady_answer_says(swept, steady, grid):
    grid["transmission_loss_at_rpm"] = [2300, "40 rev/s"]
    grid["transmission_loss_at_Hz"] = [75]
    row = rows(swept(grid))[0]
    names = [
        f"attenuation.transmission_loss_dB at {at}" for at in ("2300 rpm", "2400 rpm", "75 Hz")
    ]
    body = with_inputs(grid["case"], row["inputs"])
    by_rpm = steady({**body, "attenuation": {"rpm_from": 2300, "rpm_to": 2400, "points": 2}})
    by_hz = steady(
        {**body, "attenuation": {"frequency_from_Hz": 75, "frequency_to_Hz": 80, "points": 2}}
    )
    expected = [
        *by_rpm["attenuation"]["transmission_loss_dB"],
        by_hz["attenuation"]["transmission_loss_dB"][0],
    ]
    # 0.001 dB is the last digit; it may be rounded to either side.
    assert [row["outputs"][name] for name in names] == pytest.approx(expected, abs=1.01e-3)


def test_list_takes_values_together(swept, grid):
    grid["sampling"] = {"method": "list"}
    grid["vary"] = [{"field": LAST, "values": [900, 950]}, {"field": GAS, "values": [250, 350]}]
    assert [list(row["inputs"].values()) for row in rows(swept(grid))] == [[900, 250], [950, 350]]


def test_without_engine_there_is_no_rpm(swept, grid):
    del grid["case"]["engine"]
    grid["outputs"] = ["resonance.quiet_rpm", "resonance.engine_order", "resonance.frequency_Hz[0]"]
    for row in rows(swept(grid)):
        quiet, order, frequency = row["outputs"].values()
        assert [quiet, order] == [None, None]
        assert frequency > 50


def test_design_that_is_not_admitted_is_a_row_that_says_why(swept, sobol, client):
    found = rows(swept(sobol))
    by_outcome = {
        name: [r for r in found if r["outcome"] == name]
        for name in ("resonance found", "not admitted")
    }
    assert sum(map(len, by_outcome.values())) == 1100
    # Three bores, 135.9 mm, of 50 to 900 mm: a tenth of an even sample.
    assert len(by_outcome["not admitted"]) == pytest.approx(1100 * 85.9 / 850, abs=3)
    for row in by_outcome["not admitted"]:
        assert row["outputs"] is None
        assert row["inputs"]["case.branch.length_mm"] < 135.9
    for row in by_outcome["resonance found"]:
        assert row["errors"] == []
        assert row["inputs"]["case.branch.length_mm"] >= 135.9
    row = by_outcome["not admitted"][0]
    refused = client.post("/v1/steady", json=with_inputs(sobol["case"], row["inputs"]))
    assert refused.status_code == 422
    assert row["errors"] == refused.json()["errors"]


def test_engine_that_makes_too_much_gas_is_a_row_among_others(swept, van):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"] |= {"displacement_L": 2, "rpm": 2400, "volumetric_efficiency": 0.6}
    sizes = {"field": "case.engine.displacement_L", "values": [1, 500, 2]}
    found = rows(swept({**van, "vary": [sizes], "outputs": ["main_pipe.mass_flow_kg_h"]}))
    assert [row["outcome"] for row in found] == [
        "resonance found",
        "not admitted",
        "resonance found",
    ]
    assert found[1]["errors"][0]["pointer"] == "/case/engine/displacement_L"
    small, large = (found[i]["outputs"]["main_pipe.mass_flow_kg_h"] for i in (0, 2))
    assert large == pytest.approx(2 * small, rel=1e-4)  # five digits


def test_what_only_the_physics_refuses_is_a_row_too(swept, grid, monkeypatch):
    from warmbranch.base.errors import InputError
    from warmbranch_service.sweep import solving

    solve = solving.solve

    def choosy(case):
        if np.any(np.isclose(case.main_pipe.gas_temperature, 250 + 273.15)):
            raise InputError(
                "It is not known.", field="main_pipe.gas_temperature", value=523.15, unit="K",
                remedy="Give another.",
            )  # fmt: skip
        return solve(case)

    monkeypatch.setattr(solving, "solve", choosy)
    found = rows(swept(grid))
    assert [row["outcome"] for row in found] == ["not admitted", *["resonance found"] * 2] * 2
    assert found[0]["outputs"] is None
    assert found[0]["errors"][0]["pointer"] == "/case/main_pipe/gas_temperature_degC"


def test_solver_that_stops_short_costs_its_own_row_only(swept, grid, monkeypatch):
    from warmbranch.base.errors import NotConvergedError
    from warmbranch_service.sweep import solving

    solve = solving.solve

    def stubborn(case):
        if np.any(np.isclose(case.main_pipe.gas_temperature, 250 + 273.15)):
            raise NotConvergedError("It did not.", designs=(0,), residual=1.0, iterations=1)
        return solve(case)

    expected = rows(swept(grid))
    monkeypatch.setattr(solving, "solve", stubborn)
    lines = swept(grid)
    found = rows(lines)
    assert [row["outcome"] for row in found] == ["not solved", *["resonance found"] * 2] * 2
    assert [row for row in found if row["outputs"]] == [
        r for r in expected if r["inputs"][GAS] != 250
    ]
    assert lines[-2]["progress"]["outcomes"] == {"not solved": 2, "resonance found": 4}


def test_progress_follows_every_chunk_and_counts_what_is_above(swept, sobol):
    lines = swept(sobol)
    told = [(i, line["progress"]) for i, line in enumerate(lines) if "progress" in line]
    assert [progress["designs_done"] for _, progress in told] == [CHUNK, 2 * CHUNK, 1100]
    before = 1
    for i, progress in told:
        assert progress["next_line"] == i + 2  # lines count from 1
        above = [line["outcome"] for line in lines[before:i]]
        assert progress["outcomes"] == {name: above.count(name) for name in set(above)}
        before = i + 1


def test_sample_follows_its_distributions(swept, sobol):
    from scipy import stats

    sobol["vary"] = [
        {"field": GAS, "normal": {"mean": "590 F", "standard_deviation": 30, "low": 280}},
        {"field": "case.closures.mixing.stirring_coefficient",
         "lognormal": {"median": 0.15, "log_standard_deviation": 0.5}},
        {"field": "case.surroundings.air_speed_m_s", "uniform": {"low": 0, "high": "36 km/h"}},
        {"field": "case.engine.cylinders", "values": [3, 4, 6]},
    ]  # fmt: skip
    sobol["sampling"] = {"method": "latin hypercube", "count": 300}
    hot, stirring, air, cylinders = zip(
        *[r["inputs"].values() for r in rows(swept(sobol))], strict=True
    )
    expected = [
        stats.truncnorm((280 - 310) / 30, math.inf, 310, 30),
        stats.lognorm(0.5, scale=0.15),
        stats.uniform(0, 10),
    ]
    for sample, law in zip((hot, stirring, air), expected, strict=True):
        # One of 300 slices each, so the empirical distribution is off by one slice at most.
        assert stats.kstest(sample, law.cdf).statistic <= 1 / 300 + 1e-9
    assert [cylinders.count(n) for n in (3, 4, 6)] == [100] * 3


def test_calibration_is_applied(swept, steady, grid):
    calibration = {
        "version": 2, "model_version": "0.1.0", "unknowns": ["stirring", "reach"],
        "mean": [-1.0, 2.3], "covariance": [[0.4, -0.1], [-0.1, 0.3]],
    }  # fmt: skip
    plain = rows(swept(grid))[4]["outputs"]["resonance.quiet_rpm"]
    grid["case"]["closures"] = {"calibration": calibration}
    row = rows(swept(grid))[4]
    answer = steady(with_inputs(grid["case"], row["inputs"]))
    assert row["outputs"]["resonance.quiet_rpm"] == answer["resonance"]["quiet_rpm"]
    assert abs(row["outputs"]["resonance.quiet_rpm"] - plain) > 1


INTERVAL = [
    f"prediction.quiet_rpm.{end}"
    for end in ("median", "interval_50[0]", "interval_50[1]", "interval_90[0]", "interval_90[1]")
]


def test_interval_on_demand_is_that_of_the_steady_answer(swept, steady, grid):
    """Of what is open, guessed and inferred alike, which may differ from line to line."""
    grid["interval"] = True
    grid["case"]["guessed"] = ["main_pipe.mass_flow_kg_h"]
    grid["vary"][1] = {
        "field": "/case/main_pipe/engine_load", "values": ["idle", "hard"]
    }  # fmt: skip
    del grid["case"]["main_pipe"]["gas_temperature_degC"]
    grid["case"]["main_pipe"]["engine_load"] = "cruise"
    lines = swept(grid)
    assert [entry["name"] for entry in lines[0]["sweep"]["outputs"]][-5:] == INTERVAL
    for row in rows(lines):
        prediction = steady(with_inputs(grid["case"], row["inputs"]))["prediction"]
        for name in INTERVAL:
            assert row["outputs"][name] == walk({"prediction": prediction}, name)
        middle, low, high, least, most = (row["outputs"][name] for name in INTERVAL)
        assert least < low < middle < high < most


def test_interval_is_of_the_tone_without_an_engine(swept, grid):
    del grid["case"]["engine"]
    grid |= {"interval": True, "outputs": ["resonance.frequency_Hz[0]"]}
    for row in rows(swept(grid)):
        assert [*row["outputs"]][1:] == [
            name.replace("quiet_rpm", "resonance_Hz") for name in INTERVAL
        ]
        assert None not in row["outputs"].values()


def test_interval_of_a_calibration_is_that_of_the_steady_answer(swept, steady, grid):
    grid["case"]["closures"] = {"calibration": {
        "version": 2, "model_version": "0.1.0", "unknowns": ["stirring", "reach"],
        "mean": [-4.0, -0.3], "covariance": [[0.4, -0.1], [-0.1, 0.3]],
    }}  # fmt: skip
    grid["interval"] = True
    row = rows(swept(grid))[4]
    prediction = steady(with_inputs(grid["case"], row["inputs"]))["prediction"]
    for name in INTERVAL:
        assert row["outputs"][name] == walk({"prediction": prediction}, name)


def test_a_guess_that_a_varied_value_makes_too_wide_is_a_row_that_says_so(swept, grid):
    flow = "main_pipe.mass_flow_kg_h"
    grid["case"]["guessed"] = [{"field": flow, "standard_deviation": 40}]
    grid["vary"] = [{"field": f"case.{flow}", "values": [20, 95]}]
    narrow, wide = rows(swept(grid))
    assert narrow["outcome"] == "not admitted"
    (error,) = narrow["errors"]
    assert error["field"] == "case.guessed[0].standard_deviation"
    assert error["value"] == 40
    assert "at most 20 kg/h" in error["remedy"]
    assert wide["outcome"] == "resonance found"


def test_inputs_sent_again_are_the_same_design(swept, sobol):
    """What is printed is what was solved, so a row can be repeated from its inputs alone."""
    sobol["sampling"]["count"] = 8
    once = rows(swept(sobol))
    names = list(once[0]["inputs"])
    again = {**sobol, "sampling": {"method": "list"}}
    again["vary"] = [{"field": n, "values": [row["inputs"][n] for row in once]} for n in names]
    assert json.dumps(rows(swept(again))) == json.dumps(once)
