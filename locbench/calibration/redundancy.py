"""Whether odometry and places fit as well as their noise says: the variance of unit weight over their redundancy."""

import numpy as np
from scipy import sparse

from locbench.arrays import FloatArray
from locbench.calibration.fitting import Fit
from locbench.calibration.linear import STIFFNESS, Block, slope_matrix
from locbench.calibration.model import Group, Model
from locbench.statistics import chi_square_quantile

__all__ = ["variance_factor"]

_TESTED = (Group.ODOMETRY, Group.PLACES)
_BEYOND = 0.975
# more unknowns are not worth the time: the factor is hardly ever needed
_MOST_UNKNOWNS = 6000


def variance_factor(found: Fit) -> float:
    """Return by how much variances have to grow so that odometry and places agree with them; 1 where they do.

    Parameters
    ----------
    found
        A fit.

    Notes
    -----
    The expected sum of squares of a group of residuals is its redundancy: their number less the trace of the part of
    the hat matrix that is theirs. Only beyond the 97.5 % point of the chi-square the factor is not 1. Source: Baarda,
    "A testing procedure for use in geodetic networks" (1968); Birge, Phys. Rev. 40 (1932) 207-227.
    """
    unknowns = Model(found.fitted, found.guess).unknowns
    if unknowns > _MOST_UNKNOWNS:
        return 1.0
    blocks = [part.block for part in found.parts]
    by_poses = slope_matrix(blocks, unknowns)
    whole = sparse.hstack([by_poses, sparse.csc_matrix(found.slopes)]).tocsr()
    prior = np.concatenate([np.full(unknowns, STIFFNESS), found.prior_std**-2.0])
    inverse = np.linalg.inv((whole.T @ whole).toarray() + np.diag(prior))
    squares, redundancy, first = 0.0, 0.0, 0
    for part in found.parts:
        rows = whole[first : first + part.block.residual.size]
        first += part.block.residual.size
        if part.group not in _TESTED:
            continue
        measured = rows.getnnz(axis=1) > 0
        explained = np.asarray(rows.multiply(rows @ inverse).sum(axis=1)).ravel()
        redundancy += float(np.sum(measured)) - float(np.sum(explained[measured]))
        squares += _squares(part.block)
    if redundancy < 1.0 or squares <= chi_square_quantile(_BEYOND, redundancy):
        return 1.0
    return squares / redundancy


def _squares(block: Block) -> float:
    weighted: FloatArray = block.weight[:, np.newaxis] * block.residual**2
    return float(np.sum(weighted))
