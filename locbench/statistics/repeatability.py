"""How well a pose is found again: accuracy and repeatability of repeated visits.

Source: ISO 9283:1998 (formulas from memory).
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["HeadingRepeatability", "PositionRepeatability", "heading_repeatability", "position_repeatability"]


@dataclass(frozen=True)
class PositionRepeatability:
    """Repeated positions about the commanded one, in metres.

    Attributes
    ----------
    bias
        (2,) barycentre minus command.
    accuracy
        Its length.
    mean_distance, distance_std
        Of the positions from their barycentre; the standard deviation with n - 1.
    repeatability
        Mean distance plus three standard deviations.
    """

    bias: FloatArray
    accuracy: float
    mean_distance: float
    distance_std: float
    repeatability: float


@dataclass(frozen=True)
class HeadingRepeatability:
    """Repeated headings about the commanded one, in radians: mean error, and three standard deviations."""

    accuracy: float
    repeatability: float


def position_repeatability(errors: FloatArray) -> PositionRepeatability:
    """Return accuracy and repeatability of positions.

    Parameters
    ----------
    errors
        (N, 2) position minus command, without NaN; N at least 2.

    Raises
    ------
    ValueError
        For fewer than two positions: one has no spread.
    """
    _refuse_single(len(errors))
    bias = np.mean(errors, axis=0)
    distances = np.linalg.norm(errors - bias, axis=1)
    mean, spread = float(np.mean(distances)), float(np.std(distances, ddof=1))
    return PositionRepeatability(bias, float(np.linalg.norm(bias)), mean, spread, mean + 3.0 * spread)


def heading_repeatability(errors_rad: FloatArray) -> HeadingRepeatability:
    """Return accuracy and repeatability of headings: errors (N,) as above, wrapped, small against half a turn."""
    _refuse_single(len(errors_rad))
    return HeadingRepeatability(float(np.mean(errors_rad)), 3.0 * float(np.std(errors_rad, ddof=1)))


def _refuse_single(count: int) -> None:
    if count < 2:
        raise ValueError(f"repeatability needs at least two visits, got {count}")
