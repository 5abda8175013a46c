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
    quantity,
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
Period: Any = quantity(Dimension.TIME, 0.001, 1.0, open_ends=False)
# two hours of faster frames would not fit into memory
FramePeriod: Any = quantity(Dimension.TIME, 0.010, 1.0, open_ends=False)
# shorter and no gyro bias could be taken from it
Standstill: Any = quantity(Dimension.TIME, 1.5, open_ends=False)
SignedRatio: Any = quantity(Dimension.RATIO)
# 180 deg would need an infinitely wide image
FieldOfView: Any = quantity(Dimension.ANGLE, 0.0, 3.14)
# a printed side is not seen from 90 deg on
ViewAngle: Any = quantity(Dimension.ANGLE, 0.0, 1.55, open_ends=False)


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

    odometry_period: Annotated[Period, Field(examples=["10 ms"])] = 0.010
    """Time between odometry rows."""
    truth_period: Annotated[Period, Field(examples=["20 ms"])] = 0.020
    """Time between rows of the true pose."""


class Driving(Config):
    """The limits the driver keeps; each speed is reached no faster than in its time."""

    speed: Annotated[PositiveSpeed, Field(examples=["1.2 m/s"])] = 1.0
    """Highest speed."""
    time_to_speed: Annotated[PositiveDuration, Field(examples=["600 ms"])] = 0.5
    """Time in which it is reached."""
    turn_rate: Annotated[PositiveTurnRate, Field(examples=["200 deg/s"])] = 3.0
    """Highest turn rate."""
    time_to_turn_rate: Annotated[PositiveDuration, Field(examples=["500 ms"])] = 0.4
    """Time in which it is reached."""


class StartingPlace(Config):
    """The mark the robot starts on, and how long it stands there first, so that a gyro bias can be taken."""

    mark: Annotated[Text, Field(examples=["S1"])]
    """The mark the robot starts on."""
    standstill: Annotated[Standstill, Field(examples=["3 s"])] = 2.0
    """How long it stands there before driving off, so that a gyro bias can be taken."""


class WaypointConfig(Config):
    """A place to drive to: a mark, or x, y and heading. Without a dwell it is passed without stopping."""

    mark: Annotated[Text | None, Field(examples=["M1"])] = None
    """A mark to drive to; or give `x`, `y` and `heading`."""
    x: Annotated[Length | None, Field(examples=["2 m"])] = None
    """Place along field x."""
    y: Annotated[Length | None, Field(examples=["1.5 m"])] = None
    """Place along field y."""
    heading: Annotated[Angle | None, Field(examples=["90 deg"])] = None
    """Heading there; beside a mark only where that has none, or where the robot passes without a stand."""
    dwell: Annotated[NonNegativeDuration, Field(examples=["1.5 s"])] = 0.0
    """How long the robot stands there; 0 s passes without stopping."""

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

    position_std: Annotated[NonNegativeLength, Field(examples=["2 mm"])] = 0.0
    """How exactly the robot is put on a mark: standard deviation per coordinate."""
    heading_std: Annotated[NonNegativeAngle, Field(examples=["0.3 deg"])] = 0.0
    """How exactly it is turned there: standard deviation."""


class Slip(Config):
    """A while in which one pod, or driven wheel, loses that share of its travel."""

    pod: Annotated[Text, Field(examples=["left"])]
    """The pod, or driven wheel, that slips."""
    start: Annotated[NonNegativeDuration, Field(examples=["20 s"])]
    """When it begins."""
    duration: Annotated[PositiveDuration, Field(examples=["400 ms"])]
    """How long it lasts."""
    lost: Annotated[Share, Field(examples=["60 %"])]
    """Share of its travel that it does not count."""


class Shove(Config):
    """Another robot pushes for the time of `contact`; during `recovery` the driver steers back onto the path.

    `dx`, `dy` are in the field frame. While in contact each pod, or driven wheel, named in `pods_lose` loses that share
    of its travel, and the gyro that share of the turn.
    """

    start: Annotated[NonNegativeDuration, Field(examples=["27 s"])]
    """When the contact begins."""
    contact: Annotated[PositiveDuration, Field(examples=["300 ms"])]
    """How long the robot is pushed."""
    recovery: Annotated[PositiveDuration, Field(examples=["1.5 s"])]
    """How long the driver takes to steer back onto the path."""
    dx: Annotated[Length, Field(examples=["150 mm"])] = 0.0
    """How far it is pushed along field x."""
    dy: Annotated[Length, Field(examples=["-80 mm"])] = 0.0
    """How far it is pushed along field y."""
    turn: Annotated[Angle, Field(examples=["20 deg"])] = 0.0
    """How far it is turned, counter-clockwise."""
    pods_lose: Annotated[dict[str, Share], Field(default_factory=dict, examples=[{"left": "60 %"}])]
    """Share of its travel that each pod, or driven wheel, named loses while in contact."""
    gyro_loses: Annotated[Share, Field(examples=["5 %"])] = 0.0
    """Share of the turn that the gyro loses while in contact."""


class TruePodGeometry(Config):
    """What a pod, or driven wheel, really is, where that differs from the robot file."""

    x: Annotated[PlaceOnRobot | None, Field(examples=["-106 mm"])] = None
    """True place forward of the reference point; left out, as the robot file says."""
    y: Annotated[PlaceOnRobot | None, Field(examples=["118 mm"])] = None
    """True place to the left of it."""
    rolling_direction: Annotated[Angle | None, Field(examples=["91 deg"])] = None
    """True rolling direction, counter-clockwise from forward."""
    wheel_diameter: Annotated[PositiveLength | None, Field(examples=["49.7 mm"])] = None
    """True diameter."""


class TrueTagOffset(Config):
    """How far a tag really is from its place in the field file."""

    id: Annotated[int, Field(strict=True, ge=0, examples=[3])]
    """The tag."""
    dx: Annotated[Length, Field(examples=["30 mm"])] = 0.0
    """How far it really is from its place in the field file, along field x."""
    dy: Annotated[Length, Field(examples=["-20 mm"])] = 0.0
    """The same along field y."""
    turn: Annotated[Angle, Field(examples=["2 deg"])] = 0.0
    """How far it is really turned, counter-clockwise."""


class TrueGeometry(Config):
    """Where the world differs from what the files say."""

    pods: Annotated[dict[str, TruePodGeometry], Field(default_factory=dict)]
    """What pods, and driven wheels, really are, by name, where that differs from the robot file."""
    tags: tuple[TrueTagOffset, ...] = ()
    """Tags that are not where the field file says."""

    @model_validator(mode="after")
    def _tags_are_listed_once(self) -> Self:
        listed = sorted(tag.id for tag in self.tags)
        for before, after in pairwise(listed):
            if before == after:
                raise ValueError(f"tag id {after} appears more than once|Remove one of them")
        return self


class PodErrors(Config):
    """Random error of a wheel's travel: standard deviation after one metre; its variance grows with the travel."""

    along_per_metre: Annotated[NonNegativeLength, Field(examples=["3 mm"])] = 0.0
    """Standard deviation of each wheel's travel after one metre; the variance grows with the travel."""


class GyroErrors(Config):
    """Errors of the gyro. `heading_per_minute` is the random walk of its heading after one minute."""

    bias: Annotated[TurnRate, Field(examples=["0.06 deg/s"])] = 0.0
    """Turn rate that it reads at rest."""
    heading_per_minute: Annotated[NonNegativeAngle, Field(examples=["0.2 deg"])] = 0.0
    """Standard deviation of its heading after one minute (random walk)."""
    scale_error: Annotated[SignedRatio, Field(examples=["0.5 %"])] = 0.0
    """Share by which turns read too large."""
    lag: Annotated[NonNegativeDuration, Field(examples=["4 ms"])] = 0.0
    """How much later it reads what happened."""


class CameraNoise(Config):
    """Standard deviations of one detection at range r (metres) and view angle v.

    Along the line of sight: floor and `at_one_metre` x r^2, in quadrature. Across it and in heading: floor and
    `at_one_metre` x r. All times 1 + view_angle_growth sin^2 v.
    """

    along_floor: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.0
    """Along the line of sight: the part that does not depend on range; of a range, too."""
    along_at_one_metre: Annotated[NonNegativeLength, Field(examples=["8 mm"])] = 0.0
    """Along the line of sight: at one metre; grows with the square of range."""
    across_floor: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.0
    """Across the line of sight: the part that does not depend on range; over the range, of a bearing, too."""
    across_at_one_metre: Annotated[NonNegativeLength, Field(examples=["10 mm"])] = 0.0
    """Across the line of sight: at one metre; grows with range."""
    heading_floor: Annotated[NonNegativeAngle, Field(examples=["0.8 deg"])] = 0.0
    """Headings: the part that does not depend on range."""
    heading_at_one_metre: Annotated[NonNegativeAngle, Field(examples=["0.5 deg"])] = 0.0
    """Headings: at one metre; grows with range."""
    view_angle_growth: Annotated[float, Field(ge=0.0, strict=True, examples=[1.0])] = 0.0
    """All standard deviations are multiplied by 1 + this x sin² of the view angle."""


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

    mount: Annotated[Text, Field(examples=["front"])]
    """One of the robot file's cameras; one on the turret is kept on the field's first goal."""
    reports: CameraReport = CameraReport.ROBOT_POSE
    """Which kind of detections the log holds."""
    frame_period: Annotated[FramePeriod, Field(examples=["50 ms"])] = 0.050
    """Time between frames."""
    field_of_view: Annotated[FieldOfView, Field(examples=["60 deg"])] = 1.2
    """Full width of the image as an angle."""
    vertical_field_of_view: Annotated[FieldOfView | None, Field(examples=["50 deg"])] = None
    """Full height of the image as an angle; left out, no limit."""
    minimum_range: Annotated[PositiveLength, Field(examples=["250 mm"])] = 0.2
    """Shortest range at which tags are seen."""
    maximum_range: Annotated[PositiveLength, Field(examples=["2.2 m"])] = 4.0
    """Longest range at which tags are seen, more than `minimum_range`."""
    maximum_view_angle: Annotated[ViewAngle, Field(examples=["60 deg"])] = 1.2
    """Largest view angle at which tags are seen: between the tag's normal and the line of sight."""
    dropped: Annotated[Share, Field(examples=["8 %"])] = 0.0
    """Share of all detections that never arrive."""
    flips: Annotated[Share, Field(examples=["0.6 %"])] = 0.0
    """Share in which a flat tag's tilt is taken the wrong way round: more often far away and nearly face on, never
    in kinds without a heading of the tag."""
    false_ids: Annotated[Share, Field(examples=["0.3 %"])] = 0.0
    """Share with the id of another tag."""
    latency: Annotated[NonNegativeDuration, Field(examples=["50 ms"])] = 0.0
    """Mean time from capture to arrival."""
    latency_jitter: Annotated[NonNegativeDuration, Field(examples=["6 ms"])] = 0.0
    """Standard deviation of that time."""
    noise: CameraNoise = CameraNoise()
    """Standard deviations of one detection, from its range and view angle."""

    @model_validator(mode="after")
    def _sees_something(self) -> Self:
        if self.maximum_range <= self.minimum_range:
            raise ValueError("maximum_range must be larger than minimum_range|Swap them")
        if self.latency_jitter > 0.0 and self.latency == 0.0:
            raise ValueError("latency_jitter needs a latency: nothing arrives before it is seen|Add latency")
        return self


class ScenarioConfig(Config):
    """A simulated run. Paths are relative to the scenario file's folder."""

    name: Annotated[Text, Field(examples=["Orchard, healthy"])]
    """What the run is called."""
    seed: Annotated[int, Field(strict=True, ge=0, examples=[41])]
    """The same seed makes the same log."""
    robot: Annotated[Text, Field(examples=["robot_three_pods.toml"])]
    """The robot file, relative to this one, as all paths here."""
    field: Annotated[Text, Field(examples=["field_orchard.toml"])]
    """The field file."""
    fusion: Annotated[tuple[Text, ...], Field(examples=[["fusion_gated_kalman.toml"]])] = ()
    """Fusion files that the session will name."""
    shooter: Annotated[Text | None, Field(examples=["shooter_orchard.toml"])] = None
    """The shooter file that the session will name."""
    start: StartingPlace
    """Where the run starts."""
    waypoints: Annotated[tuple[WaypointConfig, ...], Field(min_length=1)]
    """Places to drive to, in order; at least one."""
    noise: NoiseModel = NoiseModel.PODS
    """Where the odometry's errors come from: each wheel's contact with the floor and a gyro, or exactly the robot
    file's `[motion_noise]`, the run an honest filter believes in."""
    logging: Logging = Logging()
    """Times between rows."""
    driving: Driving = Driving()
    """Limits that the driver keeps."""
    placing: Placing = Placing()
    """How exactly the robot is put on marks."""
    pods: PodErrors = PodErrors()
    """Random errors of the pods' travel."""
    drive_wheels: PodErrors = PodErrors()
    """Random errors of the driven wheels' travel."""
    gyro: GyroErrors = GyroErrors()
    """Errors of the gyro."""
    camera: CameraErrors | None = None
    """What the camera sees, how late, and how wrong; left out, there is none."""
    slips: tuple[Slip, ...] = ()
    """While each lasts, one pod, or driven wheel, loses a share of its travel."""
    shoves: tuple[Shove, ...] = ()
    """Contacts in which another robot pushes this one."""
    requests: Annotated[tuple[NonNegativeDuration, ...], Field(examples=[["12 s"]])] = ()
    """When the driver presses for a correction."""
    truth: Annotated[TrueGeometry, Field(default_factory=TrueGeometry)]
    """What the robot and field files do not know."""

    @model_validator(mode="after")
    def _errors_go_with_the_noise_model(self) -> Self:
        if self.noise is NoiseModel.PODS:
            return self
        for key in ("placing", "pods", "drive_wheels", "gyro", "slips"):
            if key in self.model_fields_set:
                raise ValueError(f'noise = "body" simulates no pods and no gyro, so {key} would do nothing|Remove it')
        if self.truth.pods:
            raise ValueError('noise = "body" simulates no pods, so truth.pods would do nothing|Remove it')
        if any(shove.pods_lose or shove.gyro_loses for shove in self.shoves):
            raise ValueError('noise = "body" simulates no pods and no gyro that a shove could disturb|Remove losses')
        return self
