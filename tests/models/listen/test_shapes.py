"""The form of a notch against the package's own duct."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from warmbranch.listen.shapes import (
    AREA_RATIOS,
    QUALITY,
    dip_forms,
    heard_loss,
    quarter_wave_loss,
)
from warmbranch.sound.acoustics import transmission_loss


def test_closed_form_is_the_ducts_without_losses():
    """Uniform duct: input impedance -j z cot(kL), z the branch's, Z the main pipe's: ratio m."""
    ratio = np.linspace(0.12, 2.9, 57)  # no multiple of 1, where both are infinite
    area_ratio = 0.7
    branch = -1j / np.tan(np.pi / 2 * ratio) / area_ratio
    expected = transmission_loss(branch[None, :], np.array([1.0]))[0]
    # A quality factor of 1e9 leaves 1e-9 of a phase.
    assert_allclose(quarter_wave_loss(ratio, area_ratio, 1e9), expected, atol=1e-6)


def test_what_passes_by_bounds_the_drop():
    shape = dip_forms(1.0, (0.1 + 0j,))[1]
    drop = heard_loss(shape, np.array([1e-6, 1.0]), np.zeros(2))
    assert drop[0] == 0
    assert 16 < drop[1] < 20
    # Noise as loud as a hundredth of the order fills the dip likewise.
    assert heard_loss(shape, np.array([1.0]), np.array([0.01]))[0] < drop[1] - 1.5


@pytest.mark.parametrize("way", [0.1, 0.1j, -0.05 + 0.05j])
@pytest.mark.parametrize("area", range(len(AREA_RATIOS)))
def test_a_way_past_adds_up_in_pressure(way, area):
    """Against the duct itself, whose pressure is known and not only its loss."""
    phase = np.linspace(-0.3, 0.3, 601)
    tangent = np.tan(np.pi / 2 * (1 + phase) * (1 - 0.5j / QUALITY))
    passed = 1 / (1 + 0.5j * AREA_RATIOS[area] * tangent)
    expected = np.abs((passed + way) / (1 + way))
    drop = heard_loss(dip_forms(1.0, (way,))[area], 1 + phase, np.zeros(601))
    # The branch's resistance is taken as that of the resonance: some thousandths of the pressure.
    assert_allclose(10 ** (-drop / 20), expected, atol=5e-3)
    # A way a quarter of a turn off is quietest 3 % beside the resonance.
    assert_allclose(phase[drop.argmax()], phase[expected.argmin()], atol=0.002)
