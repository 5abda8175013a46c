"""The square in both senses.

J. Borenstein & L. Feng, "Measurement and correction of systematic odometry errors in mobile robots", IEEE Trans.
Robotics and Automation 12(6), 1996: driven in one sense only, two errors can hide each other.
"""

import numpy as np

from locbench.drive_kinds import DriveKind
from locbench.runsheet.ground import Ground
from locbench.runsheet.marks import Pose, placed_marks
from locbench.runsheet.moves import Pace, Part, PartName, moves_between
from locbench.runsheet.plan import Plan

__all__ = ["LAPS_EACH_WAY", "square"]

# five runs each way, as in the paper
LAPS_EACH_WAY = 5
_SHORTEST_SIDE_M, _LONGEST_SIDE_M = 1.0, 4.0
_PACE = Pace(speed_m_s=0.5, turn_rate_rad_s=float(np.radians(60.0)))


def square(ground: Ground) -> Plan:
    """Return the largest square up to 4 m by the corner of least x and y, left round and right round.

    The corner where both begin has a mark for each sense; the others are passed in two headings and have none.

    Raises
    ------
    ConfigError
        If no square of 1 m fits.
    """
    area = ground.area
    x, y = ground.rounded(area.x_from_m, area.y_from_m)
    free = min(area.x_to_m - x, area.y_to_m - y, _LONGEST_SIDE_M)
    side = float(np.floor(free / ground.step_m + 1e-9) * ground.step_m)
    if side < _SHORTEST_SIDE_M:
        raise ground.too_small(DriveKind.SQUARE, f"a square needs sides of {_SHORTEST_SIDE_M:.1f} m")
    right, top = round(x + side, 12), round(y + side, 12)
    poses = [
        Pose(x, y, 0.0),
        Pose(right, y, None),
        Pose(right, top, None),
        Pose(x, top, None),
        Pose(x, y, np.pi / 2.0),
    ]
    marks = placed_marks(poses, ground.field)
    left_start, second, third, fourth, right_start = marks
    left = moves_between([left_start, second, third, fourth, left_start])
    clockwise = moves_between([right_start, fourth, third, second, right_start])
    turned = moves_between([left_start, right_start])
    parts = (
        Part(PartName.SQUARE_LEFT, left, LAPS_EACH_WAY),
        Part(PartName.ONWARD, turned, 1),
        Part(PartName.SQUARE_RIGHT, clockwise, LAPS_EACH_WAY),
    )
    return Plan(DriveKind.SQUARE, tuple(marks), parts, _PACE)
