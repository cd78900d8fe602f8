"""The whole flow: case to temperatures to resonance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from warmbranch.base.errors import NotConvergedError
from warmbranch.case.case import Case
from warmbranch.case.closures import MOUTH_EXCHANGE, REACH, STIRRING, TONE_EXCHANGE, at_mouth
from warmbranch.case.geometry import Piece, inertance_ratio_between
from warmbranch.case.main_pipe import bulk_speed
from warmbranch.gas.gas import MixtureTable, dry_air_table
from warmbranch.heat.discretise import heat_balance
from warmbranch.heat.discretise import pulsating as with_pulsation
from warmbranch.heat.main_pipe_wall import wall_temperature
from warmbranch.heat.temperature import solve_steady
from warmbranch.sound import acoustics, discretisation, resonance
from warmbranch.steady import interplay
from warmbranch.steady.answer import Answer
from warmbranch.steady.cautions import findings
from warmbranch.steady.solve import solve

CHUNK = 1024
"""Designs solved at once in long tests: some hundred megabytes of cells."""


def without_pulsation(case: Case) -> Case:
    return replace(case, main_pipe=replace(case.main_pipe, incident_pressure=np.zeros(len(case))))


# --- what everybody hears ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def spread(make_case):
    """The branch of common practice over all the prior ranges of what happens at the mouth."""
    priors = (MOUTH_EXCHANGE, TONE_EXCHANGE, STIRRING, REACH)
    axes = (np.geomspace(prior.low, prior.high, 5) for prior in priors)
    by_flow, by_tone, inside, reach = (grid.ravel() for grid in np.meshgrid(*axes))
    return solve(
        make_case(
            mouth_exchange=by_flow,
            tone_exchange=by_tone,
            stirring=at_mouth(inside, reach),
            reach=reach,
        )
    )


class TestRobustness:
    """The closures are uncertain by factors of 3 to 11; the resonance hardly cares.

    That 1031 mm cancels at 1800 rpm and not at 2000 is checked in fixtures/published.
    """

    def test_resonance_moves_by_a_few_percent(self, make_case, spread):
        """Measured: −1.4 % to +1.2 %, the corners of all ranges included."""
        usual = solve(make_case()).resonance[0, 0]
        moved = spread.resonance[:, 0] / usual - 1
        # Bounds a little outside of what was measured; inside, half of it, so that the closures
        # are seen to act at all.
        assert -0.020 < moved.min() < -0.007
        assert 0.006 < moved.max() < 0.018

    def test_one_temperature_is_wrong_whatever_the_closures(self, spread):
        """Measured: 13.6 % to 16.7 % high, five times the spread and more."""
        wrong = spread.one_temperature / spread.resonance[:, 0] - 1
        assert np.all(wrong > 0.12)
        assert np.all(wrong < 0.19)

    def test_transit_time_is_low_whatever_the_closures(self, spread):
        """Measured: 0.7 % to 1.8 % low. It has no mouth correction, which hides half of it."""
        wrong = spread.transit_time / spread.resonance[:, 0] - 1
        assert np.all(wrong < 0)


def test_hotter_gas_longer_branch_and_the_effective_temperature(make_case):
    length = solve(make_case(length=np.array([0.5, 0.8, 1.1, 1.6]))).resonance[:, 0]
    assert np.all(np.diff(length) < 0)
    hot = solve(make_case(gas_temperature=np.array([350.0, 450.0, 700.0, 1100.0])))
    assert np.all(np.diff(hot.resonance[:, 0]) > 0)
    assert np.all(hot.effective_temperature > hot.profile.gas[:, -1])
    assert np.all(hot.effective_temperature < hot.profile.gas[:, 0])


def test_gas_of_one_temperature_resonates_at_it(make_case):
    """Gas, air and walls at one temperature: the effective temperature is that one."""
    answer = solve(make_case(gas_temperature=320.0, air_temperature=320.0, condensation=False))
    assert_allclose(answer.effective_temperature, 320.0, rtol=1e-7)  # roots to 1e-8, T as f²


def test_loss_peaks_at_the_resonance(make_case):
    """Loss is largest where the branch's impedance is least, within the width of the notch."""
    answer = solve(make_case())
    around = answer.resonance[:, :1] * np.linspace(0.9, 1.1, 2001)
    loss = answer.transmission_loss(around)[0]
    peak = around[0, np.argmax(loss)]
    assert loss.max() > 20
    assert_allclose(peak, answer.resonance[0, 0], rtol=0.1 / answer.quality_factor[0])


def test_bends_and_mouth_reach_the_acoustics(make_case):
    plain = solve(make_case(fixed_mouth_length=0.0)).resonance[0, 0]
    assert solve(make_case(fixed_mouth_length=0.02)).resonance[0, 0] < plain
    first, bend = Piece(0.1), Piece.bend(np.pi / 2, 0.06)
    pieces = (first, bend, Piece(1.031 - first.length - bend.length))
    bent = solve(make_case(pieces=(pieces,), fixed_mouth_length=0.0)).resonance[0, 0]
    assert bent > plain  # a bend carries less inertance


def test_batch_equals_singles(box_sample):
    """Whatever the neighbours, pulsation included, whose loop stops at 1e-8."""
    case = box_sample(128, seed=41)
    together = solve(case)
    pulsating = case.main_pipe.incident_pressure > 0
    for i in range(0, 128, 8):
        alone = solve(case.take(np.array([i])))
        rtol = 1e-6 if pulsating[i] else 1e-9
        assert_allclose(alone.resonance[0], together.resonance[i], rtol=rtol)
        assert_allclose(alone.profile.gas[0], together.profile.gas[i], rtol=rtol)


def test_answers_can_be_taken_and_joined(make_case):
    answer = solve(make_case(length=np.array([0.6, 0.8, 1.0])))
    again = Answer.concatenate([answer.take(slice(0, 1)), answer.take(slice(1, 3))])
    assert_array_equal(again.resonance, answer.resonance)
    assert_array_equal(again.profile.gas, answer.profile.gas)
    assert len(findings(again)) == 3


# --- pulsation --------------------------------------------------------------------------------

PRESSURE = np.array([0.0, 100.0, 1000.0, 5000.0, 20000.0])


@pytest.fixture(scope="module")
def pulsating(make_case):
    return solve(make_case(incident_pressure=PRESSURE))


class TestPulsation:
    def test_warms_the_branch_and_raises_the_resonance(self, pulsating):
        assert np.all(np.diff(pulsating.profile.gas[1:, 0]) > 0)  # from 100 Pa on
        assert np.all(np.diff(pulsating.profile.heat_lost[1:]) > 0)
        assert np.all(np.diff(pulsating.resonance[1:, 0]) > 0)

    def test_silence_is_no_pulsation(self, make_case, pulsating):
        quiet = solve(make_case())
        assert_allclose(pulsating.resonance[0], quiet.resonance[0], rtol=1e-9)
        # A tone of a millipascal exchanges nothing at the mouth, as a cap without pressure.
        whisper, none = solve(make_case(incident_pressure=1e-3)), solve(make_case(cap_pressure=0.0))
        assert_allclose(whisper.resonance, none.resonance, rtol=1e-6)

    def test_sound_and_heat_agree(self, make_case, pulsating):
        """C_p ω ξ², with ξ worked here from the final sound, gives back the final temperatures.

        A wave of amplitude p meets a junction whose pressure is p_j = p + r = t; the branch takes
        U_b = p_j/Z_b, and continuity gives U_b = 2p/(2 Z_b + Z_main).
        """
        case = make_case(incident_pressure=PRESSURE)
        frequency = pulsating.resonance[:, 0]
        omega = 2 * np.pi * frequency
        impedance = acoustics.input_impedance(pulsating.duct, frequency[:, None])[:, 0]
        flow = 2 * PRESSURE / np.abs(2 * impedance + pulsating.main_impedance)
        _, shape = acoustics.standing_wave(pulsating.duct, frequency)
        edge = np.hstack([np.zeros((5, 1)), np.cumsum(pulsating.duct.cell_length, axis=1)])
        swing = np.stack(
            [
                np.interp(x, e, np.abs(u))
                for x, e, u in zip(pulsating.profile.position, edge, shape, strict=True)
            ]
        )
        displacement = (flow / omega / case.branch.bore_area)[:, None] * swing
        gas, air = MixtureTable.of(case.gas), dry_air_table()
        speed = bulk_speed(case.main_pipe, gas, case.surroundings.pressure)
        quiet = heat_balance(case, gas, air, speed, position=pulsating.profile.position)
        again = solve_steady(
            with_pulsation(quiet, displacement, frequency, pulsating.profile.gas),
            wall_temperature(case.main_pipe, gas, case.surroundings, air),
        )
        # The loop ends at 1e-8 in frequency, some 1e-7 of the excess temperature.
        assert_allclose(again.gas, pulsating.profile.gas, atol=1e-4)
        # At 20 kPa the gas swings by a good part of the branch's length.
        assert 0.05 < displacement[-1, 0] < 1.0

    def test_displacement_vanishes_at_the_cap(self, pulsating):
        _, shape = acoustics.standing_wave(pulsating.duct, pulsating.resonance[:, 0])
        assert_allclose(np.abs(shape[:, 0]), 1.0, rtol=1e-12)
        assert_allclose(np.abs(shape[:, -1]), 0.0, atol=1e-12)

    def test_a_loop_that_stops_short_says_so(self, make_case, monkeypatch):
        monkeypatch.setattr(interplay, "MOST_PASSES", 1)
        with pytest.raises(NotConvergedError, match="pulsation"):
            solve(make_case(incident_pressure=5000.0))

    def test_off_where_mixing_is_fixed(self, make_case):
        # Without the share of the mouth's mass that a loud tone keeps from the flow.
        quiet, loud = (
            solve(make_case(fixed_diffusivity=0.02, incident_pressure=p, mouth_flow=0.0))
            for p in (0.0, 20e3)
        )
        assert_allclose(loud.resonance, quiet.resonance, rtol=1e-9)


# --- everywhere in the box --------------------------------------------------------------------


def check_everywhere(answer: Answer, by_latent_heat: float = 0.0) -> None:
    """What must hold of any design whatever.

    ``by_latent_heat``, K: how much warmer beyond a place the gas may be for water that condenses.
    """
    case, profile = answer.case, answer.profile
    causes = np.stack(
        [
            case.main_pipe.gas_temperature,
            profile.wall[:, 0],
            case.surroundings.air_temperature,
            case.surroundings.radiant_temperature,
        ]
    )
    # Steps of 1e-9 of the span count as rounding; where the span is a kelvin or so, the fluxes of a
    # well mixed gas are many times what the branch gives off.
    lukewarm = np.ptp(causes, axis=0) < 2.0
    assert np.all(profile.closure_error < np.where(lukewarm, 1e-7, 1e-8))
    low, high = causes.min(axis=0)[:, None], causes.max(axis=0)[:, None]
    for values in (profile.gas, profile.wall, profile.skin):
        assert np.all(np.isfinite(values))
        assert np.all((values >= low) & (values <= high))
    # Monotone where the mouth is hotter (or colder) than all else: see test_temperature.py.
    gas, wall, air = causes[0], causes[1], causes[2]
    passive = causes[3] == air
    rise = np.diff(profile.gas, axis=1)
    # Where the gas has come to the air's temperature, wiggles of 2e-6 K were seen: the counterflow
    # fades there, and with it what holds one node to the next.
    assert np.all(rise[passive & (gas > wall) & (wall > air)] <= 1e-5 + by_latent_heat)
    assert np.all(rise[passive & (gas < wall) & (wall < air)] >= -1e-5)
    first = answer.resonance[:, 0]
    assert np.all(np.isfinite(first))
    assert np.all(first > 0)
    assert np.all(np.isfinite(answer.quality_factor) | ~case.closures.wall_losses)
    assert np.all(answer.quality_factor > 0)
    # Where the gas before the mouth outweighs that in the branch, the branch is a mere spring,
    # and a spring's stiffness does not ask how warm its gas is.
    heavy = answer.mouth_correction > answer.length
    assert np.all(np.isfinite(answer.effective_temperature) | heavy)
    # Higher resonances may be damped away (NaN), but never out of order.
    assert not np.any(answer.resonance[:, 1:] <= answer.resonance[:, :-1])
    # Every answer can be spoken about.
    assert all(len(found) > 0 for found in findings(answer))


def finely_resolved(case: Case) -> np.ndarray:
    """Resonances on fine grids with fine cells, extrapolated at second order, Hz."""

    def on(nodes: int) -> np.ndarray:
        answer = solve(case, nodes=nodes)
        fine = discretisation.duct(
            answer.profile.position,
            answer.profile.gas,
            MixtureTable.of(case.gas),
            case.surroundings.pressure,
            radius=case.branch.bore / 2,
            inertance_ratio=inertance_ratio_between(case.branch, answer.profile.position),
            mouth_inertance=answer.duct.mouth_inertance,
            wall_losses=case.closures.wall_losses,
            wall=answer.profile.wall,
            dried=answer.profile.dried,
            cells=128,
            grazed_inertance=answer.duct.grazed_inertance,
            crossing_time=answer.duct.crossing_time,
        )
        return resonance.resonances(fine)[0]

    return (4 * on(1281) - on(641)) / 3


GRID_ACCURACY = 1e-4
"""Relative, of the first resonance on the default grid: told in DEVELOPERS.md.

With the model's own coefficients where it holds them likely, where 1.1e-4 was measured once in
eight thousand designs. Far beyond (a Stanton number or a counterflow of twenty times the median),
in the kink where the gradient changes its sign, 2.4e-4.
"""


def test_box(box_sample):
    check_everywhere(solve(box_sample(256, seed=42)))


def test_default_grid_is_fine_enough(likely_sample):
    case = without_pulsation(likely_sample(64, seed=43))
    error = np.abs(solve(case).resonance / finely_resolved(case) - 1)
    assert error[:, 0].max() < GRID_ACCURACY


def test_first_resonance_converges_at_second_order(make_case):
    """Cells are left as they are and means are of fourth order: the heat balance converges."""
    case = make_case(rise=np.array([0.0, -0.6]), gas_temperature=700.0)
    found = np.stack([solve(case, nodes=n).resonance[:, 0] for n in (129, 257, 513, 1025)])
    change = np.diff(found, axis=0)
    order = np.log2(change[:-1] / change[1:])
    # Theory 2; the next term of the error makes a tenth on the coarsest grids.
    assert_allclose(order, 2.0, atol=0.2)


@pytest.mark.exhaustive
@pytest.mark.parametrize("part", range(20))
def test_box_at_large(likely_sample, part):
    """20,480 designs, Sobol points of one sequence, a thousand at a time: none fails."""
    case = likely_sample(20 * CHUNK, seed=44)
    check_everywhere(solve(case.take(slice(part * CHUNK, (part + 1) * CHUNK))))


@pytest.mark.exhaustive
@pytest.mark.parametrize("part", range(20))
def test_box_with_coefficients_that_no_one_believes(box_sample, part):
    """20,480 more, with stirring, Stanton number, counterflow far beyond their priors."""
    case = box_sample(20 * CHUNK, seed=44)
    # Of two of them the wall is so cold and the mixing so strong that latent heat warms it on.
    answer = solve(case.take(slice(part * CHUNK, (part + 1) * CHUNK)))
    check_everywhere(answer, by_latent_heat=0.3)


@pytest.mark.exhaustive
@pytest.mark.parametrize("part", range(8))
def test_default_grid_is_fine_enough_at_large(likely_sample, part):
    """2,048 designs against extrapolated fine grids."""
    case = without_pulsation(likely_sample(2048, seed=45)).take(slice(part * 256, part * 256 + 256))
    error = np.abs(solve(case).resonance / finely_resolved(case) - 1)
    assert error[:, 0].max() < GRID_ACCURACY
