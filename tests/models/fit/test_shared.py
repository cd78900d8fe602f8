"""Errors that observations share: their integral, their shapes, and what they do to a fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import dblquad

from warmbranch.fit.readings import Heard, Readings
from warmbranch.fit.search import DEGREES_OF_FREEDOM
from warmbranch.fit.shared import (
    EAR,
    NAMES,
    PATTERN_LENGTH,
    PATTERNS,
    REFLECTED,
    Shared,
    given,
    most_likely,
    patterns,
)
from warmbranch.fit.solve import fit

LINE = np.linspace(0.0, 1.0, 41)


def students(misfit):
    nu = DEGREES_OF_FREEDOM
    return np.exp(-(nu + 1) / 2 * np.sum(np.log1p(misfit**2 / nu)))


@pytest.mark.parametrize("off", [0.5, 3.0, 8.0], ids=["near", "strained", "one wild reading"])
def test_the_integral_is_the_integral(off):
    """Two shared errors of three observations, against scipy's quadrature."""
    misfit = np.array([[off, -0.4, 1.1]])
    slopes = np.array([[[0.8, 0.1], [0.7, -0.5], [0.9, 0.6]]])

    def density(second, first):
        z = np.array([first, second])
        return students(misfit[0] + slopes[0] @ z) * np.exp(-(z @ z) / 2) / (2 * np.pi)

    whole, _ = dblquad(density, -9, 9, -9, 9)
    found = given(misfit, slopes)
    # Sixteen evenly spread draws.
    assert found.log_evidence[0] == pytest.approx(np.log(whole), abs=0.1)
    mean, _ = dblquad(lambda second, first: first * density(second, first), -9, 9, -9, 9)
    own = found.weights[0] @ found.draws[0, :, 0]
    assert own == pytest.approx(mean / whole, abs=0.15)


def test_nothing_shared_is_the_plain_likelihood():
    misfit = np.array([[0.3, -2.0], [0.0, 0.0]])
    found = given(misfit, np.empty((2, 2, 0)))
    np.testing.assert_allclose(np.exp(found.log_evidence), [students(m) for m in misfit])


def test_the_most_likely_errors_are_a_summit():
    """A normal likelihood's answer in closed form where misfits are small; flat where not."""
    slopes = np.array([[[0.8], [0.7], [0.9]]])
    misfit = np.array([[6.0, 0.2, -0.1]])
    found, _ = most_likely(misfit, slopes)

    def density(z):
        return np.log(students(misfit[0] + slopes[0, :, 0] * z)) - z**2 / 2

    step = 1e-4
    uphill = (density(found[0, 0] + step) - density(found[0, 0] - step)) / (2 * step)
    assert uphill == pytest.approx(0.0, abs=0.02)


def test_patterns_stand_for_the_process():
    """Their products sum to the kernel, exp[−(s − s')²/(2 ℓ²)], to the 1 % that is left out."""
    shapes = patterns(LINE)
    assert shapes.shape == (41, PATTERNS)
    kernel = np.exp(-((LINE[:, None] - LINE) ** 2) / (2 * PATTERN_LENGTH**2))
    left = np.trace(kernel - shapes @ shapes.T) / np.trace(kernel)
    assert 0 <= left < 0.02
    inner = slice(4, -4)
    np.testing.assert_allclose((shapes @ shapes.T)[inner, inner], kernel[inner, inner], atol=0.05)


def test_what_skins_mirror_shows_as_their_radiance_says(synthetic):
    """Against differences of what the thermometers would show; none where it is told."""
    rng = np.random.default_rng(6)
    case = synthetic.a_case(rng)
    place = np.array([0.2, 0.4, 0.6, 0.8]) * float(case.branch.length[0])
    read = synthetic.to_be_read(case, place, ("bare", "paint", "contact", "bare"))
    told = np.array([np.nan, np.nan, np.nan, 300.0])
    read = replace(read, share=np.ones(4), reflected=told)
    radiant, step = case.surroundings.radiant_temperature, 0.01
    skin, odds = np.full((1, 4), 360.0), np.zeros((1, 4))
    shown = read.expected(skin, odds, radiant)
    up, down = (read.expected(skin, odds, radiant + d) for d in (step, -step))
    found = replace(read, displayed=shown[0]).by_mirrored(float(radiant[0]))
    np.testing.assert_allclose(found, (up - down)[0] / (2 * step), rtol=1e-6, atol=1e-9)
    assert found[0] > found[1] > 0
    assert not found[2:].any()
    shared = Shared.of(place, read.infrared, 0, 293.15, mirrors=found)
    moved = shared.moves(shown)[0, :, shared.names.index("reflected")]
    np.testing.assert_allclose(moved, REFLECTED * found)


def test_only_what_is_observed_has_errors():
    nothing = Shared.of(np.empty(0), np.empty(0, dtype=bool), 0, 293.15)
    assert nothing.names == ()
    heard = Shared.of(np.empty(0), np.empty(0, dtype=bool), 2, 293.15)
    assert heard.names == ("ear",)
    assert "contact_scale" not in Shared.of(np.array([0.4]), np.array([True]), 0, 293.15).names
    sure = Shared.of(np.array([0.4]), np.array([True]), 1, 293.15, known=frozenset(NAMES))
    assert len(sure) == 0


def test_twenty_equal_tones_are_not_twenty_times_as_sure(make_case):
    """Independent, they would leave 1 %/√20; the ear that heard them stays."""
    heard = Heard.of_warm(*(np.array([value]) for value in (90.0, 0.9, 1.031)))
    once, often = (
        fit(make_case(), Readings.none(), Heard.concatenate([heard] * count), warm=True)
        for count in (1, 20)
    )
    spreads = []
    for ensemble in (once.ensemble, often.ensemble):
        mean, square = (ensemble.weights @ np.log(ensemble.frequency) ** n for n in (1, 2))
        spreads.append(np.sqrt(square - mean**2))
    assert spreads[1] > 0.8 * EAR
    assert spreads[1] < spreads[0]
