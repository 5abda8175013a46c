"""Nuisance unknowns of a fit, poses at knots and survey errors, eliminated from its residuals by linear least squares.

For given constants the poses that fit best follow from the residuals' slopes; what they leave is a function of the
constants alone (variable projection: Golub & Pereyra, SIAM J. Numerical Analysis 10(2) 1973, 413-432). The slopes are
sparse: a pose touches its own references, its detections and its two neighbours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.sparse import linalg

from locbench.arrays import FloatArray, IntArray

__all__ = ["STIFFNESS", "Block", "Eliminated", "eliminated", "slope_matrix"]

# beside (1 / standard deviation)^2 of millimetres and tenths of a degree
STIFFNESS = 1e-3


@dataclass(frozen=True)
class Block:
    """M groups of D residuals that stand together: a place, a leg of odometry, a detection.

    Attributes
    ----------
    residual
        (M, D) in standard deviations.
    slopes
        Pairs of the first unknown's index (M,) and the derivatives (M, D, 3) by three unknowns from there on.
    weight
        (M,) what the group counts; less than one where it is an outlier.
    """

    residual: FloatArray
    slopes: tuple[tuple[IntArray, FloatArray], ...]
    weight: FloatArray


@dataclass(frozen=True)
class Eliminated:
    """Residuals with the best nuisance unknowns for any constants.

    Attributes
    ----------
    slopes
        (R, U) weighted, sparse.
    """

    slopes: sparse.csc_matrix

    @cached_property
    def _normal(self) -> linalg.SuperLU:
        # a whisker of stiffness keeps unknowns that nothing measures where they are
        stiffness = STIFFNESS * sparse.identity(self.slopes.shape[1], format="csc")
        normal = (self.slopes.T @ self.slopes + stiffness).tocsc()
        return linalg.splu(normal, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})

    def best(self, residual: FloatArray) -> FloatArray:
        """Return the change (U,) or (U, P) of the unknowns that makes weighted residuals (R,) or (R, P) smallest."""
        return np.asarray(-self._normal.solve(np.asarray(self.slopes.T @ residual)))

    def left(self, residual: FloatArray) -> FloatArray:
        """Return what the best change leaves of weighted residuals (R,) or (R, P)."""
        return np.asarray(residual + self.slopes @ self.best(residual))


def eliminated(blocks: Sequence[Block], unknowns: int) -> Eliminated:
    """Return the elimination of that many unknowns from blocks; unknowns that nothing touches stay as they are."""
    return Eliminated(slope_matrix(blocks, unknowns))


def slope_matrix(blocks: Sequence[Block], unknowns: int) -> sparse.csc_matrix:
    """Return the weighted derivatives (R, U) of all residuals of some blocks by that many unknowns."""
    rows, columns, values = [], [], []
    first = 0
    for block in blocks:
        count, size = block.residual.shape
        row = first + np.arange(count * size).reshape(count, size)
        root = np.sqrt(block.weight)[:, np.newaxis, np.newaxis]
        for index, slope in block.slopes:
            rows.append(np.repeat(row[:, :, np.newaxis], 3, axis=2).ravel())
            columns.append(np.broadcast_to((index[:, np.newaxis] + np.arange(3))[:, np.newaxis], slope.shape).ravel())
            values.append((root * slope).ravel())
        first += count * size
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    return sparse.coo_matrix(entries, shape=(first, unknowns)).tocsc()
