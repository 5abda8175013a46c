"""By how much redundant sensors contradict each other, step by step, what the whole log owes to constants taken off.

What a robot owes to worn wheels, misplaced pods, a gyro's scale, its drift and its lateness contradicts all through the
log, always alike. A slip does not. So residuals are regressed on motion, change of motion and time, robustly, and only
what is left counts. It counts against the sensors' noise, against what such constants may still be off by, and, where
the log itself is noisier than the robot file says, against that.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.odometry import Motion, MotionSensors
from locbench.slip.checkable import Checkable, fault_directions
from locbench.statistics import chi_square_quantile

__all__ = ["STEP_S", "WINDOWS", "Steps", "Windows", "parity_steps", "projected", "squared"]

STEP_S = 0.05
# Lengths in steps of the whiles that are looked at: 0.1 s for a hard slip, 0.8 s for a soft one.
WINDOWS = (2, 4, 8, 16)
# What is left of constants once a log has told them: shares of the travel, of a gyro's turn, and seconds of lateness.
_TRAVEL_OFF, _TURN_OFF, _LATE_S = 0.002, 0.002, 0.001
# How far wrong constants may be before they are no constants: the weak prior of the fit. Common practice, no source.
_WORST_SHARE, _WORST_DRIFT_PER_S = 0.05, 0.0005
# lateness of a sensor in steps: 20 ms
_LATEST = 0.4
# Play of a pod in its holder when the robot starts, stops or stands, and of a gyro. Common practice, no source.
_PLAY_M, _PLAY_RAD = 0.0003, 0.0005
_ROUNDS = 4
# place of time among the regressors; a pod that rolls along an axis by this much measures it
_TIME, _ROLLS = 9, 0.5
_KEPT = 0.997
# below this many steps the log tells no constants
_FEWEST = 40
_MOVING_M = 0.005


@dataclass(frozen=True)
class Windows:
    """All whiles of `length` steps: each ends with step `end` (W,).

    `residual` (W, R) is what contradicts, `covariance` (W, R, R) what it may, `squared` (W,) the one over the other.
    """

    length: int
    end: IntArray
    residual: FloatArray
    covariance: FloatArray
    squared: FloatArray


@dataclass(frozen=True)
class Steps:
    """M steps of a motion, each over (time_s[m], time_s[m + 1]].

    Attributes
    ----------
    time_s
        (M + 1,) of the rows that bound them.
    travel
        (M, K) what each sensor read.
    residual
        (M, R) parity, constants taken off.
    good
        (M,) steps without a flagged interval and of usual length.
    noise_factor
        By how much more the log scatters than the robot file says, at least 1.
    gyro_drift
        Radians per second and standard uncertainty, as the pods tell it; None without a gyro that they check.
    steady_share
        The largest share of a sensor's travel that constants would have to be off by, to explain what was taken off.
    """

    checks: Checkable
    time_s: FloatArray
    travel: FloatArray
    residual: FloatArray
    good: BoolArray
    noise_factor: float = 1.0
    gyro_drift: tuple[float, float] | None = None
    steady_share: float = 0.0

    def __len__(self) -> int:
        return len(self.travel)

    @cached_property
    def directions(self) -> FloatArray:
        """(R, K) by how much parity moves per unit that a sensor reads more."""
        return fault_directions(self.checks)

    @cached_property
    def _sums(self) -> tuple[FloatArray, FloatArray, FloatArray, IntArray]:
        def total(values: FloatArray) -> FloatArray:
            return np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])

        bad = np.concatenate([[0], np.cumsum(~self.good)])
        return total(self.residual), total(np.abs(self.travel)), total(self.travel), bad

    def residual_over(self, first: IntArray, last: IntArray) -> FloatArray:
        """Return (W, R) the parity over the steps from `first` to before `last`."""
        residual = self._sums[0]
        return np.asarray(residual[last] - residual[first])

    def usable(self, first: IntArray, last: IntArray) -> BoolArray:
        """Return (W,) whether all steps from `first` to before `last` are good."""
        bad = self._sums[3]
        return np.asarray(bad[last] == bad[first])

    def covariance_over(self, first: IntArray, last: IntArray) -> FloatArray:
        """Return (W, R, R) the covariance of `residual_over` where nothing slips: noise, and what is allowed for."""
        travelled, turns = self._sums[2], self.checks.layout.turns
        off = np.where(turns, _TURN_OFF, _TRAVEL_OFF) * np.abs(travelled[last] - travelled[first])
        late = _LATE_S * np.abs(self._speed[last] - self._speed[first])
        play = np.where(turns, _PLAY_RAD, _PLAY_M)
        return self._as_parity(self.noise_factor**2 * self._noise(first, last) + off**2 + late**2 + play**2)

    def noise_over(self, first: IntArray, last: IntArray) -> FloatArray:
        """Return (W, R, R) what the robot file's noise alone makes of that covariance."""
        return self._as_parity(self._noise(first, last))

    def _noise(self, first: IntArray, last: IntArray) -> FloatArray:
        rolled = self._sums[1]
        return self.checks.layout.variance(rolled[last] - rolled[first], self.time_s[last] - self.time_s[first])

    def _as_parity(self, variance: FloatArray) -> FloatArray:
        parity = self.directions
        return np.asarray(np.einsum("rk,nk,sk->nrs", parity, variance, parity, optimize=True))

    @cached_property
    def _speed(self) -> FloatArray:
        """(M + 1, K) of each sensor at the bounds, from the steps on both sides."""
        speed = self.travel / np.diff(self.time_s)[:, np.newaxis]
        return np.concatenate([speed[:1], (speed[1:] + speed[:-1]) / 2.0, speed[-1:]])

    def windows(self, length: int) -> Windows:
        """Return all whiles of that many steps without a bad one."""
        last = np.arange(length, len(self) + 1)
        last = last[self.usable(last - length, last)]
        residual = self.residual_over(last - length, last)
        covariance = self.covariance_over(last - length, last)
        return Windows(length, last - 1, residual, covariance, squared(residual, covariance))


def squared(residual: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return (W,) r' V^-1 r of residuals (W, R)."""
    if not len(residual):
        return np.zeros(0)
    return np.asarray(np.sum(residual * np.linalg.solve(covariance, residual[..., np.newaxis])[..., 0], axis=1))


def projected(residual: FloatArray, covariance: FloatArray, direction: FloatArray) -> FloatArray:
    """Return (W,) residuals (W, R) along a direction (R,), divided by their standard deviation."""
    if not len(residual):
        return np.zeros(0)
    weighted = np.linalg.solve(covariance, np.broadcast_to(direction, residual.shape)[..., np.newaxis])[..., 0]
    return np.asarray(np.sum(weighted * residual, axis=1) / np.sqrt(weighted @ direction))


def parity_steps(motion: Motion, sensors: MotionSensors, checks: Checkable) -> Steps | None:
    """Return the steps of a motion; None if it is too short, or no sensor is checked by another.

    Parameters
    ----------
    motion
        As measured from the log.
    sensors
        What they read at its times.
    checks
        Of their layout.
    """
    rows = _bounds(motion.time_s)
    if checks.redundancy == 0 or len(rows) < 2 * WINDOWS[-1]:
        return None
    time_s, reading = motion.time_s[rows], sensors.reading[rows]
    duration = np.diff(time_s)
    flags = motion.flags_so_far[rows]
    good = (np.diff(flags) == 0) & (duration < 3.0 * STEP_S)
    travel = np.diff(reading, axis=0)
    parity = travel @ fault_directions(checks).T
    plain = Steps(checks, time_s, travel, parity, good)
    constants = _constants(plain)
    known = replace(
        plain,
        residual=parity - constants.share,
        gyro_drift=_drift_of_gyro(plain, constants),
        steady_share=_steady_share(plain, constants),
    )
    return replace(known, noise_factor=_noise_seen(known))


def _bounds(time_s: FloatArray) -> IntArray:
    """Return the rows nearest to a grid of `STEP_S`, each once."""
    grid = np.arange(time_s[0], time_s[-1] + STEP_S / 2.0, STEP_S)
    after = np.clip(np.searchsorted(time_s, grid), 1, len(time_s) - 1)
    nearer = np.where(grid - time_s[after - 1] <= time_s[after] - grid, after - 1, after)
    return np.unique(nearer)


@dataclass(frozen=True)
class _Constants:
    """What constants explain of the residuals (M, R): their coefficients and standard uncertainties (10, R)."""

    share: FloatArray
    coefficient: FloatArray
    std: FloatArray


def _constants(steps: Steps) -> _Constants:
    """Return what residuals owe to the motion, its changes, and time alone."""
    driven, prior = _regressors(steps)
    usable = steps.good
    coefficient = np.zeros((driven.shape[1], steps.residual.shape[1]))
    std = np.full_like(coefficient, np.inf)
    if np.sum(usable) < _FEWEST:
        return _Constants(np.zeros_like(steps.residual), coefficient, std)
    one = np.arange(len(steps))
    limit = chi_square_quantile(_KEPT, float(steps.residual.shape[1]))
    share = np.zeros_like(steps.residual)
    for _ in range(_ROUNDS):
        # the log's own scatter decides what fits: of a noisy one else only what agrees with the first guess is kept
        left = replace(steps, residual=steps.residual - share)
        covariance = replace(left, noise_factor=_noise_seen(left)).covariance_over(one, one + 1)
        kept = usable & (squared(left.residual, covariance) <= limit)
        for column in range(steps.residual.shape[1]):
            weight = 1.0 / covariance[kept, column, column]
            x, y = driven[kept], steps.residual[kept, column]
            size = np.max(np.abs(steps.directions[column])) * prior
            normal = (x * weight[:, np.newaxis]).T @ x + np.diag(size**-2.0)
            coefficient[:, column] = np.linalg.solve(normal, (x * weight[:, np.newaxis]).T @ y)
            std[:, column] = np.sqrt(np.diag(np.linalg.inv(normal)))
        share = driven @ coefficient
    return _Constants(share, coefficient, std)


def _drift_of_gyro(steps: Steps, constants: _Constants) -> tuple[float, float] | None:
    """Return the drift of a gyro that explains best what grows with time alone."""
    gyro = np.flatnonzero(steps.checks.layout.turns & steps.checks.detectable)
    if not len(gyro) or not np.all(np.isfinite(constants.std)):
        return None
    direction = steps.directions[:, gyro[0]]
    length = float(direction @ direction)
    drift = float(direction @ constants.coefficient[_TIME]) / length
    return drift, float(np.sqrt(np.sum((direction * constants.std[_TIME]) ** 2))) / length


def _steady_share(steps: Steps, constants: _Constants) -> float:
    """Return the largest share of straight travel that a checked pod would have to be wrong by, all through the log."""
    layout = steps.checks.layout
    shares = [0.0]
    for sensor in np.flatnonzero(steps.checks.detectable & ~layout.turns):
        direction = steps.directions[:, sensor]
        wrong = direction @ constants.coefficient[:2].T / float(direction @ direction)
        rolls = np.abs(layout.row[sensor, :2]) > _ROLLS
        shares += np.abs(wrong[rolls] / layout.row[sensor, :2][rolls]).tolist()
    return float(np.max(shares))


def _regressors(steps: Steps) -> tuple[FloatArray, FloatArray]:
    """Return (M, 10) what wrong constants act on, and (10,) how far wrong they may be."""
    layout = steps.checks.layout
    std = steps.checks.reliability.std
    motion = (steps.travel / std) @ np.linalg.pinv(layout.row / std[:, np.newaxis]).T
    earlier = np.vstack([np.zeros(3), np.diff(motion, axis=0)])
    later = np.vstack([np.diff(motion, axis=0), np.zeros(3)])
    duration = np.diff(steps.time_s)[:, np.newaxis]
    # to first order a late sensor is off by the change of motion, to second order by how that changes
    change, bend = (earlier + later) / 2.0, later - earlier
    prior = np.concatenate(
        [np.full(3, _WORST_SHARE), np.full(3, _LATEST), np.full(3, _LATEST**2 / 2.0), [_WORST_DRIFT_PER_S]]
    )
    return np.hstack([motion, change, bend, duration]), prior


def _noise_seen(steps: Steps) -> float:
    """Return by how much more residuals scatter than the robot file's noise: the most of any window length, at least 1.

    Nothing is allowed for beside the noise: what constants leave behind counts as noise where the robot rolls fast.
    """
    middle = chi_square_quantile(0.5, float(steps.residual.shape[1]))
    factors = [1.0]
    for length in WINDOWS:
        last = _moving(steps, length)
        if len(last) >= _FEWEST:
            seen = squared(steps.residual_over(last - length, last), steps.noise_over(last - length, last))
            factors.append(float(np.sqrt(np.median(seen) / middle)))
    return max(factors)


def _moving(steps: Steps, length: int) -> IntArray:
    """Return (W,) the ends of usable whiles in which the robot rolls fast enough to tell noise from play."""
    rolled = np.max(np.abs(steps.travel[:, ~steps.checks.layout.turns]), axis=1, initial=0.0)
    total = np.concatenate([[0.0], np.cumsum(rolled)])
    last = np.arange(length, len(steps) + 1)
    fast = total[last] - total[last - length] > _MOVING_M * length
    return np.asarray(last[fast & steps.usable(last - length, last)])
