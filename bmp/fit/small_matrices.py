"""Matrices of a few rows, one for each of many jars, worked on for all jars at once.

Shape (rows, columns, jars): what belongs to one place of all matrices lies together, which is ten
times as fast as matrix after matrix.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.trial import FloatArray

LEAST_PIVOT: Final = 1e-14
"""Share of a row's own diagonal that is left of it at least: below, the rest is rounding."""
LIFT: Final = 1e-13
"""Added to the diagonal, of its own size."""
SMALLEST: Final = 1e-200


def diagonal(matrix: FloatArray) -> FloatArray:
    """Return the diagonals, shape (rows, jars), as a view to be written to."""
    view: FloatArray = np.einsum("iij->ij", matrix)
    return view


def product(left: FloatArray, right: FloatArray) -> FloatArray:
    """Return left times right for each jar; both of shape (rows, rows, jars)."""
    found: FloatArray = np.einsum("abj,bcj->acj", left, right)
    return found


def inverse(matrix: FloatArray) -> FloatArray:
    """Return the inverse of each symmetric matrix, none of its eigenvalues below zero.

    Gauss-Jordan elimination, which needs no exchange of rows for such matrices; where rows depend
    on each other what is left of the diagonal is `LEAST_PIVOT` of it.

    Parameters
    ----------
    matrix
        Shape (rows, rows, jars).
    """
    size = np.sqrt(np.maximum(diagonal(matrix), SMALLEST))
    square = size[:, None] * size
    found: FloatArray = np.clip(matrix / square, -1.0, 1.0)
    diagonal(found)[...] += LIFT
    for i in range(len(found)):
        scale = 1.0 / np.maximum(found[i, i], LEAST_PIVOT)
        found[i, i] = 1.0
        found[i] *= scale
        for j in range(len(found)):
            if j != i:
                factor = found[j, i].copy()
                found[j, i] = 0.0
                found[j] -= factor * found[i]
    found /= square
    return found
