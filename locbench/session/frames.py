"""Turns a log's own frame into the field frame: x, y in the field, headings counter-clockwise from field +x."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.columns import Frame
from locbench.geometry import transform_points

__all__ = ["field_headings", "field_poses"]


def field_headings(heading_rad: FloatArray, frame: Frame) -> FloatArray:
    """Return headings (N,) in the field frame; NaN stays NaN."""
    return np.asarray(frame.heading_sign * heading_rad + frame.heading_offset_rad)


def field_poses(x_m: FloatArray, y_m: FloatArray, heading_rad: FloatArray, frame: Frame) -> FloatArray:
    """Return poses (N, 3) in the field frame from columns of the log's frame."""
    placement = np.array([frame.origin_x, frame.origin_y, frame.rotate])
    points = transform_points(placement, np.stack([x_m, frame.y_sign * y_m], axis=-1))
    return np.column_stack([points, field_headings(heading_rad, frame)])
