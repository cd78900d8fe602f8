"""``POST /v1/steady``: the contract, and every number against the physics in SI."""

from __future__ import annotations

import itertools
import json
import math

import numpy as np
import pytest

from shared.posting import leaves
from warmbranch.case import geometry
from warmbranch.case.case import Case
from warmbranch.case.closures import Closures
from warmbranch.case.main_pipe import MainPipe
from warmbranch.case.materials import metal
from warmbranch.case.surfaces import SURFACES
from warmbranch.case.surroundings import Covering, Surroundings
from warmbranch.gas.combustion import burnt_gas, humidity_from_relative
from warmbranch.steady.solve import solve
from warmbranch_service import MODEL_VERSION
from warmbranch_service.demo import DEMOS, demo_text

CONTRACT = {
    "profile": {"position_mm", "gas_degC", "skin_degC", "sound_speed_m_s"},
    "resonance": {"frequency_Hz", "quiet_rpm", "quality_factor"},
    "estimates": {"transit_time_Hz", "one_temperature_Hz"},
    "heat": {"entering_W", "lost_W", "closure_error"},
    "attenuation": {"rpm", "frequency_Hz", "transmission_loss_dB"},
}


def one(value):
    return np.array([value])


@pytest.fixture(scope="module")
def van_in_si():
    """The van of the demo, built by hand from the physics."""
    radiant = 18 + 273.15
    return Case(
        branch=geometry.Branch(
            outside_diameter=one(0.0483),
            wall_thickness=one(0.0015),
            cap_thickness=one(0.0015),
            pieces=(
                (
                    geometry.Piece(0.18),
                    geometry.Piece(math.pi / 2 * 0.072, 0.072),
                    geometry.Piece(0.863),
                ),
            ),
            rise=one(0.0),
        ),
        metal=metal("stainless 304"),
        covering=Covering(one(SURFACES["weathered stainless"].emissivity), one(0.0), one(1.0)),
        main_pipe=MainPipe(
            outside_diameter=one(0.0603),
            wall_thickness=one(0.0015),
            gas_temperature=one(310 + 273.15),
            skin_temperature=one(math.nan),
            mass_flow=one(95 / 3600),
            emissivity=one(SURFACES["weathered stainless"].emissivity),
            film_augmentation=one(1.6),
            incident_pressure=one(0.0),
            cap_pressure=one(1000.0),
        ),
        gas=burnt_gas("petrol", 1.0, humidity_from_relative(0.5, 18 + 273.15, 101325.0)),
        surroundings=Surroundings(one(18 + 273.15), one(radiant), one(101325.0), one(4.0)),
        closures=Closures.default(),
    )


def test_contract_has_all_its_names(steady, van):
    answer = steady(van)
    for block, names in CONTRACT.items():
        assert names <= set(answer[block])
    assert {"effective_temperature_degC", "mouth_correction_mm", "centreline_length_mm"} <= set(
        answer
    )
    for caution in answer["cautions"]:
        assert set(caution) == {"code", "message", "field"}
    assert answer["outcome"] == "resonance found"
    assert answer["model_version"] == MODEL_VERSION


def test_every_number_is_that_of_the_physics(steady, van, van_in_si):
    expected, answer = solve(van_in_si), steady(van)
    # Tolerances are half of the last digit that the schema promises, plus rounding.
    profile = answer["profile"]
    assert profile["position_mm"] == pytest.approx(expected.profile.position[0] * 1e3, abs=5.1e-3)
    for name in ("gas", "wall", "skin"):
        celsius = getattr(expected.profile, name)[0] - 273.15
        assert profile[f"{name}_degC"] == pytest.approx(celsius, abs=5.1e-3)
    assert profile["sound_speed_m_s"] == pytest.approx(expected.sound_speed[0], abs=5.1e-3)
    found = answer["resonance"]
    assert found["frequency_Hz"] == pytest.approx(expected.resonance[0], abs=5.1e-4)
    assert found["engine_order"] == 2
    assert found["quiet_rpm"] == pytest.approx(expected.resonance[0, 0] * 30, abs=0.051)
    assert found["quality_factor"] == pytest.approx(expected.quality_factor[0], rel=5.1e-4)
    estimates = answer["estimates"]
    assert estimates["transit_time_Hz"] == pytest.approx(expected.transit_time[0], abs=5.1e-4)
    assert estimates["one_temperature_Hz"] == pytest.approx(expected.one_temperature[0], abs=5.1e-4)
    assert answer["effective_temperature_degC"] == pytest.approx(
        expected.effective_temperature[0] - 273.15, abs=5.1e-3
    )
    assert answer["dew_point_degC"] == pytest.approx(expected.dew_point[0] - 273.15, abs=0.051)
    assert answer["mouth_correction_mm"] == pytest.approx(
        expected.mouth_correction[0] * 1e3, abs=5.1e-3
    )
    assert answer["centreline_length_mm"] == pytest.approx(180 + math.pi / 2 * 72 + 863, abs=5.1e-3)
    heat = answer["heat"]
    assert heat["entering_W"] == pytest.approx(expected.profile.heat_entering[0], rel=5.1e-5)
    assert heat["lost_W"] == pytest.approx(expected.profile.heat_lost[0], rel=5.1e-5)
    assert heat["closure_error"] < 1e-8
    assert answer["main_pipe"]["gas_speed_m_s"] == pytest.approx(expected.main_speed[0], rel=5.1e-4)
    assert answer["main_pipe"]["mass_flow_kg_h"] == 95


def test_default_attenuation_is_around_the_quiet_rpm(steady, van, van_in_si):
    answer = steady(van)
    loss, quiet = answer["attenuation"], answer["resonance"]["quiet_rpm"]
    assert len(loss["rpm"]) == len(loss["frequency_Hz"]) == len(loss["transmission_loss_dB"]) == 41
    assert loss["rpm"][0] == pytest.approx(0.75 * quiet, abs=0.15)
    assert loss["rpm"][-1] == pytest.approx(1.25 * quiet, abs=0.15)
    # Most is lost in the middle, where the branch resonates.
    assert np.argmax(loss["transmission_loss_dB"]) == 20
    exact = solve(van_in_si)
    frequency = exact.resonance[:, :1] * np.linspace(0.75, 1.25, 41)
    assert loss["transmission_loss_dB"] == pytest.approx(
        exact.transmission_loss(frequency)[0], abs=5.1e-4
    )


def test_attenuation_by_rpm(steady, van, put):
    put(van, "attenuation", {"rpm_from": 1800, "rpm_to": "50 rev/s", "points": 7})
    loss = steady(van)["attenuation"]
    assert loss["rpm"] == [1800, 2000, 2200, 2400, 2600, 2800, 3000]
    assert loss["frequency_Hz"] == [60, 66.667, 73.333, 80, 86.667, 93.333, 100]


def test_attenuation_by_frequency(steady, van, put):
    put(van, "attenuation", {"frequency_from_Hz": 60, "frequency_to_Hz": "0.1 kHz", "points": 3})
    loss = steady(van)["attenuation"]
    assert loss["frequency_Hz"] == [60, 80, 100]
    assert loss["rpm"] == [1800, 2400, 3000]


def test_smallest_request_is_answered_without_rpm(steady, smallest):
    answer = steady(smallest)
    assert answer["resonance"]["quiet_rpm"] is None
    assert answer["resonance"]["engine_order"] is None
    assert answer["attenuation"]["rpm"] is None
    first = answer["resonance"]["frequency_Hz"][0]
    assert answer["attenuation"]["frequency_Hz"][20] == pytest.approx(first, abs=1e-3)
    assert any("air is still" in sentence for sentence in answer["assumptions"])


def half_width(answer):
    low, high = answer["prediction"]["resonance_Hz"]["interval_90"]
    return (high - low) / 2


def test_what_is_guessed_widens_the_interval_and_leaves_the_answer(steady, van, put):
    plain = steady(van)
    for name in ("main_pipe.gas_temperature_degC", "main_pipe.mass_flow_kg_h"):
        put(van, "case.guessed", [name])
        answer = steady(van)
        assert answer["resonance"] == plain["resonance"]
        assert half_width(answer) > 1.01 * half_width(plain)
        assert any(f"{name} is a guess" in sentence for sentence in answer["assumptions"])


def test_a_spread_of_ones_own_is_what_is_believed(steady, van, put):
    """Of the gas: wider and narrower than what is believed of one that is given."""
    field = "main_pipe.gas_temperature_degC"
    plain = half_width(steady(van))
    found = []
    for kelvin in (2, 120):
        put(van, "case.guessed", [{"field": field, "standard_deviation": kelvin}])
        found.append(half_width(steady(van)))
    assert found[0] < plain < found[1]


def test_what_is_around_the_branch_is_unsure_where_it_is_left_open(steady, smallest, put):
    """By the air's temperature, its speed and what the branch faces, each known in its turn."""
    found = [half_width(steady(smallest))]
    for name, value in (
        ("air_temperature_degC", 20), ("air_speed_m_s", 1), ("radiant_temperature_degC", 20),
    ):  # fmt: skip
        put(smallest, f"case.surroundings.{name}", value)
        found.append(half_width(steady(smallest)))
    assert all(later < earlier for earlier, later in itertools.pairwise(found)), found


def test_a_gas_that_radiates_cools_the_branch(steady, van, put):
    found = steady(van)
    put(van, "case.closures.inner_film", {"model": "linked to mixing", "gas_radiation": False})
    plain = steady(van)
    assert found["resonance"]["quiet_rpm"] < plain["resonance"]["quiet_rpm"]
    assert found["effective_temperature_degC"] < plain["effective_temperature_degC"]


def test_vapour_that_condenses_lowers_the_tone_and_is_told(steady, van, put):
    found = steady(van)
    put(van, "case.closures.condensation", False)
    off = steady(van)
    assert off["condensate"] is None
    assert found["condensate"]["rate_g_h"] > 1
    assert 0.98 < found["resonance"]["quiet_rpm"] / off["resonance"]["quiet_rpm"] < 0.997


def test_gas_speed_is_assumed_and_said_when_nothing_gives_it(steady, smallest):
    answer = steady(smallest)
    assert answer["main_pipe"]["gas_speed_m_s"] == 20
    (caution,) = [c for c in answer["cautions"] if c["code"] == "assumed_mass_flow"]
    assert "20 m/s" in caution["message"]
    assert caution["field"] == "case.main_pipe.mass_flow_kg_h"


def test_given_mass_flow_needs_no_caution(steady, van):
    codes = [caution["code"] for caution in steady(van)["cautions"]]
    assert "assumed_mass_flow" not in codes


def test_equal_requests_give_equal_bytes(client, van):
    first, second = (client.post("/v1/steady", json=van) for _ in range(2))
    assert first.content == second.content
    assert first.headers["content-type"] == "application/json"
    assert first.headers["cache-control"] == "no-store"


def test_straight_length_and_one_straight_are_the_same(steady, van):
    del van["case"]["branch"]["centreline"]
    van["case"]["branch"]["length_mm"] = 1000
    by_length = steady(van)
    del van["case"]["branch"]["length_mm"]
    van["case"]["branch"]["centreline"] = [{"straight_mm": "0.4 m"}, {"straight_mm": 600}]
    assert steady(van)["resonance"]["frequency_Hz"] == pytest.approx(
        by_length["resonance"]["frequency_Hz"], abs=1.1e-3
    )


def test_safety_is_always_said_and_last(steady, smallest):
    codes = [caution["code"] for caution in steady(smallest)["cautions"]]
    assert [code for code in codes if code.startswith("safety_")] == codes[-6:]


def test_mole_fractions_stand_for_a_fuel(steady, van, put):
    gas = {"mole_fractions": {"N2": 0.7809, "O2": 0.2095, "Ar": 0.0093, "CO2": 0.0004}}
    by_shares = steady(put(van, "case.main_pipe.gas", gas))
    van["case"]["surroundings"]["relative_humidity_percent"] = 0
    by_name = steady(put(van, "case.main_pipe.gas", {"fuel": "dry air"}))
    assert by_shares["dew_point_degC"] is None
    assert by_shares["resonance"] == by_name["resonance"]


def test_material_by_its_properties(steady, van, put):
    given = {
        "conductivity_W_mK": "9.2 BTU/(h ft F)",
        "density_kg_m3": 7900,
        "heat_capacity_J_kgK": 500,
    }
    answer = steady(put(van, "case.branch.material", given))
    assert answer["outcome"] == "resonance found"


def test_emissivity_zero_switches_radiation_off(steady, van, put):
    del van["case"]["branch"]["surface"]
    dark = steady(put(van, "case.branch.emissivity", 1))["heat"]["lost_W"]
    bright = steady(put(van, "case.branch.emissivity", 0))["heat"]["lost_W"]
    assert bright < dark


def test_wrap_changes_the_skin_and_its_surface(steady, van, put):
    bare = steady(van)
    del van["case"]["branch"]["surface"]
    put(van, "case.branch.wrap", {"thickness_mm": 10, "conductivity_W_mK": 0.05})
    wrapped = steady(van)
    assert wrapped["heat"]["lost_W"] < bare["heat"]["lost_W"]
    assert max(wrapped["profile"]["skin_degC"]) < max(wrapped["profile"]["wall_degC"])
    assert any("fibre wrap" in sentence for sentence in wrapped["assumptions"])


def test_no_loss_means_no_quality_factor(steady, van, put):
    answer = steady(put(van, "case.closures.wall_losses", False))
    assert answer["resonance"]["quality_factor"] is None
    assert answer["outcome"] == "resonance found"


def test_summary_says_the_numbers(steady, van):
    answer = steady(van)
    rpm, first = answer["resonance"]["quiet_rpm"], answer["resonance"]["frequency_Hz"][0]
    assert f"{rpm:.0f} rpm ({first:.1f} Hz, engine order 2)" in answer["summary"]
    high = (answer["estimates"]["one_temperature_Hz"] / first - 1) * 100
    assert f"{high:.1f} % too high" in answer["summary"]


@pytest.mark.parametrize(("name", "rpm"), [("van", 2350), ("generator", 1500)])
def test_demo_is_tuned_to_its_story(steady, name, rpm):
    quiet = steady(json.loads(demo_text(name)))["resonance"]["quiet_rpm"]
    # Lengths are rounded to 5 mm in more than a metre, so to half a percent.
    assert quiet == pytest.approx(rpm, rel=5e-3)


@pytest.mark.parametrize("name", list(DEMOS))
def test_answer_holds_no_null_but_the_promised(steady, name):
    answer = steady(json.loads(demo_text(name)))
    assert answer["prediction"].pop("profile") is None  # there is no calibration
    assert answer["main_pipe"].pop("gas_temperature_90_degC") is None  # it is given
    assert answer["condensate"].pop("fills_mm_h") is None  # it does not fall

    assert all(value is not None for value in leaves(answer))
