"""Detections with the covariance that a filter's tag noise gives them."""

from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FieldConfig, FusionConfig
from locbench.config.fusion import TagNoise
from locbench.geometry import rotation_matrix
from locbench.session import Detections, TagKind

__all__ = ["Sightings", "prepare_sightings"]


@dataclass(frozen=True)
class Sightings:
    """Detections, the tags' positions and the measurement covariances.

    `covariance` is (M, 3, 3) for robot poses, field frame, and (M, 1, 1) for ranges; `tag_position_m` is (M, 3).
    """

    detections: Detections
    tag_position_m: FloatArray
    covariance: FloatArray

    def __len__(self) -> int:
        return len(self.detections)


def prepare_sightings(detections: Detections, field: FieldConfig, fusion: FusionConfig) -> Sightings:
    """Return the sightings as one filter sees them.

    The noise depends on the detection's own range and view angle, never on the believed pose: a wrong belief must
    not make its own contradiction look uncertain. A robot pose without a reported range takes the distance of its
    own position to the tag. Headings that the filter does not use become NaN.
    """
    positions = {tag.id: (tag.x, tag.y, tag.z) for tag in field.tags}
    tags = np.array([positions[int(tag)] for tag in detections.tag]).reshape(-1, 3)
    if detections.kind is TagKind.ROBOT_POSE:
        covariance = _pose_covariance(detections, tags, fusion.tag_noise)
        if not fusion.correction.use_heading:
            detections = replace(detections, value=detections.value * [1.0, 1.0, np.nan])
    else:
        spread = np.hypot(fusion.tag_noise.range_floor, fusion.tag_noise.range_per_metre * detections.range_m)
        covariance = (spread**2)[:, np.newaxis, np.newaxis]
    return Sightings(detections, tags, covariance)


def _pose_covariance(detections: Detections, tags: FloatArray, noise: TagNoise) -> FloatArray:
    line = tags[:, :2] - detections.value[:, :2]
    own_range = np.linalg.norm(line, axis=1)
    distance = np.where(np.isfinite(detections.range_m), detections.range_m, own_range)
    view = np.nan_to_num(detections.view_angle_rad)
    growth = 1.0 + noise.view_angle_growth * np.sin(view) ** 2
    along = growth * np.hypot(noise.along_floor, noise.along_at_one_metre * distance**2)
    across = growth * np.hypot(noise.across_floor, noise.across_at_one_metre * distance)
    heading = growth * np.hypot(noise.heading_floor, noise.heading_at_one_metre * distance)
    turn = rotation_matrix(np.arctan2(line[:, 1], line[:, 0]))
    spread = np.zeros((len(distance), 2, 2))
    spread[:, 0, 0], spread[:, 1, 1] = along**2, across**2
    covariance = np.zeros((len(distance), 3, 3))
    covariance[:, :2, :2] = turn @ spread @ np.swapaxes(turn, -1, -2)
    covariance[:, 2, 2] = heading**2
    return covariance
