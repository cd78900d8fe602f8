"""Properties of the gas mixture."""

import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmbranch.base.errors import InputError, PropertyRangeError
from warmbranch.gas.combustion import FUELS, burnt_gas
from warmbranch.gas.gas import (
    COLDEST,
    HOTTEST,
    SPECIES,
    Composition,
    GasState,
    MixtureTable,
    check_range,
    dry_air_table,
    wilke_factors,
)
from warmbranch.gas.make_property_table import import_coolprop
from warmbranch.gas.property_table import pure_gases

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"

CANTERA_NAMES = ["N2", "O2", "CO2", "H2O", "AR", "CO", "H2", "CH4"]


def published(quantity, *names):
    return [
        pytest.param(value, id=f"{name}: {value['name']}")
        for name in names
        for value in tomllib.loads((PUBLISHED / f"{name}.toml").read_text("utf-8"))["value"]
        if value["quantity"] == quantity
    ]


def mixtures(minimum=1, maximum=4):
    """Random compositions, a batch at a time."""
    one = st.lists(st.floats(0, 1), min_size=len(SPECIES), max_size=len(SPECIES)).filter(
        lambda amounts: sum(amounts) > 0.1
    )
    return st.lists(one, min_size=minimum, max_size=maximum).map(
        lambda rows: Composition(np.array(rows) / np.sum(rows, axis=1, keepdims=True))
    )


# Composition


def test_mole_fractions_are_normalised():
    gas = Composition.from_mole_fractions({"N2": 0.79, "O2": 0.2095})
    assert gas.mole_fractions.shape == (1, len(SPECIES))
    assert gas.mole_fractions.sum() == pytest.approx(1, rel=1e-15)


@pytest.mark.parametrize(
    ("fractions", "field"),
    [
        ({"N2": 0.5, "Xe": 0.5}, "gas.mole_fractions.Xe"),
        ({"N2": 1.1, "O2": -0.1}, "gas.mole_fractions.N2"),
        ({"O2": -0.1, "N2": 1.0}, "gas.mole_fractions.O2"),
        ({"N2": float("nan")}, "gas.mole_fractions.N2"),
        ({"N2": 0.79}, "gas.mole_fractions"),
        ({}, "gas.mole_fractions"),
    ],
)
def test_impossible_mole_fractions_are_refused(fractions, field):
    with pytest.raises(InputError) as caught:
        Composition.from_mole_fractions(fractions)
    assert caught.value.field == field
    assert caught.value.remedy


@pytest.mark.parametrize("shape", [(8,), (2, 7), (1, 1, 8)])
def test_composition_wants_designs_by_species(shape):
    with pytest.raises(ValueError, match="mole_fractions: shape"):
        Composition(np.full(shape, 0.125))


@pytest.mark.parametrize("value", published("molar mass", "CommonPracticeGas"))
def test_molar_mass_of_air(value):
    air = Composition.dry_air()
    assert air.molar_mass[0] * 1000 == pytest.approx(
        value["result"], rel=value["tolerance_relative"]
    )
    assert air.gas_constant[0] == pytest.approx(8.314462618 / air.molar_mass[0], rel=1e-15)


# Against the outside


@pytest.mark.parametrize("value", published("speed of sound", "ISO1993", "CommonPracticeGas"))
def test_speed_of_sound_in_air(value):
    temperature = np.array([[value["inputs"]["temperature_degC"] + 273.15]])
    found = dry_air_table().sound_speed(temperature)
    assert found[0, 0] == pytest.approx(value["result"], rel=value["tolerance_relative"])


@pytest.mark.parametrize("value", published("density", "CommonPracticeGas"))
def test_density_of_air(value):
    inputs = value["inputs"]
    found = dry_air_table().density(
        np.array([[inputs["temperature_degC"] + 273.15]]), np.array([inputs["pressure_Pa"]])
    )
    assert found[0, 0] == pytest.approx(value["result"], rel=value["tolerance_relative"])


def test_worked_mixture_of_a_textbook():
    mixture, *sums = (
        value.values[0]
        for quantity in ("mixture viscosity", "combination factor sum")
        for value in published(quantity, "BirdStewartLightfoot2002")
    )
    viscosity = np.array(mixture["inputs"]["viscosity_1e-7_g_cm_s"])
    fractions = np.array(mixture["inputs"]["mole_fractions"])
    weights = wilke_factors(viscosity, np.array(mixture["inputs"]["molar_mass_g_mol"])) @ fractions
    found = np.sum(fractions * viscosity / weights)
    assert found == pytest.approx(mixture["result"], rel=mixture["tolerance_relative"])
    assert len(sums) == 3
    for value in sums:
        assert weights[value["inputs"]["species"]] == pytest.approx(
            value["result"], rel=value["tolerance_relative"]
        )


@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.5, 5.0])
@pytest.mark.parametrize("fuel", sorted(FUELS))
def test_agrees_with_cantera(fuel, ratio, cantera):
    """Against Cantera 3 with the thermodynamic and transport data of GRI-Mech 3.0."""
    gas = burnt_gas(fuel, ratio, 0.01)
    table = MixtureTable.of(gas)
    # GRI-Mech's polynomials for N2 begin at 300 K.
    temperature = np.array([[310.0, 423.15, 573.15, 873.15, 1273.15]])
    state, speed = table.evaluate(temperature), table.sound_speed(temperature)
    theory = cantera.Solution("gri30.yaml", transport_model="mixture-averaged")
    for node, spot in enumerate(temperature[0]):
        theory.TPX = spot, 101325.0, dict(zip(CANTERA_NAMES, gas.mole_fractions[0], strict=True))
        heat_capacity = theory.cp
        gas_constant = cantera.gas_constant / theory.mean_molecular_weight
        ratio_of = heat_capacity / (heat_capacity - gas_constant)
        # Its polynomials depart from reference data by 0.2 % around 420 K.
        assert state.heat_capacity[0, node] == pytest.approx(heat_capacity, rel=0.0025)
        assert speed[0, node] == pytest.approx(np.sqrt(ratio_of * gas_constant * spot), rel=0.0005)
        # Mixing rules and collision data differ most where there is much cold water vapour; the
        # largest gaps seen are 1.8 % and, for methane, 7.8 %.
        assert state.viscosity[0, node] == pytest.approx(theory.viscosity, rel=0.02)
        assert state.conductivity[0, node] == pytest.approx(theory.thermal_conductivity, rel=0.08)


def test_dry_air_agrees_with_reference_air():
    """Against the equations of CoolProp for air as one fluid [Lemmon2000], [LemmonJacobsen2004]."""
    coolprop = import_coolprop()
    temperature = np.arange(270.0, 1300.0, 50.0)

    def reference(what, pressure=None):
        # At 1e-3 mol/m³, or at a pressure.
        state = ("Dmolar", 1e-3) if pressure is None else ("P", pressure)
        return coolprop.PropsSI(what, "T", temperature, *state, "Air")

    table = dry_air_table()
    state = table.evaluate(temperature[None])
    speed = table.sound_speed(temperature[None])[0]
    # Composition, to its fourth digit.
    np.testing.assert_allclose(state.heat_capacity[0], reference("C"), rtol=3e-4, atol=0)
    # Real gas at one atmosphere against ideal gas: the second virial coefficient.
    np.testing.assert_allclose(speed, reference("A", 101325.0), rtol=6e-4, atol=0)
    # Mixing rules: viscosity mixes well, conductivity comes out 1.5 to 2 % low.
    np.testing.assert_allclose(state.viscosity[0], reference("V"), rtol=0.0015, atol=0)
    np.testing.assert_allclose(state.conductivity[0], reference("L"), rtol=0.021, atol=0)


# The table against its definition


@given(gas=mixtures(1, 1), spot=st.floats(COLDEST, HOTTEST))
def test_mixing_species_by_species(gas, spot):
    """Mole average, and Wilke's formula as a double loop over properties read one gas at a time."""
    share = gas.mole_fractions[0]
    mass = pure_gases().molar_mass
    pure = [
        MixtureTable.of(Composition.from_mole_fractions({name: 1.0})).evaluate(np.array([[spot]]))
        for name in SPECIES
    ]
    viscosity = [state.viscosity[0, 0] for state in pure]
    conductivity = [state.conductivity[0, 0] for state in pure]
    mixed_viscosity = mixed_conductivity = 0.0
    for i in range(len(SPECIES)):
        weight = 0.0
        for j in range(len(SPECIES)):
            top = 1 + (viscosity[i] / viscosity[j]) ** 0.5 * (mass[j] / mass[i]) ** 0.25
            weight += share[j] * top**2 / (8 * (1 + mass[i] / mass[j])) ** 0.5
        mixed_viscosity += share[i] * viscosity[i] / weight
        mixed_conductivity += share[i] * conductivity[i] / weight
    heat_capacity = sum(
        share[i] * mass[i] * pure[i].heat_capacity[0, 0] for i in range(len(SPECIES))
    ) / (share @ mass)
    found = MixtureTable.of(gas).evaluate(np.array([[spot]]))
    # The heat capacity is linear in the species, and so is the spline.
    assert found.heat_capacity[0, 0] == pytest.approx(heat_capacity, rel=1e-12)
    # The spline of a mixture against the mixture of splines: the spline's own error again,
    # 2e-4 at worst where cold water vapour bends (tests/models/gas/test_property_table.py).
    tolerance = 5e-6 if spot > 273.16 else 2e-4
    assert found.viscosity[0, 0] == pytest.approx(mixed_viscosity, rel=tolerance)
    assert found.conductivity[0, 0] == pytest.approx(mixed_conductivity, rel=tolerance)


@given(gas=mixtures(), spots=st.lists(st.floats(COLDEST, HOTTEST), min_size=1, max_size=5))
def test_slopes_are_the_derivatives(gas, spots):
    temperature = np.tile(np.array(spots), (len(gas), 1))
    table = MixtureTable.of(gas)
    step = 0.05
    state = table.evaluate(temperature)
    ahead, behind = table.evaluate(temperature + step), table.evaluate(temperature - step)
    for value in range(3):
        difference = (ahead[value] - behind[value]) / (2 * step)
        # Rounding leaves 1e-16 / 0.05 of the value, and truncation h²/6 of the third derivative,
        # at most 1e-5 of the value per K³ (water vapour at its bend): 5e-9 of the value.
        np.testing.assert_allclose(
            state[value + 3] / state[value], difference / state[value], rtol=0, atol=1e-8
        )


def test_curve_is_smooth_at_the_nodes():
    table = dry_air_table()
    node = pure_gases().temperature[None, 1:-1]
    at, below = table.evaluate(node), table.evaluate(np.nextafter(node, 0.0))
    for value in range(6):
        # Rounding, against the largest value on the curve.
        np.testing.assert_allclose(
            at[value], below[value], rtol=0, atol=1e-12 * np.max(np.abs(at[value]))
        )


def test_curve_goes_on_outside_the_table():
    table = dry_air_table()
    ends = pure_gases().temperature[[0, -1]]
    for end, outwards in zip(ends, (-1.0, 1.0), strict=True):
        inside = table.evaluate(end + outwards * np.array([[-1e-6, 1e-6]]))
        outside = table.evaluate(np.array([[end + outwards * 30.0]]))
        for value in range(6):
            # 2e-6 K apart: the curves and their slopes change by at most a few per cent a kelvin.
            assert inside[value][0, 0] == pytest.approx(inside[value][0, 1], rel=1e-7)
        # Over 30 K the true curves go on nearly straight.
        for value in range(3):
            straight = inside[value][0, 1] + outwards * 30.0 * inside[value + 3][0, 1]
            assert outside[value][0, 0] == pytest.approx(straight, rel=0.01)


# Batches


@given(gas=mixtures(2, 5), data=st.data())
def test_batch_equals_singles(gas, data):
    nodes = st.lists(st.floats(COLDEST, HOTTEST), min_size=3, max_size=3)
    temperature = np.array(data.draw(st.lists(nodes, min_size=len(gas), max_size=len(gas))))
    table = MixtureTable.of(gas)
    whole = table.evaluate(temperature)
    speed = table.sound_speed(temperature)
    for i in range(len(gas)):
        single = MixtureTable.of(gas.take(slice(i, i + 1)))
        alone = single.evaluate(temperature[i : i + 1])
        for value in range(6):
            # Sums over species run in another order; slopes are differences of values.
            np.testing.assert_allclose(
                whole[value][i],
                alone[value][0],
                rtol=1e-12,
                atol=1e-15 * np.max(np.abs(alone[value % 3])),
            )
        np.testing.assert_allclose(
            speed[i], single.sound_speed(temperature[i : i + 1])[0], rtol=1e-13, atol=0
        )


def test_take_selects_designs():
    gas = burnt_gas("petrol", np.array([0.9, 1.0, 2.0]))
    table = MixtureTable.of(gas)
    temperature = np.array([[300.0, 700.0], [400.0, 800.0], [500.0, 900.0]])
    for index in (np.array([2, 0]), np.array([True, False, True]), slice(1, None)):
        chosen = np.arange(3)[index]
        taken = table.take(index)
        assert len(taken) == len(chosen)
        for part, whole in zip(
            taken.evaluate(temperature[index]), table.evaluate(temperature), strict=True
        ):
            np.testing.assert_array_equal(part, whole[index])
        np.testing.assert_array_equal(taken.gas_constant, gas.gas_constant[index])


def test_one_mixture_serves_many_designs():
    temperature = np.linspace(COLDEST, HOTTEST, 12).reshape(4, 3)
    one = dry_air_table().evaluate(temperature)
    many = MixtureTable.of(Composition.dry_air().repeat(4)).evaluate(temperature)
    for value in range(6):
        # As above: another order of sums, and slopes are differences of values.
        np.testing.assert_allclose(
            one[value], many[value], rtol=1e-12, atol=1e-15 * np.max(one[value % 3])
        )


def test_evaluate_leaves_its_argument_alone():
    temperature = np.full((1, 3), 400.0)
    state = dry_air_table().evaluate(temperature)
    assert isinstance(state, GasState)
    assert all(part.shape == (1, 3) for part in state)
    np.testing.assert_array_equal(temperature, 400.0)


def test_same_mixture_is_tabulated_once():
    assert MixtureTable.of(burnt_gas("diesel", 2.0)) is MixtureTable.of(burnt_gas("diesel", 2.0))
    assert MixtureTable.of(burnt_gas("diesel", 2.0)) is not MixtureTable.of(
        burnt_gas("diesel", 3.0)
    )


# Range and cost


@pytest.mark.parametrize("temperature", [COLDEST - 1, HOTTEST + 1, np.nan])
def test_check_range_refuses(temperature):
    with pytest.raises(PropertyRangeError, match="Give a temperature") as caught:
        check_range(np.array([300.0, temperature]), field="main_pipe.gas_temperature")
    assert caught.value.field == "main_pipe.gas_temperature"


def test_check_range_accepts_its_own_ends():
    check_range(np.array([COLDEST, HOTTEST]))
    check_range(300.0)


def test_gas_imports_neither_coolprop_nor_an_optimiser():
    code = "import sys, warmbranch.gas.gas; print(*sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = ran.stdout.split()
    assert "warmbranch.gas.gas" in loaded
    assert not [name for name in loaded if name.split(".")[0] == "CoolProp"]
    assert "scipy.optimize" not in loaded
