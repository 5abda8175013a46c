"""Whether a figure conforms to its limits, its uncertainty considered.

The decision rule of ISO 14253-1 (from memory): conforming only if the value lies inside the limits by at least its
expanded uncertainty, not conforming only if it lies outside by as much; in between nothing is decided.
"""

import math
from enum import StrEnum

from scipy import special

__all__ = ["GUARD", "Conformity", "judge_conformity"]

GUARD = float(special.ndtri(0.95))
"""Coverage factor: a value at a limit is on the wrong side of it with a probability of 95 %."""


class Conformity(StrEnum):
    """What the rule says."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


def judge_conformity(value: float, std: float, low: float, high: float) -> Conformity:
    """Return whether a value conforms.

    Parameters
    ----------
    value, std
        The figure and its standard uncertainty, 0 or more.
    low, high
        The limits, both allowed values themselves; infinite where there is none on that side.

    Raises
    ------
    ValueError
        If the limits are the wrong way round, or the value or its uncertainty is no number.
    """
    if not (math.isfinite(value) and math.isfinite(std) and std >= 0.0 and low <= high):
        raise ValueError(f"cannot judge {value} (standard uncertainty {std}) by the limits {low} and {high}")
    guard = GUARD * std
    if value < low - guard or value > high + guard:
        return Conformity.FAIL
    if low + guard <= value <= high - guard:
        return Conformity.PASS
    return Conformity.UNDECIDED
