"""Believed poses beside reference poses, at marks or along a dense truth."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.fusion import Estimate, Sampled, sample_track
from locbench.geometry import circular_mean, wrap_angle
from locbench.odometry import Motion
from locbench.reference import KnownPoses, Reference
from locbench.session import MarkVisits

__all__ = ["Comparison", "against_known", "against_marks", "against_truth", "joined", "visits_on_reference"]


@dataclass(frozen=True)
class Comparison:
    """Believed and reference poses at K times; NaN where the estimator has no pose or the reference no heading.

    Attributes
    ----------
    time_s, path_length_m, turning_rad
        (K,) when, and how far the robot had driven and turned by then.
    believed, believed_covariance
        (K, 3) and (K, 3, 3).
    reference, reference_covariance
        (K, 3) and (K, 3, 3).
    stretch
        (K,) number of the stretch, counted from 0: nothing is compared across two of them.
    source
        (K,) row of the visit or reference time that each comparison came from.
    """

    time_s: FloatArray
    path_length_m: FloatArray
    turning_rad: FloatArray
    believed: FloatArray
    believed_covariance: FloatArray
    reference: FloatArray
    reference_covariance: FloatArray
    stretch: FloatArray
    source: IntArray

    def __len__(self) -> int:
        return len(self.time_s)

    def chosen(self, rows: IntArray) -> "Comparison":
        """Return the comparisons of these rows alone."""
        return Comparison(**{f.name: getattr(self, f.name)[rows] for f in fields(Comparison)})

    @property
    def error(self) -> FloatArray:
        """(K, 3) believed minus reference, field frame, headings wrapped."""
        difference = self.believed - self.reference
        difference[:, 2] = wrap_angle(difference[:, 2])
        return difference

    @property
    def covered(self) -> BoolArray:
        """(K,) where the estimator had a position and the reference knows it."""
        return np.isfinite(self.believed[:, 0]) & np.isfinite(self.reference[:, 0])


def joined(parts: Sequence[Comparison]) -> Comparison:
    """Return the comparisons of several stretches one after the other; at least one is needed."""
    return Comparison(**{f.name: np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Comparison)})


def _comparison(
    sampled: Sampled,
    reference: FloatArray,
    reference_covariance: FloatArray,
    motion: Motion,
    stretch: int,
    source: IntArray,
) -> Comparison:
    return Comparison(
        time_s=sampled.time_s,
        path_length_m=np.interp(sampled.time_s, motion.time_s, motion.path_length_m),
        turning_rad=np.interp(sampled.time_s, motion.time_s, motion.turning_rad),
        believed=sampled.pose,
        believed_covariance=sampled.covariance,
        reference=reference,
        reference_covariance=reference_covariance,
        stretch=np.full(len(sampled.time_s), float(stretch)),
        source=source,
    )


def _dwell_means(estimate: Estimate, motion: Motion, marks: MarkVisits, visits: IntArray) -> Sampled:
    """Return the mean published pose of each dwell, its first moments left out; of a press, the pose then."""
    times = _times_on_marks(motion.time_s, marks, visits)
    edges = np.cumsum([0, *map(len, times)])
    # all dwells at once: looking along the odometry for each of them would take hours' logs squared
    sampled = sample_track(estimate.track, motion, estimate.noise, np.concatenate([np.zeros(0), *times]))
    pose, covariance = np.full((len(visits), 3), np.nan), np.full((len(visits), 3, 3), np.nan)
    for visit, (first, last) in enumerate(pairwise(edges)):
        rows = first + np.flatnonzero(np.isfinite(sampled.pose[first:last, 0]))
        if len(rows):
            x, y, heading = sampled.pose[rows].T
            pose[visit] = x.mean(), y.mean(), circular_mean(heading)
            # errors within a dwell are one error, so averaging does not shrink their covariance
            covariance[visit] = sampled.covariance[rows].mean(axis=0)
    return Sampled(np.array([(inside[0] + inside[-1]) / 2.0 for inside in times]), pose, covariance)


def _times_on_marks(times_s: FloatArray, marks: MarkVisits, visits: IntArray) -> list[FloatArray]:
    """Return the times of each dwell after settling; of a press, or a dwell too short to settle, its end."""
    first = np.searchsorted(times_s, marks.settled_s[visits], side="left")
    after = np.searchsorted(times_s, marks.end_s[visits], side="right")
    return [
        times_s[i:j] if i < j else marks.end_s[visit : visit + 1]
        for i, j, visit in zip(first, after, visits, strict=True)
    ]


def against_marks(estimate: Estimate, motion: Motion, marks: MarkVisits, stretch: int) -> Comparison:
    """Return the comparison at the mark visits of one stretch.

    Parameters
    ----------
    estimate
        What was published over the stretch.
    motion
        Its odometry.
    marks
        All visits of the session; those outside the stretch are left out.
    stretch
        Number of the stretch.
    """
    inside = marks.inside(motion.time_s[0], motion.time_s[-1])
    sampled = _dwell_means(estimate, motion, marks, inside)
    position, heading = marks.position_std_m[inside], marks.heading_std_rad[inside]
    covariance = np.zeros((len(inside), 3, 3))
    covariance[:, 0, 0], covariance[:, 1, 1], covariance[:, 2, 2] = position**2, position**2, heading**2
    return _comparison(sampled, marks.pose[inside], covariance, motion, stretch, inside)


def against_truth(estimate: Estimate, motion: Motion, reference: Reference, stretch: int) -> Comparison:
    """Return the comparison at every reference time of one stretch; arguments as `against_marks`."""
    inside = np.flatnonzero((reference.time_s >= motion.time_s[0]) & (reference.time_s <= motion.time_s[-1]))
    sampled = sample_track(estimate.track, motion, estimate.noise, reference.time_s[inside])
    covariance = np.tile(reference.covariance, (len(inside), 1, 1))
    return _comparison(sampled, reference.pose[inside], covariance, motion, stretch, inside)


def against_known(
    estimate: Estimate, motion: Motion, times_s: FloatArray, known: KnownPoses, stretch: int
) -> Comparison:
    """Return the comparison at times (M,) of one stretch with what is known of them; NaN where that is nothing."""
    sampled = sample_track(estimate.track, motion, estimate.noise, times_s)
    return _comparison(sampled, known.pose, known.covariance, motion, stretch, np.arange(len(times_s)))


def visits_on_reference(marks: MarkVisits, reference: Reference) -> MarkVisits:
    """Return the same visits with the poses of a dense reference, which is surer than where a robot was put down.

    It is averaged over the same moments as the belief. Where it knows no position or no heading, the mark's stays.
    """
    pose, position_std, heading_std = marks.pose.copy(), marks.position_std_m.copy(), marks.heading_std_rad.copy()
    times = _times_on_marks(reference.time_s, marks, np.arange(len(marks)))
    edges = np.cumsum([0, *map(len, times)])
    poses = reference.poses_at(np.concatenate([np.zeros(0), *times]))
    for row, (first, last) in enumerate(pairwise(edges)):
        known = poses[first:last]
        if np.isfinite(known[:, 0]).all():
            pose[row, :2], position_std[row] = known[:, :2].mean(axis=0), reference.position_std_m
        if np.isfinite(known).all():
            pose[row, 2], heading_std[row] = circular_mean(known[:, 2]), reference.heading_std_rad
    return replace(marks, pose=pose, position_std_m=position_std, heading_std_rad=heading_std)
