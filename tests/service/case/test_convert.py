"""What a request leaves to be worked out, and its way into SI."""

from __future__ import annotations

import math

import numpy as np
import pytest

from warmbranch.case.materials import Metal
from warmbranch.gas.combustion import burnt_gas, humidity_from_relative
from warmbranch.gas.gas import Composition, MixtureTable
from warmbranch_service.case.convert import to_physics
from warmbranch_service.steady.request import SteadyRequest


@pytest.mark.parametrize(
    ("where", "closure"),
    [
        ("mixing", {"model": "fixed", "diffusivity_m2_s": 0.02}),
        ("inner_film", {"model": "fixed", "coefficient_W_m2K": 12}),
        ("outer_film", {"model": "fixed", "coefficient_W_m2K": "2 BTU/(h ft2 F)"}),
        ("mouth_correction", {"model": "fixed", "length_mm": 30}),
        ("mouth_correction", {"model": "flanged"}),
        ("mouth_correction", {"model": "unflanged", "factor": 0.4}),
        ("mixing", {"model": "stirred mouth", "stirring_coefficient": 0.5}),
        ("mixing", {"model": "stirred mouth", "incident_pressure_Pa": "20 mbar"}),
        ("inner_film", {"model": "linked to mixing", "stanton_number": 0.03}),
        ("outer_film", {"model": "natural and forced", "factor": 1.7}),
    ],
)
def test_every_closure_can_be_replaced(steady, van, put, where, closure):
    before = steady(van)["resonance"]["frequency_Hz"][0]
    answer = steady(put(van, f"case.closures.{where}", closure))
    assert abs(answer["resonance"]["frequency_Hz"][0] - before) > 0.01
    if closure.get("length_mm"):
        assert answer["mouth_correction_mm"] == 30


def test_closures_reach_the_physics_field_by_field(van, put):
    put(
        van,
        "case.closures",
        {
            "mixing": {
                "model": "stirred mouth",
                "stirring_coefficient": 0.3,
                "reach_bores": 7,
                "pulsation_coefficient": 0.2,
                "incident_pressure_Pa": 1500,
                "buoyancy_factor": 0.5,
            },
            "inner_film": {"model": "linked to mixing", "stanton_number": 0.02},
            "outer_film": {"model": "natural and forced", "factor": 1.2},
            "mouth_correction": {"model": "unflanged", "factor": 0.7},
            "wall_losses": False,
        },
    )
    van["case"]["main_pipe"].update(skin_temperature_degC=200, pulsation_augmentation=2)
    van["case"]["branch"].update(cap_thickness_mm=3, rise_deg=30)
    van["case"]["branch"]["material"] = {
        "conductivity_W_mK": 20,
        "density_kg_m3": 8000,
        "heat_capacity_J_kgK": 510,
    }
    van["case"]["surroundings"]["radiant_temperature_degC"] = 40
    case = to_physics(SteadyRequest.model_validate(van).case).case
    closures = case.closures
    assert closures.stirring == [0.3]
    assert closures.reach == [7]
    assert closures.pulsation == [0.2]
    assert closures.buoyancy == [0.5]
    assert closures.stanton == [0.02]
    assert closures.outer_film_factor == [1.2]
    assert closures.mouth_factor == [0.7]
    assert closures.mouth_model == [2]
    assert closures.wall_losses == [False]
    assert case.main_pipe.incident_pressure == [1500]
    assert case.main_pipe.skin_temperature == [473.15]
    assert case.main_pipe.film_augmentation == [2]
    assert case.branch.cap_thickness == [0.003]
    assert case.branch.rise == [math.radians(30)]
    assert case.surroundings.radiant_temperature == [313.15]
    assert case.metal.density == Metal.constant(20, 8000, 510).density
    assert case.metal.conductivity(np.array([[400.0]])) == [[20]]


def test_mass_flow_of_an_engine(steady, van):
    """By hand: intake density from the ideal gas, air over two revolutions, fuel added."""
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(
        displacement_L="1998 cc", rpm=2400, volumetric_efficiency=0.5, pipe_share=0.5
    )
    van["case"]["surroundings"]["relative_humidity_percent"] = 0
    flow = steady(van)["main_pipe"]["mass_flow_kg_h"]
    density = 101325 * 0.0289652 / (8.314462618 * 291.15)  # dry air, kg/mol from its composition
    air = 0.5 * density * 1.998e-3 * 0.5 * 2400 / 2 * 60
    # Petrol of C H1.85 needs 14.5 to 14.6 times its mass of air; 1 % of the fuel is 0.07 % here.
    assert flow == pytest.approx(air * (1 + 1 / 14.55), rel=1e-3)


def test_engine_without_all_three_numbers_falls_back(steady, van):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(displacement_L=2.0, rpm=2400)
    answer = steady(van)
    assert answer["main_pipe"]["gas_speed_m_s"] == 20
    assert "assumed_mass_flow" in [caution["code"] for caution in answer["cautions"]]


def test_air_needs_no_fuel_in_the_mass_flow(steady, van, put):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    van["case"]["engine"].update(displacement_L=2, rpm=2400, volumetric_efficiency=0.5)
    burnt = steady(van)["main_pipe"]["mass_flow_kg_h"]
    answer = steady(put(van, "case.main_pipe.gas", {"fuel": "dry air"}))
    assert answer["main_pipe"]["mass_flow_kg_h"] < burnt
    assert any("No fuel is added" in sentence for sentence in answer["assumptions"])


def test_assumed_speed_gives_the_mass_flow(van, steady):
    del van["case"]["main_pipe"]["mass_flow_kg_h"]
    flow = steady(van)["main_pipe"]["mass_flow_kg_h"]
    gas = burnt_gas("petrol", 1.0, humidity_from_relative(0.5, 291.15, 101325.0))
    density = 101325 / (float(gas.gas_constant[0]) * 583.15)
    assert flow == pytest.approx(density * math.pi / 4 * 0.0573**2 * 20 * 3600, rel=5.1e-5)


def test_dry_air_table_and_composition_agree():
    # Guards the hand calculations above: the molar mass they use is that of the package's air.
    air = Composition.dry_air()
    assert float(air.molar_mass[0]) == pytest.approx(0.0289652, rel=1e-4)
    assert len(MixtureTable.of(air)) == 1


@pytest.mark.parametrize(
    ("engine", "order"),
    [
        ({"cylinders": 4}, 2),
        ({"cylinders": 3}, 1.5),
        ({"cylinders": 2, "cycle": "two-stroke"}, 2),
        ({"cylinders": 4, "order": 4}, 4),
        ({"cylinders": 4, "order": None}, 2),
        # One bank of a cross-plane eight: pulses 180, 90, 180, 270 degrees apart add up at 4 only.
        ({"cylinders": 4, "firing_angles_deg": [0, 180, 270, 450]}, 4),
    ],
)
def test_engine_order(steady, van, engine, order):
    van["case"]["engine"] = engine
    found = steady(van)["resonance"]
    assert found["engine_order"] == order
    assert found["quiet_rpm"] == pytest.approx(60 * found["frequency_Hz"][0] / order, abs=0.1)


def test_units_in_strings_give_the_same_answer(steady, van, put):
    plain = steady(van)
    put(van, "case.branch.outside_diameter_mm", "4.83 cm")
    put(van, "case.branch.centreline.1.bend_deg", f"{math.pi / 2:.15f} rad")
    put(van, "case.main_pipe.gas_temperature_degC", "590 F")
    put(van, "case.main_pipe.mass_flow_kg_h", f"{95000 / 3600:.15g} g/s")
    put(van, "case.surroundings.air_temperature_degC", "291.15 K")
    put(van, "case.surroundings.pressure_kPa", "1013.25 mbar")
    put(van, "case.surroundings.air_speed_m_s", "14.4 km/h")
    assert steady(van) == plain
