"""The scenario file: where a simulated robot drives, what happens to it, and how its sensors err."""

from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Any, Self

from pydantic import Field, model_validator

from locbench.config.quantities import (
    Angle,
    Config,
    Length,
    NonNegativeAngle,
    NonNegativeDuration,
    NonNegativeLength,
    PlaceOnRobot,
    PositiveDuration,
    PositiveLength,
    PositiveSpeed,
    PositiveTurnRate,
    Share,
    Text,
    TurnRate,
    _quantity,
)
from locbench.units import Dimension

__all__ = [
    "CameraErrors",
    "CameraNoise",
    "CameraReport",
    "Driving",
    "GyroErrors",
    "Logging",
    "NoiseModel",
    "Placing",
    "PodErrors",
    "ScenarioConfig",
    "Shove",
    "Slip",
    "StartingPlace",
    "TrueGeometry",
    "TruePodGeometry",
    "TrueTagOffset",
    "WaypointConfig",
]

# from 1 kHz to 1 Hz: faster rows than the contact motion is integrated at would carry no news
Period: Any = _quantity(Dimension.TIME, 0.001, 1.0, open_ends=False)
# two hours of faster frames would not fit into memory
FramePeriod: Any = _quantity(Dimension.TIME, 0.010, 1.0, open_ends=False)
# shorter and no gyro bias could be taken from it
Standstill: Any = _quantity(Dimension.TIME, 1.5, open_ends=False)
SignedRatio: Any = _quantity(Dimension.RATIO)
# 180 deg would need an infinitely wide image
FieldOfView: Any = _quantity(Dimension.ANGLE, 0.0, 3.14)
# a printed side is not seen from 90 deg on
ViewAngle: Any = _quantity(Dimension.ANGLE, 0.0, 1.55, open_ends=False)


class NoiseModel(StrEnum):
    """Where the odometry's random errors come from.

    `PODS`: each wheel's contact point is followed through the world and its counts are logged. `BODY`: body increments
    are logged, with exactly the errors that the robot file's [motion_noise] speaks of, and the robot is put on marks as
    exactly as the field file says: the run that a filter with these settings believes in.
    """

    PODS = "pods"
    BODY = "body"


class Logging(Config):
    """How often rows are written."""

    odometry_period: Annotated[Period, Field(description="Time between odometry rows")] = 0.010
    truth_period: Annotated[Period, Field(description="Time between rows of the true pose")] = 0.020


class Driving(Config):
    """The limits the driver keeps; each speed is reached no faster than in its time."""

    speed: PositiveSpeed = 1.0
    time_to_speed: PositiveDuration = 0.5
    turn_rate: PositiveTurnRate = 3.0
    time_to_turn_rate: PositiveDuration = 0.4


class StartingPlace(Config):
    """The mark the robot starts on, and how long it stands there first, so that a gyro bias can be taken."""

    mark: Text
    standstill: Annotated[Standstill, Field(description="Time on the starting mark before driving off")] = 2.0


class WaypointConfig(Config):
    """A place to drive to: a mark, or x, y and heading. Without a dwell it is passed without stopping."""

    mark: Text | None = None
    x: Length | None = None
    y: Length | None = None
    heading: Angle | None = None
    dwell: NonNegativeDuration = 0.0

    @model_validator(mode="after")
    def _is_complete(self) -> Self:
        placed = (self.x is not None, self.y is not None)
        if self.mark is None and not (all(placed) and self.heading is not None):
            raise ValueError('give "mark", or "x", "y" and "heading"|Choose one of the two')
        if self.mark is not None and any(placed):
            raise ValueError('"mark" and "x", "y" exclude each other|Remove one of them')
        return self


class Placing(Config):
    """How exactly the robot is put on a mark: standard deviations per coordinate and of the heading."""

    position_std: NonNegativeLength = 0.0
    heading_std: NonNegativeAngle = 0.0


class Slip(Config):
    """A while in which one pod loses that share of its travel."""

    pod: Text
    start: NonNegativeDuration
    duration: PositiveDuration
    lost: Share


class Shove(Config):
    """Another robot pushes for the time of `contact`; during `recovery` the driver steers back onto the path.

    `dx`, `dy` are in the field frame. While in contact each pod named in `pods_lose` loses that share of its travel,
    and the gyro that share of the turn.
    """

    start: NonNegativeDuration
    contact: PositiveDuration
    recovery: PositiveDuration
    dx: Length = 0.0
    dy: Length = 0.0
    turn: Angle = 0.0
    pods_lose: Annotated[dict[str, Share], Field(default_factory=dict)]
    gyro_loses: Share = 0.0


class TruePodGeometry(Config):
    """What a pod really is, where that differs from the robot file."""

    x: PlaceOnRobot | None = None
    y: PlaceOnRobot | None = None
    rolling_direction: Angle | None = None
    wheel_diameter: PositiveLength | None = None


class TrueTagOffset(Config):
    """How far a tag really is from its place in the field file."""

    id: Annotated[int, Field(strict=True, ge=0)]
    dx: Length = 0.0
    dy: Length = 0.0
    turn: Angle = 0.0


class TrueGeometry(Config):
    """Where the world differs from what the files say."""

    pods: Annotated[dict[str, TruePodGeometry], Field(default_factory=dict)]
    tags: tuple[TrueTagOffset, ...] = ()

    @model_validator(mode="after")
    def _tags_are_listed_once(self) -> Self:
        listed = sorted(tag.id for tag in self.tags)
        for before, after in pairwise(listed):
            if before == after:
                raise ValueError(f"tag id {after} appears more than once|Remove one of them")
        return self


class PodErrors(Config):
    """Random error of a pod's travel: standard deviation after one metre; its variance grows with the travel."""

    along_per_metre: NonNegativeLength = 0.0


class GyroErrors(Config):
    """Errors of the gyro. `heading_per_minute` is the random walk of its heading after one minute."""

    bias: TurnRate = 0.0
    heading_per_minute: NonNegativeAngle = 0.0
    scale_error: Annotated[SignedRatio, Field(description="Share by which turns read too large")] = 0.0
    lag: NonNegativeDuration = 0.0


class CameraNoise(Config):
    """Standard deviations of one detection at range r (metres) and view angle v.

    Along the line of sight: floor and `at_one_metre` x r^2, in quadrature. Across it and in heading: floor and
    `at_one_metre` x r. All times 1 + view_angle_growth sin^2 v.
    """

    along_floor: NonNegativeLength = 0.0
    along_at_one_metre: NonNegativeLength = 0.0
    across_floor: NonNegativeLength = 0.0
    across_at_one_metre: NonNegativeLength = 0.0
    heading_floor: NonNegativeAngle = 0.0
    heading_at_one_metre: NonNegativeAngle = 0.0
    view_angle_growth: Annotated[float, Field(ge=0.0, strict=True)] = 0.0


class CameraReport(StrEnum):
    """What the camera's program makes of a picture."""

    ROBOT_POSE = "robot_pose"
    TAG_POSE = "tag_pose"
    RANGE_BEARING = "range_bearing"
    BEARING = "bearing"
    RANGE = "range"


class CameraErrors(Config):
    """One of the robot file's cameras: what it sees, how late, and how wrong.

    `dropped`, `flips` and `false_ids` are shares of all detections. Flips, in which a planar tag's tilt is taken the
    wrong way round, are more frequent far away and nearly face on; kinds without a heading of the tag have none.
    `latency` is a mean, `latency_jitter` a standard deviation. A camera carried by the turret is kept on the field's
    first goal. Noise along the line of sight is that of a range, noise across it over the range that of a bearing.
    """

    mount: Text
    reports: Annotated[CameraReport, Field(description="Which kind of detections the log holds")] = (
        CameraReport.ROBOT_POSE
    )
    frame_period: Annotated[FramePeriod, Field(description="Time between frames")] = 0.050
    field_of_view: Annotated[FieldOfView, Field(description="Full width of the image as an angle")] = 1.2
    vertical_field_of_view: Annotated[FieldOfView | None, Field(description="Its full height; else no limit")] = None
    minimum_range: PositiveLength = 0.2
    maximum_range: PositiveLength = 4.0
    maximum_view_angle: Annotated[ViewAngle, Field(description="Between tag normal and line of sight")] = 1.2
    dropped: Share = 0.0
    flips: Share = 0.0
    false_ids: Share = 0.0
    latency: NonNegativeDuration = 0.0
    latency_jitter: NonNegativeDuration = 0.0
    noise: CameraNoise = CameraNoise()

    @model_validator(mode="after")
    def _sees_something(self) -> Self:
        if self.maximum_range <= self.minimum_range:
            raise ValueError("maximum_range must be larger than minimum_range|Swap them")
        if self.latency_jitter > 0.0 and self.latency == 0.0:
            raise ValueError("latency_jitter needs a latency: nothing arrives before it is seen|Add latency")
        return self


class ScenarioConfig(Config):
    """A simulated run. Paths are relative to the scenario file's folder."""

    name: Text
    seed: Annotated[int, Field(strict=True, ge=0)]
    robot: Text
    field: Text
    fusion: tuple[Text, ...] = ()
    shooter: Text | None = None
    start: StartingPlace
    waypoints: Annotated[tuple[WaypointConfig, ...], Field(min_length=1)]
    noise: NoiseModel = NoiseModel.PODS
    logging: Logging = Logging()
    driving: Driving = Driving()
    placing: Placing = Placing()
    pods: PodErrors = PodErrors()
    gyro: GyroErrors = GyroErrors()
    camera: CameraErrors | None = None
    slips: tuple[Slip, ...] = ()
    shoves: tuple[Shove, ...] = ()
    requests: Annotated[
        tuple[NonNegativeDuration, ...], Field(description="When the driver presses for a correction")
    ] = ()
    truth: Annotated[TrueGeometry, Field(default_factory=TrueGeometry)]

    @model_validator(mode="after")
    def _errors_go_with_the_noise_model(self) -> Self:
        if self.noise is NoiseModel.PODS:
            return self
        for key in ("placing", "pods", "gyro", "slips"):
            if key in self.model_fields_set:
                raise ValueError(f'noise = "body" simulates no pods and no gyro, so {key} would do nothing|Remove it')
        if self.truth.pods:
            raise ValueError('noise = "body" simulates no pods, so truth.pods would do nothing|Remove it')
        if any(shove.pods_lose or shove.gyro_loses for shove in self.shoves):
            raise ValueError('noise = "body" simulates no pods and no gyro that a shove could disturb|Remove losses')
        return self
