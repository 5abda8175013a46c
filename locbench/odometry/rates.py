"""How fast the robot turned and drove around a time, as the odometry has it."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.odometry.motion import Motion

__all__ = ["Rates", "rates_at"]

# shorter and the quantisation of single rows would show; longer and a turn would be over before it is noticed
# (common practice, no source)
_WINDOW_S = 0.100


@dataclass(frozen=True)
class Rates:
    """Turn rate without its sign (M,) and speed (M,) of the robot's reference point; NaN where nothing tells."""

    turn_rate_rad_s: FloatArray
    speed_m_s: FloatArray


def rates_at(motion: Motion, times_s: FloatArray) -> Rates:
    """Return the mean rates over the 100 ms up to each time.

    Parameters
    ----------
    motion
        The odometry; its increments divide as time does.
    times_s
        (M,) in any order; NaN results where a time lies outside the motion. At its beginning the mean is taken over
        what there is, and at its very first time there is nothing.
    """
    times_s = np.asarray(times_s, dtype=float)
    first_s, last_s = motion.time_s[0], motion.time_s[-1]
    begin_s = np.maximum(times_s - _WINDOW_S, first_s)
    told = (times_s > first_s) & (times_s <= last_s)
    span_s = np.where(told, times_s - begin_s, np.nan)

    def change(summed: FloatArray) -> FloatArray:
        return np.asarray(np.interp(times_s, motion.time_s, summed) - np.interp(begin_s, motion.time_s, summed))

    return Rates(
        turn_rate_rad_s=np.abs(change(np.cumsum(motion.twist[:, 2]))) / span_s,
        speed_m_s=change(motion.path_length_m) / span_s,
    )
