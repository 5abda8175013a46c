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

    column: Text
    bits: Annotated[int, Field(strict=True, ge=8, le=53)] | None = None


class PodCountsSource(Table):
    """Cumulative encoder counts, and the gyro's heading if there is one, late by `heading_lag`."""

    kind: Literal["pod_counts"]
    time: TimeColumn
    pods: dict[str, Text | PodCounter]
    heading: AngleColumn | None = None
    heading_lag: Duration = 0.0
    frame: Frame = Frame()


class IncrementsSource(Table):
    """Motion in the robot frame since the previous row; the turn is a column, or the change of a heading column."""

    kind: Literal["increments"]
    time: TimeColumn
    forward: LengthColumn
    left: LengthColumn | None = None
    turn: AngleColumn | None = None
    heading: AngleColumn | None = None
    heading_lag: Duration = 0.0
    frame: Frame = Frame()

    @model_validator(mode="after")
    def _one_source_of_turning(self) -> Self:
        if (self.turn is None) == (self.heading is None):
            raise ValueError('exactly one of "turn" and "heading" is needed|Add one or remove the other')
        return self


class VelocitiesSource(Table):
    """Velocities in the robot frame; the turn is a rate column, or the change of a heading column."""

    kind: Literal["velocities"]
    time: TimeColumn
    forward: SpeedColumn
    left: SpeedColumn | None = None
    turn_rate: TurnRateColumn | None = None
    heading: AngleColumn | None = None
    heading_lag: Duration = 0.0
    frame: Frame = Frame()

    @model_validator(mode="after")
    def _one_source_of_turning(self) -> Self:
        if (self.turn_rate is None) == (self.heading is None):
            raise ValueError('exactly one of "turn_rate" and "heading" is needed|Add one or remove the other')
        return self


class PosesSource(Table):
    """Poses that an odometry computer integrated itself; only their changes are used."""

    kind: Literal["poses"]
    time: TimeColumn
    x: LengthColumn
    y: LengthColumn
    heading: AngleColumn
    frame: Frame = Frame()


OdometrySource = Annotated[
    PodCountsSource | IncrementsSource | VelocitiesSource | PosesSource, Field(discriminator="kind")
]


class MarksSource(Table):
    """When the robot stood on which mark: one `time` per press, or `begin` and `end` of a dwell.

    The mark is a column of names from the field file, or x, y, heading columns with their standard uncertainties.
    """

    time: TimeColumn | None = None
    begin: TimeColumn | None = None
    end: TimeColumn | None = None
    mark: Text | None = None
    x: LengthColumn | None = None
    y: LengthColumn | None = None
    heading: AngleColumn | None = None
    position_std: PositiveLength | None = None
    heading_std: PositiveAngle | None = None
    frame: Frame = Frame()

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
    x: LengthColumn
    y: LengthColumn
    heading: AngleColumn | None = None
    position_std: NonNegativeLength = 0.0
    heading_std: NonNegativeAngle = 0.0
    frame: Frame = Frame()


class RequestsSource(Table):
    """When the driver pressed for a correction, one row per press."""

    time: TimeColumn


class Start(Config):
    """Where the robot started and how surely; a mark that carries both standard uncertainties needs nothing more."""

    mark: Text | None = None
    x: Length | None = None
    y: Length | None = None
    heading: Angle | None = None
    position_std: PositiveLength | None = None
    heading_std: PositiveAngle | None = None

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

    name: Text
    start: Duration
    end: Duration
    kind: Literal["autonomous", "driven", "carried"] = "driven"
    start_pose: Start | Literal["continue"] = "continue"

    @model_validator(mode="after")
    def _is_not_empty(self) -> Self:
        if self.end <= self.start:
            raise ValueError('"end" must be later than "start"|Swap them')
        return self


class SessionConfig(Config):
    """One logged run. Paths are relative to the session file's folder."""

    name: Text
    robot: Text
    field: Text
    fusion: tuple[Text, ...] = ()
    shooter: Text | None = None
    start: Start
    odometry: OdometrySource
    tags: TagSource | None = None
    marks: MarksSource | None = None
    truth: PoseSource | None = None
    onboard: PoseSource | None = None
    requests: RequestsSource | None = None
    segments: tuple[Segment, ...] = ()

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
