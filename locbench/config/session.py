"""The session file: which tables a log has, and the user's own column names, units, clocks and frames."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from locbench.config.columns import (
    AngleColumn,
    Frame,
    LengthColumn,
    SpeedColumn,
    Table,
    TimeColumn,
    TurnRateColumn,
)
from locbench.config.quantities import (
    Angle,
    Config,
    Duration,
    Length,
    NonNegativeAngle,
    NonNegativeLength,
    PositiveAngle,
    PositiveLength,
    Text,
)
from locbench.config.tag_sources import TagSource

__all__ = [
    "IncrementsSource",
    "MarksSource",
    "OdometrySource",
    "PodCounter",
    "PodCountsSource",
    "PoseSource",
    "PosesSource",
    "RequestsSource",
    "Segment",
    "SessionConfig",
    "Start",
    "VelocitiesSource",
]


class PodCounter(Config):
    """A counter column that wraps around after that many bits; without bits, 16 and 32 are recognised."""

    column: Annotated[Text, Field(examples=["enc_r"])]
    """The counter's column."""
    bits: Annotated[Annotated[int, Field(strict=True, ge=8, le=53)] | None, Field(examples=[16])] = None
    """The counter wraps around after that many bits; left out, 16 and 32 are recognised."""


class PodCountsSource(Table):
    """Cumulative encoder counts, and the gyro's heading if there is one, late by `heading_lag`."""

    kind: Literal["pod_counts"]
    """Cumulative encoder counts, the surest to log: constants can still be changed afterwards."""
    time: TimeColumn
    """Time of the row."""
    pods: Annotated[
        dict[str, Text | PodCounter], Field(examples=[{"left": "enc_l", "right": {"column": "enc_r", "bits": 16}}])
    ]
    """Counter column of each pod of the robot file; a table where it wraps around."""
    drive_wheels: Annotated[
        dict[str, Text | PodCounter], Field(default_factory=dict, examples=[{"front_left": "drive_fl"}])
    ]
    """Counter column of each driven wheel of the robot file, all or none: they only help to tell which pod slipped."""
    heading: AngleColumn | None = None
    """The gyro's heading; needed where the robot's `heading_from` uses it."""
    heading_lag: Annotated[Duration, Field(examples=["60 ms"])] = 0.0
    """How late the heading column is against the pods; it is undone on reading."""
    frame: Frame = Frame()
    """Which way the log's headings grow."""


class IncrementsSource(Table):
    """Motion in the robot frame since the previous row; the turn is a column, or the change of a heading column."""

    kind: Literal["increments"]
    """Motion in the robot frame since the row before."""
    time: TimeColumn
    """Time of the row."""
    forward: LengthColumn
    """Travel forward since the row before."""
    left: LengthColumn | None = None
    """Travel to the left since the row before; left out for a robot that cannot move so."""
    turn: AngleColumn | None = None
    """Turn since the row before, counter-clockwise; or give `heading`."""
    heading: AngleColumn | None = None
    """Heading, of which the changes are used; or give `turn`."""
    heading_lag: Annotated[Duration, Field(examples=["60 ms"])] = 0.0
    """How late the heading column is against the travel; it is undone on reading."""
    frame: Frame = Frame()
    """Which way the log's headings grow."""

    @model_validator(mode="after")
    def _one_source_of_turning(self) -> Self:
        if (self.turn is None) == (self.heading is None):
            raise ValueError('exactly one of "turn" and "heading" is needed|Add one or remove the other')
        return self


class VelocitiesSource(Table):
    """Velocities in the robot frame; the turn is a rate column, or the change of a heading column."""

    kind: Literal["velocities"]
    """Velocities in the robot frame."""
    time: TimeColumn
    """Time of the row."""
    forward: SpeedColumn
    """Speed in the direction in which the robot looks."""
    left: SpeedColumn | None = None
    """Speed to its left; left out for a robot that cannot move so."""
    turn_rate: TurnRateColumn | None = None
    """Turn rate, counter-clockwise; or give `heading`."""
    heading: AngleColumn | None = None
    """Heading, of which the changes are used; or give `turn_rate`."""
    heading_lag: Annotated[Duration, Field(examples=["60 ms"])] = 0.0
    """How late the heading column is against the speeds; it is undone on reading."""
    frame: Frame = Frame()
    """Which way the log's headings grow."""

    @model_validator(mode="after")
    def _one_source_of_turning(self) -> Self:
        if (self.turn_rate is None) == (self.heading is None):
            raise ValueError('exactly one of "turn_rate" and "heading" is needed|Add one or remove the other')
        return self


class PosesSource(Table):
    """Poses that an odometry computer integrated itself; only their changes are used."""

    kind: Literal["poses"]
    """Poses that an odometry computer integrated itself; only their changes count."""
    time: TimeColumn
    """Time of the row."""
    x: LengthColumn
    """Place along the log's x."""
    y: LengthColumn
    """Place along the log's y."""
    heading: AngleColumn
    """The heading that belongs to the place."""
    frame: Frame = Frame()
    """How the log's frame lies in the field."""


OdometrySource = Annotated[
    PodCountsSource | IncrementsSource | VelocitiesSource | PosesSource, Field(discriminator="kind")
]


class MarksSource(Table):
    """When the robot stood on which mark: one `time` per press, or `begin` and `end` of a dwell.

    The mark is a column of names from the field file, or x, y, heading columns with their standard uncertainties.
    """

    time: TimeColumn | None = None
    """Time of the button press on the mark; or give `begin` and `end`."""
    begin: TimeColumn | None = None
    """When a stand on the mark began; with `end`."""
    end: TimeColumn | None = None
    """When it ended; with `begin`."""
    mark: Annotated[Text | None, Field(examples=["mark"])] = None
    """Column of mark names from the field file; or give `x` and `y`."""
    x: LengthColumn | None = None
    """Where the robot stood, along field x; with `position_std`."""
    y: LengthColumn | None = None
    """Where the robot stood, along field y; with `position_std`."""
    heading: AngleColumn | None = None
    """Its heading there; with `heading_std`."""
    position_std: Annotated[PositiveLength | None, Field(examples=["2 mm"])] = None
    """How well the places were surveyed, for rows with `x`, `y` and for marks that carry none: standard deviation."""
    heading_std: Annotated[PositiveAngle | None, Field(examples=["0.3 deg"])] = None
    """The same of their headings."""
    frame: Frame = Frame()
    """How the table's frame lies in the field."""

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        if (self.begin is None) != (self.end is None) or (self.time is None) == (self.begin is None):
            raise ValueError('give "time" for a press, or "begin" and "end" for a dwell|Choose one of the two')
        placed = self.x is not None and self.y is not None
        if (self.mark is not None) == placed:
            raise ValueError('give "mark", or "x" and "y"|Choose one of the two')
        if placed and self.position_std is None:
            raise ValueError('"position_std" is needed beside "x" and "y"|Write how well the places were surveyed')
        if self.heading is not None and self.heading_std is None:
            raise ValueError('"heading_std" is needed beside "heading"|Write how well the headings were surveyed')
        return self


class PoseSource(Table):
    """A dense track of poses: a reference, or what the robot itself believed."""

    time: TimeColumn
    """Time of the row."""
    x: LengthColumn
    """Place along the log's x."""
    y: LengthColumn
    """Place along the log's y."""
    heading: AngleColumn | None = None
    """The heading that belongs to the place, if there is one."""
    position_std: Annotated[NonNegativeLength, Field(examples=["2 mm"])] = 0.0
    """How exact the places are: standard deviation per coordinate."""
    heading_std: Annotated[NonNegativeAngle, Field(examples=["0.3 deg"])] = 0.0
    """How exact the headings are: standard deviation."""
    frame: Frame = Frame()
    """How the log's frame lies in the field."""


class RequestsSource(Table):
    """When the driver pressed for a correction, one row per press."""

    time: TimeColumn
    """Time of each press with which the driver asked for a correction."""


class Start(Config):
    """Where the robot started and how surely; a mark that carries both standard uncertainties needs nothing more."""

    mark: Annotated[Text | None, Field(examples=["S1"])] = None
    """The mark it stood on; or give `x`, `y` and `heading`."""
    x: Annotated[Length | None, Field(examples=["0.70 m"])] = None
    """Where it stood, along field x."""
    y: Annotated[Length | None, Field(examples=["0.80 m"])] = None
    """Where it stood, along field y."""
    heading: Annotated[Angle | None, Field(examples=["0 deg"])] = None
    """Its heading; also beside a mark that has none."""
    position_std: Annotated[PositiveLength | None, Field(examples=["2 mm"])] = None
    """How exactly it was placed: standard deviation per coordinate; needed unless the mark carries it."""
    heading_std: Annotated[PositiveAngle | None, Field(examples=["0.3 deg"])] = None
    """How exactly it was turned: standard deviation; needed unless the mark carries it."""

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        placed = (self.x is not None, self.y is not None, self.heading is not None)
        if self.mark is None and not all(placed):
            raise ValueError('give "mark", or "x", "y" and "heading"|Choose one of the two')
        if self.mark is not None and any(placed[:2]):
            raise ValueError('"mark" and "x", "y" exclude each other|Remove one of them')
        if self.mark is None and (self.position_std is None or self.heading_std is None):
            raise ValueError('"position_std" and "heading_std" are needed|Write how exactly the robot was placed')
        return self


class Segment(Config):
    """A stretch of the log. Nothing accumulates across a carried one."""

    name: Annotated[Text, Field(examples=["autonomous"])]
    """What the stretch is called."""
    start: Annotated[Duration, Field(examples=["2 s"])]
    """When it begins, on the log's clock."""
    end: Annotated[Duration, Field(examples=["17 s"])]
    """When it ends, on the log's clock; later than `start`."""
    kind: Literal["autonomous", "driven", "carried"] = "driven"
    """What happened in it; nothing accumulates across a carried stretch."""
    start_pose: Annotated[Start | Literal["continue"], Field(examples=[{"mark": "S1"}])] = "continue"
    """Where the robot was when it began: as the stretch before it ended, or a table like `start`."""

    @model_validator(mode="after")
    def _is_not_empty(self) -> Self:
        if self.end <= self.start:
            raise ValueError('"end" must be later than "start"|Swap them')
        return self


class SessionConfig(Config):
    """One logged run. Paths are relative to the session file's folder."""

    name: Annotated[Text, Field(examples=["Tuesday run 3"])]
    """What the run is called in every table."""
    robot: Annotated[Text, Field(examples=["../../configs/robot_three_pods.toml"])]
    """The robot file, relative to this one, as all paths here."""
    field: Annotated[Text, Field(examples=["../../configs/field_orchard.toml"])]
    """The field file."""
    fusion: Annotated[tuple[Text, ...], Field(examples=[["../../configs/fusion_gated_kalman.toml"]])] = ()
    """Fusion files that are compared where the command names none."""
    shooter: Annotated[Text | None, Field(examples=["../../configs/shooter_orchard.toml"])] = None
    """The shooter file; left out, no shots are judged."""
    start: Start
    """Where the robot started, and how surely."""
    odometry: OdometrySource
    """What the robot measured of its own motion."""
    tags: TagSource | None = None
    """What the camera or radio measured of tags."""
    marks: MarksSource | None = None
    """When the robot stood on which surveyed mark."""
    truth: PoseSource | None = None
    """A dense reference of the pose, e.g. from motion capture."""
    onboard: PoseSource | None = None
    """The pose that the robot's own program believed."""
    requests: RequestsSource | None = None
    """When the driver pressed for a correction."""
    segments: tuple[Segment, ...] = ()
    """Stretches of the log, in order, without overlap; left out, it is all one."""

    @model_validator(mode="after")
    def _segments_follow_each_other(self) -> Self:
        for before, after in zip(self.segments, self.segments[1:], strict=False):
            if after.start < before.end:
                raise ValueError(
                    f'segment "{after.name}" starts before "{before.name}" ends|Put them in order, without overlap'
                )
            if before.kind == "carried" and after.kind != "carried" and after.start_pose == "continue":
                raise ValueError(
                    f'segment "{after.name}" follows a carried one and cannot continue it'
                    "|Give it a start_pose with a mark, or x, y and heading"
                )
        return self
