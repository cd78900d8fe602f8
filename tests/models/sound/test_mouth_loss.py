"""What resists at the mouth."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.sound.mouth_loss import QUADRATIC, mouth_loss

ORIFICE = {
    "flow_loss": np.array([0.4]),
    "level_loss": np.array([0.8]),
    "mach": np.array([0.05]),
    "sound_speed": np.array([480.0]),
    "characteristic": np.array([290.0]),
    "cap_pressure": np.array([1000.0]),
    "incident_pressure": np.array([0.0]),
    "area_ratio": np.array([0.6]),
    "wall": np.array([0.017]),
}


def test_a_quadratic_loss_is_to_a_tone_what_its_first_harmonic_is():
    """∫ ½ u|u| û sin over a period against the mean of û² sin², by quadrature (exact to it)."""
    phase = 2 * np.pi * (np.arange(20000) + 0.5) / 20000
    swing = np.sin(phase)
    first = np.mean(0.5 * swing * np.abs(swing) * swing) / np.mean(np.square(swing))
    assert_allclose(QUADRATIC, first, rtol=1e-8)


@pytest.mark.parametrize("arriving", [1e-3, 30.0, 1000.0, 20000.0])
def test_the_tone_that_arrives_moves_as_much_gas_as_all_resistances_let_it(arriving):
    """u ρc (2 z + s) = 2 p, with the z that is told: the balance it is the root of."""
    given = ORIFICE | {"incident_pressure": np.array([arriving])}
    found = mouth_loss(**given)
    velocity = found.by_level * given["sound_speed"] / (QUADRATIC * given["level_loss"])
    z = given["wall"] + found.all
    left = velocity * given["characteristic"] * (2 * z + given["area_ratio"])
    assert_allclose(left, 2 * arriving, rtol=1e-12)


def test_nothing_resists_where_nothing_is_lost_and_nothing_moves():
    none = ORIFICE | {"flow_loss": np.zeros(1), "level_loss": np.zeros(1)}
    loud = none | {"incident_pressure": np.array([2000.0])}
    for given in (none, loud, ORIFICE | {"mach": np.zeros(1), "cap_pressure": np.zeros(1)}):
        assert mouth_loss(**given).all[0] == 0


def test_each_part_alone():
    """By hand: 0.4 × 0.05, and 4/(3π) × 0.8 × (1000/290)/480."""
    found = mouth_loss(**ORIFICE)
    assert_allclose(found.by_flow, 0.02, rtol=1e-12)
    assert_allclose(found.by_level, 0.0024392, rtol=1e-4)


@pytest.mark.parametrize(("arriving", "lost"), [(200.0, 1.0), (1000.0, 4.0), (3000.0, 8.0)])
def test_a_loud_tone_takes_off_its_own_notch(arriving, lost):
    """Against an earlier program of ours, told in whole decibels and of K = 1: a notch whose wall
    takes 0.0167 ρc loses about 1, 4 and 8 dB to a tone of 0.2, 1 and 3 kPa that arrives; a
    decibel is its rounding and what is not known of its pipe."""
    given = ORIFICE | {
        "flow_loss": np.zeros(1),
        "level_loss": np.ones(1),
        "wall": np.array([0.0167]),
        "incident_pressure": np.array([arriving]),
    }
    ratio = given["area_ratio"]
    alone, with_level = (
        20 * np.log10(1 + ratio / (2 * z))
        for z in (given["wall"], given["wall"] + mouth_loss(**given).all)
    )
    assert_allclose(alone - with_level, lost, atol=1.0)
