"""The transient solver against exact solutions, against scipy and against itself."""

from importlib import import_module

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from closed_forms import Fin, WarmingFin, fin_warming, long_fin_warming
from warmbranch import core
from warmbranch.base.errors import InputError, NotConvergedError
from warmbranch.case.materials import Metal
from warmbranch.steady.solve import solve
from warmbranch.warming import solve as warmup
from warmbranch.warming.drive import Curve, Drive
from warmbranch.warming.solve import skin_at, warm_up
from warmbranch.warming.storage import WrapHeat
from warmbranch.warming.wander import wander


def times(duration, count=13):
    return np.linspace(0.0, duration, count)


# --- exact solutions ---------------------------------------------------------------------------


def insulated_inside(make_case, **changes):
    """A wall that the gas does not reach, cooled by a fixed film, its mouth end held."""
    given = {
        "gas_temperature": 293.15,
        "air_temperature": 293.15,
        "skin_temperature": 393.15,  # hotter than gas and air: no film gives that, it is held
        "emissivity": 0.0,
        "fixed_diffusivity": 0.0,
        "fixed_inner_film": 1e-9,
        "fixed_outer_film": 20.0,
        "cap_thickness": 1e-9,
    } | changes
    return make_case(**given)


def fin_of(case, conductivity):
    """What the branch's wall is as a fin: it loses by its skin, the cap's plate by its own."""
    branch = case.branch
    outside, area = float(branch.outside_diameter[0]), float(branch.wall_area[0])
    film, perimeter = float(case.closures.fixed_outer_film[0]), np.pi * outside
    # The cap's plate, wider than the tube's ring of metal, counts as a larger tip film.
    fin = Fin(film, perimeter, area, float(branch.length[0]), conductivity)
    return fin, np.pi / 4 * outside**2 / area


class TestExact:
    @pytest.mark.parametrize("time", [30.0, 300.0])
    def test_endless_fin_whose_base_jumps(self, make_case, time):
        case = insulated_inside(make_case, metal=Metal.constant(16.0, 7900.0, 500.0))
        fin, _ = fin_of(case, 16.0)
        exact = WarmingFin(fin, 16.0 / (7900.0 * 500.0))
        errors = []
        for nodes in (161, 321):
            found = warm_up(case, Drive(time), np.array([time]), tolerance=1e-3, nodes=nodes)
            excess = (found.wall[0, 0] - 293.15) / 100
            errors.append(np.abs(excess - long_fin_warming(exact, found.position[0], time)).max())
        # Second order along x; the jump's front after 30 s is 22 mm, a score of nodes, wide.
        assert errors[1] < 5e-4
        assert 3.0 < errors[0] / errors[1] < 5.0

    @pytest.mark.parametrize("time", [5.0, 60.0])
    def test_short_fin_by_its_series(self, make_case, time):
        """Copper, so that the warmth reaches the cap, whose plate is a part of the tip's film."""
        case = insulated_inside(
            make_case, metal=Metal.constant(400.0, 8900.0, 385.0), length=0.2, wall_thickness=3e-3,
            fixed_outer_film=60.0,
        )  # fmt: skip
        fin, plate = fin_of(case, 400.0)
        exact = WarmingFin(fin, 400.0 / (8900.0 * 385.0))
        found = warm_up(case, Drive(time), np.array([time]), tolerance=1e-3, nodes=321)
        excess = (found.wall[0, 0] - 293.15) / 100
        series = fin_with_tip_film(exact, found.position[0], time, plate * fin.film)
        assert_allclose(excess, series, atol=5e-4)  # second order in 321 nodes
        assert series[40 if time < 10 else -1] > 0.1

    def test_cap_plate_warms_as_a_lumped_body(self, make_case):
        """Metal that does not conduct: the cap's node holds plate and half a cell of tube."""
        case = make_case(
            condensation=False,
            metal=Metal.constant(1e-9, 7900.0, 500.0), emissivity=0.0, fixed_diffusivity=1e6,
            fixed_inner_film=30.0, fixed_outer_film=12.0, cap_thickness=4e-3,
            gas_temperature=423.15, air_temperature=293.15,
        )  # fmt: skip
        found = warm_up(case, Drive(600.0), times(600.0), tolerance=1e-3)
        half = np.diff(found.position[0])[-1] / 2
        plate = np.pi / 4 * 0.0508**2
        inside = 30 * (np.pi * 0.0478 * half + np.pi / 4 * 0.0478**2)
        outside = 12 * (np.pi * 0.0508 * half + plate)
        heat = 7900 * 500 * (float(case.branch.wall_area[0]) * half + plate * 4e-3)
        end = (inside * 423.15 + outside * 293.15) / (inside + outside)
        tau = heat / (inside + outside)
        expected = end + (293.15 - end) * np.exp(-found.time / tau)
        assert_allclose(found.wall[0, :, -1], expected, atol=0.01)  # ten tolerances of a step

    def test_wrap_stores_half_its_heat_at_the_wall_and_half_at_the_skin(self, make_case):
        """Two lumped bodies, by the matrix exponential."""
        case = make_case(
            condensation=False,
            metal=Metal.constant(1e-9, 7900.0, 500.0), emissivity=0.0, fixed_diffusivity=1e6,
            fixed_inner_film=30.0, fixed_outer_film=12.0, wrap_thickness=0.01,
            wrap_conductivity=0.1, gas_temperature=423.15, air_temperature=293.15,
        )  # fmt: skip
        wrap = WrapHeat(np.array([700.0]), np.array([900.0]))
        found = warm_up(case, Drive(3600.0), times(3600.0), tolerance=1e-3, wrap=wrap)
        outer = 0.0508 + 0.02
        half = np.pi / 4 * (outer**2 - 0.0508**2) * 700 * 900 / 2
        metal = float(case.branch.wall_area[0]) * 7900 * 500 + half
        through = 2 * np.pi * 0.1 / np.log(outer / 0.0508)
        inside, outside = 30 * np.pi * 0.0478, 12 * np.pi * outer
        matrix = np.array(
            [[-(inside + through) / metal, through / metal],
             [through / half, -(through + outside) / half]]
        )  # fmt: skip
        push = np.array([inside * 423.15 / metal, outside * 293.15 / half])
        end = np.linalg.solve(matrix, -push)
        values, vectors = np.linalg.eig(matrix)
        weight = np.linalg.solve(vectors, np.full(2, 293.15) - end)
        for k, time in enumerate(found.time):
            wall, skin = end + vectors @ (weight * np.exp(values * time))
            assert_allclose(found.wall[0, k, 80], wall, atol=0.01)
            assert_allclose(found.skin[0, k, 80], skin, atol=0.01)


def fin_with_tip_film(warming, x, time, film):
    """The series with the plate's own film: ``fin_warming`` with another number at the tip.

    Tip and sides enter apart: the sides by ``m``, the tip by ``film / k``.
    """
    fin = warming.fin
    # A fin of the plate's film has the sides' decay when its perimeter shrinks in proportion.
    other = fin._replace(film=film, perimeter=fin.perimeter * fin.film / film)
    assert other.decay == pytest.approx(fin.decay, rel=1e-12)
    return fin_warming(warming._replace(fin=other), x, time)


# --- the steady limit, heat, both paths ---------------------------------------------------------


@pytest.fixture(scope="module")
def compiled():
    assert core.at_hand() is not None


@pytest.fixture(scope="module")
def sample(box_sample, compiled):
    """Bare and wrapped designs of the whole box after a jump, for two hours."""
    case = box_sample(96, seed=31)
    return case, warm_up(case, Drive(7200.0), times(7200.0))


STEADY = {
    "common practice": {},
    "skin of the main pipe given": {"skin_temperature": 360.0},
    "held skin": {"skin_temperature": 500.0},
    "pulsation": {"incident_pressure": 1500.0},
    "fixed mixing": {"fixed_diffusivity": 0.02},
}


@pytest.mark.parametrize("name", STEADY)
def test_in_the_long_run_it_is_the_steady_answer(make_case, name):
    case = make_case(**STEADY[name])
    hours = 4 * 3600.0
    found = warm_up(case, Drive(hours), np.array([hours]))
    answer = solve(case, position=found.position)
    sound = wander(found, answer.resonance[:, 0])
    assert_allclose(sound.frequency[:, -1], answer.resonance[:, 0], rtol=1e-6)
    # Long settled, the steps are as long as the tolerance lets them: that is what remains.
    assert_allclose(found.wall[:, -1], answer.profile.wall, atol=2 * warmup.TOLERANCE)


def test_heat_in_is_heat_out_and_heat_stored(sample):
    _, found = sample
    assert np.all(found.imbalance < 1e-6)
    total = np.abs(found.heat_entered) + np.abs(found.heat_lost) + np.abs(found.heat_stored)
    amiss = np.abs(found.heat_entered - found.heat_lost - found.heat_stored)
    assert np.all(amiss <= 1e-6 * total)


def test_stored_heat_is_that_of_the_temperatures(make_case):
    """The account against a sum over the final wall, by hand."""
    case = make_case(
        condensation=False, metal=Metal.constant(16.0, 7900.0, 500.0), cap_thickness=3e-3
    )
    found = warm_up(case, Drive(900.0), np.array([900.0]))
    x, risen = found.position[0], found.wall[0, 0] - 298.15
    width = np.gradient(x)
    width[[0, -1]] = np.diff(x)[[0, -1]] / 2
    width[1:-1] = (x[2:] - x[:-2]) / 2
    volume = float(case.branch.wall_area[0]) * width
    volume[-1] += np.pi / 4 * 0.0508**2 * 3e-3
    assert_allclose(found.heat_stored[0], 7900 * 500 * np.sum(volume * risen), rtol=1e-9)


def test_no_temperature_beyond_its_causes(sample):
    case, found = sample
    causes = np.stack(
        [
            case.main_pipe.gas_temperature,
            case.surroundings.air_temperature,
            case.surroundings.radiant_temperature,
            np.fmax(case.main_pipe.skin_temperature, case.surroundings.air_temperature),
            np.fmin(case.main_pipe.skin_temperature, case.surroundings.air_temperature),
        ]
    )
    # Stages of higher order may pass a limit by about the tolerance of a step.
    low, high = causes.min(axis=0) - 0.5, causes.max(axis=0) + 0.5
    for values in (found.gas, found.wall, found.skin):
        assert np.all(values >= low[:, None, None])
        assert np.all(values <= high[:, None, None])


@pytest.mark.slow
def test_both_paths_take_the_same_steps(box_sample, compiled, monkeypatch):
    case = box_sample(12, seed=32)
    drive = Drive(
        900.0,
        mass_flow=Curve(
            "mass_flow", "kg/s", np.array([0, 300.0, 300.0]), np.array([0.01, 0.01, 0])
        ),
        air_speed=Curve("air_speed", "m/s", np.array([0, 600.0]), np.array([0.0, 20.0])),
    )
    quick = warm_up(case, drive, times(900.0))
    monkeypatch.setenv(core.OFF, "off")
    plain = warm_up(case, drive, times(900.0))
    # In a steep branch whose mouth cools when the engine stops, gas that is hotter above lies still
    # and gas that is hotter below turns over; where both meet, rounding decides which is which. The
    # gas there is all but at one temperature, so that it hardly matters to the wall, nor to a tone.
    turns = (np.degrees(case.branch.rise) > 60) & (case.main_pipe.gas_temperature > 1200)
    assert np.count_nonzero(turns) == 1
    calm = ~turns
    assert_array_equal(quick.steps[calm], plain.steps[calm])
    assert_array_equal(quick.iterations[calm], plain.iterations[calm])
    for name in ("gas", "wall", "skin"):
        got, expected = getattr(quick, name), getattr(plain, name)
        # Rounding, carried through some hundred Newton steps that end at a thousandth of a kelvin.
        assert_allclose(got[calm], expected[calm], atol=1e-6, err_msg=name)
        # A thousandth of the excess that the branch had, gas; a tenth of that, metal.
        assert_allclose(got[turns], expected[turns], atol=1.0 if name == "gas" else 0.1)
    assert_allclose(quick.heat_entered[calm], plain.heat_entered[calm], rtol=1e-8)


def test_batch_equals_singles(box_sample, compiled):
    case = box_sample(12, seed=33)
    together = warm_up(case, Drive.cold_start(600.0), times(600.0))
    for i in range(len(case)):
        alone = warm_up(case.take(np.array([i])), Drive.cold_start(600.0), times(600.0))
        assert_allclose(alone.wall[0], together.wall[i], rtol=1e-12)


# --- accuracy in time ----------------------------------------------------------------------------

RUNS = {
    "jump": lambda: Drive(1200.0),
    "cold start": lambda: Drive.cold_start(1200.0),
    "engine stop": lambda: Drive.engine_stop(1200.0),
    "drive": lambda: Drive(
        1200.0,
        gas_temperature=Curve(
            "gas_temperature", "K", np.array([0, 60, 60, 600, 630, 1200.0]),
            np.array([300, 500, 600, 700, 900, 850.0]),
        ),
        mass_flow=Curve(
            "mass_flow", "kg/s", np.array([0, 60, 60, 900, 900.0]),
            np.array([0.005, 0.005, 0.03, 0.03, 0.0]),
        ),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", RUNS)
@pytest.mark.parametrize("wrap", [0.0, 0.008])
def test_default_tolerance_holds_the_resonance(make_case, compiled, name, wrap):
    case = make_case(gas_temperature=583.15, wrap_thickness=wrap, mass_flow=95 / 3600)
    moments = times(1200.0, 61)
    coarse, fine = (
        wander(warm_up(case, RUNS[name](), moments, tolerance=tolerance), np.array([90.0]))
        for tolerance in (warmup.TOLERANCE, 1e-3)
    )
    # Once the engine stands, the counterflow at the mouth turns within a cell, and with it vapour's
    # way in: the gas there is left to rounding, as is a tenth of a percent of the tone.
    assert_allclose(coarse.frequency, fine.frequency, rtol=1e-3 if name == "engine stop" else 2e-4)


def test_over_the_box_too(sample, compiled):
    case, found = sample
    fine = warm_up(case, Drive(7200.0), times(7200.0), tolerance=2e-3)
    driven = np.full(len(case), 100.0)
    coarse, better = (wander(run, driven).frequency for run in (found, fine))
    assert_allclose(coarse, better, rtol=2e-4)


def test_agrees_with_scipy_on_a_finer_grid(compiled):
    """Method of lines, written apart, by ``solve_ivp``'s BDF."""
    bench = import_module("bench_warmup")
    case = bench.one_case()
    moments = np.array([30.0, 120.0, 600.0])
    gas, wall, x = bench.Lines(case, 241).run(moments, rtol=1e-6, atol=1e-4)
    found = warm_up(case, Drive.cold_start(600.0), moments, tolerance=1e-3, nodes=641)
    for k in range(len(moments)):
        ours = np.interp(x, found.position[0], found.wall[0, k])
        # Their grid is of second order: 241 nodes leave this much beside the mouth.
        assert_allclose(wall[k], ours, atol=0.15)
        ours = np.interp(x, found.position[0], found.gas[0, k])
        assert_allclose(gas[k], ours, atol=0.3)


# --- drives --------------------------------------------------------------------------------------


def test_a_jump_of_the_gas_is_met_at_once(make_case):
    case = make_case()
    curve = Curve(
        "gas_temperature", "K", np.array([0, 100.0, 100.0]), np.array([298.15, 298.15, 500.0])
    )
    found = warm_up(case, Drive(110.0, gas_temperature=curve), np.array([100.0, 100.001, 110.0]))
    assert_allclose(found.gas[0, 0], 298.15, atol=1e-6)
    assert found.main_gas[0, 1] == 500.0
    assert found.gas[0, 1, 0] > 400.0  # behind the mouth's resistance
    assert found.gas[0, 1, 40] > 320.0  # the gas balances at once ...
    assert_allclose(found.wall[0, 1], 298.15, atol=0.01)  # ... and the wall has hardly begun


def test_without_any_drive_nothing_happens(make_case):
    found = warm_up(make_case(gas_temperature=298.15), Drive(3600.0), times(3600.0))
    for values in (found.gas, found.wall, found.skin):
        assert_allclose(values, 298.15, rtol=1e-12)


def test_engine_stop_begins_warm_and_cools(make_case):
    case = make_case(gas_temperature=583.15)
    found = warm_up(case, Drive.engine_stop(3600.0), times(3600.0))
    answer = solve(case, position=found.position)
    assert_allclose(found.wall[0, 0], answer.profile.wall[0], atol=1e-9)
    assert np.all(np.diff(found.wall[0, 1:, 0]) < 0)
    assert found.heat_stored[0] < 0
    assert found.wall[0, -1].max() < 320.0


def test_given_skin_is_reached_and_held_one_stays(make_case):
    given = np.array([360.0, 500.0])
    found = warm_up(make_case(skin_temperature=given), Drive(3600.0), times(3600.0))
    assert_allclose(found.wall[0, [0, -1], 0], [298.15, 360.0], atol=1e-3)
    assert_allclose(found.wall[1, :, 0], 500.0, rtol=0)


def test_skin_at_is_the_skin_of_each_reading(make_case):
    case = make_case(wrap_thickness=np.array([0.0, 0.005]))
    position, time = np.array([0.1, 0.5, 0.1]), np.array([300.0, 120.0, 120.0])
    found = skin_at(case, Drive(600.0), position, time)
    whole = warm_up(case, Drive(600.0), np.array([120.0, 300.0]))
    for i in range(2):
        for reading, moment in ((0, 1), (1, 0), (2, 0)):
            expected = np.interp(position[reading], whole.position[i], whole.skin[i, moment])
            # Linear here, third order there; the outputs of one step are the same cubic.
            assert_allclose(found[i, reading], expected, atol=0.05)


@pytest.mark.parametrize("wrong", [[10.0, 5.0], [-1.0], [700.0]])
def test_times_that_cannot_be(make_case, wrong):
    with pytest.raises(InputError, match="times to report"):
        warm_up(make_case(), Drive(600.0), np.array(wrong))


def test_a_run_that_stops_short_says_so(make_case, monkeypatch):
    monkeypatch.setattr(warmup, "MOST_TIME_STEPS", 3)
    with pytest.raises(NotConvergedError) as caught:
        warm_up(make_case(), Drive(600.0), np.array([600.0]))
    assert caught.value.designs == (0,)
    assert 0 < caught.value.residual <= 1


def test_common_practice_cancellation_is_poor_at_first(make_case, compiled):
    """Common practice, no source: poor for the first minutes, then it comes in. Our number: after
    a cold start of the branch of common practice, a minute in, at the warm quiet tone, it is some
    7 dB short of warm, whose depth the mouth's resistance bounds; after ten minutes it is within
    2 dB."""
    case = make_case()
    warm = solve(case)
    sound = wander(
        warm_up(case, Drive.cold_start(1800.0), np.array([60.0, 600.0])), warm.resonance[:, 0]
    )
    full = warm.transmission_loss(warm.resonance[:, :1])[0, 0]
    short = full - sound.loss[0]
    assert 5.0 < short[0] < 10.0
    assert 0.0 < short[1] < 2.0
