"""What the tables of a session file are described with: columns and their units, the log's frame, its clock."""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field

from locbench.config.quantities import Angle, Config, Duration, Length, Text, unit_of
from locbench.units import Dimension

__all__ = [
    "AXES",
    "AngleColumn",
    "Column",
    "Frame",
    "LengthColumn",
    "SpeedColumn",
    "Table",
    "TimeColumn",
    "TurnRateColumn",
    "example_of",
    "nearest_axis",
]

# directions of a frame's axes, from its x axis
AXES: Mapping[str, float] = MappingProxyType({"+x": 0.0, "+y": math.pi / 2.0, "-x": math.pi, "-y": -math.pi / 2.0})


def nearest_axis(angle_rad: float) -> tuple[str, float]:
    """Return the axis nearest to a direction, and how far it is off (rad, absolute)."""
    misses = {axis: abs(math.remainder(angle_rad - direction, math.tau)) for axis, direction in AXES.items()}
    axis = min(misses, key=lambda name: misses[name])
    return axis, misses[axis]


def example_of(column: dict[str, Any]) -> ConfigDict:
    """Return the model configuration that shows such a column as an example in the JSON schema."""
    return ConfigDict(json_schema_extra={"examples": [column]})


class Column(Config):
    """A column of a table and the unit its numbers are in; `unit` holds the factor to SI."""

    column: Annotated[Text, Field(examples=["t"])]
    """Name of the column in the table's first row."""
    unit: float
    """Unit of its numbers."""


class TimeColumn(Column):
    """A column of times."""

    model_config = example_of({"column": "t", "unit": "ms"})

    unit: unit_of(Dimension.TIME)  # type: ignore[valid-type]
    """Unit of its times."""


class LengthColumn(Column):
    """A column of lengths."""

    model_config = example_of({"column": "px", "unit": "in"})

    unit: unit_of(Dimension.LENGTH)  # type: ignore[valid-type]
    """Unit of its lengths."""


class AngleColumn(Column):
    """A column of angles."""

    model_config = example_of({"column": "gyro", "unit": "deg"})

    unit: unit_of(Dimension.ANGLE)  # type: ignore[valid-type]
    """Unit of its angles."""


class SpeedColumn(Column):
    """A column of speeds."""

    model_config = example_of({"column": "vx", "unit": "m/s"})

    unit: unit_of(Dimension.SPEED)  # type: ignore[valid-type]
    """Unit of its speeds."""


class TurnRateColumn(Column):
    """A column of turn rates."""

    model_config = example_of({"column": "wz", "unit": "deg/s"})

    unit: unit_of(Dimension.TURN_RATE)  # type: ignore[valid-type]
    """Unit of its turn rates."""


class Frame(Config):
    """How a log's own frame lies: it is converted to x, y in the field and headings counter-clockwise from +x.

    `heading_zero` is the axis of the log's frame along which its heading reads zero. `y_axis` says where the log's y
    axis points, seen along its x axis: "right" is a mirrored frame. `rotate` turns the log's axes, y then to the left,
    onto the field's; `origin_x` and `origin_y` are the place of the log's origin in the field frame.
    """

    heading_sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"
    """Which way the log's headings grow, seen from above."""
    heading_zero: Literal["+x", "+y", "-x", "-y"] = "+x"
    """The axis of the log's frame along which its heading reads zero, with y to the left."""
    y_axis: Literal["left", "right"] = "left"
    """Where the log's y axis points, seen along its x axis; "right" is a mirrored frame."""
    rotate: Annotated[Angle, Field(examples=["90 deg"])] = 0.0
    """Turn that brings the log's axes onto the field's, counter-clockwise."""
    origin_x: Annotated[Length, Field(examples=["4 m"])] = 0.0
    """Place of the log's origin in the field, along field x."""
    origin_y: Annotated[Length, Field(examples=["0 m"])] = 0.0
    """Place of the log's origin in the field, along field y."""

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
        return float(AXES[self.heading_zero] + self.rotate)


class Table(Config):
    """What every table has: its file and the offset added to its clock."""

    file: Annotated[Text, Field(examples=["odometry.csv"])]
    """The table, beside the session file: .csv, .csv.gz or .parquet."""
    offset: Annotated[Duration, Field(examples=["-3 s"])] = 0.0
    """Added to the table's times, to bring its clock onto the odometry's."""
