from __future__ import annotations

import numpy as np

from warmbranch.fit.emulator import Emulator


def test_a_quadratic_is_told_exactly_enough():
    generator = np.random.default_rng(3)
    curved = generator.normal(size=(4, 4))
    white = generator.normal(size=(400, 4))

    def model(z: np.ndarray) -> np.ndarray:
        return np.column_stack([2 + z @ [1, 2, 3, 4], np.einsum("di,ij,dj->d", z, curved, z)])

    emulator = Emulator.fitted(np.full(4, 0.3), 0.5 * np.eye(4), white, model(white))
    away = model(generator.normal(size=(50, 4)))
    generator = np.random.default_rng(3)
    generator.normal(size=(4, 4)), generator.normal(size=(400, 4))
    told = emulator.answers(generator.normal(size=(50, 4)))
    # The ridge pulls the curvatures down by some thousandth.
    np.testing.assert_allclose(told, away, rtol=0, atol=0.02 * np.abs(away).max())


def test_distance_is_in_standard_deviations():
    emulator = Emulator.fitted(
        np.zeros(2),
        np.diag([4.0, 1.0]),
        np.random.default_rng(0).normal(size=(60, 2)),
        np.zeros((60, 1)),
    )
    np.testing.assert_allclose(
        emulator.distance(np.array([[2.0, 0.0], [0.0, 3.0]])), [1.0, 9.0], rtol=1e-12, atol=0
    )


def test_slopes_are_those_of_the_answers():
    rng = np.random.default_rng(7)
    white = rng.normal(size=(200, 3))
    answers = np.column_stack([np.sin(white[:, 0]) + white[:, 1] ** 2, white @ [1.0, 2.0, 3.0]])
    covariance = np.array([[1.0, 0.3, 0.0], [0.3, 0.8, -0.2], [0.0, -0.2, 0.5]])
    emulator = Emulator.fitted(np.array([0.1, -0.2, 0.3]), covariance, white, answers)
    here, step = np.array([0.4, 0.5, -0.6]), 1e-4
    moved = np.concatenate([here + step * np.eye(3), here - step * np.eye(3)])
    told = emulator.answers(moved)
    # A quadratic's central difference is exact; rounding is left.
    np.testing.assert_allclose(
        emulator.slopes(here), ((told[:3] - told[3:]) / (2 * step)).T, rtol=0, atol=1e-9
    )
