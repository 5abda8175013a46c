"""Where "helped" and "hurt" are decided."""

from enum import StrEnum

import numpy as np

from locbench.arrays import FloatArray
from locbench.statistics.intervals import NORMAL_95

__all__ = ["CorrectionVerdict", "judge_corrections"]

_NEUTRAL_MOVE_M = 0.005
_NEUTRAL_TURN_RAD = float(np.radians(0.1))


class CorrectionVerdict(StrEnum):
    """What a correction did to the position error."""

    HELPED = "helped"
    HURT = "hurt"
    NEUTRAL = "neutral"
    UNDECIDED = "undecided"


def judge_corrections(
    before: FloatArray, after: FloatArray, reference: FloatArray, reference_covariance: FloatArray
) -> list[CorrectionVerdict]:
    """Judge whether each published position moved towards the reference.

    Parameters
    ----------
    before, after
        (M, 3) published poses just before and just after each correction, or (M, 2) points that follow from them.
    reference
        (M, 2 or 3) what they should be; NaN where it is not known: such a correction is "neutral" or "undecided".
    reference_covariance
        (M, 2, 2) of the reference's first two components.

    Returns
    -------
    list of CorrectionVerdict

    Notes
    -----
    With reference r ~ N(r0, P), |r - b|^2 - |r - a|^2 is Gaussian in r:
    mean D = 2 r0.(a - b) + b.b - a.a, standard deviation u = 2 sqrt((a - b)' P (a - b)).
    Helped if D > 1.96 u, hurt if D < -1.96 u.
    """
    b, a, r = before[:, :2], after[:, :2], reference[:, :2]
    move = a - b
    # about the midpoint, so that no digits are lost far from the origin
    gain = 2.0 * np.sum((r - (a + b) / 2.0) * move, axis=1)
    spread = 2.0 * np.sqrt(np.einsum("mi,mij,mj->m", move, reference_covariance, move))
    turn = np.linalg.norm(after[:, 2:] - before[:, 2:], axis=1)
    neutral = (np.linalg.norm(move, axis=1) < _NEUTRAL_MOVE_M) & (turn < _NEUTRAL_TURN_RAD)
    conditions = [neutral, gain > NORMAL_95 * spread, gain < -NORMAL_95 * spread]
    choices = [0, 1, 2]
    words = [
        CorrectionVerdict.NEUTRAL,
        CorrectionVerdict.HELPED,
        CorrectionVerdict.HURT,
        CorrectionVerdict.UNDECIDED,
    ]
    return [words[i] for i in np.select(conditions, choices, default=3)]
