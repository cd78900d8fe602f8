"""The form of a notch against the package's own duct."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from warmbranch.listen.shapes import dip_forms, heard_loss, quarter_wave_loss
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
    shape = replace(dip_forms(1.0)[-1], flanking=-20.0)
    drop = heard_loss(shape, np.array([1e-6, 1.0]), np.zeros(2))
    assert_allclose(drop[0], 0, atol=1e-9)
    assert 18 < drop[1] < 20
    # Noise as loud as a hundredth of the order fills the dip likewise.
    assert heard_loss(shape, np.array([1.0]), np.array([0.01]))[0] < drop[1] - 2
