"""What a gyro will have turned a little later: the motion alone, without shifting the gyro's noise."""

import numpy as np
from scipy import integrate

from locbench.arrays import BoolArray, FloatArray

__all__ = ["turned_later"]

# half of the stretch over which noise is averaged away
_HALF_S = 0.05
# a gyro that turns slower shows no lag, only its noise
_TURNING_RAD_S = float(np.radians(3.0))
_REST_S = 0.3


def turned_later(time_s: FloatArray, heading_rad: FloatArray, lag_s: float) -> FloatArray:
    """Return (N,) by how much a gyro turns on within a lag after each row; 0 where the robot does not turn.

    Parameters
    ----------
    time_s, heading_rad
        (N,) strictly increasing, and unwrapped.
    lag_s
        Negative for a time before.

    Notes
    -----
    Interpolated readings are less noisy halfway between two rows than at them, so that a fit of a lag would be drawn
    there by rest alone, where the gyro is nothing but noise. The heading's average over a tenth of a second, an
    integral of its straight pieces, moves on smoothly.
    """
    edges = np.stack([time_s - _HALF_S, time_s + _HALF_S])
    now = _areas(time_s, heading_rad, edges)
    later = _areas(time_s, heading_rad, edges + lag_s)
    step = (later[1] - later[0] - now[1] + now[0]) / (2.0 * _HALF_S)
    rate = (np.interp(edges[1], time_s, heading_rad) - np.interp(edges[0], time_s, heading_rad)) / (2.0 * _HALF_S)
    return np.where(_about(time_s, np.abs(rate) > _TURNING_RAD_S), step, 0.0)


def _about(time_s: FloatArray, turning: BoolArray) -> BoolArray:
    """Return (N,) whether the robot turns or soon will, or just did."""
    counted = np.append(0, np.cumsum(turning))
    first = np.searchsorted(time_s, time_s - _REST_S)
    last = np.searchsorted(time_s, time_s + _REST_S, side="right")
    return np.asarray(counted[last] > counted[first])


def _areas(time_s: FloatArray, heading_rad: FloatArray, at_s: FloatArray) -> FloatArray:
    """Return integrals of the heading from the first row to any times, the heading constant before and after."""
    area = integrate.cumulative_trapezoid(heading_rad, time_s, initial=0.0)
    inside = np.clip(at_s, time_s[0], time_s[-1])
    row = np.clip(np.searchsorted(time_s, inside, side="right") - 1, 0, len(time_s) - 2)
    here = np.interp(inside, time_s, heading_rad)
    partly = 0.5 * (heading_rad[row] + here) * (inside - time_s[row])
    return np.asarray(area[row] + partly + here * (at_s - inside))
