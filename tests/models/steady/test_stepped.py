"""Branches whose pieces are of several tubes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import brentq

from shared.tubes import of_several_tubes
from warmbranch import core
from warmbranch.case.bores import aligned, steps_of, summed
from warmbranch.case.geometry import Piece, Tube
from warmbranch.case.materials import Metal
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.sections import sections
from warmbranch.sound.step import step_length
from warmbranch.steady import stepped
from warmbranch.steady.sensitivity import sensitivity
from warmbranch.steady.solve import solve

NARROW, OWN, WIDE = Tube(40e-3, 1.2e-3), Tube(50.8e-3, 1.5e-3), Tube(60.3e-3, 2e-3)


def of(make_case, *parts, **changes):
    """A branch of (length, tube) pieces, from mouth to cap."""
    return make_case(pieces=(tuple(Piece(length, tube=tube) for length, tube in parts),), **changes)


# --- one tube all along -----------------------------------------------------------------------


def test_a_piece_of_the_branchs_own_tube_changes_no_bit(make_case):
    plain = solve(of(make_case, (0.3, None), (0.7, None)))
    named = solve(of(make_case, (0.3, OWN), (0.7, None)))
    assert_array_equal(named.resonance, plain.resonance)
    assert_array_equal(named.profile.gas, plain.profile.gas)


@pytest.mark.parametrize(
    "changes", [{}, {"wrap_thickness": 6e-3}, {"rise": 0.5}, {"incident_pressure": 800.0}]
)
def test_one_other_tube_all_along_is_the_branch_of_that_tube(make_case, changes, monkeypatch):
    """Through all of what is made for steps, against the plain way on numpy: to rounding."""
    parts = ((0.25, WIDE), (0.35, WIDE), (0.4, WIDE))
    told = solve(of(make_case, *parts, **changes))
    monkeypatch.setenv(core.OFF, "off")
    plain = solve(
        of(
            make_case,
            *((length, None) for length, _ in parts),
            outside_diameter=WIDE.outside_diameter,
            wall_thickness=WIDE.wall_thickness,
            **changes,
        )
    )
    assert_allclose(told.resonance, plain.resonance, rtol=1e-10)
    assert_allclose(told.quality_factor, plain.quality_factor, rtol=1e-8)
    assert_allclose(told.profile.gas, plain.profile.gas, rtol=1e-9)
    assert_allclose(told.profile.heat_lost, plain.profile.heat_lost, rtol=1e-9)
    assert_allclose(told.effective_temperature, plain.effective_temperature, rtol=1e-8)


# --- sound ------------------------------------------------------------------------------------


def uniform(make_case, *parts):
    """All of one temperature, without losses and mouth correction: sections alone matter."""
    return of(
        make_case,
        *parts,
        gas_temperature=320.0,
        air_temperature=320.0,
        wall_losses=False,
        fixed_mouth_length=0.0,
        condensation=False,
    )


SHAPES = [
    ((0.35, OWN), (0.65, WIDE)),
    ((0.35, OWN), (0.65, NARROW)),
    ((0.8, WIDE), (0.1, OWN)),
]


@pytest.mark.parametrize("parts", SHAPES)
def test_stepped_quarter_wave_without_the_steps_gas(make_case, parts, monkeypatch):
    """Exact: tan k l₁ tan k l₂ = S₁/S₂ of a closed tube of two sections."""
    monkeypatch.setattr(stepped, "step_length", lambda narrow, wide: 0.0 * narrow)
    (first, one), (second, two) = parts
    answer = solve(uniform(make_case, *parts))
    speed = MixtureTable.of(answer.case.gas).sound_speed(np.array([[320.0]]))[0, 0]

    def amiss(f):
        k = 2 * np.pi * f / speed
        s = (one.bore / two.bore) ** 2
        return np.sin(k * first) * np.sin(k * second) - s * np.cos(k * first) * np.cos(k * second)

    for found in answer.resonance[0]:
        exact = brentq(amiss, 0.99 * found, 1.01 * found, xtol=1e-12)
        assert_allclose(found, exact, rtol=3e-8)  # resonances are sought to 1e-8


@pytest.mark.parametrize("parts", SHAPES)
def test_stepped_quarter_wave_with_the_steps_gas(make_case, parts):
    """Exact: Z₁ tan k l₁ + ω m = Z₂ cot k l₂, the step's mass m between the sections."""
    (first, one), (second, two) = parts
    answer = solve(uniform(make_case, *parts))
    speed = MixtureTable.of(answer.case.gas).sound_speed(np.array([[320.0]]))[0, 0]
    narrow, wide = sorted((one.bore / 2, two.bore / 2))
    added = float(step_length(np.array([narrow]), np.array([wide]))[0]) / narrow**2

    def amiss(f):
        k = 2 * np.pi * f / speed
        z_one, z_two = (4 / tube.bore**2 for tube in (one, two))
        lumped = z_one * np.tan(k * first) + k * added
        return lumped - z_two / np.tan(k * second)

    found = answer.resonance[0, 0]
    exact = brentq(amiss, 0.99 * found, 1.01 * found, xtol=1e-12)
    # The lump is spread over an interval of the grid to either side: a tenth of what the default
    # grid promises.
    assert_allclose(found, exact, rtol=1e-5)
    assert abs(exact / solve(uniform(make_case, (1.0, OWN))).resonance[0, 0] - 1) > 1e-3


def test_steps_are_of_second_order_in_the_grid(make_case):
    """A hot, lossy branch of three tubes: the default grid against one four times as fine."""
    case = of(make_case, (0.12, NARROW), (0.5, OWN), (0.38, WIDE), gas_temperature=650.0)
    usual, fine = solve(case), solve(case, nodes=513)
    assert_allclose(usual.resonance[0, 0], fine.resonance[0, 0], rtol=1e-4)  # as is promised
    assert_allclose(usual.profile.heat_lost, fine.profile.heat_lost, rtol=2e-3)


def test_a_wider_end_lowers_the_tone_and_a_narrower_one_raises_it(make_case):
    """Rayleigh: compliance added where the pressure is highest lowers, taken away raises."""
    plain = solve(of(make_case, (1.031, None))).resonance[0, 0]
    wide = solve(of(make_case, (0.731, None), (0.3, WIDE))).resonance[0, 0]
    narrow = solve(of(make_case, (0.731, None), (0.3, NARROW))).resonance[0, 0]
    assert wide < plain < narrow


# --- heat -------------------------------------------------------------------------------------


def test_the_balance_closes(make_case):
    for changes in ({}, {"wrap_thickness": 8e-3}, {"rise": 0.7, "air_speed": 12.0}):
        case = of(
            make_case, (0.1, NARROW), (0.4, None), (0.3, WIDE), gas_temperature=700.0, **changes
        )
        assert solve(case).profile.closure_error[0] < 1e-8


def test_a_fin_of_two_tubes(make_case):
    """Exact: steel alone carries heat, the outer film is one number; a ring at the step and the
    cap lose with it. Two fins in series, by their closed forms."""
    film, excess, metal = 10.0, 100.0, 50.0
    parts = ((0.12, OWN), (0.1, WIDE))
    case = of(
        make_case,
        *parts,
        metal=Metal.constant(metal, 7900.0, 500.0),
        emissivity=0.0,
        gas_temperature=300.0,
        air_temperature=300.0,
        skin_temperature=300.0 + excess,
        fixed_diffusivity=0.0,
        fixed_inner_film=1e-9,
        fixed_outer_film=film,
    )
    answer = solve(case, nodes=1025)
    ratios, conductances = [], []
    for _, tube in parts:
        section = np.pi / 4 * (tube.outside_diameter**2 - tube.bore**2)
        ratios.append(np.sqrt(film * np.pi * tube.outside_diameter / (metal * section)))
        conductances.append(np.sqrt(film * np.pi * tube.outside_diameter * metal * section))

    def looking_in(load, m, g, length):
        """Conductance at a fin's begin with a load at its end, W/K."""
        t = np.tanh(m * length)
        return g * (load + g * t) / (g + load * t)

    cap = film * np.pi / 4 * WIDE.outside_diameter**2
    ring = film * np.pi / 4 * (WIDE.outside_diameter**2 - OWN.outside_diameter**2)
    behind = looking_in(cap, ratios[1], conductances[1], parts[1][0]) + ring
    total = looking_in(behind, ratios[0], conductances[0], parts[0][0])
    assert_allclose(answer.profile.heat_entering[0], total * excess, rtol=2e-5)  # second order
    m, g, length = ratios[0], conductances[0], parts[0][0]
    at_step = excess / (np.cosh(m * length) + behind / g * np.sinh(m * length))
    node = np.argmin(np.abs(answer.profile.position[0] - length))
    assert_allclose(answer.profile.position[0, node], length, rtol=1e-12)
    assert_allclose(answer.profile.wall[0, node] - 300.0, at_step, rtol=1e-4)


def test_surfaces_add_up(make_case):
    """Exact: what the control volumes have is what the tubes have, rings included."""
    case = of(make_case, (0.2, OWN), (0.3, WIDE), (0.1, NARROW), wrap_thickness=4e-3)
    x = np.sort(np.concatenate([[0.0, 0.6], np.random.default_rng(1).uniform(0, 0.6, 40)]))[None]
    found = sections(case.branch, case.covering, x)
    parts = ((0.2, OWN), (0.3, WIDE), (0.1, NARROW))

    def total(size):
        sizes = [size(tube) for _, tube in parts]
        walls = sum(np.pi * d * length for d, (length, _) in zip(sizes, parts, strict=True))
        rings = sum(np.pi / 4 * abs(a**2 - b**2) for a, b in pairwise(sizes))
        return walls + rings

    assert_allclose(found.bore_surface.sum(), total(lambda tube: tube.bore), rtol=1e-12)
    outside = total(lambda tube: tube.outside_diameter + 8e-3)
    end = np.pi / 4 * (NARROW.outside_diameter + 8e-3) ** 2
    assert_allclose(found.skin_area.sum(), outside + end, rtol=1e-12)
    resistance = sum(length / (np.pi / 4 * tube.bore**2) for length, tube in parts)
    assert_allclose(np.sum(np.diff(x) / found.bore_area), resistance, rtol=1e-12)


@pytest.mark.exhaustive
@pytest.mark.parametrize("seed", range(16))
def test_box_at_large(box_sample, seed):
    """4,096 designs of the admissible box, none of one tube all along: none fails."""
    answer = solve(of_several_tubes(box_sample(256, seed=seed), seed))
    assert answer.profile.closure_error.max() < 1e-7  # as of the box itself: test_solve.py
    assert np.all(np.diff(answer.resonance, axis=1)[~np.isnan(answer.resonance[:, 1:])] > 0)


# --- what is asked of them --------------------------------------------------------------------


def test_batches_may_hold_both_kinds(make_case):
    alone = [solve(of(make_case, (0.4, tube), (0.6, None))) for tube in (None, WIDE, NARROW)]
    pieces = tuple(one.case.branch.pieces[0] for one in alone)
    together = solve(make_case(pieces=pieces, length=np.ones(3)))
    assert_allclose(together.resonance, np.concatenate([a.resonance for a in alone]), rtol=1e-9)


def test_sensitivities_agree_with_differences(make_case):
    case = of(make_case, (0.2, NARROW), (0.8, None), gas_temperature=600.0)
    answer = solve(case)
    slopes = sensitivity(answer, ["main_pipe.gas_temperature", "branch.length"])
    ends = [
        solve(
            replace(case, main_pipe=replace(case.main_pipe, gas_temperature=np.array([600.0 + d]))),
            position=answer.profile.position,
        ).resonance[0, 0]
        for d in (-0.1, 0.1)
    ]
    assert_allclose(slopes.resonance[0, 0], (ends[1] - ends[0]) / 0.2, rtol=1e-5)
    longer = [
        solve(replace(case, branch=case.branch.with_length(np.array([1.0 + d])))).resonance[0, 0]
        for d in (-5e-3, 5e-3)
    ]
    # On a grid that moves a node off the step, and against a new one: a thousandth.
    assert_allclose(slopes.resonance[1, 0], (longer[1] - longer[0]) / 1e-2, rtol=5e-3)


def test_trimming_keeps_the_tubes_and_takes_off_at_the_cap(make_case):
    branch = of(make_case, (0.2, NARROW), (0.5, None), (0.3, WIDE)).branch
    shorter = branch.with_length(np.array([0.85])).pieces[0]
    assert [piece.tube for piece in shorter] == [NARROW, None, WIDE]
    assert_allclose(shorter[-1].length, 0.15)
    assert branch.with_length(np.array([0.6])).pieces[0][-1].tube is None
    bend = Piece.bend(1.0, 0.1, WIDE)
    assert replace(branch, pieces=((Piece(0.2), bend),)).with_length(np.array([0.5])).pieces[0][
        -1
    ] == Piece(0.5 - 0.2 - 0.1, tube=WIDE)


def test_steps_lie_on_edges_of_cells(make_case):
    branch = of(make_case, (0.05, NARROW), (0.02, None), (0.93, WIDE)).branch
    x = aligned(branch, np.linspace(0, 1, 129)[None], 32)
    assert np.all(np.diff(x) > 0)
    for place in steps_of(branch).place[0]:
        assert np.min(np.abs(x[0, ::4] - place)) < 1e-12
    assert x[0, 0] == 0
    assert x[0, -1] == 1


def test_what_is_summed_is_exact_within_pieces(make_case):
    branch = of(make_case, (0.2, NARROW), (0.8, None)).branch
    found = summed(branch, np.array([[1.0, 3.0]]), np.array([[0.0, 0.1, 0.2, 0.5, 1.0]]))
    assert_allclose(found, [[0.0, 0.1, 0.2, 1.1, 2.6]], rtol=1e-14)


class TestStepsGas:
    def test_into_an_endless_tube_it_is_that_of_a_piston(self):
        """Exact: 8a/(3π) as the ratio goes to nothing, to first order 1 − 1.2 α or so."""
        assert_allclose(
            step_length(np.array([1e-2]), np.array([1.0])), 8e-2 / (3 * np.pi), rtol=0.02
        )

    def test_no_step_no_gas(self):
        assert step_length(np.array([0.02]), np.array([0.02]))[0] == 0

    def test_it_falls_as_the_tubes_grow_alike(self):
        ratio = np.linspace(0.05, 0.99, 60)
        length = step_length(np.full(60, 0.02), 0.02 / ratio)
        assert np.all(np.diff(length) < 0)
