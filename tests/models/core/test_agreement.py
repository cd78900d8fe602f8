"""Both paths, numpy and the compiled core, give the same answers."""

import dataclasses
import os

import numpy as np
import pytest

from shared.tubes import of_several_tubes
from warmbranch import core
from warmbranch.base.errors import InputError
from warmbranch.belief.forecast import FIT_TOLERANCES
from warmbranch.case.geometry import inertance_ratio_between
from warmbranch.gas.gas import MixtureTable
from warmbranch.heat.grid import graded
from warmbranch.sound import discretisation
from warmbranch.steady import solve as branch
from warmbranch.steady.answer import Answer
from warmbranch.steady.fineness import Fineness
from warmbranch.steady.solve import solve

# Both paths end Newton's method within its tolerances on the same equations; what then differs
# is rounding, some 1e-12 in temperature and a thousand times that where a root is divided by a
# small slope.
RELATIVE = 1e-10


@pytest.fixture
def on_numpy(monkeypatch):
    monkeypatch.setenv(core.OFF, "off")


def _both(case, monkeypatch, **options) -> tuple[Answer, Answer]:
    assert core.at_hand() is not None, "the core is a part of the package: it must load"
    compiled = solve(case, **options)
    monkeypatch.setenv(core.OFF, "off")
    assert core.at_hand() is None
    return solve(case, **options), compiled


def _compare(plain: Answer, compiled: Answer) -> None:
    for name in ("gas", "wall", "skin", "heat_entering", "heat_lost"):
        expected, got = getattr(plain.profile, name), getattr(compiled.profile, name)
        # Heat is a difference of large fluxes: compare it over the largest in the batch.
        atol = RELATIVE * np.abs(expected).max()
        np.testing.assert_allclose(got, expected, rtol=RELATIVE, atol=atol, err_msg=name)
    for field in dataclasses.fields(plain):
        expected, got = getattr(plain, field.name), getattr(compiled, field.name)
        if isinstance(expected, np.ndarray):
            np.testing.assert_allclose(got, expected, rtol=RELATIVE, atol=0, err_msg=field.name)
    np.testing.assert_allclose(
        compiled.mouth_correction, plain.mouth_correction, rtol=RELATIVE, atol=0
    )
    np.testing.assert_array_equal(plain.profile.iterations, compiled.profile.iterations)
    around = plain.resonance[:, :1] * np.linspace(0.55, 2.95, 25)
    np.testing.assert_allclose(
        compiled.transmission_loss(around),
        plain.transmission_loss(around),
        rtol=1e-8,  # near the notch the loss is a logarithm of a small quotient
        atol=1e-9,
    )


def test_over_the_admissible_box(box_sample, monkeypatch):
    case = box_sample(96, seed=21)
    _compare(*_both(case, monkeypatch))


def test_branches_of_several_tubes(box_sample, monkeypatch):
    """Steps of bore and wall, bends in each, wraps, rears, tones learned and loud."""
    # Of this seed, too, no sketch goes to and fro: see below.
    case = of_several_tubes(box_sample(48, seed=27), seed=1)
    assert np.count_nonzero(case.branch.stepped) > 40
    closures = case.closures.changed(tone=np.linspace(0.97, 1.03, 48))
    arriving = np.where(np.arange(48) % 3 == 0, 300.0, 0.0)
    flow = case.main_pipe.changed(incident_pressure=arriving)
    _compare(*_both(case.changed(closures=closures, main_pipe=flow), monkeypatch))


def test_narrow_tubes_use_the_full_bessel_functions(box_sample, monkeypatch):
    case = box_sample(64, seed=12)
    narrow = case.take(np.argsort(case.branch.bore)[:4])
    assert narrow.branch.bore.max() < 0.02
    _compare(*_both(narrow, monkeypatch))


def test_learned_tones_and_loud_ones(box_sample, monkeypatch):
    """What the sound of the whole duct needs of the closures comes back from the core as well."""
    case = box_sample(32, seed=18)
    closures = case.closures.changed(tone=np.linspace(0.97, 1.03, 32), mouth_flow=np.full(32, 0.7))
    flow = case.main_pipe.changed(incident_pressure=np.linspace(0, 3000, 32))
    _compare(*_both(case.changed(closures=closures, main_pipe=flow), monkeypatch))


def test_environment_variable_keeps_to_numpy(on_numpy):
    assert core.at_hand() is None
    assert core.name() == "numpy"
    assert os.environ[core.OFF] == "off"


def test_one_call_is_all_the_steps(box_sample):
    """The whole way in the core is the way in parts, each of them the core's too."""
    # A sketch that goes to and fro ends where rounding leaves it: another seed has none.
    case = box_sample(96, seed=24)
    still = case.changed(main_pipe=case.main_pipe.changed(incident_pressure=np.zeros(96)))
    for fineness, one in (Fineness(), case), (Fineness(65, 1, 8, FIT_TOLERANCES), still):
        at_once = branch.solve_to(fineness, one)
        _compare(branch._step_by_step(fineness, one, None), at_once)


@pytest.mark.parametrize("modes", [1, 2])
def test_fewer_modes_change_no_other(box_sample, modes):
    case = box_sample(64, seed=15)
    whole, few = solve(case), solve(case, modes=modes)
    # Which series serves a cell depends on the lanes beside it: rounding.
    np.testing.assert_allclose(few.resonance, whole.resonance[:, :modes], rtol=1e-13)
    np.testing.assert_allclose(few.quality_factor, whole.quality_factor, rtol=RELATIVE)


def test_what_the_core_cannot_balance_is_answered_in_its_place(box_sample, monkeypatch):
    case = box_sample(20, seed=16)
    whole = solve(case)
    left = np.arange(20) % 3 == 1
    real = branch.quick.solve

    def short(*given, **named):
        parts, _ = real(*given, **named)
        parts["profile"].gas[left] = np.nan
        return parts, left

    monkeypatch.setattr(branch.quick, "solve", short)
    _compare(whole, solve(case))


@pytest.mark.parametrize("nodes", [1, 5, 32, 34, 128])
def test_nodes_that_no_cell_begins_at_are_refused(make_case, nodes):
    """And do not reach the core, where a division by none would end the process."""
    with pytest.raises(InputError, match="cells do not begin at nodes"):
        solve(make_case(), nodes=nodes)


def test_given_nodes_are_kept(box_sample, monkeypatch):
    case = box_sample(16, seed=17)
    position = graded(case.branch.length, 0.1 * case.branch.length, 65)
    plain, compiled = _both(case, monkeypatch, position=position)
    np.testing.assert_array_equal(compiled.profile.position, position)
    _compare(plain, compiled)


@pytest.mark.parametrize(("cells", "steps"), [(1, False), (8, False), (32, False), (32, True)])
def test_discretising_is_the_same_on_both_paths(box_sample, monkeypatch, cells, steps):
    case = box_sample(48, seed=13)
    assert core.at_hand() is not None
    profile, gas = solve(case, modes=1).profile, MixtureTable.of(case.gas)
    given = profile.position, profile.gas, gas, case.surroundings.pressure
    rest = {
        "radius": case.branch.bore / 2,
        "inertance_ratio": inertance_ratio_between(case.branch, profile.position),
        "mouth_inertance": np.zeros(len(case)),
        "wall_losses": case.closures.wall_losses,
        "wall": profile.wall,
        "cells": cells,
        "area_ratio": np.linspace(0.5, 2, profile.gas.size - 48).reshape(48, -1) if steps else None,
    }
    compiled = discretisation.duct(*given, **rest)
    monkeypatch.setenv(core.OFF, "off")
    plain = discretisation.duct(*given, **rest)
    for field in dataclasses.fields(plain):
        expected, got = getattr(plain, field.name), getattr(compiled, field.name)
        # The same sums in another order; the skew is a difference, so over its largest.
        atol = 1e-13 * np.abs(expected).max()
        np.testing.assert_allclose(got, expected, rtol=1e-13, atol=atol, err_msg=field.name)


def test_whole_numbers_are_numbers(make_case):
    """Integers from a caller reach the core as what they mean."""
    answer = solve(make_case())
    whole = np.array([[100, 131, 200]])
    told = answer.transmission_loss(whole)
    np.testing.assert_array_equal(told, answer.transmission_loss(whole.astype(np.float64)))
