"""The robot file: pods, gyro, cameras, and how its motion noise grows."""

from enum import StrEnum
from typing import Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from locbench.arrays import FloatArray
from locbench.config.quantities import (
    Angle,
    Config,
    Count,
    Length,
    NonNegativeAngle,
    NonNegativeLength,
    PlaceOnRobot,
    PositiveAngle,
    PositiveLength,
    Text,
)
from locbench.geometry import compose, rolling_row, unseen_motion

__all__ = ["CameraMount", "DoubtedFactor", "DriveWheel", "Gyro", "MotionNoise", "Pod", "RobotConfig", "SensorKind"]


class SensorKind(StrEnum):
    """What measures a motion."""

    POD = "pod"
    DRIVE_WHEEL = "drive_wheel"
    GYRO = "gyro"


class Pod(Config):
    """An unpowered odometry wheel with an encoder.

    `along_per_metre` is the standard deviation of its travel after one metre; it weighs the pods against each other.
    """

    x: Annotated[PlaceOnRobot, Field(examples=["-100 mm"])]
    """Place of the wheel on the robot, forward of the reference point."""
    y: Annotated[PlaceOnRobot, Field(examples=["120 mm"])]
    """Place of the wheel, to the left of the reference point."""
    rolling_direction: Angle = 0.0
    """Direction on the robot in which the wheel rolls, counter-clockwise from forward: 0 deg forward, 90 deg to the
    left."""
    wheel_diameter: Annotated[PositiveLength, Field(examples=["50 mm"])]
    """Diameter of the wheel where it touches the floor."""
    counts_per_revolution: Annotated[Count, Field(examples=[4096])]
    """Encoder counts in one turn of the wheel."""
    reversed: bool = False
    """Whether counts go down when the wheel rolls in its direction."""
    along_per_metre: Annotated[PositiveLength, Field(examples=["2 mm"])] = 0.001
    """Standard deviation of the wheel's travel after one metre; it weighs the pods against each other."""

    @property
    def metres_per_count(self) -> float:
        """Signed travel of one count."""
        size = float(np.pi * self.wheel_diameter / self.counts_per_revolution)
        return -size if self.reversed else size

    @property
    def rounding_variance(self) -> float:
        """Variance of the travel between two counts, each rounded: twice one twelfth of a count squared."""
        return self.metres_per_count**2 / 6.0

    @property
    def row(self) -> FloatArray:
        """(3,) such that row . (dx, dy, dtheta) is this pod's travel."""
        return rolling_row(self.x, self.y, self.rolling_direction)


class DriveWheel(Pod):
    """A driven wheel with an encoder: it spins and skids, so it is trusted less than a pod.

    A wheel with rollers at 45 deg rolls freely across them: enter the direction in which it grips, and its diameter
    divided by the square root of two.
    """

    along_per_metre: Annotated[PositiveLength, Field(examples=["20 mm"])] = 0.020
    """Standard deviation of the wheel's travel after one metre."""


class Gyro(Config):
    """`heading_per_minute` is the standard deviation of the heading after one minute, bias removed."""

    heading_per_minute: Annotated[PositiveAngle, Field(examples=["0.3 deg"])] = float(np.radians(0.5))
    """Standard deviation of the heading after one minute, bias removed."""
    scale: Annotated[float, Field(gt=0.5, lt=2.0, strict=True, examples=[1.004])] = 1.0
    """How far the robot really turns while the gyro's heading turns by one: 1.004 where it reads 0.4 % too little."""


class CameraMount(Config):
    """Where a camera or ranging antenna sits: x forward, y left, z up; intrinsic z-y-x yaw, pitch, roll.

    Carried by the turret, x, y and yaw are about the turret's axis at its yaw 0 and turn with it; z is from the floor.
    """

    carried_by: Literal["robot", "turret"] = "robot"
    """What the camera is fixed on; a turret turns it, and then x, y and yaw are about its axis at yaw 0."""
    turret_x: Annotated[PlaceOnRobot, Field(examples=["-50 mm"])] = 0.0
    """Place of the turret's axis, forward of the reference point."""
    turret_y: Annotated[PlaceOnRobot, Field(examples=["0 mm"])] = 0.0
    """Place of the turret's axis, to the left of the reference point."""

    x: Annotated[PlaceOnRobot, Field(examples=["150 mm"])] = 0.0
    """Place of the lens or antenna, forward."""
    y: Annotated[PlaceOnRobot, Field(examples=["0 mm"])] = 0.0
    """Place of the lens or antenna, to the left."""
    z: Annotated[Length, Field(examples=["350 mm"])] = 0.0
    """Height of the lens or antenna above the floor."""
    yaw: Annotated[Angle, Field(examples=["0 deg"])] = 0.0
    """Turn of the optical axis to the left, first of the three turns."""
    pitch: Annotated[Angle, Field(examples=["-8 deg"])] = 0.0
    """Tilt of the optical axis, second; positive looks down."""
    roll: Annotated[Angle, Field(examples=["0 deg"])] = 0.0
    """Turn about the optical axis, third."""

    @model_validator(mode="after")
    def _axis_has_a_turret(self) -> Self:
        if self.carried_by == "robot" and self.model_fields_set & {"turret_x", "turret_y"}:
            raise ValueError(
                'turret_x and turret_y need carried_by = "turret"|Add it, or remove them from a camera on the robot'
            )
        return self

    @property
    def turns(self) -> bool:
        """Whether the turret carries the camera."""
        return self.carried_by == "turret"

    def placed(self, turret_yaw_rad: FloatArray) -> FloatArray:
        """Return (M, 6) x, y, z, yaw, pitch, roll on the robot at turret yaws (M,), which a fixed mount ignores."""
        count = len(turret_yaw_rad)
        plane = np.tile([self.x, self.y, self.yaw], (count, 1))
        if self.turns:
            axis = np.column_stack([np.tile([self.turret_x, self.turret_y], (count, 1)), turret_yaw_rad])
            plane = compose(axis, plane)
        rest = np.tile([self.z, self.pitch, self.roll], (count, 1))
        return np.column_stack([plane[:, :2], rest[:, 0], plane[:, 2], rest[:, 1:]])


DoubtedFactor = Annotated[float, Field(ge=1.0, strict=True, allow_inf_nan=False, examples=[5.0])]


class MotionNoise(Config):
    """Standard deviation of the motion after that length, turn or time; variances add and grow linearly.

    Along and across are about the direction of travel of the reference point. While the odometry looks doubtful (a gap,
    a slip, a lifted pod, a shove) all standard deviations are multiplied by `doubted_factor`.
    """

    along_per_metre: Annotated[NonNegativeLength, Field(examples=["8 mm"])] = 0.010
    """Standard deviation along the direction of travel after one metre."""
    across_per_metre: Annotated[NonNegativeLength, Field(examples=["8 mm"])] = 0.010
    """Standard deviation across the direction of travel after one metre."""
    heading_per_metre: Annotated[NonNegativeAngle, Field(examples=["0.1 deg"])] = float(np.radians(0.2))
    """Standard deviation of the heading after one metre."""
    heading_per_turn: Annotated[NonNegativeAngle, Field(examples=["0.5 deg"])] = float(np.radians(0.5))
    """Standard deviation of the heading after one whole turn."""
    heading_per_minute: Annotated[NonNegativeAngle, Field(examples=["0.5 deg"])] = float(np.radians(0.5))
    """Standard deviation of the heading after one minute."""
    doubted_factor: DoubtedFactor = 1.0
    """Times all these while odometry looks doubtful: a gap, a slip, a lifted pod, a shove."""


class RobotConfig(Config):
    """The robot as its program believes it to be."""

    name: Annotated[Text, Field(examples=["three pods"])]
    """What the robot is called."""
    heading_from: Literal["gyro", "pods", "blend"] = "gyro"
    """Where turns come from: the gyro taken as exact, the pods alone, or both weighed."""
    pods: Annotated[dict[str, Pod], Field(default_factory=dict)]
    """Unpowered odometry wheels by name; the log gives a counter column for each."""
    drive_wheels: Annotated[dict[str, DriveWheel], Field(default_factory=dict)]
    """Driven wheels with encoders by name: no pose is computed from them, but they contradict a pod that slips."""
    gyro: Gyro | None = None
    """The gyro; left out if there is none."""
    cameras: Annotated[dict[str, CameraMount], Field(default_factory=dict)]
    """Cameras and ranging antennas by name."""
    motion_noise: MotionNoise = MotionNoise()
    """How dead reckoning drifts; variances add and grow linearly with metres, turns and minutes."""

    @model_validator(mode="after")
    def _wheels_have_names_of_their_own(self) -> Self:
        for name in self.drive_wheels:
            if name in self.pods:
                raise ValueError(f'"{name}" is a pod and a driven wheel|Give one of them another name')
        return self

    @model_validator(mode="after")
    def _layout_sees_all_motions(self) -> Self:
        if self.heading_from != "pods" and self.pods and self.gyro is None:
            raise ValueError(
                f'heading_from = "{self.heading_from}" needs a [gyro]|Add [gyro], or set heading_from = "pods"'
            )
        if not self.pods:
            return self
        rows = [pod.row for pod in self.pods.values()]
        if self.heading_from != "pods":
            rows.append(np.array([0.0, 0.0, 1.0]))
        hidden = unseen_motion(np.array(rows))
        if hidden:
            raise ValueError(
                f"this pod layout cannot see {' or '.join(hidden)}"
                "|Add a pod that rolls in that motion, or correct positions and rolling directions"
            )
        return self
