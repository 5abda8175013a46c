"""What the tables of a session file are described with: columns and their units, the log's frame, its clock."""

from typing import Literal

import numpy as np

from locbench.config.quantities import Angle, Config, Duration, Length, Text, unit_of
from locbench.units import Dimension

__all__ = [
    "AngleColumn",
    "Column",
    "Frame",
    "LengthColumn",
    "SpeedColumn",
    "Table",
    "TimeColumn",
    "TurnRateColumn",
]


class Column(Config):
    """A column of a table and the unit its numbers are in; `unit` holds the factor to SI."""

    column: Text
    unit: float


class TimeColumn(Column):
    """A column of times."""

    unit: unit_of(Dimension.TIME)  # type: ignore[valid-type]


class LengthColumn(Column):
    """A column of lengths."""

    unit: unit_of(Dimension.LENGTH)  # type: ignore[valid-type]


class AngleColumn(Column):
    """A column of angles."""

    unit: unit_of(Dimension.ANGLE)  # type: ignore[valid-type]


class SpeedColumn(Column):
    """A column of speeds."""

    unit: unit_of(Dimension.SPEED)  # type: ignore[valid-type]


class TurnRateColumn(Column):
    """A column of turn rates."""

    unit: unit_of(Dimension.TURN_RATE)  # type: ignore[valid-type]


class Frame(Config):
    """How a log's own frame lies: it is converted to x, y in the field and headings counter-clockwise from +x.

    `heading_zero` is the axis of the log's frame along which its heading reads zero. `y_axis` says where the log's y
    axis points, seen along its x axis: "right" is a mirrored frame. `rotate` turns the log's axes, y then to the left,
    onto the field's; `origin_x` and `origin_y` are the place of the log's origin in the field frame.
    """

    heading_sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"
    heading_zero: Literal["+x", "+y", "-x", "-y"] = "+x"
    y_axis: Literal["left", "right"] = "left"
    rotate: Angle = 0.0
    origin_x: Length = 0.0
    origin_y: Length = 0.0

    @property
    def heading_sign(self) -> float:
        """Plus one for counter-clockwise headings, minus one for clockwise."""
        return -1.0 if self.heading_sense == "clockwise" else 1.0

    @property
    def y_sign(self) -> float:
        """Plus one if y points left of x, minus one for a mirrored frame."""
        return -1.0 if self.y_axis == "right" else 1.0

    @property
    def heading_offset_rad(self) -> float:
        """What to add to a signed log heading to get a field heading; `heading_zero` is an axis with y to the left."""
        zero = {"+x": 0.0, "+y": np.pi / 2.0, "-x": np.pi, "-y": -np.pi / 2.0}[self.heading_zero]
        return float(zero + self.rotate)


class Table(Config):
    """What every table has: its file and the offset added to its clock."""

    file: Text
    offset: Duration = 0.0
