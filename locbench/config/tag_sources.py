"""The [tags] table of a session file: what one detection measures, in the log's own columns."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from locbench.config.columns import AXES, AngleColumn, Frame, LengthColumn, Table, TimeColumn, example_of
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

_Measured = Literal["horizontal", "slant"]
_RangeScale = Annotated[float, Field(gt=0.0, strict=True, examples=[1.02])]


class TurretYawColumn(AngleColumn):
    """A column of the turret's angle to the robot's forward direction."""

    model_config = example_of({"column": "tur", "unit": "deg", "sense": "clockwise"})

    sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"
    """Which way its angles grow, seen from above."""

    @property
    def sign(self) -> float:
        """Plus one for counter-clockwise angles, minus one for clockwise."""
        return -1.0 if self.sense == "clockwise" else 1.0


class BearingFrame(Config):
    """Which way a log's bearings from the optical axis grow, seen from above."""

    heading_sense: Literal["counter-clockwise", "clockwise"] = "counter-clockwise"
    """Which way the log's bearings grow, seen from above."""

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
    """The camera's own axis along which a tag faces whose heading reads zero: -x where it looks straight into the
    camera."""
    y_axis: Literal["left", "right"] = "left"
    """Where the log's y axis points."""
    z_axis: Literal["up", "down"] = "up"
    """Where the log's z axis points."""

    @property
    def heading_offset_rad(self) -> float:
        """What to add to a signed log heading to get a heading from the optical axis."""
        return AXES[self.heading_zero]


class DetectionTable(Table):
    """What every kind of tag detection has: when it was captured and when it reached the program."""

    captured: TimeColumn
    """When the picture was taken."""
    arrived: TimeColumn | None = None
    """When the detection reached the program; or give `latency`."""
    latency: Annotated[NonNegativeDuration | None, Field(examples=["40 ms"])] = None
    """Fixed time from picture to program; or give `arrived`."""
    tag: Annotated[Text, Field(examples=["id"])]
    """Column of tag ids; for `robot_pose` it may hold several: 3 7, 3;7 or 3+7."""
    view_angle: AngleColumn | None = None
    """Angle between the tag's normal and the line of sight, as reported."""
    reprojection_ratio: Annotated[Text | None, Field(examples=["ratio"])] = None
    """Column of the best over the second-best solution's reprojection error, 0 to 1."""

    @model_validator(mode="after")
    def _one_arrival(self) -> Self:
        if (self.arrived is None) == (self.latency is None):
            raise ValueError('exactly one of "arrived" and "latency" is needed|A fixed latency is written as "40 ms"')
        return self


class CameraTable(DetectionTable):
    """What is measured from the place of a camera or antenna; one carried by the turret needs the turret's yaw."""

    mount: Annotated[Text | None, Field(examples=["front"])] = None
    """One of the robot file's cameras; may be left out where there is only one; for `range` left out it means the
    reference point."""
    turret_yaw: TurretYawColumn | None = None
    """The turret's angle to the robot's forward direction at capture; needed where the turret carries the camera."""


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
    """The robot's pose in the field, computed from one or several tags."""
    x: LengthColumn
    """The robot's place along the log's x."""
    y: LengthColumn
    """The robot's place along the log's y."""
    heading: AngleColumn | None = None
    """The robot's heading."""
    range: LengthColumn | None = None
    """Range to the tag, as the detection reports it."""
    tag_count: Annotated[Text | None, Field(examples=["tags"])] = None
    """Column of how many tags the pose was computed from; left out, the ids are counted."""
    x_std: LengthColumn | None = None
    """The log's own standard deviation of x; with `y_std`."""
    y_std: LengthColumn | None = None
    """The log's own standard deviation of y; with `x_std`."""
    heading_std: AngleColumn | None = None
    """The log's own standard deviation of the heading."""
    frame: Frame = Frame()
    """How the log's frame lies in the field."""

    @model_validator(mode="after")
    def _spread_is_whole(self) -> Self:
        _refuse_half_a_spread(self.x_std, self.y_std, self.heading, self.heading_std)
        return self


class TagPoseSource(CameraTable):
    """The tag's place in the camera's frame: x forward along the optical axis, y left, z up.

    `heading` is the direction in which the tag's printed side looks, counter-clockwise from the optical axis.
    """

    kind: Literal["tag_pose"]
    """The tag's pose in the camera's frame: what was measured, so map, mount and noise can still be changed."""
    x: LengthColumn
    """The tag along the optical axis."""
    y: LengthColumn
    """The tag to the left of it."""
    z: LengthColumn | None = None
    """The tag above it; needed to undo a tilted mount."""
    heading: AngleColumn | None = None
    """Where the printed side looks, counter-clockwise from the optical axis."""
    range: LengthColumn | None = None
    """Range to the tag, as the detection reports it."""
    x_std: LengthColumn | None = None
    """The log's own standard deviation of x; with `y_std`."""
    y_std: LengthColumn | None = None
    """The log's own standard deviation of y; with `x_std`."""
    z_std: LengthColumn | None = None
    """The log's own standard deviation of z; with `z`, `x_std` and `y_std`."""
    heading_std: AngleColumn | None = None
    """The log's own standard deviation of the heading."""
    frame: CameraFrame = CameraFrame()
    """How the axes of the log's camera frame lie."""

    @model_validator(mode="after")
    def _spread_is_whole(self) -> Self:
        _refuse_half_a_spread(self.x_std, self.y_std, self.heading, self.heading_std)
        if self.z_std is not None and (self.z is None or self.x_std is None):
            raise ValueError('"z_std" needs "z", "x_std" and "y_std"|Add them, or remove z_std')
        return self


class RangeBearingSource(CameraTable):
    """Distance to a tag and its direction, counter-clockwise from the optical axis."""

    kind: Literal["range_bearing"]
    """Distance and direction of a tag."""
    range: LengthColumn
    """Distance from the camera."""
    bearing: AngleColumn
    """Where the tag is, counter-clockwise from the optical axis."""
    range_scale: _RangeScale = 1.0
    """Readings are divided by it."""
    measured: _Measured = "horizontal"
    """Whether ranges are along the floor, or straight to the tag, as most cameras report them."""
    range_std: LengthColumn | None = None
    """The log's own standard deviation of the range."""
    bearing_std: AngleColumn | None = None
    """The log's own standard deviation of the bearing."""
    frame: BearingFrame = BearingFrame()
    """Which way the log's bearings grow."""


class BearingSource(CameraTable):
    """Direction to a tag, counter-clockwise from the optical axis; `range` if the detection reports one beside it."""

    kind: Literal["bearing"]
    """Direction of a tag."""
    bearing: AngleColumn
    """Where the tag is, counter-clockwise from the optical axis."""
    range: LengthColumn | None = None
    """Distance, if the detection reports one beside it."""
    bearing_std: AngleColumn | None = None
    """The log's own standard deviation of the bearing."""
    frame: BearingFrame = BearingFrame()
    """Which way the log's bearings grow."""


class RangeSource(CameraTable):
    """Distance to a tag or beacon; without `mount` from the robot's reference point."""

    kind: Literal["range"]
    """Distance to a tag or beacon."""
    range: LengthColumn
    """Distance from the camera or antenna, without `mount` from the robot's reference point."""
    range_scale: _RangeScale = 1.0
    """Readings are divided by it."""
    measured: _Measured = "horizontal"
    """Whether ranges are along the floor, or straight to the tag, as most cameras report them."""
    range_std: LengthColumn | None = None
    """The log's own standard deviation of the range."""


TagSource = Annotated[
    RobotPoseSource | TagPoseSource | RangeBearingSource | BearingSource | RangeSource, Field(discriminator="kind")
]
