"""What every sensor asks of the world: where the robot truly is, at any time."""

from collections.abc import Iterator
from typing import Protocol

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["Motion", "fine_steps", "smooth_step"]

# contact points are followed at 1 kHz or faster
_LONGEST_STEP_S = 0.001
_ROWS_PER_BLOCK = 2000


class Motion(Protocol):
    """The true motion of the robot's reference point."""

    def pose_at(self, time_s: FloatArray) -> FloatArray:
        """Return poses (..., 3) at times (...); headings are continuous, not wrapped."""


def smooth_step(share: FloatArray) -> FloatArray:
    """Return the minimum-jerk rise from 0 to 1 over `share` in [0, 1]; flat outside.

    Source: Flash & Hogan, "The coordination of arm movements", J. Neuroscience 5(7), 1985, 1688-1703.
    """
    s = np.clip(share, 0.0, 1.0)
    return np.asarray(s**3 * (10.0 - 15.0 * s + 6.0 * s**2))


def fine_steps(time_s: FloatArray) -> Iterator[tuple[slice, FloatArray]]:
    """Yield blocks of rows and the fine times (R, n + 1) that divide the interval before each row.

    Parameters
    ----------
    time_s
        (N,) increasing. Row 0 has no interval, so the blocks cover rows 1 to N - 1.
    """
    intervals = np.diff(time_s)
    if len(intervals) == 0:
        return
    # the small allowance keeps a 10 ms interval at 10 parts in spite of rounding
    parts = max(1, int(np.ceil(float(np.max(intervals)) / _LONGEST_STEP_S - 1e-6)))
    share = np.arange(parts + 1) / parts
    for first in range(0, len(intervals), _ROWS_PER_BLOCK):
        last = min(first + _ROWS_PER_BLOCK, len(intervals))
        fine = time_s[first:last, np.newaxis] + intervals[first:last, np.newaxis] * share
        yield slice(first + 1, last + 1), fine
