from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from shared.ensembles import prior_ensemble
from warmbranch.base.errors import InputError
from warmbranch.belief.calibration import Calibration, calibrated_ensemble
from warmbranch.belief.unknown import NORMAL_95, STILL_AIR, Spreads, log_spread
from warmbranch.belief.unknowns import UNKNOWNS, shifted_emissivity, with_unknowns
from warmbranch.case.closures import MOST_STIRRING, STIRRING
from warmbranch.gas.gas import COLDEST, HOTTEST

OF_THE_REQUEST = {"air_speed", "radiant_temperature", "rise", "wrap_conductivity"}
"""Known, unless a request leaves them open or marks them as guessed."""

UNSURE = Spreads(air_speed=0.5, radiant_temperature=10.0, rise=0.05, wrap_conductivity=0.2)


def test_ninety_five_percent_of_a_prior_lie_in_its_range():
    """By the definition of the ranges in closures.py, on the scale of their ratio."""
    span = 2 * NORMAL_95 * log_spread(STIRRING)
    assert np.exp(span) == pytest.approx(STIRRING.high / STIRRING.low, rel=1e-12)


def test_all_unknowns_of_a_plain_case_but_pulsation(make_case):
    names = Calibration.prior(make_case()).names
    assert set(names) == set(UNKNOWNS) - {"pulsation", "stanton"} - OF_THE_REQUEST
    given = make_case(incident_pressure=2000.0, pulsation=0.1, stanton=0.01, stirring=1e-4)
    assert set(Calibration.prior(given).names) == set(UNKNOWNS) - OF_THE_REQUEST
    wrapped = make_case(incident_pressure=2000.0, pulsation=0.1, stanton=0.01, wrap_thickness=5e-3)
    assert set(Calibration.prior(wrapped, UNSURE).names) == set(UNKNOWNS)


@pytest.mark.parametrize(
    ("change", "gone"),
    [
        (
            {"fixed_diffusivity": 0.02},
            {"mouth_exchange", "tone_exchange", "stirring", "reach", "sharpness", "buoyancy"},
        ),
        ({"fixed_inner_film": 8.0}, {"stirred_film"}),
        ({"mouth_exchange": np.inf}, {"mouth_exchange", "tone_exchange"}),
        ({"buoyancy": 0.0}, {"buoyancy"}),
        ({"fixed_outer_film": 12.0}, {"outer_film_factor"}),
        ({"fixed_mouth_length": 0.011}, {"mouth_factor"}),
        ({"emissivity": 0.0}, {"emissivity"}),
        ({"emissivity": 1.0}, {"emissivity"}),
        ({"mass_flow": 0.0}, {"mass_flow", "mouth_exchange", "stirring", "reach", "sharpness"}),
        ({"stirring": 0.0}, {"stirring"}),
        ({"gas_temperature": 298.15}, {"gas_temperature"}),
    ],
)
def test_what_a_case_fixes_is_not_unknown(make_case, change, gone):
    full = set(Calibration.prior(make_case()).names)
    assert set(Calibration.prior(make_case(**change)).names) == full - gone


def test_fixed_by_name(make_case):
    fixed = Spreads(fixed=frozenset({"reach", "air_temperature"}))
    names = Calibration.prior(make_case(), fixed).names
    assert "reach" not in names
    assert "air_temperature" not in names


def test_the_middle_of_the_prior_is_the_case(make_case):
    case = make_case(stirring=0.2, outer_film_factor=1.3)
    again = Calibration.prior(case).applied_to(case)
    for part in ("closures", "surroundings", "main_pipe", "covering"):
        for name, value in vars(getattr(case, part)).items():
            # exp(ln x) costs a last digit.
            np.testing.assert_allclose(
                getattr(getattr(again, part), name), value, rtol=1e-14, atol=0, err_msg=name
            )


def test_each_unknown_puts_the_value_that_it_tells(make_case):
    case = make_case(
        incident_pressure=1500.0,
        pulsation=0.1,
        stanton=0.01,
        wrap_thickness=5e-3,
        rise=0.1,
        stirring=1e-4,  # far below its bound
    )
    where = {
        "air_speed": lambda c: c.surroundings.air_speed,
        "radiant_temperature": lambda c: c.surroundings.radiant_temperature,
        "rise": lambda c: c.branch.rise,
        "wrap_conductivity": lambda c: c.covering.wrap_conductivity,
        "mass_flow": lambda c: c.main_pipe.mass_flow,
        # Told two bores in, and the case's reach stays.
        "stirring": lambda c: c.closures.stirring * np.exp(-2 / c.closures.reach),
        "air_temperature": lambda c: c.surroundings.air_temperature,
        "gas_temperature": lambda c: c.main_pipe.gas_temperature,
        "emissivity": lambda c: c.covering.emissivity,
    }
    for name, unknown in UNKNOWNS.items():
        prior = unknown.prior(case, UNSURE)
        coordinate = np.array([prior.centre + 1.3 * prior.spread])
        there = where.get(name, lambda c, name=name: getattr(c.closures, name))
        found = there(with_unknowns(case, [name], coordinate[:, None]))
        np.testing.assert_allclose(found, unknown.value(case, coordinate), rtol=1e-14, atol=0)
        assert abs(found[0] - there(case)[0]) > 1e-3 * abs(found[0]), name


def test_what_the_request_leaves_open_acts_only_where_it_can(make_case):
    def names(**given):
        return set(Calibration.prior(make_case(**given), UNSURE).names) & OF_THE_REQUEST

    assert names() == OF_THE_REQUEST - {"wrap_conductivity"}
    assert names(wrap_thickness=5e-3) == OF_THE_REQUEST
    assert "air_speed" not in names(fixed_outer_film=12.0)
    assert "radiant_temperature" not in names(emissivity=0.0)


def test_still_air_that_is_unsure_moves_a_little(make_case):
    prior = Calibration.prior(make_case(air_speed=0.0), UNSURE)
    assert np.exp(prior.mean[prior.names.index("air_speed")]) == pytest.approx(STILL_AIR)
    blown = Calibration.prior(make_case(air_speed=4.0), UNSURE)
    assert np.exp(blown.mean[blown.names.index("air_speed")]) == pytest.approx(4.0)


def test_a_branch_beyond_upright_comes_down_on_the_other_side(make_case):
    """By the sine, on which gravity along the branch hangs: 95° is 85°."""
    over = with_unknowns(make_case(rise=np.radians(90)), ["rise"], np.radians([[5.0]]))
    assert np.degrees(over.branch.rise[0]) == pytest.approx(85.0)


def test_radiant_surroundings_and_air_shift_together_and_apart(make_case):
    both = with_unknowns(
        make_case(), ["air_temperature", "radiant_temperature"], np.array([[7.0, 5.0]])
    )
    assert both.surroundings.radiant_temperature[0] == pytest.approx(310.15, abs=1e-9)


def test_radiant_surroundings_follow_the_air_only_where_they_are_one(make_case):
    one = with_unknowns(make_case(), ["air_temperature"], np.array([[7.0]]))
    assert one.surroundings.radiant_temperature[0] == pytest.approx(305.15, abs=1e-9)
    two = with_unknowns(
        make_case(radiant_temperature=310.0), ["air_temperature"], np.array([[7.0]])
    )
    assert two.surroundings.radiant_temperature[0] == pytest.approx(310.0, abs=1e-9)


def test_gas_excess_is_told_over_the_air_of_the_case(make_case):
    case = make_case()  # 150 °C over 25 °C
    both = with_unknowns(
        case, ["air_temperature", "gas_temperature"], np.array([[5.0, np.log(1.1)]])
    )
    assert both.main_pipe.gas_temperature[0] == pytest.approx(298.15 + 137.5, abs=1e-9)


def test_shifted_emissivity_stays_an_emissivity():
    shifted = shifted_emissivity(np.array([0.4]), np.linspace(-30, 30, 61))
    assert np.all((shifted > 0) & (shifted < 1))
    assert shifted[30] == pytest.approx(0.4, rel=1e-14)


@pytest.mark.parametrize("gas", [1273.15, 243.15])
def test_draws_hardly_leave_the_property_tables(make_case, gas):
    case = make_case(gas_temperature=gas, air_temperature=233.15 if gas < 300 else 330.0)
    ensemble = prior_ensemble(case, 512)
    hot = ensemble.main_pipe.gas_temperature
    # The margin of 2.5 standard deviations leaves one draw in 160 on each side.
    assert np.mean((hot > HOTTEST) | (hot < COLDEST)) < 0.02


def test_an_ensemble_has_the_moments_of_its_calibration(make_case):
    case = make_case(stirring=1e-4)
    covariance = np.array([[0.3, -0.2], [-0.2, 0.4]])
    # Stirring far below its bound.
    calibration = Calibration(("stirring", "reach"), np.array([-9.0, 2.2]), covariance)
    drawn = calibrated_ensemble(case, calibration, 300).closures
    # Stirring is told two bores in, whatever the reach.
    logs = np.log(np.stack([drawn.stirring, drawn.reach]))
    logs[0] -= 2 / drawn.reach
    np.testing.assert_allclose(logs.mean(axis=1), [-9.0, 2.2], rtol=1e-12, atol=0)
    np.testing.assert_allclose(np.cov(logs, bias=True), covariance, rtol=1e-10, atol=0)
    np.testing.assert_array_equal(drawn.stanton, case.closures.stanton[0])


def test_what_the_case_fixes_is_left_out_of_a_calibration(make_case):
    learned = Calibration.prior(make_case())
    fixed = make_case(fixed_diffusivity=0.02)
    assert "stirring" not in learned.effective_in(fixed).names
    assert len(calibrated_ensemble(fixed, learned, 16)) == 16


@pytest.mark.parametrize(
    "changes",
    [
        {"names": ("stirring", "stirring")},
        {"names": ("stirring", "colour")},
        {"mean": np.zeros(3)},
        {"mean": np.array([0.0, np.nan])},
        {"covariance": np.array([[1.0, 0.5], [0.4, 1.0]])},
        {"covariance": np.array([[1.0, 2.0], [2.0, 1.0]])},
    ],
)
def test_what_is_no_calibration_is_refused(changes):
    sound = Calibration(("stirring", "reach"), np.zeros(2), np.eye(2))
    with pytest.raises(InputError, match="no calibration"):
        replace(sound, **changes)


def test_each_independent_unknown_has_a_white_coordinate_of_its_own(make_case):
    """In their order, so that what is said of a coordinate is said of its unknown."""
    prior = Calibration.prior(make_case())
    np.testing.assert_allclose(prior.symmetric_root, np.diag(prior.spread), rtol=0, atol=1e-12)
    size = len(prior.names)
    mixed = np.random.default_rng(3).normal(size=(size, size))
    learned = Calibration(prior.names, prior.mean, mixed @ mixed.T)
    root = learned.symmetric_root
    np.testing.assert_allclose(root @ root.T, learned.covariance, rtol=1e-9)


def test_a_length_and_a_gas_that_may_be_otherwise_go_with_the_tone(make_case):
    """5 mm of half a metre is 1 %, of two a quarter; an untold gas moves the middle as well."""
    nothing = Spreads(composition=0.0, length=0.0)
    own = UNKNOWNS["tone"].prior(make_case(), nothing)
    for length, part in ((0.5, 0.01), (2.0, 0.0025)):
        case = make_case(length=length)
        found = UNKNOWNS["tone"].prior(case, replace(nothing, length=0.005))
        assert found.spread == pytest.approx(np.hypot(own.spread, part), rel=1e-12)
        assert found.centre == own.centre
    untold = UNKNOWNS["tone"].prior(make_case(), replace(nothing, composition_shift=0.008))
    assert untold == (own.centre + 0.008, own.spread)


@pytest.mark.parametrize("own", [0.15, 2.0])
def test_no_draw_stirs_more_than_eddies_of_the_bore_can(make_case, own):
    """Unless the case itself says more: then no more than that, and 2 % for the bend."""
    case = make_case()
    case = case.changed(closures=case.closures.changed(stirring=np.array([own])))
    prior = Calibration.prior(case)
    far = prior.mean + prior.spread * np.random.default_rng(3).normal(size=(2000, len(prior.names)))
    found = with_unknowns(case, prior.names, far).closures.stirring
    assert found.max() <= max(MOST_STIRRING, own) * 1.02
    middle = with_unknowns(case, prior.names, prior.mean[None])
    assert middle.closures.stirring[0] == pytest.approx(own, rel=1e-12)


def test_stirring_far_below_the_bound_is_as_told(make_case):
    """Two bores in, where the prior holds it known: to a thousandth at a third of the bound."""
    case = make_case()
    prior = Calibration.prior(case)
    names = ["stirring", "reach"]
    told = np.array([[prior.mean[prior.names.index("stirring")] - 1.0, np.log(0.9)]])
    closures = with_unknowns(case, names, told).closures
    two_in = closures.stirring * np.exp(-2 / closures.reach)
    assert two_in[0] == pytest.approx(np.exp(told[0, 0]), rel=2e-3)


def test_a_mouth_that_leans_is_known_worse_and_one_that_stands_as_before(make_case):
    spreads = Spreads()
    for name in ("mouth_exchange", "stirring", "mouth_factor"):
        square, slight, half = (
            UNKNOWNS[name].prior(make_case(lean=lean), spreads) for lean in (0.0, -0.3, np.pi / 4)
        )
        assert square.spread < slight.spread < half.spread
        assert square.centre == half.centre
    assert UNKNOWNS["reach"].prior(make_case(lean=0.7), spreads) == UNKNOWNS["reach"].prior(
        make_case(), spreads
    )


@pytest.mark.parametrize("gas_temperature", [291.2, 295.0, 1250.0])
def test_no_draw_leaves_the_tables(make_case, gas_temperature):
    """Gas all but as warm as the air, told to 25 K: its excess could fall below 0 K."""
    case = make_case(gas_temperature=gas_temperature, air_temperature=293.15)
    prior = UNKNOWNS["gas_temperature"].prior(case, Spreads())
    drawn = np.linspace(-6, 6, 13)[:, None] * prior.spread
    found = with_unknowns(case, ["gas_temperature"], drawn).main_pipe.gas_temperature
    assert found.min() >= COLDEST
    assert found.max() <= HOTTEST
    assert found[6] == pytest.approx(gas_temperature)
