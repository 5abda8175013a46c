"""Tags and marks as checks of the pose, good ones only, in order of time."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import between, compose, wrap_angle
from locbench.odometry import Motion
from locbench.session import MarkVisits, TagKind
from locbench.vision import Measurement, Sightings, measurement, pose_measurement

__all__ = ["PoseFix", "mark_fixes", "tag_fixes"]

# By how much a tag may hang aside, its poses be wrong alike for long, or a range or bearing be off: common practice.
_ALIKE_M, _ALIKE_RAD = 0.005, float(np.radians(0.3))
# fixes of one tag within this time have these errors in common
_ALIKE_S = 2.0
# a fix is believed if fixes before it, or fixes after it, agree with it
_NEIGHBOURS_S, _NEIGHBOURS, _FEWEST = 1.0, 6, 2
_DISAGREES = 4.0
# a heading that a mark does not have
_UNKNOWN_RAD = np.pi


@dataclass(frozen=True)
class PoseFix:
    """One check of the pose at a time."""

    time_s: float
    measurement: Measurement


def mark_fixes(marks: MarkVisits, start_s: float, end_s: float) -> list[PoseFix]:
    """Return the visits to marks between two times as checks."""
    fixes = []
    for row in marks.inside(start_s, end_s):
        position, heading = marks.position_std_m[row], marks.heading_std_rad[row]
        spread = np.diag([position**2, position**2, heading**2 if np.isfinite(heading) else _UNKNOWN_RAD**2])
        fixes.append(PoseFix(float(marks.settled_s[row]), pose_measurement(marks.pose[row], spread)))
    return sorted(fixes, key=lambda fix: fix.time_s)


def tag_fixes(sightings: Sightings, motion: Motion) -> list[PoseFix]:
    """Return the detections inside a motion as checks, those left out that their neighbours contradict.

    What fixes of one tag have in common does not average out; each is made as much less sure.
    """
    times = sightings.detections.captured_s
    inside = np.flatnonzero((times >= motion.time_s[0]) & (times <= motion.time_s[-1]))
    order = inside[np.argsort(times[inside], kind="stable")]
    if sightings.detections.kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE):
        order = order[_agreeing(sightings, motion, order)]
    alike = _alike(sightings, order)
    fixes = []
    for row, count in zip(order, alike, strict=True):
        one = measurement(sightings, int(row))
        if not (np.all(np.isfinite(one.value)) and np.all(np.isfinite(one.covariance))):
            continue
        common = count * np.where(one.angular, _ALIKE_RAD, _ALIKE_M) ** 2
        fixes.append(PoseFix(float(times[row]), replace(one, covariance=one.covariance + np.diag(common))))
    return fixes


def _alike(sightings: Sightings, rows: Sequence[int] | FloatArray) -> FloatArray:
    """Return how many fixes of the same tag there are around each, itself among them."""
    chosen = np.asarray(rows, dtype=np.int64)
    tag, time = sightings.detections.tag[chosen], sightings.detections.captured_s[chosen]
    count = np.ones(len(chosen))
    for one in np.unique(tag):
        mine = np.flatnonzero(tag == one)
        first = np.searchsorted(time[mine], time[mine] - _ALIKE_S / 2.0, side="left")
        last = np.searchsorted(time[mine], time[mine] + _ALIKE_S / 2.0, side="right")
        count[mine] = last - first
    return count


def _agreeing(sightings: Sightings, motion: Motion, rows: FloatArray) -> BoolArray:
    """Return which fixes agree with fixes before them or with fixes after them, carried on by the odometry.

    A slip in between parts them from one side only; a flipped or misread tag from both.
    """
    time = sightings.detections.captured_s[rows]
    pose = sightings.fix[rows]
    std = np.sqrt(np.diagonal(sightings.fix_covariance[rows], axis1=1, axis2=2))
    agrees = np.zeros(len(rows), dtype=bool)
    for index in range(len(rows)):
        for others in (range(index - 1, -1, -1), range(index + 1, len(rows))):
            near = [other for other in others if abs(time[other] - time[index]) <= _NEIGHBOURS_S][:_NEIGHBOURS]
            if len(near) >= _FEWEST:
                agrees[index] |= _agrees_with(index, np.array(near), time, pose, std, motion)
    return agrees


def _agrees_with(
    index: int, near: FloatArray, time: FloatArray, pose: FloatArray, std: FloatArray, motion: Motion
) -> bool:
    early, late = np.minimum(time[near], time[index]), np.maximum(time[near], time[index])
    way = motion.lookup.legs(early, late).displacement
    forward = (time[near] <= time[index])[:, np.newaxis]
    standing = np.zeros_like(way)
    carried = compose(pose[near], np.where(forward, way, between(way, standing)))
    apart = pose[index] - carried
    apart[:, 2] = wrap_angle(apart[:, 2])
    # of three fixes the middle one is right if two are
    middle = np.nanmedian(apart, axis=0)
    allowed = _DISAGREES * np.hypot(std[index], np.median(std[near], axis=0))
    known = np.isfinite(middle) & np.isfinite(allowed)
    return bool(np.all(np.abs(middle[known]) <= allowed[known]))
