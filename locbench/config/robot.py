"""The robot file: pods, gyro, cameras, and how its motion noise grows."""

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

__all__ = ["CameraMount", "DoubtedFactor", "Gyro", "MotionNoise", "Pod", "RobotConfig"]


class Pod(Config):
    """An unpowered odometry wheel with an encoder.

    `along_per_metre` is the standard deviation of its travel after one metre; it weighs the pods against each other.
    """

    x: PlaceOnRobot
    y: PlaceOnRobot
    rolling_direction: Angle = 0.0
    wheel_diameter: PositiveLength
    counts_per_revolution: Count
    reversed: bool = False
    along_per_metre: PositiveLength = 0.001

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


class Gyro(Config):
    """`heading_per_minute` is the standard deviation of the heading after one minute, bias removed."""

    heading_per_minute: PositiveAngle = float(np.radians(0.5))


class CameraMount(Config):
    """Where a camera or ranging antenna sits: x forward, y left, z up; intrinsic z-y-x yaw, pitch, roll.

    Carried by the turret, x, y and yaw are about the turret's axis at its yaw 0 and turn with it; z is from the floor.
    """

    carried_by: Annotated[
        Literal["robot", "turret"], Field(description="What the camera is fixed on; a turret turns it")
    ] = "robot"
    turret_x: Annotated[PlaceOnRobot, Field(description="Place of the turret's axis on the robot")] = 0.0
    turret_y: Annotated[PlaceOnRobot, Field(description="Place of the turret's axis on the robot")] = 0.0

    x: PlaceOnRobot = 0.0
    y: PlaceOnRobot = 0.0
    z: Length = 0.0
    yaw: Angle = 0.0
    pitch: Angle = 0.0
    roll: Angle = 0.0

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


DoubtedFactor = Annotated[
    float, Field(ge=1.0, strict=True, allow_inf_nan=False, description="Times the noise while odometry looks doubtful")
]


class MotionNoise(Config):
    """Standard deviation of the motion after that length, turn or time; variances add and grow linearly.

    Along and across are about the direction of travel of the reference point. While the odometry looks doubtful (a gap,
    a slip, a lifted pod, a shove) all standard deviations are multiplied by `doubted_factor`.
    """

    along_per_metre: NonNegativeLength = 0.010
    across_per_metre: NonNegativeLength = 0.010
    heading_per_metre: NonNegativeAngle = float(np.radians(0.2))
    heading_per_turn: NonNegativeAngle = float(np.radians(0.5))
    heading_per_minute: NonNegativeAngle = float(np.radians(0.5))
    doubted_factor: DoubtedFactor = 1.0


class RobotConfig(Config):
    """The robot as its program believes it to be."""

    name: Text
    heading_from: Literal["gyro", "pods", "blend"] = "gyro"
    pods: Annotated[dict[str, Pod], Field(default_factory=dict)]
    gyro: Gyro | None = None
    cameras: Annotated[dict[str, CameraMount], Field(default_factory=dict)]
    motion_noise: MotionNoise = MotionNoise()

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
