"""Both paths of the hot loops, numpy and compiled, give the same answers."""

import dataclasses
import os

import numpy as np
import pytest

from warmbranch.base import kernel
from warmbranch.case.geometry import inertance_ratio_between
from warmbranch.gas.gas import MixtureTable
from warmbranch.sound import cutting
from warmbranch.steady.answer import Answer
from warmbranch.steady.solve import solve

# Both paths end Newton's method within its tolerances on the same equations; what then differs
# is rounding, some 1e-12 in temperature and a thousand times that where a root is divided by a
# small slope.
RELATIVE = 1e-10


@pytest.fixture
def on_numpy(monkeypatch):
    monkeypatch.setenv(kernel.OFF, "off")


def _both(case, monkeypatch, **options) -> tuple[Answer, Answer]:
    assert kernel.load() is not None, "numba is a dependency: the compiled loops must load"
    compiled = solve(case, **options)
    monkeypatch.setenv(kernel.OFF, "off")
    assert kernel.at_hand(10**6) is None
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
    np.testing.assert_array_equal(plain.profile.iterations, compiled.profile.iterations)
    around = plain.resonance[:, :1] * np.linspace(0.55, 2.95, 25)
    np.testing.assert_allclose(
        compiled.transmission_loss(around),
        plain.transmission_loss(around),
        rtol=1e-8,  # near the notch the loss is a logarithm of a small quotient
        atol=1e-9,
    )


def test_over_the_admissible_box(box_sample, monkeypatch):
    case = box_sample(96, seed=11)
    _compare(*_both(case, monkeypatch))


def test_narrow_tubes_use_the_full_bessel_functions(box_sample, monkeypatch):
    case = box_sample(64, seed=12)
    narrow = case.take(np.argsort(case.branch.bore)[:4])
    assert narrow.branch.bore.max() < 0.02
    _compare(*_both(narrow, monkeypatch))


def test_environment_variable_keeps_to_numpy(on_numpy):
    assert kernel.load() is None
    assert os.environ[kernel.OFF] == "off"


def test_a_single_design_does_not_load_it(monkeypatch):
    monkeypatch.setattr(kernel, "_kernel", None)
    assert kernel.at_hand(1) is None
    assert kernel.at_hand(kernel.REPAYS_LOADING - 1) is None
    assert kernel.at_hand(kernel.REPAYS_LOADING) is not None


@pytest.mark.parametrize("cells", [1, 8, 32])
def test_cutting_is_the_same_on_both_paths(box_sample, monkeypatch, cells):
    case = box_sample(48, seed=13)
    assert kernel.load() is not None
    profile, gas = solve(case, modes=1).profile, MixtureTable.of(case.gas)
    given = profile.position, profile.gas, gas, case.surroundings.pressure
    rest = {
        "radius": case.branch.bore / 2,
        "inertance_ratio": inertance_ratio_between(case.branch, profile.position),
        "mouth_inertance": np.zeros(len(case)),
        "wall_losses": case.closures.wall_losses,
        "cells": cells,
    }
    compiled = cutting.duct(*given, **rest)
    monkeypatch.setenv(kernel.OFF, "off")
    plain = cutting.duct(*given, **rest)
    for field in dataclasses.fields(plain):
        expected, got = getattr(plain, field.name), getattr(compiled, field.name)
        # The same sums in another order; the skew is a difference, so over its largest.
        atol = 1e-13 * np.abs(expected).max()
        np.testing.assert_allclose(got, expected, rtol=1e-13, atol=atol, err_msg=field.name)
