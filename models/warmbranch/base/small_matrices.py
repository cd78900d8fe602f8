"""Many small symmetric matrices at once: element by element for all of them, which for some
thousands of matrices of a dozen rows costs a fraction of what solving each by itself does."""

from __future__ import annotations

import numpy as np

from warmbranch.base.batch import FloatArray


def inverted(matrix: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Inverses of symmetric matrices, and the logarithms of their determinants.

    Parameters
    ----------
    matrix : (n, n, ...) array
        Positive definite; what stands above the diagonal is not looked at.

    Returns
    -------
    (n, n, ...) array, (...) array

    Check
    -----
    A matrix of the determinant 1 whose inverse is known by hand.

    >>> inverse, size = inverted(np.array([[2.0, np.nan], [3.0, 5.0]])[:, :, None])
    >>> inverse[:, :, 0].round(12).tolist(), size.round(12).tolist()
    ([[5.0, -3.0], [-3.0, 2.0]], [0.0])

    Source
    ------
    Cholesky's decomposition; Golub and Van Loan, Matrix Computations, section 4.2, from memory.
    """
    size, rest = len(matrix), matrix.shape[2:]
    root: FloatArray = np.zeros((size, size, *rest))
    for j in range(size):
        known = np.einsum("ik...,k...->i...", root[j:, :j], root[j, :j])
        below = matrix[j:, j] - known
        root[j:, j] = below / np.sqrt(below[0])
    across: FloatArray = np.zeros_like(root)  # inverse of the root
    log_size = np.zeros(rest)
    for i in range(size):
        log_size += 2 * np.log(root[i, i])
        across[i, i] = 1 / root[i, i]
        above = np.einsum("k...,kj...->j...", root[i, :i], across[:i, :i])
        across[i, :i] = -above * across[i, i]
    inverse: FloatArray = root  # no longer needed
    for i in range(size):
        inverse[i, : i + 1] = np.einsum("k...,kj...->j...", across[i:, i], across[i:, : i + 1])
        inverse[:i, i] = inverse[i, :i]
    return inverse, log_size
