"""Where on the floor a test may be driven: what is left of it after the distance kept from its edges."""

import math
from dataclasses import dataclass

from locbench.config import FieldConfig, RobotConfig
from locbench.drive_kinds import DriveKind
from locbench.errors import ConfigError

__all__ = ["LONGEST_LEG_M", "REACH_M", "Ground", "Rectangle", "ground_of", "reach_of"]

# longer ways between marks and nobody can say where on them an error came from
LONGEST_LEG_M = 6.0
# marks are laid out no further apart than a tape and a leg reach comfortably
REACH_M = 5.0
# half the diagonal of a robot 45 cm square is 32 cm; common practice, no source
_SMALLEST_CLEARANCE_M = 0.40
_BESIDE_OUTERMOST_PART_M = 0.15


@dataclass(frozen=True)
class Rectangle:
    """An upright rectangle in the field frame, metres."""

    x_from_m: float
    x_to_m: float
    y_from_m: float
    y_to_m: float

    @property
    def width_m(self) -> float:
        """Extent along field x."""
        return self.x_to_m - self.x_from_m

    @property
    def height_m(self) -> float:
        """Extent along field y."""
        return self.y_to_m - self.y_from_m

    def contains(self, x_m: float, y_m: float) -> bool:
        """Whether the point lies inside or on the edge, to a tenth of a millimetre."""
        slack = 1e-4
        return (
            self.x_from_m - slack <= x_m <= self.x_to_m + slack and self.y_from_m - slack <= y_m <= self.y_to_m + slack
        )

    def at(self, across: float, up: float) -> tuple[float, float]:
        """Return the point at these shares (0 to 1) of its width and height."""
        return self.x_from_m + across * self.width_m, self.y_from_m + up * self.height_m

    def limited(self, longest_m: float) -> "Rectangle":
        """Return the part of it next to its corner of least x and y, no longer than that in either direction."""
        return Rectangle(
            self.x_from_m,
            min(self.x_to_m, self.x_from_m + longest_m),
            self.y_from_m,
            min(self.y_to_m, self.y_from_m + longest_m),
        )


@dataclass(frozen=True)
class Ground:
    """The field and robot that a drive is laid out for.

    `area` is where the reference point may go; new places lie on multiples of `step_m` where the area has any.
    `source` names the field file in errors.
    """

    field: FieldConfig
    robot: RobotConfig | None
    source: str
    area: Rectangle
    clearance_m: float
    step_m: float

    def rounded(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Return the nearest place on the raster that lies inside the area."""
        area = self.area
        return (
            _rounded(x_m, self.step_m, area.x_from_m, area.x_to_m),
            _rounded(y_m, self.step_m, area.y_from_m, area.y_to_m),
        )

    def too_small(self, kind: DriveKind, needed: str) -> ConfigError:
        """Return the error that this floor has no room for such a drive."""
        return ConfigError(
            f"the floor is too small for a {kind.value} drive: with {self.clearance_m * 1e3:.0f} mm kept from its "
            f"edges {max(self.area.width_m, 0.0):.2f} m by {max(self.area.height_m, 0.0):.2f} m are left, and {needed}",
            where=f"{self.source}: floor",
            remedy="Drive on a larger floor, or choose another --kind",
        )


def _rounded(value: float, step: float, low: float, high: float) -> float:
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    if first > last:
        return min(max(value, low), high)
    # twelve digits: a multiple of 0.05 shall read as one
    return round(min(max(round(value / step), first), last) * step, 12)


def reach_of(robot: RobotConfig | None) -> float:
    """Return how far the outermost pod or camera of the robot is from its reference point, in metres; 0 if unknown."""
    if robot is None:
        return 0.0
    places = [(pod.x, pod.y) for pod in robot.pods.values()]
    places += [
        (camera.turret_x + camera.x, camera.turret_y + camera.y) if camera.turns else (camera.x, camera.y)
        for camera in robot.cameras.values()
    ]
    return max((math.hypot(*place) for place in places), default=0.0)


def ground_of(field: FieldConfig, robot: RobotConfig | None, source: str, step_m: float) -> Ground:
    """Return the ground of a field, with a clearance that also lets the robot turn on the spot.

    Parameters
    ----------
    field, robot
        As configured; without a robot only the smallest clearance is kept.
    source
        Name of the field file for errors.
    step_m
        Raster of new places, in metres.
    """
    clearance = max(_SMALLEST_CLEARANCE_M, reach_of(robot) + _BESIDE_OUTERMOST_PART_M)
    floor = field.floor
    area = Rectangle(floor.x_from + clearance, floor.x_to - clearance, floor.y_from + clearance, floor.y_to - clearance)
    return Ground(field, robot, source, area, clearance, step_m)
