"""Measurement models, one per kind of tag detection."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import wrap_angle
from locbench.session import TagKind
from locbench.vision.sightings import Sightings

__all__ = ["Measurement", "measurement"]


@dataclass(frozen=True)
class Measurement:
    """One measurement z = h(pose) + noise.

    Attributes
    ----------
    value, covariance
        (D,) and (D, D).
    predict, jacobian
        Functions of the pose (3,): the expected value (D,) and its derivative (D, 3).
    angular
        (D,) components whose difference must be wrapped.
    """

    value: FloatArray
    covariance: FloatArray
    predict: Callable[[FloatArray], FloatArray]
    jacobian: Callable[[FloatArray], FloatArray]
    angular: BoolArray

    def residual(self, value: FloatArray, expected: FloatArray) -> FloatArray:
        """Return value minus expected, angles the short way round."""
        difference = np.asarray(value - expected)
        return np.where(self.angular, wrap_angle(difference), difference)


def measurement(sightings: Sightings, index: int) -> Measurement:
    """Return detection `index` as a measurement; of a pose without heading only the position counts."""
    value, covariance = sightings.detections.value[index], sightings.covariance[index]
    if sightings.detections.kind is TagKind.RANGE:
        height = sightings.tag_position_m[index, 2] - sightings.detections.mount[2]
        return _range_measurement(
            value,
            covariance,
            sightings.tag_position_m[index, :2],
            sightings.detections.mount[:2],
            height if sightings.detections.slant else 0.0,
        )
    size = 3 if np.isfinite(value[2]) else 2
    selection = np.eye(3)[:size]
    return Measurement(
        value=value[:size],
        covariance=covariance[:size, :size],
        predict=lambda pose: pose[:size],
        jacobian=lambda _: selection,
        angular=np.array([False, False, True])[:size],
    )


def _range_measurement(
    value: FloatArray, covariance: FloatArray, tag: FloatArray, mount: FloatArray, height_m: float
) -> Measurement:
    def lever(pose: FloatArray) -> FloatArray:
        cosine, sine = np.cos(pose[2]), np.sin(pose[2])
        return np.array([cosine * mount[0] - sine * mount[1], sine * mount[0] + cosine * mount[1]])

    def predict(pose: FloatArray) -> FloatArray:
        line = pose[:2] + lever(pose) - tag
        return np.array([np.sqrt(line @ line + height_m**2)])

    def jacobian(pose: FloatArray) -> FloatArray:
        arm = lever(pose)
        line = pose[:2] + arm - tag
        # exactly at the tag the direction is undefined; any finite number keeps the filter alive
        distance = max(float(np.sqrt(line @ line + height_m**2)), 1e-9)
        return np.array([[line[0], line[1], line[1] * arm[0] - line[0] * arm[1]]]) / distance

    return Measurement(value, covariance, predict, jacobian, np.array([False]))
