"""Straight lines of measured length, there and back, in two headings."""

import numpy as np

from locbench.drive_kinds import DriveKind
from locbench.runsheet.ground import LONGEST_LEG_M, Ground
from locbench.runsheet.lines import times_needed
from locbench.runsheet.marks import PlannedMark, Pose, placed_marks
from locbench.runsheet.moves import Move, Pace, Part, PartName, backwards, moves_between
from locbench.runsheet.plan import Plan
from locbench.runsheet.survey import Tape

__all__ = ["straight"]

_SHORTEST_LINE_M = 1.5
_PACE = Pace(speed_m_s=0.5, turn_rate_rad_s=float(np.radians(45.0)))


def straight(ground: Ground) -> Plan:
    """Return two lines through the middle of the floor, along x and along y.

    Where only one of them is long enough it is driven in both of its headings.

    Raises
    ------
    ConfigError
        If no line is long enough.
    """
    lines = [] if min(ground.area.width_m, ground.area.height_m) < 0.0 else _lines(ground)
    if not lines:
        raise ground.too_small(DriveKind.STRAIGHT, f"a line needs {_SHORTEST_LINE_M:.1f} m")
    if len(lines) == 1:
        lines.append(_turned_round(lines[0]))
    marks = placed_marks([pose for line in lines for pose in line], ground.field)
    first, second = (_there_and_back(start, end) for start, end in (marks[:2], marks[2:]))
    across = moves_between([marks[0], marks[2]])
    lengths = [abs(first[0].length_m), abs(second[0].length_m)]
    times = times_needed(lengths, Tape(), ground.robot)
    parts = (
        Part(PartName.LINE, first, times),
        Part(PartName.ONWARD, across, 1),
        Part(PartName.LINE, second, times),
    )
    return Plan(DriveKind.STRAIGHT, tuple(marks), parts, _PACE)


def _there_and_back(start: PlannedMark, end: PlannedMark) -> tuple[Move, ...]:
    (there,) = moves_between([start, end])
    return there, backwards(there)


def _lines(ground: Ground) -> list[tuple[Pose, Pose]]:
    """Return the line along x and the one along y that cross in the middle of the area, those long enough."""
    area = ground.area.limited(LONGEST_LEG_M)
    left, y = ground.rounded(*area.at(0.0, 0.5))
    right, _ = ground.rounded(*area.at(1.0, 0.5))
    x, bottom = ground.rounded(*area.at(0.5, 0.0))
    _, top = ground.rounded(*area.at(0.5, 1.0))
    along_x = (Pose(left, y, 0.0), Pose(right, y, 0.0))
    along_y = (Pose(x, bottom, np.pi / 2.0), Pose(x, top, np.pi / 2.0))
    return [line for line in (along_x, along_y) if _length(line) >= _SHORTEST_LINE_M]


def _turned_round(line: tuple[Pose, Pose]) -> tuple[Pose, Pose]:
    start, end = line
    heading = -np.pi / 2.0 if start.x_m == end.x_m else np.pi
    return Pose(end.x_m, end.y_m, heading), Pose(start.x_m, start.y_m, heading)


def _length(line: tuple[Pose, Pose]) -> float:
    start, end = line
    return end.x_m - start.x_m + end.y_m - start.y_m
