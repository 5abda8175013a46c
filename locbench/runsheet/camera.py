"""Stands in front of a tag at several ranges and view angles, then turns past it, slow and fast."""

import math
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.field import Tag
from locbench.drive_kinds import DriveKind
from locbench.errors import ConfigError
from locbench.geometry import compose, inverse, wrap_angle
from locbench.runsheet.ground import Ground
from locbench.runsheet.marks import PlannedMark, Pose, placed_marks
from locbench.runsheet.moves import Move, Pace, Part, PartName, moves_between, with_short_legs
from locbench.runsheet.ordering import shortest_order
from locbench.runsheet.plan import CameraPlace, CameraView, Plan

__all__ = ["FAST_RAD_S", "PASSES_EACH_WAY", "SLOW_RAD_S", "SWEEP_RAD", "VISITS", "camera"]

VISITS = 3
PASSES_EACH_WAY = 5
SLOW_RAD_S, FAST_RAD_S = float(np.radians(30.0)), float(np.radians(90.0))
SWEEP_RAD = float(np.radians(80.0))
_NEAREST_M, _FURTHEST_M, _STEP_M = 0.6, 3.6, 0.1
# a view angle at which many detectors begin to fail; common practice, no source
_OBLIQUE_RAD = float(np.radians(45.0))
# ranges nearer together than this would not show how noise grows with range
_LEAST_RATIO = 1.5
_FEWEST_PLACES = 5
_PACE = Pace(speed_m_s=0.5, turn_rate_rad_s=FAST_RAD_S, dwell_s=2.0)


@dataclass(frozen=True)
class _Stand:
    pose: Pose
    range_m: float
    view_angle_rad: float


def camera(ground: Ground) -> Plan:
    """Return stands before the tag that leaves room for most of them, and turns past it.

    With a robot file the first camera that the robot itself carries is the one that looks at the tag, from where it
    is mounted; else a camera at the reference point that looks forward.

    Raises
    ------
    ConfigError
        If the field has no tags, or no tag has room for stands at different ranges before it.
    """
    if not ground.field.tags:
        raise ConfigError(
            "a camera drive needs tags",
            where=f"{ground.source}: tags",
            remedy="Add [[tags]] with id, x, y, z and facing, or choose another --kind",
        )
    name, mount = _mounted(ground)
    tag, stands = max(((tag, _stands(tag, mount, ground)) for tag in ground.field.tags), key=_worth)
    if len(stands) < _FEWEST_PLACES:
        raise ground.too_small(
            DriveKind.CAMERA,
            f"no tag has {_FEWEST_PLACES} places before it, face on at ranges that differ by half and from 45 deg",
        )
    face_on = stands[:3]
    stands = [stands[number] for number in shortest_order([stand.pose for stand in stands])]
    marks = placed_marks([stand.pose for stand in stands], ground.field)
    places = tuple(_place(mark, tag, mount) for mark in marks)
    loop = with_short_legs([*marks, marks[0]], ground.field)
    # neither so near that a turn moves the lens much, nor far and noisy
    middle = marks[stands.index(face_on[1])]
    parts = (
        Part(PartName.STANDS, moves_between(loop), VISITS),
        Part(PartName.ONWARD, moves_between([marks[0], middle]), 1),
        Part(PartName.PASSES_SLOW, _passes(middle), PASSES_EACH_WAY, SLOW_RAD_S),
        Part(PartName.PASSES_FAST, _passes(middle), PASSES_EACH_WAY, FAST_RAD_S),
    )
    view = CameraView(name, tag.id, places)
    return Plan(DriveKind.CAMERA, tuple(dict.fromkeys(loop)), parts, _PACE, view)


def _mounted(ground: Ground) -> tuple[str | None, FloatArray]:
    """Return the name of the camera that is tried, None if no file names any, and its x, y, yaw on the robot."""
    cameras = {} if ground.robot is None else ground.robot.cameras
    name = next((name for name, mount in cameras.items() if not mount.turns), None)
    if name is None:
        return None, np.zeros(3)
    return name, np.array([cameras[name].x, cameras[name].y, cameras[name].yaw])


def _stands(tag: Tag, mount: FloatArray, ground: Ground) -> list[_Stand]:
    """Return stands face on at three ranges as far apart as the floor allows, and at the outer two from both sides.

    Those face on come first, nearest first.
    """
    free = [
        distance
        for distance in np.arange(_NEAREST_M, _FURTHEST_M + 1e-9, _STEP_M)
        if _stand(tag, float(distance), 0.0, mount, ground) is not None
    ]
    if not free or free[-1] < _LEAST_RATIO * free[0]:
        return []
    # equal ratios: noise grows as a power of range
    near, far = float(free[0]), float(free[-1])
    wanted = [(near, 0.0), (math.sqrt(near * far), 0.0), (far, 0.0)]
    wanted += [(distance, side * _OBLIQUE_RAD) for side in (1.0, -1.0) for distance in (near, far)]
    found = [_stand(tag, distance, angle, mount, ground) for distance, angle in wanted]
    return [stand for stand in found if stand is not None]


def _stand(tag: Tag, distance_m: float, view_angle_rad: float, mount: FloatArray, ground: Ground) -> _Stand | None:
    """Return the stand on the raster whose camera looks at the tag from there; None where the robot may not go."""
    direction = tag.facing + view_angle_rad
    lens = np.array(
        [
            tag.x + distance_m * math.cos(direction),
            tag.y + distance_m * math.sin(direction),
            direction + np.pi,
        ]
    )
    reference = compose(lens, inverse(mount))
    if not ground.area.contains(reference[0], reference[1]):
        return None
    x, y = ground.rounded(reference[0], reference[1])
    heading = _heading_to_tag(np.array([x, y]), tag, mount)
    return None if heading is None else _Stand(Pose(x, y, heading), distance_m, view_angle_rad)


def _heading_to_tag(place: FloatArray, tag: Tag, mount: FloatArray) -> float | None:
    """Return the heading, to the whole degree, at which the optical axis points at the tag; None if it cannot.

    The axis passes the reference point at a constant distance on its left, so the tag lies that far to the left of the
    line through the reference point along the axis.
    """
    way = np.array([tag.x, tag.y]) - place
    left = -mount[0] * math.sin(mount[2]) + mount[1] * math.cos(mount[2])
    far = float(np.hypot(*way))
    if far <= abs(left):
        return None
    axis = math.atan2(way[1], way[0]) - math.asin(left / far)
    return float(np.radians(np.round(np.degrees(wrap_angle(np.array(axis - mount[2]))))))


def _place(mark: PlannedMark, tag: Tag, mount: FloatArray) -> CameraPlace:
    """Return the tag's range and view angle from where the camera really is on that mark."""
    pose = np.array([mark.pose.x_m, mark.pose.y_m, mark.pose.heading_rad])
    lens = compose(pose, mount)
    across, up = lens[0] - tag.x, lens[1] - tag.y
    view = float(wrap_angle(np.array(math.atan2(up, across) - tag.facing)))
    return CameraPlace(mark.name, float(np.hypot(across, up)), view)


def _worth(found: tuple[Tag, list[_Stand]]) -> tuple[int, float]:
    """Return how many stands a tag has and how far their ranges reach."""
    _, stands = found
    return len(stands), max((stand.range_m for stand in stands), default=0.0)


def _passes(mark: PlannedMark) -> tuple[Move, ...]:
    """Return a turn away from the tag, past it, past it again and back onto the mark."""
    turns = (-SWEEP_RAD / 2.0, SWEEP_RAD, -SWEEP_RAD, SWEEP_RAD / 2.0)
    return tuple(
        Move(mark.name, mark.name, turn, 0.0, 0.0, pressed=number == len(turns)) for number, turn in enumerate(turns, 1)
    )
