"""A reference from the marks the robot stood on: start, odometry and marks smoothed together, tags left out."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import MotionNoise
from locbench.odometry import Motion, Travel, travel_since
from locbench.reference.bridge import bridged, carried_on
from locbench.reference.closure import Closure, close_intervals
from locbench.reference.known import KnownPoses
from locbench.reference.smoother import Fixes, Smoothed, smooth
from locbench.session import MarkVisits, StartPose

__all__ = ["SmoothedReference", "smoothed_reference"]


@dataclass(frozen=True)
class SmoothedReference:
    """Where the robot was during one stretch, as far as start, odometry and marks tell.

    Attributes
    ----------
    motion, noise
        Odometry of the stretch and its motion noise.
    name
        (N) names of the fixes: the start, then the marks in order of time.
    time_s, known_until_s
        (N,) when the robot came to stand on each, and until when it stood there.
    smoothed, closure
        The poses at the fixes, and how odometry closes between them.
    """

    motion: Motion
    noise: MotionNoise
    name: tuple[str, ...]
    time_s: FloatArray
    known_until_s: FloatArray
    smoothed: Smoothed
    closure: Closure

    def known(self, times_s: FloatArray) -> BoolArray:
        """Return (M,) whether the reference can tell anything at each time."""
        before = np.searchsorted(self.time_s, times_s, side="right") - 1
        on_mark = (before >= 0) & (times_s <= self.known_until_s[before])
        # after the last fix nothing shows whether odometry still held
        unbroken = np.append(~self.closure.broken, False)
        return np.asarray((on_mark | ((before >= 0) & unbroken[before])) & self.smoothed.converged)

    def at(self, times_s: FloatArray) -> KnownPoses:
        """Return the poses at M times with their covariances; nothing is known where the reference is broken."""
        times_s = np.asarray(times_s, dtype=float)
        pose, covariance = np.full((len(times_s), 3), np.nan), np.full((len(times_s), 3, 3), np.nan)
        known = np.flatnonzero(self.known(times_s))
        before = np.searchsorted(self.time_s, times_s[known], side="right") - 1
        for fix in np.unique(before):
            rows = known[before == fix]
            pose[rows], covariance[rows] = self._after(int(fix), times_s[rows])
        return KnownPoses(pose, covariance)

    def _after(self, fix: int, times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        begin_s = float(self.time_s[fix])
        to_time = travel_since(self.motion, self.noise, begin_s, times_s)
        if fix == len(self.time_s) - 1:
            return carried_on(self.smoothed, fix, to_time)
        to_next = travel_since(self.motion, self.noise, begin_s, self.time_s[fix + 1 : fix + 2])
        scale = self.closure.scale[fix]
        return bridged(self.smoothed, fix, _scaled(to_time, scale), _scaled(to_next, scale))


def smoothed_reference(motion: Motion, start: StartPose, marks: MarkVisits, noise: MotionNoise) -> SmoothedReference:
    """Return the reference that start, odometry and the marks of one stretch make.

    Parameters
    ----------
    motion
        The odometry of the stretch.
    start
        Pose and covariance at its first time.
    marks
        All visits of the session; those outside the stretch are left out.
    noise
        The robot's own motion noise: a filter's override must not move the reference that judges it.
    """
    inside = marks.inside(motion.time_s[0], motion.time_s[-1])
    inside = inside[np.argsort(marks.settled_s[inside], kind="stable")]
    time_s = np.append(motion.time_s[:1], marks.settled_s[inside])
    until = np.append(motion.time_s[:1], marks.end_s[inside])
    fixes = Fixes(
        pose=np.concatenate([start.pose[np.newaxis], marks.pose[inside]]),
        covariance=np.concatenate([start.covariance[np.newaxis], _survey_covariance(marks, inside)]),
    )
    travel = _joined(list(_segments(motion, noise, time_s)))
    closure = close_intervals(travel, fixes)
    smoothed = smooth(_scaled(travel, closure.scale), fixes)
    names = ("start", *(marks.name[row] for row in inside))
    return SmoothedReference(motion, noise, names, time_s, until, smoothed, closure)


def _survey_covariance(marks: MarkVisits, rows: IntArray) -> FloatArray:
    stds = np.column_stack([marks.position_std_m[rows], marks.position_std_m[rows], marks.heading_std_rad[rows]])
    covariance = np.zeros((len(rows), 3, 3))
    covariance[:, range(3), range(3)] = stds**2
    return covariance


def _segments(motion: Motion, noise: MotionNoise, time_s: FloatArray) -> Iterator[Travel]:
    for begin_s, end_s in pairwise(time_s):
        yield travel_since(motion, noise, float(begin_s), np.array([end_s]))


def _joined(parts: list[Travel]) -> Travel:
    return Travel(
        displacement=np.array([part.displacement[0] for part in parts]).reshape(-1, 3),
        covariance=np.array([part.covariance[0] for part in parts]).reshape(-1, 3, 3),
        flagged=np.array([part.flagged[0] for part in parts], dtype=bool),
    )


def _scaled(travel: Travel, scale: FloatArray | float) -> Travel:
    """Return the travel with its covariances times a factor, or one factor each."""
    factor = np.asarray(scale, dtype=float)[..., np.newaxis, np.newaxis]
    return replace(travel, covariance=factor * travel.covariance)
