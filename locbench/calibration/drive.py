"""One stretch of a log in the form that a calibration fits: wheels, gyro, start, marks, truth, detections."""

from dataclasses import dataclass

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.calibration.wheels import Wheels
from locbench.config.fusion import TagNoise
from locbench.session import Detections

__all__ = ["Drive", "Places", "Seen"]


@dataclass(frozen=True)
class Places:
    """Poses that references give at knots of a drive.

    Attributes
    ----------
    knot
        (M,) at which knot.
    pose
        (M, 3) headings NaN where unknown.
    std
        (M, 3) of what is new at each: placing the robot on a mark, the noise of a truth.
    survey
        (M,) which surveyed place it is, an index into all places of the fit; -1 where its error is all its own.
    leg
        (M,) number of the leg of the drive that ends there, for holding out.
    """

    knot: IntArray
    pose: FloatArray
    std: FloatArray
    survey: IntArray
    leg: IntArray

    def chosen(self, which: BoolArray) -> "Places":
        """Return those with these flags."""
        return Places(self.knot[which], self.pose[which], self.std[which], self.survey[which], self.leg[which])


@dataclass(frozen=True)
class Seen:
    """Detections of a drive.

    Attributes
    ----------
    detections
        M of them, inside the drive.
    camera
        What the camera's constants belong to.
    tags
        (M, 4) x, y, z, facing of each one's tag.
    mounts
        (M, 6) where the files have the camera.
    mount
        (3,) x, y, yaw of the camera on what carries it.
    noise
        How their noise grows with range and view angle.
    own_covariance
        (M, D, D) the log's own of the values; NaN where it is not used.
    knot
        (M,) the knot before each.
    leg
        (M,) number of the leg it was seen on.
    """

    detections: Detections
    camera: str
    tags: FloatArray
    mounts: FloatArray
    mount: FloatArray
    noise: TagNoise
    own_covariance: FloatArray
    knot: IntArray
    leg: IntArray

    def chosen(self, which: BoolArray) -> "Seen":
        """Return those with these flags."""
        return Seen(
            self.detections.chosen(which),
            self.camera,
            self.tags[which],
            self.mounts[which],
            self.mount,
            self.noise,
            self.own_covariance[which],
            self.knot[which],
            self.leg[which],
        )


@dataclass(frozen=True)
class Drive:
    """One stretch of a log.

    Attributes
    ----------
    session
        Name of the session.
    wheels
        Its odometry.
    knot_row
        (n,) rows of the odometry at which the pose is estimated; the first is the start, at row 0.
    start
        The start pose, as a place at knot 0.
    marks, truth
        References at knots.
    seen
        Detections; None without any.
    legs
        (L, 2) first and last time of each leg: from one visit to the next, or of equal parts where there are no marks.
    drift_std_rad_s
        How much the gyro may still drift, its bias taken off.
    """

    session: str
    wheels: Wheels
    knot_row: IntArray
    start: Places
    marks: Places
    truth: Places
    seen: Seen | None
    legs: FloatArray
    drift_std_rad_s: float
