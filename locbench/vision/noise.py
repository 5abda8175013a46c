"""How uncertain a detection is, by the fusion file's model, from what the detection itself reports."""

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config.fusion import TagNoise
from locbench.geometry import rotation_matrix
from locbench.statistics import propagated_covariance

__all__ = ["bearing_variance", "pose_covariance", "range_variance", "share_of_one_tag"]

# nearer than this an offset sideways would make the bearing's noise infinite
_NEAREST_M = 0.010


def pose_covariance(
    line: FloatArray, distance_m: FloatArray, view_angle_rad: FloatArray, noise: TagNoise
) -> FloatArray:
    """Return (M, 3, 3) for positions seen along `line` (M, 2), and headings, in the frame of the line."""
    growth = _growth(view_angle_rad, noise)
    along = growth * np.hypot(noise.along_floor, noise.along_at_one_metre * distance_m**2)
    across = growth * np.hypot(noise.across_floor, noise.across_at_one_metre * distance_m)
    heading = growth * np.hypot(noise.heading_floor, noise.heading_at_one_metre * distance_m)
    turn = rotation_matrix(np.arctan2(line[:, 1], line[:, 0]))
    spread = np.zeros((len(distance_m), 2, 2))
    spread[:, 0, 0], spread[:, 1, 1] = along**2, across**2
    covariance = np.zeros((len(distance_m), 3, 3))
    covariance[:, :2, :2] = propagated_covariance(turn, spread)
    covariance[:, 2, 2] = heading**2
    return covariance


def range_variance(distance_m: FloatArray, view_angle_rad: FloatArray, noise: TagNoise) -> FloatArray:
    """Return (M,) of ranges."""
    by_image = np.hypot(noise.range_floor, noise.range_at_one_metre * distance_m**2)
    spread = _growth(view_angle_rad, noise) * np.hypot(by_image, noise.range_per_metre * distance_m)
    return np.asarray(spread**2)


def bearing_variance(distance_m: FloatArray, view_angle_rad: FloatArray, noise: TagNoise) -> FloatArray:
    """Return (M,) of bearings; NaN where the distance is."""
    offset = noise.bearing_offset / np.maximum(distance_m, _NEAREST_M)
    return np.asarray((_growth(view_angle_rad, noise) * np.hypot(noise.bearing_floor, offset)) ** 2)


def share_of_one_tag(tag_count: IntArray, noise: TagNoise) -> FloatArray:
    """Return (M,) how many times one tag's variance the mean of several tags has.

    Errors of equal spread with correlation c: the mean of n has c + (1 - c) / n of one's variance (textbook
    statistics). Tags in one picture share the lens, the mount, the moment and the map, so c is not 0.
    """
    common = noise.correlation_between_tags
    return np.asarray(common + (1.0 - common) / tag_count)


def _growth(view_angle_rad: FloatArray, noise: TagNoise) -> FloatArray:
    return np.asarray(1.0 + noise.view_angle_growth * np.sin(np.nan_to_num(view_angle_rad)) ** 2)
