"""Many small matrices at once against numpy's, which takes them one by one."""

import numpy as np
import pytest

from warmbranch.base.small_matrices import inverted


@pytest.mark.parametrize("size", [0, 1, 2, 5, 12])
def test_inverses_and_determinants_are_numpys(size):
    drawn = np.random.default_rng(size).normal(size=(7, size, size + 2))
    each = drawn @ drawn.transpose(0, 2, 1)
    inverse, log_size = inverted(np.moveaxis(each, 0, 2))
    assert np.moveaxis(inverse, 2, 0) == pytest.approx(np.linalg.inv(each), rel=1e-9, abs=1e-12)
    assert log_size == pytest.approx(np.linalg.slogdet(each)[1], rel=1e-9, abs=1e-12)


def test_what_stands_above_the_diagonal_is_not_looked_at():
    lower = np.array([[4.0, np.nan], [2.0, 3.0]])[:, :, None]
    inverse, log_size = inverted(lower)
    assert inverse[:, :, 0] == pytest.approx(np.array([[3.0, -2.0], [-2.0, 4.0]]) / 8)
    assert log_size[0] == pytest.approx(np.log(8))
