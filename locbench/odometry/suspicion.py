"""Which intervals of an odometry log look like a slip, a lifted pod or a shove: two cheap tests.

**Parity.** Pods and gyro that measure more than three motions contradict each other when one of them slips. What is
left of their readings in the left null space of the measurement rows does not depend on the motion: Chow & Willsky,
"Analytical redundancy and the design of robust failure detection systems", IEEE Trans. Automatic Control 29(7) 1984,
603-614. A worn wheel or a gyro read late contradicts too, but alike all through the log, so what the residuals owe to
motion and change of motion is fitted first, and taken off if it is no more than wear.

**Jump.** No robot on rubber wheels changes its velocity faster than friction lets it, but one that is hit, or whose
wheels spin, does.

They cannot see a slow slip, a slip of a pod whose motion no other sensor measures (the only sideways pod among three
pods and a gyro), or a shove that all sensors follow alike, and a loss of a few per cent all through the log passes for
wear. The fit and the windows look ahead: a robot's own program would need constants measured before, and would know up
to one window later.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import RobotConfig
from locbench.odometry.motion import Motion
from locbench.odometry.reckoning import dead_reckon
from locbench.odometry.sensors import MotionSensors, logged_sensors
from locbench.session import OdometryLog, PodTravel
from locbench.statistics import chi_square_quantile

__all__ = ["suspect_intervals"]

_PARITY_WINDOW_S = 0.1
_JUMP_WINDOW_S = 0.04
# Four standard deviations of one normal number.
_PARITY_CONFIDENCE = math.erf(4.0 / math.sqrt(2.0))
# Shares by which a pod's travel may be off: worn as the worst wheels are, and what is left when the whole log has told
# its constants; a gyro's scale is twice as sure. Common practice, no source.
_WORST, _KNOWN, _GYRO_SCALE = 0.05, 0.01, 0.5
# Few know the noise of their pods within a factor of two.
_NOISE_ALLOWED = 2.0
# windows that tell the constants; more know no better
_FITTED = 20_000
# Rubber on a clean floor, friction coefficient 1.2 (from memory, common practice), times standard gravity.
_HARDEST_M_PER_S2 = 1.2 * 9.80665
_JUMP_DEVIATIONS = 4.0
# the median of the absolute value of a normal number
_MEDIAN_OF_ONE = 0.6745
# rows per block: several arrays per sensor of a two-hour log would not fit into memory
_ROWS = 65_536


def suspect_intervals(motion: Motion, log: OdometryLog, robot: RobotConfig) -> BoolArray:
    """Return which intervals (N,) of a motion look like a slip, a lifted pod or a shove.

    Parameters
    ----------
    motion
        As measured from the log; flagged intervals are not judged.
    log
        Any of the four kinds; only pod counts have a parity.
    robot
        The pods and the gyro.
    """
    suspect = _jumps(motion)
    sensors = _sensors(motion, log, robot) if isinstance(log, PodTravel) else None
    if sensors is not None:
        suspect |= _contradictions(motion, sensors)
    return suspect


@dataclass(frozen=True)
class _Sensors:
    """K sensors of body motion as one log has read them.

    `parity` (R, K) are the combinations that no motion changes; `motion` (3, K) gives the motion that fits readings
    best; `scale` (K,) is how far each one's constants may be off beside a pod's.
    """

    logged: MotionSensors
    parity: FloatArray
    motion: FloatArray
    scale: FloatArray


def _sensors(motion: Motion, log: PodTravel, robot: RobotConfig) -> _Sensors | None:
    """Return the pods, and the gyro where the log and the robot file have one; None if they are not redundant."""
    # a driven wheel that spins is no reason to doubt the pose
    logged = logged_sensors(motion, replace(log, drive_travel_m={}), robot)
    row = logged.layout.row
    if len(row) <= 3:
        return None
    left, _, _ = np.linalg.svd(row)
    scale = np.where(logged.layout.turns, _GYRO_SCALE, 1.0)
    return _Sensors(logged, left[:, 3:].T, np.linalg.pinv(row).astype(np.float64), scale)


@dataclass(frozen=True)
class _Contradiction:
    """Residuals (M, R) of M windows, their covariance (M, R, R), and the motion (M, 6) that wrong constants act on."""

    residual: FloatArray
    covariance: FloatArray
    motion: FloatArray

    def squared(self, constants: FloatArray) -> FloatArray:
        """Return (M,) the normalised residuals squared, what `constants` (6, R) explain taken off."""
        rest = self.residual - self.motion @ constants
        return np.asarray(np.sum(rest * np.linalg.solve(self.covariance, rest[..., np.newaxis])[..., 0], axis=1))


def _contradiction(motion: Motion, sensors: _Sensors, end: IntArray, half: int, share_off: float) -> _Contradiction:
    reading = sensors.logged.reading
    first = reading[end - half] - reading[end - 2 * half]
    second = reading[end] - reading[end - half]
    duration_s = motion.time_s[end] - motion.time_s[end - 2 * half]
    travel = first + second
    variance = sensors.logged.layout.variance(travel, duration_s)
    variance = _NOISE_ALLOWED**2 * variance + (share_off * sensors.scale * travel) ** 2
    # a sensor that is late by a time is off by that time's share of the change of speed
    late = (second - first) / duration_s[:, np.newaxis]
    return _Contradiction(
        residual=travel @ sensors.parity.T,
        covariance=np.einsum("rk,nk,sk->nrs", sensors.parity, variance, sensors.parity, optimize=True),
        motion=np.hstack([travel @ sensors.motion.T, late @ sensors.motion.T]),
    )


def _contradictions(motion: Motion, sensors: _Sensors) -> BoolArray:
    half = _rows_in(motion, _PARITY_WINDOW_S / 2.0)
    limit = chi_square_quantile(_PARITY_CONFIDENCE, float(len(sensors.parity)))
    constants = _agreed_constants(motion, sensors, half, limit)
    failed = np.zeros(len(motion.time_s), dtype=bool)
    for end in _window_ends(motion, half):
        failed[end] = _contradiction(motion, sensors, end, half, _KNOWN).squared(constants) > limit
    return _intervals_in(failed, 2 * half)


def _agreed_constants(motion: Motion, sensors: _Sensors, half: int, limit: float) -> FloatArray:
    """Return (6, R) how residuals follow the motion all through the log: wheels worn, pods askew, sensors late.

    Weighted least squares with a weak prior about zero, over the windows that fit the constants so far.
    """
    end = np.concatenate([np.zeros(0, dtype=np.int64), *_window_ends(motion, half)])
    end = end[:: max(1, len(end) // _FITTED)]
    constants = np.zeros((6, len(sensors.parity)))
    for share_off in (_WORST, _KNOWN):
        windows = _contradiction(motion, sensors, end, half, share_off)
        fits = windows.squared(constants) <= limit
        x, y = windows.motion[fits], windows.residual[fits]
        for one in range(len(sensors.parity)):
            weighted = x / windows.covariance[fits, one, one][:, np.newaxis]
            constants[:, one] = np.linalg.solve(weighted.T @ x + np.eye(6) / _WORST**2, weighted.T @ y[:, one])
    # what is further off than the worst wear is a broken pod, not a constant; the robot file's stand then
    return constants if np.max(np.abs(constants[:3])) < 2.0 * _WORST else np.zeros_like(constants)


def _jumps(motion: Motion) -> BoolArray:
    rows = _rows_in(motion, _JUMP_WINDOW_S)
    place = dead_reckon(motion, np.zeros(3))[:, :2]
    tolerance = _JUMP_DEVIATIONS * _roughness(motion, place) / math.sqrt(rows)
    failed = np.zeros(len(motion.time_s), dtype=bool)
    for end in _window_ends(motion, rows):
        change, apart_s = _velocity_change(motion, place, end, rows)
        failed[end] = change > _HARDEST_M_PER_S2 * apart_s + tolerance
    return _intervals_in(failed, 2 * rows)


def _velocity_change(motion: Motion, place: FloatArray, end: IntArray, rows: int) -> tuple[FloatArray, FloatArray]:
    """Return by how much the velocity differs between neighbouring windows, and how far apart in time they are.

    A window that looks shorter than usual follows a row that was logged late; it counts as a usual one.
    """
    middle, begin, usual_s = end - rows, end - 2 * rows, rows * _period_s(motion)
    after_s = np.maximum(motion.time_s[end] - motion.time_s[middle], usual_s)
    before_s = np.maximum(motion.time_s[middle] - motion.time_s[begin], usual_s)
    after = (place[end] - place[middle]) / after_s[:, np.newaxis]
    before = (place[middle] - place[begin]) / before_s[:, np.newaxis]
    return np.linalg.norm(after - before, axis=1), (after_s + before_s) / 2.0


def _roughness(motion: Motion, place: FloatArray) -> float:
    """Return the typical velocity change from row to row while moving: rounding, noise and an unsteady clock."""
    changes = [_velocity_change(motion, place, end, 1)[0] for end in _window_ends(motion, 1)]
    seen = np.concatenate([np.zeros(0), *(change[change > 0.0] for change in changes)])
    return float(np.median(seen)) / _MEDIAN_OF_ONE if len(seen) else 0.0


def _period_s(motion: Motion) -> float:
    return float(np.median(np.diff(motion.time_s)))


def _rows_in(motion: Motion, duration_s: float) -> int:
    return max(1, round(duration_s / _period_s(motion)))


def _window_ends(motion: Motion, rows: int) -> Iterator[IntArray]:
    """Yield, in blocks, the last rows of all windows of 2 x `rows` intervals without a flagged one."""
    flags = motion.flags_so_far
    for first in range(2 * rows, len(flags), _ROWS):
        end = np.arange(first, min(first + _ROWS, len(flags)))
        yield end[flags[end] == flags[end - 2 * rows]]


def _intervals_in(failed: BoolArray, rows: int) -> BoolArray:
    """Return the intervals in windows of that many rows that failed at their last row, and one more on each side."""
    edges = np.zeros(len(failed) + 1, dtype=np.int64)
    end = np.flatnonzero(failed)
    np.add.at(edges, end - rows, 1)
    np.add.at(edges, np.minimum(end + 2, len(failed)), -1)
    inside = np.cumsum(edges[:-1]) > 0
    inside[0] = False
    return np.asarray(inside)
