"""The marks of a test drive: those that the field file has, and new ones where it lacks them."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from locbench.config import FieldConfig
from locbench.config.field import Mark
from locbench.geometry import wrap_angle
from locbench.runsheet.ground import Ground

__all__ = ["PlannedMark", "Pose", "distance_m", "headings_among", "known_marks", "placed_marks"]

# a mark this near to a planned place, turned this little away from it, is taken for it
_SAME_PLACE_M = 0.02
_SAME_HEADING_RAD = float(np.radians(2.0))
# headings that differ by less tell the same
_OTHER_HEADING_RAD = float(np.radians(20.0))


@dataclass(frozen=True)
class Pose:
    """A planned place, in metres and radians; a corner that is passed in several directions has no heading."""

    x_m: float
    y_m: float
    heading_rad: float | None


@dataclass(frozen=True)
class PlannedMark:
    """A mark of the drive; `listed` is its entry in the field file, None for a new one."""

    name: str
    pose: Pose
    listed: Mark | None = None


def distance_m(first: PlannedMark, second: PlannedMark) -> float:
    """Return the straight way between two marks, in metres."""
    return float(np.hypot(second.pose.x_m - first.pose.x_m, second.pose.y_m - first.pose.y_m))


def known_marks(ground: Ground) -> list[PlannedMark]:
    """Return the field file's marks that have a heading and lie where the robot may go, in their order."""
    return [
        _listed(mark)
        for mark in ground.field.marks
        if mark.heading is not None and ground.area.contains(mark.x, mark.y)
    ]


def headings_among(marks: Iterable[PlannedMark]) -> int:
    """Return how many headings there are that differ by more than 20 degrees from each other."""
    found: list[float] = []
    for mark in marks:
        heading = mark.pose.heading_rad
        if heading is not None and all(_angle_between(heading, other) > _OTHER_HEADING_RAD for other in found):
            found.append(heading)
    return len(found)


def placed_marks(poses: Sequence[Pose], field: FieldConfig, taken: Iterable[str] = ()) -> list[PlannedMark]:
    """Return a mark per pose: the field file's own where it has one there, else a new one with a free name.

    Parameters
    ----------
    poses
        Planned places.
    field
        Whose marks are looked through; one entry stands for one pose.
    taken
        Names that new marks may not have, beside those of the field file.
    """
    free = list(field.marks)
    names = _free_names({mark.name for mark in field.marks} | set(taken))
    placed = []
    for pose in poses:
        entry = next((mark for mark in free if _is_same(mark, pose)), None)
        if entry is not None:
            free.remove(entry)
        placed.append(PlannedMark(next(names), pose) if entry is None else _listed(entry))
    return placed


def _free_names(taken: set[str]) -> Iterator[str]:
    return (name for number in count(1) if (name := f"R{number}") not in taken)


def _listed(mark: Mark) -> PlannedMark:
    return PlannedMark(mark.name, Pose(mark.x, mark.y, mark.heading), mark)


def _is_same(mark: Mark, pose: Pose) -> bool:
    if float(np.hypot(mark.x - pose.x_m, mark.y - pose.y_m)) > _SAME_PLACE_M:
        return False
    if mark.heading is None or pose.heading_rad is None:
        return mark.heading is None and pose.heading_rad is None
    return _angle_between(mark.heading, pose.heading_rad) <= _SAME_HEADING_RAD


def _angle_between(first: float, second: float) -> float:
    return abs(float(wrap_angle(np.array(first - second))))
