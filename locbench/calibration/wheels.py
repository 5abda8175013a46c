"""What the odometry of one drive recorded, and the path it means under shifted constants."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.calibration.constants import ConstantKind, Constants
from locbench.calibration.lagging import turned_later
from locbench.geometry import exponential, rotation_matrix
from locbench.statistics import propagated_covariance
from locbench.statistics.robust import MAD_TO_SIGMA

__all__ = ["PARITY_S", "Rolled", "Wheel", "Wheels", "noise_seen", "whiles"]

# Wheels contradict each other between rows by rounding alone; over such a while motion shows, and a lag still does.
PARITY_S = 0.1

# A wheel that slipped, or an interval that is a gap, still moved about that far: standard deviation per metre, times.
_DOUBTED = 10.0
# gyros log hundredths of a degree; common practice, no source
_TURN_ROUNDING_RAD = float(np.radians(0.01))
_MOSTLY, _FEWEST_WHILES = 20.0, 30


@dataclass(frozen=True)
class Wheel:
    """A pod, or the forward or left part of a motion that an odometry computer logged.

    Attributes
    ----------
    of
        What its constants belong to, such as "pods.left".
    scale
        Which constant scales its travel.
    lever_m, direction_rad
        Its travel is cos a dx + sin a dy + lever dtheta, with a its direction on the robot.
    along_per_metre
        Standard deviation of its travel after one metre.
    rounding_m2
        Variance that rounding of the readings adds to the travel between any two rows.
    """

    of: str
    scale: ConstantKind
    lever_m: float
    direction_rad: float
    along_per_metre: float
    rounding_m2: float


@dataclass(frozen=True)
class Rolled:
    """What wheels and gyro mean under some constants, and how surely.

    The noise is that of the readings, so it grows with the scales: were it fixed, smaller scales would seem to fit
    better.

    Attributes
    ----------
    twist, covariance
        (N - 1, 3) between rows and (N - 1, 3, 3) of their noise.
    parity, parity_variance
        (N - 1, R) the travel beyond what any motion could roll, one column per redundant wheel, in units of what a
        wheel's noise is after one metre, and its variance.
    parity_rounding
        (R,) variance that rounding of the readings adds to a contradiction over any while.
    """

    twist: FloatArray
    covariance: FloatArray
    parity: FloatArray
    parity_variance: FloatArray
    parity_rounding: FloatArray


@dataclass(frozen=True)
class Wheels:
    """The odometry of one drive, row by row.

    Attributes
    ----------
    time_s
        (N,) strictly increasing.
    travel_m
        (N, K) cumulative travel by the nominal constants.
    heading_rad
        (N,) of the gyro, unwrapped; None where the wheels alone tell turns.
    doubted
        (N,) intervals, each ending at its row, that are a gap, a restart or look like a slip.
    wheels
        The K wheels.
    way_m
        (N - 1, K) travel that the noise of each wheel grows with: its own, or that of the body.
    heading_of
        What the constants of the heading belong to, such as "gyro".
    turn_variance
        (N - 1,) of the gyro's turns between rows.
    """

    time_s: FloatArray
    travel_m: FloatArray
    heading_rad: FloatArray | None
    doubted: BoolArray
    wheels: tuple[Wheel, ...]
    way_m: FloatArray
    heading_of: str
    turn_variance: FloatArray

    @cached_property
    def steps_m(self) -> FloatArray:
        """(N - 1, K) travel between rows."""
        return np.diff(self.travel_m, axis=0)

    @cached_property
    def duration_s(self) -> FloatArray:
        """(N - 1,) between rows."""
        return np.diff(self.time_s)

    @cached_property
    def weights(self) -> FloatArray:
        """(K,) inverse standard deviations per metre: how wheels are weighed against each other."""
        return np.array([1.0 / wheel.along_per_metre for wheel in self.wheels])

    def rows(self, constants: Constants, shifts: FloatArray) -> FloatArray:
        """Return (K, 3) such that row . (dx, dy, dtheta) is each wheel's true travel."""
        lever = [w.lever_m + constants.shift(shifts, ConstantKind.LEVER_ARM, w.of) for w in self.wheels]
        angle = [w.direction_rad + constants.shift(shifts, ConstantKind.ROLLING_DIRECTION, w.of) for w in self.wheels]
        return np.column_stack([np.cos(angle), np.sin(angle), lever])

    @cached_property
    def contradictions(self) -> FloatArray:
        """(R, K) orthonormal directions of the travel, each in units of its wheel's noise, that no motion rolls."""
        left, singular, _ = np.linalg.svd(self._weighted(self.nominal_rows))
        return left[:, int(np.sum(singular > 1e-9 * singular[0])) :].T

    @cached_property
    def nominal_rows(self) -> FloatArray:
        """(K, 3) such that row . (dx, dy, dtheta) is each wheel's travel by the nominal constants."""
        nominal = [[np.cos(w.direction_rad), np.sin(w.direction_rad), w.lever_m] for w in self.wheels]
        return np.array(nominal)

    def _weighted(self, rows: FloatArray) -> FloatArray:
        """Return the columns (K, D) of the motion that the wheels have to tell, in units of their noise."""
        return self.weights[:, np.newaxis] * (rows[:, :2] if self.heading_rad is not None else rows)

    def turns(self, constants: Constants, shifts: FloatArray, drift_rad_s: float) -> FloatArray | None:
        """Return (N - 1,) what the gyro says of the turns between rows; None without a gyro."""
        if self.heading_rad is None:
            return None
        lag = constants.shift(shifts, ConstantKind.GYRO_LAG, self.heading_of)
        heading = self.heading_rad + turned_later(self.time_s, self.heading_rad, lag) if lag else self.heading_rad
        scale = 1.0 + constants.shift(shifts, ConstantKind.TURN_SCALE, self.heading_of)
        return np.asarray(scale * np.diff(heading) - drift_rad_s * self.duration_s)

    def rolled(self, constants: Constants, shifts: FloatArray, drift_rad_s: float) -> Rolled:
        """Return what the readings mean with the constants shifted by (P,), and a drift of the gyro taken off."""
        scale = np.array([1.0 + constants.shift(shifts, wheel.scale, wheel.of) for wheel in self.wheels])
        rows = self.rows(constants, shifts)
        weighted = self._weighted(rows)
        solve = np.asarray(np.linalg.pinv(weighted), dtype=float)
        contradicts = self._unrollable(weighted, solve)
        turn = self.turns(constants, shifts, drift_rad_s)
        travel = self.steps_m * (scale * self.weights)
        # from noise of the readings to that of the motion, and of the contradictions
        spread, against = solve * scale, contradicts * scale
        covariance = np.einsum("dk,nk,ek->nde", spread, self._relative_variance, spread, optimize=True)
        parity_variance = self._relative_variance @ (against**2).T
        parity_rounding = against**2 @ self._relative_rounding
        if turn is not None:
            lever = rows[:, 2] * self.weights
            travel = travel - np.outer(turn, lever)
            turn_scale = 1.0 + constants.shift(shifts, ConstantKind.TURN_SCALE, self.heading_of)
            covariance = self._with_turns(covariance, solve @ lever, turn_scale)
            turned = (turn_scale * contradicts @ lever) ** 2
            parity_variance = parity_variance + np.outer(self.turn_variance * self._doubt, turned)
            parity_rounding = parity_rounding + turned * _TURN_ROUNDING_RAD**2 / 6.0
        planar = travel @ solve.T
        return Rolled(
            twist=planar if turn is None else np.column_stack([planar, turn]),
            covariance=covariance,
            parity=travel @ contradicts.T,
            parity_variance=parity_variance,
            parity_rounding=parity_rounding,
        )

    def _with_turns(self, planar: FloatArray, lever: FloatArray, scale: float) -> FloatArray:
        """Return (N - 1, 3, 3) with the gyro's noise, which moves the wheels' motion by -`lever` (2,) per radian."""
        whole = np.zeros((len(planar), 3, 3))
        whole[:, :2, :2] = planar
        turning = np.append(-lever, 1.0)
        variance = scale**2 * self.turn_variance * self._doubt
        return np.asarray(whole + variance[:, np.newaxis, np.newaxis] * np.outer(turning, turning))

    def _unrollable(self, weighted: FloatArray, solve: FloatArray) -> FloatArray:
        """Return the contradictions (R, K) of shifted wheels, each the nearest orthonormal one to the nominal.

        Were they only projected, they would shrink as the wheels turn, and shrinking would pass for fitting.
        """
        projected = self.contradictions @ (np.eye(len(self.wheels)) - weighted @ solve)
        left, _, right = np.linalg.svd(projected, full_matrices=False)
        return np.asarray(left @ right)

    @cached_property
    def _relative_variance(self) -> FloatArray:
        """(N - 1, K) of the wheels' travel, in units of what each has after one metre."""
        return np.asarray(self.way_m * self._doubt[:, np.newaxis])

    @cached_property
    def _doubt(self) -> FloatArray:
        return np.where(self.doubted[1:], _DOUBTED**2, 1.0)

    @cached_property
    def _relative_rounding(self) -> FloatArray:
        """(K,) variance that rounding adds, in units of what a wheel's travel has after one metre."""
        return np.array([wheel.rounding_m2 for wheel in self.wheels]) * self.weights**2

    def noisier(self, factor: float) -> "Wheels":
        """Return the wheels with standard deviations per metre that many times as large."""
        return replace(self, wheels=tuple(replace(w, along_per_metre=factor * w.along_per_metre) for w in self.wheels))

    def poses(self, rolled: Rolled) -> FloatArray:
        """Return (N, 3) dead-reckoned poses from the identity at the first row."""
        step = exponential(rolled.twist)
        heading = np.concatenate([[0.0], np.cumsum(rolled.twist[:, 2])])
        cosine, sine = np.cos(heading[:-1]), np.sin(heading[:-1])
        x = np.cumsum(cosine * step[:, 0] - sine * step[:, 1])
        y = np.cumsum(sine * step[:, 0] + cosine * step[:, 1])
        return np.column_stack([np.append(0.0, x), np.append(0.0, y), heading])

    def covariance_between(self, rolled: Rolled, path: FloatArray, rows: IntArray) -> FloatArray:
        """Return (n - 1, 3, 3) what the noise between neighbouring rows (n,) adds, in the frame of the later pose.

        Parameters
        ----------
        rolled, path
            What was rolled, and the (N, 3) dead-reckoned poses that it means.
        rows
            (n,) strictly increasing.
        """
        end = np.repeat(rows[1:], np.diff(rows))
        inside = slice(rows[0], rows[-1])
        lever = path[end, :2] - path[1:][inside, :2]
        back = path[1:][inside, 2] - path[end, 2]
        carry = np.zeros((len(end), 3, 3))
        carry[:, :2, :2] = rotation_matrix(back)
        turned = rotation_matrix(-path[end, 2]) @ np.stack([-lever[:, 1], lever[:, 0]], axis=-1)[..., np.newaxis]
        carry[:, :2, 2], carry[:, 2, 2] = turned[..., 0], 1.0
        added = propagated_covariance(carry, rolled.covariance[inside])
        summed: FloatArray = np.add.reduceat(added, rows[:-1] - rows[0], axis=0)
        return summed


def whiles(time_s: FloatArray) -> IntArray:
    """Return the intervals between rows (N,) with which each while of a tenth of a second begins."""
    return np.flatnonzero(np.diff(np.floor((time_s[1:] - time_s[0]) / PARITY_S), prepend=-1.0))


def noise_seen(time_s: FloatArray, rolled: Rolled) -> float:
    """Return how many times larger than the files say the wheels' noise is, by their contradictions; 1 at least.

    Contradictions show some directions of the noise only, so less of it in those is no reason to trust all the more.
    Only whiles count in which travel, and not rounding or the gyro, makes most of the scatter expected.
    """
    first = whiles(time_s)
    if not rolled.parity.shape[1]:
        return 1.0
    total = np.add.reduceat(rolled.parity, first, axis=0)
    travel = np.add.reduceat(rolled.parity_variance, first, axis=0)
    rolling = travel > _MOSTLY * rolled.parity_rounding
    if np.sum(rolling) < _FEWEST_WHILES:
        return 1.0
    return max(1.0, MAD_TO_SIGMA * float(np.median(np.abs(total[rolling]) / np.sqrt(travel[rolling]))))
