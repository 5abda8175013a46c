"""The [tags] table of a session file: what one detection measures, in the log's own columns."""

from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from locbench.config.columns import AngleColumn, Frame, LengthColumn, Table, TimeColumn
from locbench.config.quantities import Config, NonNegativeDuration, Text

__all__ = [
    "BearingFrame",
    "BearingSource",
    "CameraFrame",
    "CameraTable",
    "DetectionTable",
    "RangeBearingSource",
    "RangeSource",
    "RobotPoseSource",
    "TagPoseSource",
    "TagSource",
    "TurretYawColumn",
]

_Measured = Annotated[
    Literal["horizontal", "slant"], Field(description="Whether ranges are along the floor or through the air")
]
_RangeScale = Annotated[float, Field(gt=0.0, strict=True, description="Readings are divided by it")]


class TurretYawColumn(AngleColumn):
    """A column of the turret's angle to the robot's forward direction."""

    sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"

    @property
    def sign(self) -> float:
        """Plus one for counter-clockwise angles, minus one for clockwise."""
        return -1.0 if self.sense == "clockwise" else 1.0


class BearingFrame(Config):
    """Which way a log's bearings from the optical axis grow, seen from above."""

    heading_sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"

    @property
    def heading_sign(self) -> float:
        """Plus one for counter-clockwise bearings, minus one for clockwise."""
        return -1.0 if self.heading_sense == "clockwise" else 1.0


class CameraFrame(BearingFrame):
    """How the axes of a log's camera frame lie, x forward along the optical axis.

    `heading_zero` is the camera's own axis (y left) along which a tag faces whose heading reads zero: "-x" where a
    tag that looks straight into the camera has heading zero.
    """

    heading_zero: Literal["+x", "+y", "-x", "-y"] = "+x"
    y_axis: Annotated[Literal["left", "right"], Field(description="Where the log's y axis points")] = "left"
    z_axis: Annotated[Literal["up", "down"], Field(description="Where the log's z axis points")] = "up"

    @property
    def heading_offset_rad(self) -> float:
        """What to add to a signed log heading to get a heading from the optical axis."""
        return {"+x": 0.0, "+y": np.pi / 2.0, "-x": np.pi, "-y": -np.pi / 2.0}[self.heading_zero]


class DetectionTable(Table):
    """What every kind of tag detection has: when it was captured and when it reached the program."""

    captured: TimeColumn
    arrived: TimeColumn | None = None
    latency: NonNegativeDuration | None = None
    tag: Text
    view_angle: Annotated[
        AngleColumn | None, Field(description="Between the tag's normal and the line of sight, as reported")
    ] = None
    reprojection_ratio: Annotated[
        Text | None, Field(description="Column: best over second-best solution's error, 0 to 1")
    ] = None

    @model_validator(mode="after")
    def _one_arrival(self) -> Self:
        if (self.arrived is None) == (self.latency is None):
            raise ValueError('exactly one of "arrived" and "latency" is needed|A fixed latency is written as "40 ms"')
        return self


class CameraTable(DetectionTable):
    """What is measured from the place of a camera or antenna; one carried by the turret needs the turret's yaw."""

    mount: Annotated[Text | None, Field(description="One of the robot file's cameras")] = None
    turret_yaw: Annotated[TurretYawColumn | None, Field(description="The turret's yaw at capture")] = None


def _refuse_half_a_spread(x: object, y: object, heading: object, heading_std: object) -> None:
    if (x is None) != (y is None):
        raise ValueError('"x_std" and "y_std" belong together|Add the other one')
    if heading is None and heading_std is not None:
        raise ValueError('"heading_std" needs a "heading"|Add heading, or remove heading_std')


class RobotPoseSource(DetectionTable):
    """The robot's pose in the field as computed from one or several tags; range as the detection reports it.

    The tag column may hold several ids, separated by blanks, ";" or "+".
    """

    kind: Literal["robot_pose"]
    x: LengthColumn
    y: LengthColumn
    heading: AngleColumn | None = None
    range: LengthColumn | None = None
    tag_count: Annotated[Text | None, Field(description="Column: how many tags the pose was computed from")] = None
    x_std: LengthColumn | None = None
    y_std: LengthColumn | None = None
    heading_std: AngleColumn | None = None
    frame: Frame = Frame()

    @model_validator(mode="after")
    def _spread_is_whole(self) -> Self:
        _refuse_half_a_spread(self.x_std, self.y_std, self.heading, self.heading_std)
        return self


class TagPoseSource(CameraTable):
    """The tag's place in the camera's frame: x forward along the optical axis, y left, z up.

    `heading` is the direction in which the tag's printed side looks, counter-clockwise from the optical axis.
    """

    kind: Literal["tag_pose"]
    x: LengthColumn
    y: LengthColumn
    z: LengthColumn | None = None
    heading: AngleColumn | None = None
    range: LengthColumn | None = None
    x_std: LengthColumn | None = None
    y_std: LengthColumn | None = None
    z_std: LengthColumn | None = None
    heading_std: AngleColumn | None = None
    frame: CameraFrame = CameraFrame()

    @model_validator(mode="after")
    def _spread_is_whole(self) -> Self:
        _refuse_half_a_spread(self.x_std, self.y_std, self.heading, self.heading_std)
        if self.z_std is not None and (self.z is None or self.x_std is None):
            raise ValueError('"z_std" needs "z", "x_std" and "y_std"|Add them, or remove z_std')
        return self


class RangeBearingSource(CameraTable):
    """Distance to a tag and its direction, counter-clockwise from the optical axis."""

    kind: Literal["range_bearing"]
    range: LengthColumn
    bearing: AngleColumn
    range_scale: _RangeScale = 1.0
    measured: _Measured = "horizontal"
    range_std: LengthColumn | None = None
    bearing_std: AngleColumn | None = None
    frame: BearingFrame = BearingFrame()


class BearingSource(CameraTable):
    """Direction to a tag, counter-clockwise from the optical axis; `range` if the detection reports one beside it."""

    kind: Literal["bearing"]
    bearing: AngleColumn
    range: LengthColumn | None = None
    bearing_std: AngleColumn | None = None
    frame: BearingFrame = BearingFrame()


class RangeSource(CameraTable):
    """Distance to a tag or beacon; without `mount` from the robot's reference point."""

    kind: Literal["range"]
    range: LengthColumn
    range_scale: _RangeScale = 1.0
    measured: _Measured = "horizontal"
    range_std: LengthColumn | None = None


TagSource = Annotated[
    RobotPoseSource | TagPoseSource | RangeBearingSource | BearingSource | RangeSource, Field(discriminator="kind")
]
