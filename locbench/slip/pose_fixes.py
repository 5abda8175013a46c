"""Tags and marks as checks of the pose, good ones only, in order of time."""

import warnings
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
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
    order: IntArray = inside[np.argsort(times[inside], kind="stable")]
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


def _alike(sightings: Sightings, chosen: IntArray) -> FloatArray:
    """Return how many fixes of the same tag there are around each, itself among them."""
    tag, time = sightings.detections.tag[chosen], sightings.detections.captured_s[chosen]
    count = np.ones(len(chosen))
    for one in np.unique(tag):
        mine = np.flatnonzero(tag == one)
        first = np.searchsorted(time[mine], time[mine] - _ALIKE_S / 2.0, side="left")
        last = np.searchsorted(time[mine], time[mine] + _ALIKE_S / 2.0, side="right")
        count[mine] = last - first
    return count


def _agreeing(sightings: Sightings, motion: Motion, rows: IntArray) -> BoolArray:
    """Return which fixes agree with fixes before them or with fixes after them, carried on by the odometry.

    A slip in between parts them from one side only; a flipped or misread tag from both.
    """
    time, pose = sightings.detections.captured_s[rows], sightings.fix[rows]
    std = np.sqrt(np.diagonal(sightings.fix_covariance[rows], axis1=1, axis2=2))
    way = motion.lookup.legs(np.full(len(rows), motion.time_s[0]), time).displacement
    agrees = np.zeros(len(rows), dtype=bool)
    for sense in (-1, 1):
        agrees |= _agrees_with(np.arange(1, _NEIGHBOURS + 1) * sense, time, pose, std, way)
    return agrees


def _agrees_with(offsets: IntArray, time: FloatArray, pose: FloatArray, std: FloatArray, way: FloatArray) -> BoolArray:
    """Return (M,) which fixes agree with the middle one of those at these offsets from them in the list."""
    index = np.arange(len(time))[:, np.newaxis] + offsets
    inside = (index >= 0) & (index < len(time))
    index = np.clip(index, 0, len(time) - 1)
    near = inside & (np.abs(time[index] - time[:, np.newaxis]) <= _NEIGHBOURS_S)
    carried = compose(pose[index], between(way[index], way[:, np.newaxis]))
    apart = pose[:, np.newaxis] - carried
    apart[..., 2] = wrap_angle(apart[..., 2])
    enough = np.sum(near, axis=1) >= _FEWEST
    apart, spread = apart[enough], np.broadcast_to(std[index], apart.shape)[enough]
    hidden = ~near[enough][..., np.newaxis]
    agrees = np.zeros(len(time), dtype=bool)
    with warnings.catch_warnings():
        # headings that a filter does not use are unknown in all of them
        warnings.filterwarnings("ignore", message="All-NaN slice")
        # of three fixes the middle one is right if two are
        middle = np.nanmedian(np.where(hidden, np.nan, apart), axis=1)
        usual = np.nanmedian(np.where(hidden, np.nan, spread), axis=1)
    allowed = _DISAGREES * np.hypot(std[enough], usual)
    unknown = ~(np.isfinite(middle) & np.isfinite(allowed))
    agrees[enough] = np.all(unknown | (np.abs(middle) <= allowed), axis=1)
    return agrees
