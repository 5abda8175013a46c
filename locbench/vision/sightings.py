"""Detections with the covariance that a filter's tag noise gives them."""

from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import CorrectionMode, FieldConfig, FusionConfig
from locbench.config.fusion import NoiseSource, TagNoise
from locbench.session import NO_TAG, Detections, TagKind
from locbench.statistics import propagated_covariance
from locbench.vision.noise import bearing_variance, pose_covariance, range_variance, share_of_one_tag
from locbench.vision.robot_poses import robot_poses, robot_poses_slope

__all__ = ["Sightings", "as_robot_poses", "fixes", "lines_of_sight", "prepare_sightings", "tag_places"]

_WITHOUT_HEADING = np.array([1.0, 1.0, np.nan])


@dataclass(frozen=True)
class Sightings:
    """Detections, where their tags are, and the measurement covariances.

    Attributes
    ----------
    tag_position_m, tag_facing_rad
        (M, 3) and (M,) of each detection's tag, of a fix from several tags the first.
    covariance
        (M, D, D) of the detections' values; NaN for bearings whose noise has to come from the believed range.
    fix, fix_covariance
        (M, 3) and (M, 3, 3): the robot pose that a robot_pose or tag_pose means, its heading NaN where the filter does
        not use it or the detection has none. All NaN where a tag_pose has no heading, and for other kinds.
    noise
        The tag noise it comes from.
    """

    detections: Detections
    tag_position_m: FloatArray
    tag_facing_rad: FloatArray
    covariance: FloatArray
    fix: FloatArray
    fix_covariance: FloatArray
    noise: TagNoise

    def __len__(self) -> int:
        return len(self.detections)


def prepare_sightings(detections: Detections, field: FieldConfig, fusion: FusionConfig) -> Sightings:
    """Return the sightings as one filter sees them.

    The noise depends on the detection's own range and view angle, never on the believed pose: a wrong belief must
    not make its own contradiction look uncertain. A robot pose without a reported range takes the distance of its
    own position to its tags. Only bearings without a range leave no other way. Headings that the filter does not use
    become NaN. Where the filter replaces poses, or takes a share of them, tag poses become the robot poses they mean.
    """
    places = tag_places(detections, field)
    tags = places[:, 0]
    covariance = _model_covariance(detections, places, fusion.tag_noise)
    if fusion.tag_noise.source is NoiseSource.LOG:
        own = fusion.tag_noise.scale**2 * detections.own_covariance
        covariance = np.where(np.isfinite(own), own, covariance)
    fix, slope = fixes(detections, tags)
    fix_covariance = propagated_covariance(slope, covariance) if covariance.shape[-1] == 3 else slope
    replacing = fusion.correction.mode in (CorrectionMode.REPLACE, CorrectionMode.FIXED_GAIN)
    if detections.kind is TagKind.TAG_POSE and replacing:
        detections, covariance = _as_robot_poses(detections, tags), fix_covariance
    if not fusion.correction.use_heading:
        fix = fix * _WITHOUT_HEADING
        if detections.kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE):
            detections = replace(detections, value=detections.value * _WITHOUT_HEADING)
    return Sightings(detections, tags[:, :3], tags[:, 3], covariance, fix, fix_covariance, fusion.tag_noise)


def fixes(detections: Detections, tags: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the robot poses that detections mean, and their derivatives by the value.

    Parameters
    ----------
    detections
        M of them.
    tags
        (M, 4) x, y, z, facing of each one's first tag.

    Returns
    -------
    (M, 3) and (M, 3, 3); NaN where a detection means no robot pose: other kinds, and tag poses without heading.
    """
    match detections.kind:
        case TagKind.ROBOT_POSE:
            return detections.value, np.tile(np.eye(3), (len(detections), 1, 1))
        case TagKind.TAG_POSE:
            on_field = tags[:, [0, 1, 3]]
            return robot_poses(detections.value, on_field), robot_poses_slope(detections.value, on_field)
        case _:
            return np.full((len(detections), 3), np.nan), np.full((len(detections), 3, 3), np.nan)


def as_robot_poses(detections: Detections, field: FieldConfig) -> Detections | None:
    """Return the detections that give a robot pose, as such; None if their kind gives none, or no tag a heading."""
    match detections.kind:
        case TagKind.ROBOT_POSE:
            return detections
        case TagKind.TAG_POSE:
            whole = detections.chosen(np.isfinite(detections.value[:, 2]))
            return _as_robot_poses(whole, tag_places(whole, field)[:, 0]) if len(whole) else None
        case _:
            return None


def _as_robot_poses(detections: Detections, tags: FloatArray) -> Detections:
    poses = robot_poses(detections.value, tags[:, [0, 1, 3]])
    unknown = np.full_like(detections.own_covariance, np.nan)
    return replace(detections, kind=TagKind.ROBOT_POSE, value=poses, own_covariance=unknown)


def tag_places(detections: Detections, field: FieldConfig) -> FloatArray:
    """Return (M, K, 4) x, y, z, facing of every tag of each detection, NaN where it has fewer."""
    places = {tag.id: (tag.x, tag.y, tag.z, tag.facing) for tag in field.tags}
    places[NO_TAG] = (np.nan,) * 4
    every = np.column_stack([detections.tag, detections.other_tags])
    return np.array([places[int(tag)] for tag in every.ravel()]).reshape(*every.shape, 4)


def lines_of_sight(detections: Detections, places: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the noise of poses grows along and with.

    Parameters
    ----------
    detections
        M of them.
    places
        (M, K, 4) of their tags, from `tag_places`.

    Returns
    -------
    Lines of sight (M, 2) in the frame of the value, zero for kinds that are no poses, and distances (M,).
    """
    distance = detections.range_m
    match detections.kind:
        case TagKind.ROBOT_POSE:
            lines = places[:, :, :2] - detections.value[:, np.newaxis, :2]
            count = np.sum(np.isfinite(places[:, :, 0]), axis=1)
            own_range = np.nansum(np.linalg.norm(lines, axis=2), axis=1) / count
            line = np.nansum(lines, axis=1) / count[:, np.newaxis]
            return line, np.where(np.isfinite(distance), distance, own_range)
        case TagKind.TAG_POSE:
            return detections.value[:, :2] - detections.mount[:, :2], distance
        case _:
            return np.zeros((len(detections), 2)), distance


def _model_covariance(detections: Detections, places: FloatArray, noise: TagNoise) -> FloatArray:
    view = detections.view_angle_rad
    line, distance = lines_of_sight(detections, places)
    match detections.kind:
        case TagKind.ROBOT_POSE:
            share = share_of_one_tag(detections.tag_count, noise)
            return share[:, np.newaxis, np.newaxis] * pose_covariance(line, distance, view, noise)
        case TagKind.TAG_POSE:
            return pose_covariance(line, distance, view, noise)
        case TagKind.RANGE_BEARING:
            covariance = np.zeros((len(detections), 2, 2))
            covariance[:, 0, 0] = range_variance(distance, view, noise)
            covariance[:, 1, 1] = bearing_variance(distance, view, noise)
            return covariance
        case TagKind.BEARING:
            return bearing_variance(distance, view, noise)[:, np.newaxis, np.newaxis]
        case TagKind.RANGE:
            return range_variance(distance, view, noise)[:, np.newaxis, np.newaxis]
