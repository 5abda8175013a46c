"""The two filters, each a handful of steps on a belief, computed by filterpy."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from filterpy.kalman import ExtendedKalmanFilter, MerweScaledSigmaPoints, UnscentedKalmanFilter

from locbench.arrays import FloatArray
from locbench.config import CorrectionMode, Engine
from locbench.config.fusion import Correction
from locbench.geometry import compose, exponential
from locbench.odometry import transition
from locbench.odometry.reckoning import rotated
from locbench.vision import Measurement

__all__ = [
    "Belief",
    "ExtendedFilter",
    "FilterSteps",
    "Innovation",
    "UnscentedFilter",
    "corrected",
    "correction_gain",
    "make_filter",
]


@dataclass(frozen=True)
class Belief:
    """Mean (3,) x, y, theta (not wrapped) and covariance (3, 3), field frame, additive error."""

    mean: FloatArray
    covariance: FloatArray


@dataclass(frozen=True)
class Innovation:
    """Measured minus expected (D,), and its covariance (D, D)."""

    residual: FloatArray
    covariance: FloatArray

    @property
    def normalised_squared(self) -> float:
        """Return y' S^-1 y."""
        return float(self.residual @ np.linalg.solve(self.covariance, self.residual))

    @property
    def whitened(self) -> FloatArray:
        """Return L^-1 y (D,) with L L' = S: independent and of unit variance if the filter is honest."""
        return np.asarray(np.linalg.solve(np.linalg.cholesky(self.covariance), self.residual))


class FilterSteps(Protocol):
    """What a replay needs of a filter."""

    def predict(self, belief: Belief, twist: FloatArray, noise: FloatArray) -> Belief:
        """Return the belief after a body increment (3,) that adds `noise` (3, 3) in the frame of its start."""
        ...

    def innovation(self, belief: Belief, measurement: Measurement) -> Innovation:
        """Return what the measurement says beyond the belief."""
        ...

    def update(self, belief: Belief, measurement: Measurement) -> Belief:
        """Return the belief after a Kalman correction."""
        ...


class _PoseKalmanFilter(ExtendedKalmanFilter):  # type: ignore[misc]
    """filterpy's extended filter with the increment composed on the pose."""

    def predict_x(self, u: FloatArray) -> None:
        """Compose the increment on the mean."""
        self.x: FloatArray = compose(self.x, exponential(u))


class ExtendedFilter:
    """Textbook extended Kalman filter on the pose."""

    def __init__(self) -> None:
        self._filter = _PoseKalmanFilter(dim_x=3, dim_z=3)

    def predict(self, belief: Belief, twist: FloatArray, noise: FloatArray) -> Belief:
        """Return the belief after a body increment."""
        chord = exponential(twist)
        cosine, sine = np.cos(belief.mean[2]), np.sin(belief.mean[2])
        step = np.array([cosine * chord[0] - sine * chord[1], sine * chord[0] + cosine * chord[1]])
        self._filter.x, self._filter.P = belief.mean, belief.covariance
        self._filter.F = transition(step)
        self._filter.Q = rotated(noise, belief.mean[2])
        self._filter.predict(twist)
        return Belief(self._filter.x, self._filter.P)

    def innovation(self, belief: Belief, measurement: Measurement) -> Innovation:
        """Return measured minus expected, with covariance H P H' + R."""
        slope = measurement.jacobian(belief.mean)
        residual = measurement.residual(measurement.value, measurement.predict(belief.mean))
        return Innovation(residual, slope @ belief.covariance @ slope.T + measurement.covariance)

    def update(self, belief: Belief, measurement: Measurement) -> Belief:
        """Return the belief after a Kalman correction."""
        self._filter.x, self._filter.P = belief.mean, belief.covariance
        self._filter.update(
            measurement.value,
            measurement.jacobian,
            measurement.predict,
            R=measurement.covariance,
            residual=measurement.residual,
        )
        return Belief(self._filter.x, _symmetric(self._filter.P))


class UnscentedFilter:
    """Unscented Kalman filter with scaled sigma points (van der Merwe 2004), alpha 0.1, beta 2, kappa 0."""

    def __init__(self) -> None:
        self._points = MerweScaledSigmaPoints(3, alpha=0.1, beta=2.0, kappa=0.0)

    def _at(self, belief: Belief, measurement: Measurement) -> UnscentedKalmanFilter:
        size = len(measurement.value)
        ukf = UnscentedKalmanFilter(
            dim_x=3,
            dim_z=size,
            dt=1.0,
            hx=measurement.predict,
            fx=None,
            points=self._points,
            z_mean_fn=measurement.mean,
            residual_z=measurement.residual,
        )
        ukf.x, ukf.P = belief.mean, belief.covariance
        ukf.sigmas_f = self._points.sigma_points(belief.mean, belief.covariance)
        return ukf

    def predict(self, belief: Belief, twist: FloatArray, noise: FloatArray) -> Belief:
        """Return the belief after a body increment, sigma points carried through the exact motion."""
        ukf = UnscentedKalmanFilter(
            dim_x=3,
            dim_z=3,
            dt=1.0,
            hx=None,
            fx=lambda pose, _: compose(pose, exponential(twist)),
            points=self._points,
        )
        ukf.x, ukf.P = belief.mean, belief.covariance
        ukf.Q = rotated(noise, belief.mean[2])
        ukf.predict()
        return Belief(ukf.x, _symmetric(ukf.P))

    def innovation(self, belief: Belief, measurement: Measurement) -> Innovation:
        """Return measured minus expected from the sigma points."""
        ukf = self._at(belief, measurement)
        ukf.update(measurement.value, R=measurement.covariance)
        return Innovation(ukf.y, ukf.S)

    def update(self, belief: Belief, measurement: Measurement) -> Belief:
        """Return the belief after a Kalman correction."""
        ukf = self._at(belief, measurement)
        ukf.update(measurement.value, R=measurement.covariance)
        return Belief(ukf.x, _symmetric(ukf.P))


def make_filter(engine: Engine) -> FilterSteps:
    """Return the filter of that name, as filterpy has it; the compiled one is the extended filter too."""
    match engine:
        case Engine.KERNEL | Engine.TEXTBOOK:
            return ExtendedFilter()
        case Engine.UNSCENTED:
            return UnscentedFilter()


def _symmetric(matrix: FloatArray) -> FloatArray:
    return np.asarray((matrix + matrix.T) / 2.0)


def corrected(filter_steps: FilterSteps, belief: Belief, measurement: Measurement, correction: Correction) -> Belief:
    """Return the belief after an accepted measurement, in that correction mode.

    Notes
    -----
    Replace takes the measured components as they are, with their covariance. Fixed gain keeps the covariance honest
    through the Joseph form with that gain: (I - K H) P (I - K H)' + K R K'.
    """
    match correction.mode:
        case CorrectionMode.NONE:
            return belief
        case CorrectionMode.KALMAN:
            return filter_steps.update(belief, measurement)
        case CorrectionMode.REPLACE:
            return _replaced(belief, measurement)
        case CorrectionMode.FIXED_GAIN:
            return _partly_corrected(belief, measurement, correction_gain(belief, measurement, correction))


def correction_gain(belief: Belief, measurement: Measurement, correction: Correction) -> FloatArray:
    """Return the gain (3, D) with which a mode takes a residual; of the Kalman modes the linearised one, P H' S^-1."""
    size = len(measurement.value)
    match correction.mode:
        case CorrectionMode.NONE:
            return np.zeros((3, size))
        case CorrectionMode.KALMAN:
            slope = measurement.jacobian(belief.mean)
            spread = slope @ belief.covariance
            return np.asarray(np.linalg.solve(spread @ slope.T + measurement.covariance, spread).T)
        case CorrectionMode.REPLACE:
            return np.eye(3)[:, :size]
        case CorrectionMode.FIXED_GAIN:
            shares = correction.fixed_gain
            return np.diag([shares.position, shares.position, shares.heading])[:, :size]


def _replaced(belief: Belief, measurement: Measurement) -> Belief:
    size = len(measurement.value)
    residual = measurement.residual(measurement.value, measurement.predict(belief.mean))
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    mean[:size] += residual
    covariance[:size, :], covariance[:, :size] = 0.0, 0.0
    covariance[:size, :size] = measurement.covariance
    return Belief(mean, covariance)


def _partly_corrected(belief: Belief, measurement: Measurement, gain: FloatArray) -> Belief:
    slope = measurement.jacobian(belief.mean)
    residual = measurement.residual(measurement.value, measurement.predict(belief.mean))
    keep = np.eye(3) - gain @ slope
    covariance = keep @ belief.covariance @ keep.T + gain @ measurement.covariance @ gain.T
    return Belief(belief.mean + gain @ residual, _symmetric(covariance))
