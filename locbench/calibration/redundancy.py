"""What a fit says beyond its constants: whether it fits as well as its noise says, and where the drives began."""

from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.sparse import linalg

from locbench.arrays import BoolArray, FloatArray
from locbench.calibration.fitting import Fit
from locbench.calibration.linear import STIFFNESS, Block, slope_matrix
from locbench.calibration.model import Group, Model
from locbench.statistics import chi_square_quantile

__all__ = ["Whole"]

_TESTED = (Group.ODOMETRY, Group.PLACES)
_BEYOND = 0.975
_PROBES, _SEED = 64, 1


class Whole:
    """All unknowns of a fit at once: poses, survey errors, shifts, drifts."""

    def __init__(self, found: Fit) -> None:
        self._found = found
        self._unknowns = Model(found.fitted, found.guess).unknowns
        by_poses = slope_matrix([part.block for part in found.parts], self._unknowns)
        self._slopes = sparse.hstack([by_poses, sparse.csc_matrix(found.slopes)]).tocsr()

    @cached_property
    def _normal(self) -> linalg.SuperLU:
        prior = np.concatenate([np.full(self._unknowns, STIFFNESS), self._found.prior_std**-2.0])
        return linalg.splu((self._slopes.T @ self._slopes + sparse.diags(prior)).tocsc())

    @property
    def variance_factor(self) -> float:
        """By how much variances have to grow so that odometry and places agree with them; 1 where they do.

        The expected sum of squares of a group of residuals is its redundancy: their number less the trace of the part
        of the hat matrix that is theirs. Outliers are left out. Only beyond the 97.5 % point of the chi-square the
        factor is not 1. Source: Baarda, "A testing procedure for use in geodetic networks" (1968); Birge, Phys. Rev. 40
        (1932) 207-227.
        """
        squares, redundancy, first = 0.0, 0.0, 0
        for part in self._found.parts:
            rows = self._slopes[first : first + part.block.residual.size]
            first += part.block.residual.size
            if part.group in _TESTED:
                counted = (rows.getnnz(axis=1) > 0) & _of_full_weight(part.block)
                redundancy += self._redundancy(rows[counted])
                squares += float(np.sum(part.block.residual.ravel()[counted] ** 2))
        if redundancy < 1.0 or squares <= chi_square_quantile(_BEYOND, redundancy):
            return 1.0
        return squares / redundancy

    def _redundancy(self, rows: sparse.csr_matrix) -> float:
        """Return the number of rows less the trace of their part of the hat matrix, by random probes.

        Hutchinson, Communications in Statistics B 19(2) 1990, 433-450: the mean of z'Az over random signs z is the
        trace, here to some per mille of the number of rows.
        """
        signs = np.random.default_rng(_SEED).choice([-1.0, 1.0], size=(rows.shape[0], _PROBES))
        carried = rows.T @ signs
        return float(rows.shape[0]) - float(np.sum(carried * self._normal.solve(carried))) / _PROBES

    def start_stds(self) -> list[FloatArray]:
        """Return (3,) standard uncertainties of each drive's first pose, the variance factor left out."""
        found, first = [], 0
        for knots in self._found.guess.knots:
            unit = np.zeros((self._slopes.shape[1], 3))
            unit[first + np.arange(3), np.arange(3)] = 1.0
            found.append(np.sqrt(np.diag(self._normal.solve(unit)[first : first + 3])))
            first += knots.size
        return found


def _of_full_weight(block: Block) -> BoolArray:
    """Return (R,) residuals that are not outliers: those are known to fit badly, and count less already."""
    return np.repeat(block.weight == 1.0, block.residual.shape[1])
