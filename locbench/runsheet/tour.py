"""The tour: from mark to mark and back to the first, then the other way round."""

from collections.abc import Sequence

import numpy as np

from locbench.drive_kinds import DriveKind
from locbench.runsheet.ground import REACH_M, Ground
from locbench.runsheet.marks import PlannedMark, Pose, distance_m, headings_among, known_marks, placed_marks
from locbench.runsheet.moves import Pace, Part, PartName, moves_between, with_short_legs
from locbench.runsheet.ordering import shortest_order
from locbench.runsheet.plan import Plan

__all__ = ["FEWEST_HEADINGS", "tour"]

FEWEST_HEADINGS = 4
_FEWEST_MARKS, _MOST_MARKS = 6, 8
_SMALLEST_SIDE_M = 0.8
# marks of one field that are further away than this from its first one are left for another sheet
_FURTHEST_M = 12.0
# below 20 independent comparisons no 95 % error radius and no band of distances is measured (statistics/intervals.py)
_FEWEST_VISITS = 20
_PACE = Pace(speed_m_s=0.8, turn_rate_rad_s=float(np.radians(90.0)))
# shares of the area's width and height with a heading in degrees: corners, middles, centre
_PROPOSED = (
    (0.0, 0.0, 0.0),
    (1.0, 1.0, 180.0),
    (1.0, 0.0, 90.0),
    (0.0, 1.0, -90.0),
    (0.5, 0.5, 45.0),
    (0.5, 1.0, -135.0),
    (1.0, 0.5, 135.0),
    (0.5, 0.0, -45.0),
)


def tour(ground: Ground) -> Plan:
    """Return a tour of the field file's marks, with new ones where those are too few or look in too few directions.

    Raises
    ------
    ConfigError
        If the floor is too small.
    """
    if min(ground.area.width_m, ground.area.height_m) < _SMALLEST_SIDE_M:
        raise ground.too_small(DriveKind.TOUR, f"a tour needs {_SMALLEST_SIDE_M:.1f} m each way")
    known = known_marks(ground)
    near = [mark for mark in known if distance_m(known[0], mark) <= _FURTHEST_M][:_MOST_MARKS]
    # of many marks that all look alike a few are enough, so that the tour stays short with the new ones
    marks = near if _suffices(near) else _supplemented(near[: _FEWEST_MARKS - 1], ground)
    ordered = [marks[number] for number in shortest_order([mark.pose for mark in marks])]
    places = with_short_legs([*ordered, ordered[0]], ground.field)[:-1]
    # new marks get their names in the order of the tour
    named = placed_marks([mark.pose for mark in places], ground.field)
    loop = [*named, named[0]]
    there = moves_between(loop)
    laps = max(1, int(np.ceil(_FEWEST_VISITS / len(there) / 2.0)))
    parts = (
        Part(PartName.IN_ORDER, there, laps),
        Part(PartName.OTHER_WAY_ROUND, moves_between(loop[::-1]), laps),
    )
    return Plan(DriveKind.TOUR, tuple(named), parts, _PACE)


def _suffices(marks: Sequence[PlannedMark]) -> bool:
    return len(marks) >= _FEWEST_MARKS and headings_among(marks) >= FEWEST_HEADINGS


def _supplemented(marks: Sequence[PlannedMark], ground: Ground) -> list[PlannedMark]:
    """Return the marks with new ones, those furthest from what is there first, until they suffice."""
    area = ground.area.limited(REACH_M)
    poses = [Pose(*ground.rounded(*area.at(across, up)), float(np.radians(turn))) for across, up, turn in _PROPOSED]
    proposed = [mark for mark in placed_marks(poses, ground.field) if mark.name not in {known.name for known in marks}]
    found = list(marks)
    while proposed and not _suffices(found):
        best = max(proposed, key=lambda mark: _news(mark, found))
        proposed.remove(best)
        found.append(best)
    return found


def _news(mark: PlannedMark, found: Sequence[PlannedMark]) -> tuple[int, float]:
    """Return whether a mark adds a heading, and how far it is from all others: what it would add to a tour."""
    return headings_among([*found, mark]), min((distance_m(mark, other) for other in found), default=0.0)
