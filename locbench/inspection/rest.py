"""How the gyro drifts while the robot stands still."""

from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import FloatArray, runs_of
from locbench.inspection.recorded import Odometry, Recorded, Wheels

__all__ = ["RestingDrift", "resting_drift", "without_drift"]

# standing still: no wheel moves further than a count or two of a coarse encoder
_STILL_M = 0.0008
_SHORTEST_S = 0.7
_STEP_S = 0.1
# while a robot settles it still turns a little; common practice, no source
_SETTLING_S = 0.15


@dataclass(frozen=True)
class RestingDrift:
    """What the gyro did in all standstills together after the first motion.

    `std_rad_per_s` is what a healthy gyro's random walk, here and in the standstill its bias came from, makes of it.
    """

    rate_rad_per_s: float
    std_rad_per_s: float
    count: int
    duration_s: float


def resting_drift(log: Recorded, walk_rad_per_root_s: float) -> RestingDrift | None:
    """Return the mean rate over standstills after the first motion, or None without gyro, wheels or standstills.

    Parameters
    ----------
    log
        Of it the odometry is used.
    walk_rad_per_root_s
        Standard deviation of a healthy gyro's heading after one second.
    """
    odometry = log.odometry
    if odometry.heading_rad is None or not isinstance(odometry.measured, Wheels):
        return None
    rests = _standstills(odometry, odometry.measured)
    first_s = 0.0
    if len(rests) and rests[0, 0] <= odometry.time_s[0] + _STEP_S:
        first_s, rests = float(rests[0, 1] - rests[0, 0]), rests[1:]
    if not len(rests):
        return None
    turned = np.diff(np.interp(rests, odometry.time_s, odometry.heading_rad), axis=1)[:, 0]
    lasted = rests[:, 1] - rests[:, 0]
    total = float(np.sum(lasted))
    rates = turned / lasted
    rate = float(np.sum(turned)) / total
    by_walk = walk_rad_per_root_s * np.sqrt(1.0 / total + (1.0 / first_s if first_s > 0.0 else 0.0))
    scatter = float(np.std(rates, ddof=1)) / np.sqrt(len(rates)) if len(rates) > 2 else 0.0
    return RestingDrift(rate, float(np.hypot(by_walk, scatter)), len(rests), total)


def _standstills(odometry: Odometry, wheels: Wheels) -> FloatArray:
    """Return (K, 2) begin and end of every standstill, its settling cut off."""
    times = np.arange(odometry.time_s[0], odometry.time_s[-1] + 1e-9, _STEP_S)
    travel = np.column_stack([np.interp(times, odometry.time_s, one) for one in wheels.travel_m.T])
    still = np.append(np.abs(np.diff(travel, axis=0)).max(axis=1) < _STILL_M, False)
    begin, end = runs_of(still).T
    spans: FloatArray = np.column_stack([times[begin] + _SETTLING_S, times[end] - _SETTLING_S])
    if len(spans) and begin[0] == 0:
        spans[0, 0] = times[0]
    return spans[spans[:, 1] - spans[:, 0] >= _SHORTEST_S]


def without_drift(log: Recorded, rate_rad_per_s: float) -> Recorded:
    """Return the log with a constant rate taken off the gyro."""
    odometry = log.odometry
    assert odometry.heading_rad is not None
    steady = odometry.heading_rad - rate_rad_per_s * (odometry.time_s - odometry.time_s[0])
    return replace(log, odometry=replace(odometry, heading_rad=steady))
