"""Measurement models, one per kind of tag detection."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import mount_rotation, wrap_angle
from locbench.session import TagKind
from locbench.vision.noise import bearing_variance
from locbench.vision.sightings import Sightings

__all__ = ["Measurement", "fix_measurement", "measurement", "pose_measurement"]

# exactly at the tag directions are undefined; any finite number keeps the filter alive
_NEAREST_M = 1e-9


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

    def mean(self, values: FloatArray, weights: FloatArray) -> FloatArray:
        """Return the weighted mean (D,) of values (S, D) about the first one, angles the short way round."""
        return np.asarray(values[0] + weights @ np.array([self.residual(value, values[0]) for value in values]))


@dataclass(frozen=True)
class _Camera:
    """A camera's place on the robot, how its axes lie there, and the tag it sees, `rise_m` above it."""

    place: FloatArray
    turn: FloatArray
    tag: FloatArray
    rise_m: float

    def towards_tag(self, pose: FloatArray) -> FloatArray:
        """Return (3,) from the camera to the tag, on the robot's axes."""
        forward, left = _on_robot(pose, self.tag)
        return np.array([forward - self.place[0], left - self.place[1], self.rise_m])

    def towards_tag_slope(self, pose: FloatArray) -> FloatArray:
        """Return (3, 3), the derivative of `towards_tag`."""
        return np.vstack([_on_robot_slope(pose, self.tag), np.zeros(3)])


def measurement(sightings: Sightings, index: int, believed: FloatArray | None = None) -> Measurement:
    """Return detection `index` as a measurement; of a pose without heading only the position counts.

    Parameters
    ----------
    sightings
        Of one filter.
    index
        Which of them.
    believed
        The pose (3,) at capture as believed on arrival; only bearings without a range ask for it.
    """
    value, covariance = sightings.detections.value[index], sightings.covariance[index]
    match sightings.detections.kind:
        case TagKind.ROBOT_POSE:
            return pose_measurement(value, covariance)
        case TagKind.TAG_POSE:
            tag = np.array([*sightings.tag_position_m[index, :2], sightings.tag_facing_rad[index]])
            return _tag_pose(value, covariance, tag)
        case TagKind.RANGE:
            return _range(value, covariance, _camera(sightings, index), sightings.detections.slant)
        case TagKind.BEARING:
            camera = _camera(sightings, index)
            if believed is not None and np.isnan(covariance[0, 0]):
                covariance = _noise_from_believed_range(sightings, index, camera.towards_tag(believed))
            return _bearing(value, covariance, camera)
        case TagKind.RANGE_BEARING:
            camera = _camera(sightings, index)
            one = _range(value[:1], covariance[:1, :1], camera, sightings.detections.slant)
            return _both(one, _bearing(value[1:], covariance[1:, 1:], camera), covariance)


def fix_measurement(sightings: Sightings, index: int) -> Measurement:
    """Return the robot pose that detection `index` means as a measurement; without a heading only its position."""
    return pose_measurement(sightings.fix[index], sightings.fix_covariance[index])


def pose_measurement(value: FloatArray, covariance: FloatArray) -> Measurement:
    """Return a robot pose (3,) with its covariance (3, 3) as a measurement; without a heading only its position."""
    size = 3 if np.isfinite(value[2]) else 2
    selection = np.eye(3)[:size]
    return Measurement(
        value=value[:size],
        covariance=covariance[:size, :size],
        predict=lambda pose: pose[:size],
        jacobian=lambda _: selection,
        angular=np.array([False, False, True])[:size],
    )


def _tag_pose(value: FloatArray, covariance: FloatArray, tag: FloatArray) -> Measurement:
    size = 3 if np.isfinite(value[2]) else 2
    turning = np.array([0.0, 0.0, -1.0])
    return Measurement(
        value=value[:size],
        covariance=covariance[:size, :size],
        predict=lambda pose: np.array([*_on_robot(pose, tag[:2]), tag[2] - pose[2]])[:size],
        jacobian=lambda pose: np.vstack([_on_robot_slope(pose, tag[:2]), turning])[:size],
        angular=np.array([False, False, True])[:size],
    )


def _range(value: FloatArray, covariance: FloatArray, camera: _Camera, slant: bool) -> Measurement:
    counted = np.array([1.0, 1.0, 1.0 if slant else 0.0])

    def predict(pose: FloatArray) -> FloatArray:
        return np.array([np.linalg.norm(counted * camera.towards_tag(pose))])

    def jacobian(pose: FloatArray) -> FloatArray:
        line = counted * camera.towards_tag(pose)
        distance = max(float(np.linalg.norm(line)), _NEAREST_M)
        return np.asarray(line @ camera.towards_tag_slope(pose) / distance)[np.newaxis]

    return Measurement(value, covariance, predict, jacobian, np.array([False]))


def _bearing(value: FloatArray, covariance: FloatArray, camera: _Camera) -> Measurement:
    def predict(pose: FloatArray) -> FloatArray:
        ahead, left, _ = camera.towards_tag(pose) @ camera.turn
        return np.array([np.arctan2(left, ahead)])

    def jacobian(pose: FloatArray) -> FloatArray:
        ahead, left, _ = camera.towards_tag(pose) @ camera.turn
        slope = camera.turn.T @ camera.towards_tag_slope(pose)
        squared = max(float(ahead**2 + left**2), _NEAREST_M**2)
        return np.asarray((ahead * slope[1] - left * slope[0]) / squared)[np.newaxis]

    return Measurement(value, covariance, predict, jacobian, np.array([True]))


def _both(first: Measurement, second: Measurement, covariance: FloatArray) -> Measurement:
    """Return two measurements of one detection as one."""
    return Measurement(
        value=np.concatenate([first.value, second.value]),
        covariance=covariance,
        predict=lambda pose: np.concatenate([first.predict(pose), second.predict(pose)]),
        jacobian=lambda pose: np.vstack([first.jacobian(pose), second.jacobian(pose)]),
        angular=np.concatenate([first.angular, second.angular]),
    )


def _noise_from_believed_range(sightings: Sightings, index: int, towards_tag: FloatArray) -> FloatArray:
    distance, view = np.hypot(towards_tag[0], towards_tag[1]), sightings.detections.view_angle_rad[index]
    return bearing_variance(np.array([distance]), np.array([view]), sightings.noise)[:, np.newaxis]


def _camera(sightings: Sightings, index: int) -> _Camera:
    x, y, z, yaw, pitch, roll = sightings.detections.mount[index]
    tag = sightings.tag_position_m[index]
    return _Camera(np.array([x, y]), mount_rotation(yaw, pitch, roll), tag[:2], float(tag[2] - z))


def _on_robot(pose: FloatArray, point: FloatArray) -> FloatArray:
    """Return a point (2,) of the field on the robot's axes."""
    cosine, sine = np.cos(pose[2]), np.sin(pose[2])
    dx, dy = point - pose[:2]
    return np.array([cosine * dx + sine * dy, -sine * dx + cosine * dy])


def _on_robot_slope(pose: FloatArray, point: FloatArray) -> FloatArray:
    """Return (2, 3), the derivative of `_on_robot`."""
    cosine, sine = np.cos(pose[2]), np.sin(pose[2])
    forward, left = _on_robot(pose, point)
    return np.array([[-cosine, -sine, left], [sine, -cosine, -forward]])
