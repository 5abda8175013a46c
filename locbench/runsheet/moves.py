"""What is driven: moves from mark to mark, put together into parts that are repeated."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

import numpy as np

from locbench.config import FieldConfig
from locbench.geometry import wrap_angle
from locbench.runsheet.ground import LONGEST_LEG_M
from locbench.runsheet.marks import PlannedMark, Pose, distance_m, placed_marks

__all__ = ["Move", "Pace", "Part", "PartName", "backwards", "duration_s", "moves_between", "with_short_legs"]

# speeding up and slowing down, and finding the mark by eye; common practice, no source
_PER_MOVE_S = 2.0


class PartName(StrEnum):
    """What a part of a drive is."""

    IN_ORDER = "in order"
    OTHER_WAY_ROUND = "other way round"
    ONWARD = "onward"
    LINE = "line"
    SPINS_LEFT = "spins to the left"
    SPINS_RIGHT = "spins to the right"
    SQUARE_LEFT = "square counter-clockwise"
    SQUARE_RIGHT = "square clockwise"
    STANDS = "stands"
    PASSES_SLOW = "slow turns past the tag"
    PASSES_FAST = "fast turns past the tag"


@dataclass(frozen=True)
class Pace:
    """How the drive is driven: speeds, how long the robot stands before the first move, and on each mark."""

    speed_m_s: float
    turn_rate_rad_s: float
    standstill_s: float = 3.0
    dwell_s: float = 1.5


@dataclass(frozen=True)
class Move:
    """From one mark to the next: turn, drive straight, turn; then stand and press, where `pressed`.

    Lengths are negative where the robot drives backwards; turns are counter-clockwise positive.
    """

    start: str
    end: str
    turn_before_rad: float
    length_m: float
    turn_after_rad: float
    pressed: bool = True

    @property
    def turning_rad(self) -> float:
        """How far it turns, both senses counted positive."""
        return abs(self.turn_before_rad) + abs(self.turn_after_rad)


@dataclass(frozen=True)
class Part:
    """Moves that are driven one after another, `times` times; `turn_rate_rad_s` where it is not the drive's own."""

    name: PartName
    moves: tuple[Move, ...]
    times: int
    turn_rate_rad_s: float | None = None

    @property
    def presses(self) -> int:
        """Presses of the mark button in all of its repetitions."""
        return self.times * sum(move.pressed for move in self.moves)


def moves_between(marks: Sequence[PlannedMark]) -> tuple[Move, ...]:
    """Return the moves along marks, driving forward; on a mark without heading the robot stays as it came."""
    moves = []
    heading = marks[0].pose.heading_rad
    for start, end in pairwise(marks):
        length = distance_m(start, end)
        across, up = end.pose.x_m - start.pose.x_m, end.pose.y_m - start.pose.y_m
        # nowhere to drive to: all of the turn is one turn
        way = float(np.arctan2(up, across)) if length > 0.0 else end.pose.heading_rad
        before = _turn(heading, way)
        after = _turn(way, end.pose.heading_rad)
        moves.append(Move(start.name, end.name, before, length, after))
        heading = end.pose.heading_rad if end.pose.heading_rad is not None else way
    return tuple(moves)


def backwards(move: Move) -> Move:
    """Return a straight move driven back over the same line without turning round."""
    return replace(move, start=move.end, end=move.start, length_m=-move.length_m)


def with_short_legs(marks: Sequence[PlannedMark], field: FieldConfig) -> list[PlannedMark]:
    """Return the marks with new ones between those that are further apart than a leg may be long."""
    found = [marks[0]]
    for start, end in pairwise(marks):
        pieces = int(np.ceil(distance_m(start, end) / LONGEST_LEG_M - 1e-9))
        taken = [mark.name for mark in (*marks, *found)]
        found += placed_marks([_on_the_way(start, end, share / pieces) for share in range(1, pieces)], field, taken)
        found.append(end)
    return found


def duration_s(parts: Sequence[Part], pace: Pace) -> float:
    """Return about how long it all takes, standing included, in seconds."""
    total = pace.standstill_s
    for part in parts:
        rate = part.turn_rate_rad_s or pace.turn_rate_rad_s
        for move in part.moves:
            driven = abs(move.length_m) / pace.speed_m_s + move.turning_rad / rate + _PER_MOVE_S
            total += part.times * (driven + (pace.dwell_s if move.pressed else 0.0))
    return total


def _turn(start_rad: float | None, end_rad: float | None) -> float:
    if start_rad is None or end_rad is None:
        return 0.0
    return float(wrap_angle(np.array(end_rad - start_rad)))


def _on_the_way(start: PlannedMark, end: PlannedMark, share: float) -> Pose:
    first, last = start.pose, end.pose
    across, up = last.x_m - first.x_m, last.y_m - first.y_m
    # whole millimetres and degrees, as they will be written down
    heading = float(np.radians(np.round(np.degrees(np.arctan2(up, across)))))
    return Pose(round(first.x_m + share * across, 3), round(first.y_m + share * up, 3), heading)
