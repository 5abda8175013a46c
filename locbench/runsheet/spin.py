"""Turns in place in both senses, between marks that share one place and look in four directions."""

import numpy as np

from locbench.drive_kinds import DriveKind
from locbench.runsheet.ground import REACH_M, Ground
from locbench.runsheet.marks import PlannedMark, Pose, placed_marks
from locbench.runsheet.moves import Move, Pace, Part, PartName, moves_between
from locbench.runsheet.plan import Plan

__all__ = ["TURNS_PER_SPIN", "spin"]

TURNS_PER_SPIN = 5
_PACE = Pace(speed_m_s=0.3, turn_rate_rad_s=float(np.radians(90.0)))


def spin(ground: Ground) -> Plan:
    """Return spins of five turns from each of four headings, to the left and then to the right.

    Raises
    ------
    ConfigError
        If the robot cannot turn on the floor.
    """
    area = ground.area
    if min(area.width_m, area.height_m) < 0.0:
        raise ground.too_small(DriveKind.SPIN, "the robot must be able to turn")
    place = ground.rounded(*area.limited(REACH_M).at(0.5, 0.5))
    marks = placed_marks([Pose(*place, float(np.radians(turn))) for turn in (0.0, 90.0, 180.0, -90.0)], ground.field)
    left = Part(PartName.SPINS_LEFT, _spins(marks, 1.0), 1)
    right = Part(PartName.SPINS_RIGHT, _spins([marks[0], *marks[:0:-1]], -1.0), 1)
    return Plan(DriveKind.SPIN, tuple(marks), (left, right), _PACE)


def _spins(marks: list[PlannedMark], sense: float) -> tuple[Move, ...]:
    """Return whole turns on every mark, and the quarter turn on to the next one, back to the first."""
    found = []
    for start, end in zip(marks, [*marks[1:], marks[0]], strict=True):
        found.append(Move(start.name, start.name, sense * TURNS_PER_SPIN * 2.0 * np.pi, 0.0, 0.0))
        found += moves_between([start, end])
    return tuple(found)
