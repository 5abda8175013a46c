"""How marks are surveyed with a tape, and how sure that makes their places and headings.

A place is the meeting point of two distances from corners of the floor (trilateration). A heading is a line on the
floor through the mark, its far end laid out by two distances as well, against which a straight edge of the robot is
set. Uncertainties go through by first-order propagation (GUM, 5.2.2), which tests hold against simulated surveys.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.field import Floor
from locbench.runsheet.marks import PlannedMark
from locbench.statistics import propagated_covariance

__all__ = ["Corner", "Line", "Survey", "Tape", "corner_place", "heading_std_rad", "place_covariance", "surveyed"]


# a tape cannot be read well right at an edge, nor at a corner that is measured from
_LINE_FROM_EDGE_M = 0.1


class Corner(StrEnum):
    """The floor's corners, counter-clockwise from the one of least x and y."""

    A = "A"
    B = "B"
    C = "C"
    D = "D"


@dataclass(frozen=True)
class Tape:
    """How exactly is measured and placed: standard deviations; common practice, no source.

    `reading_m`: one distance, corner to pencil mark, and `pulled_per_metre_m` that grows with it: a tape sags and
    stretches. `placing_m`: robot set into a taped corner, per coordinate.
    `gap_m`: gap between tape line and robot at each end of its edge, which is `edge_m` long.
    """

    reading_m: float = 0.002
    pulled_per_metre_m: float = 0.0003
    placing_m: float = 0.0015
    gap_m: float = 0.001
    edge_m: float = 0.300
    line_m: float = 0.600

    def reading_std_m(self, distance_m: float) -> float:
        """How exactly a distance of that length is measured."""
        return float(np.hypot(self.reading_m, self.pulled_per_metre_m * distance_m))

    @property
    def placing_heading_rad(self) -> float:
        """How exactly an edge of the robot is set against a line: the two gaps, over the edge's length."""
        return float(np.sqrt(2.0) * self.gap_m / self.edge_m)


@dataclass(frozen=True)
class Line:
    """The far end of a mark's heading line and its distances from the mark's two corners, in metres.

    `ahead` is False where the line is drawn to the robot's rear, because ahead the floor ends.
    """

    x_m: float
    y_m: float
    distances_m: tuple[float, float]
    ahead: bool


@dataclass(frozen=True)
class Survey:
    """A mark with what to measure, and how sure its pose is for a robot that is set on it.

    `check` is a third corner with the distance to find there, which survives a mistake in the first two, and
    `check_within_m` how far it may be off (two standard deviations). Standard deviations: the survey's own per
    coordinate and of the heading, and `position_std_m`, `heading_std_rad` with placing the robot included.
    """

    mark: PlannedMark
    corners: tuple[Corner, Corner]
    distances_m: tuple[float, float]
    check: Corner
    check_m: float
    check_within_m: float
    line: Line | None
    survey_position_m: float
    survey_heading_rad: float | None
    position_std_m: float
    heading_std_rad: float | None

    @property
    def lacks_entry(self) -> bool:
        """Whether the field file has no entry for it that says how sure it is."""
        listed = self.mark.listed
        if listed is None or listed.position_std is None:
            return True
        return listed.heading is not None and listed.heading_std is None

    @property
    def used_position_m(self) -> float:
        """The field file's own standard deviation of the place if it has one, else this survey's."""
        listed = self.mark.listed
        return self.position_std_m if listed is None or listed.position_std is None else listed.position_std

    @property
    def used_heading_rad(self) -> float | None:
        """The same of the heading."""
        listed = self.mark.listed
        return self.heading_std_rad if listed is None or listed.heading_std is None else listed.heading_std


def corner_place(floor: Floor, corner: Corner) -> FloatArray:
    """Return the place (2,) of a corner in the field frame."""
    x = floor.x_from if corner in (Corner.A, Corner.D) else floor.x_to
    y = floor.y_from if corner in (Corner.A, Corner.B) else floor.y_to
    return np.array([x, y])


def place_covariance(place: FloatArray, corners: FloatArray, tape: Tape) -> FloatArray:
    """Return the covariance (2, 2) of a place (2,) found by its distances from two corners (2, 2)."""
    jacobian = np.asarray(np.linalg.inv(_directions(place, corners)), dtype=float)
    stds = [tape.reading_std_m(float(distance)) for distance in np.linalg.norm(place - corners, axis=1)]
    return propagated_covariance(jacobian, np.diag(np.square(stds)))


def heading_std_rad(place: FloatArray, line_end: FloatArray, corners: FloatArray, tape: Tape) -> float:
    """Return the standard deviation of the direction from a place (2,) to another, both laid out from two corners."""
    way = line_end - place
    length = float(np.hypot(*way))
    # how the direction changes as the far end moves across the line; the near end moves it the other way
    across: FloatArray = np.array([-way[1], way[0]]) / length**2
    covariance = place_covariance(place, corners, tape) + place_covariance(line_end, corners, tape)
    return float(np.sqrt(propagated_covariance(across[np.newaxis], covariance)[0, 0]))


def surveyed(mark: PlannedMark, floor: Floor, tape: Tape) -> Survey:
    """Return how to survey a mark from the two corners that fix it best.

    Parameters
    ----------
    mark
        Inside the floor, so that at least two corners see it in different directions.
    floor
        Whose corners are measured from; taken to be where the field file says.
    tape
        How exactly distances are read and the robot is placed.
    """
    place = np.array([mark.pose.x_m, mark.pose.y_m])
    pairs = [pair for pair in combinations(Corner, 2) if _sees_a_triangle(place, floor, pair)]
    first, second = min(pairs, key=lambda pair: _place_std(place, floor, pair, tape))
    check = min(
        (corner for corner in Corner if corner not in (first, second)),
        key=lambda corner: _distance(place, floor, corner),
    )
    corners = _places(floor, (first, second))
    covariance = place_covariance(place, corners, tape)
    towards = _directions(place, corner_place(floor, check)[np.newaxis])
    found = propagated_covariance(towards, covariance)[0, 0] + tape.reading_std_m(_distance(place, floor, check)) ** 2
    line = _heading_line(mark, floor, (first, second), tape)
    heading = None if line is None else heading_std_rad(place, np.array([line.x_m, line.y_m]), corners, tape)
    own = float(np.sqrt(np.trace(covariance) / 2.0))
    return Survey(
        mark=mark,
        corners=(first, second),
        distances_m=(_distance(place, floor, first), _distance(place, floor, second)),
        check=check,
        check_m=_distance(place, floor, check),
        check_within_m=2.0 * float(np.sqrt(found)),
        line=line,
        survey_position_m=own,
        survey_heading_rad=heading,
        position_std_m=float(np.hypot(own, tape.placing_m)),
        heading_std_rad=None if heading is None else float(np.hypot(heading, tape.placing_heading_rad)),
    )


def _places(floor: Floor, corners: Iterable[Corner]) -> FloatArray:
    return np.array([corner_place(floor, corner) for corner in corners])


def _directions(place: FloatArray, corners: FloatArray) -> FloatArray:
    """Return unit vectors (N, 2) from corners to the place: the derivatives of the distances."""
    ways = place - corners
    return np.asarray(ways / np.linalg.norm(ways, axis=1, keepdims=True))


def _distance(place: FloatArray, floor: Floor, corner: Corner) -> float:
    return float(np.linalg.norm(place - corner_place(floor, corner)))


def _sees_a_triangle(place: FloatArray, floor: Floor, pair: tuple[Corner, Corner]) -> bool:
    return abs(float(np.linalg.det(_directions(place, _places(floor, pair))))) > 1e-9


def _place_std(place: FloatArray, floor: Floor, pair: tuple[Corner, Corner], tape: Tape) -> float:
    return float(np.trace(place_covariance(place, _places(floor, pair), tape)))


def _heading_line(mark: PlannedMark, floor: Floor, pair: tuple[Corner, Corner], tape: Tape) -> Line | None:
    """Return the line ahead of the mark or behind it, whichever fixes the heading better; none without a heading."""
    heading = mark.pose.heading_rad
    if heading is None:
        return None
    direction = np.array([np.cos(heading), np.sin(heading)])
    place = np.array([mark.pose.x_m, mark.pose.y_m])
    ahead, behind = (
        place + way * _free_length(place, way, floor, tape.line_m) for way in (direction, np.negative(direction))
    )
    stds = [heading_std_rad(place, end, _places(floor, pair), tape) for end in (ahead, behind)]
    end = ahead if stds[0] <= stds[1] else behind
    first, second = (_distance(end, floor, corner) for corner in pair)
    return Line(float(end[0]), float(end[1]), (first, second), end is ahead)


def _free_length(place: FloatArray, direction: FloatArray, floor: Floor, wanted: float) -> float:
    """Return how far a line from the place in that direction can be taped on the floor, at most as far as wanted."""
    low, high = np.array([floor.x_from, floor.y_from]), np.array([floor.x_to, floor.y_to])
    edge = np.where(direction > 0.0, high - _LINE_FROM_EDGE_M, low + _LINE_FROM_EDGE_M)
    # a direction along an edge never meets it
    steps = [(e - p) / d for e, p, d in zip(edge, place, direction, strict=True) if abs(d) > 1e-9]
    return float(min([wanted, *steps]))
