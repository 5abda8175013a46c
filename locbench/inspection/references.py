"""Where the robot was, by everything but the camera, and what a camera should see from there."""

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.geometry import between, compose, interpolate_poses, inverse, mount_rotation, transform_points, wrap_angle
from locbench.inspection.recorded import Recorded, Visits
from locbench.inspection.residuals import ALIKE
from locbench.statistics import standard_error_of_median

__all__ = ["expected_bearings", "expected_ranges", "first_references", "references", "since_start", "start_by"]

# how far odometry carries a mark's pose, or the start's, before its own errors show
_NEAR_M, _NEAR_RAD = 0.8, 1.6
_NEAR_START_M = 4.0
_FEWEST_TO_SCATTER = 5


def references(log: Recorded, times_s: FloatArray) -> FloatArray:
    """Return where the robot was at times (M,) without asking the camera: (M, 3), NaN where nothing tells.

    The truth, else the nearest mark carried by odometry as long as that is short, else, without marks, the start pose
    for the first metres.
    """
    if log.truth is not None:
        return interpolate_poses(log.truth.time_s, log.truth.pose, log.truth.flagged, times_s)
    odometry = log.odometry
    here = odometry.at(times_s)
    if log.visits is not None and np.any(np.isfinite(log.visits.pose[:, 2])):
        anchors, reach_m, reach_rad = log.visits, _NEAR_M, _NEAR_RAD
    else:
        moment = np.array([log.start_s])
        anchors, reach_m, reach_rad = Visits(moment, moment, log.start[np.newaxis]), _NEAR_START_M, np.inf
    whole = np.flatnonzero(np.isfinite(anchors.pose[:, 2]))
    begin, end = anchors.begin_s[whole], anchors.end_s[whole]
    nearest = _nearest_stay(begin, end, times_s)
    at_anchor = np.clip(times_s, begin[nearest], end[nearest])
    found = compose(anchors.pose[whole][nearest], between(odometry.at(at_anchor), here))
    far = odometry.spent(odometry.way_m, at_anchor, times_s) > reach_m
    far |= odometry.spent(odometry.turning_rad, at_anchor, times_s) > reach_rad
    found[far] = np.nan
    return found


def _nearest_stay(begin_s: FloatArray, end_s: FloatArray, times_s: FloatArray) -> IntArray:
    """Return (M,) the index of the stay nearest in time."""
    away = np.maximum(begin_s[np.newaxis] - times_s[:, np.newaxis], times_s[:, np.newaxis] - end_s[np.newaxis])
    return np.asarray(np.argmin(np.maximum(away, 0.0), axis=1))


def first_references(log: Recorded) -> list[tuple[FloatArray, FloatArray]]:
    """Return times (M,) and poses (M, 3) of what tells most about the start, per kind of reference."""
    found: list[tuple[FloatArray, FloatArray]] = []
    if log.truth is not None:
        there = interpolate_poses(log.truth.time_s, log.truth.pose, log.truth.flagged, np.array([log.start_s]))
        if np.all(np.isfinite(there)):
            found.append((np.array([log.start_s]), there))
    if log.visits is not None:
        middle = log.visits.middle_s
        inside = (middle >= log.odometry.time_s[0]) & (middle <= log.odometry.time_s[-1])
        whole = np.flatnonzero(inside & np.isfinite(log.visits.pose[:, 2]))[:2]
        if len(whole):
            found.append((middle[whole], log.visits.pose[whole]))
    if log.fixes is not None:
        way = since_start(log, log.odometry.way_m, log.fixes.time_s)
        near = np.flatnonzero((way < _NEAR_M) & np.isfinite(log.fixes.pose[:, 2]))
        if len(near) >= _FEWEST_TO_SCATTER:
            found.append((log.fixes.time_s[near], log.fixes.pose[near]))
    return found


def start_by(log: Recorded, times_s: FloatArray, poses: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the start pose (3,) that poses (M, 3) at those times mean if carried back by odometry, and how surely.

    By the median; its standard uncertainties (3,) are 0 of fewer than five poses, whose scatter says nothing.
    """
    there = log.odometry.at(times_s)
    back = compose(poses, between(there, np.repeat(log.odometry.at(np.array([log.start_s])), len(there), axis=0)))
    back[:, 2] = back[0, 2] + wrap_angle(back[:, 2] - back[0, 2])
    middle = np.median(back, axis=0)
    if len(back) < _FEWEST_TO_SCATTER:
        return middle, np.zeros(3)
    return middle, np.array([standard_error_of_median(column, len(back) / ALIKE) for column in back.T])


def since_start(log: Recorded, sums: FloatArray, times_s: FloatArray) -> FloatArray:
    """Return how much of a cumulative sum of the odometry, such as its way, lies between the start and times (M,)."""
    return log.odometry.spent(sums, np.full(len(times_s), log.start_s), times_s)


def expected_ranges(log: Recorded) -> FloatArray:
    """Return (M,) the range that each ray should measure, NaN where nothing tells."""
    assert log.rays is not None
    towards = _towards_tags(log)
    return np.asarray(np.linalg.norm(towards[:, : 3 if log.rays.slant else 2], axis=1))


def expected_bearings(log: Recorded) -> FloatArray:
    """Return (M,) the bearing that each ray should measure, NaN where nothing tells."""
    towards = _towards_tags(log)
    return np.asarray(np.arctan2(towards[:, 1], towards[:, 0]))


def _towards_tags(log: Recorded) -> FloatArray:
    """Return (M, 3) from the camera to each ray's tag on the camera's own axes, NaN where nothing tells."""
    rays = log.rays
    assert rays is not None
    there = references(log, rays.time_s)
    plane = transform_points(inverse(there), rays.tag_pose[:, :2])
    offset = np.column_stack([plane - rays.mount[:, :2], rays.tag_pose[:, 2] - rays.mount[:, 2]])
    turned = np.swapaxes(mount_rotation(*rays.mount[:, 3:].T), -1, -2) @ offset[..., np.newaxis]
    return np.asarray(turned[..., 0])
