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
    PositiveAngle,
    PositiveLength,
    Text,
)
from locbench.geometry import rolling_row, unseen_motion

__all__ = ["CameraMount", "Gyro", "MotionNoise", "Pod", "RobotConfig"]


class Pod(Config):
    """An unpowered odometry wheel with an encoder.

    `along_per_metre` is the standard deviation of its travel after one metre; it weighs the pods against each other.
    """

    x: Length
    y: Length
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
    def row(self) -> FloatArray:
        """(3,) such that row . (dx, dy, dtheta) is this pod's travel."""
        return rolling_row(self.x, self.y, self.rolling_direction)


class Gyro(Config):
    """`heading_per_minute` is the standard deviation of the heading after one minute, bias removed."""

    heading_per_minute: PositiveAngle = float(np.radians(0.5))


class CameraMount(Config):
    """Where a camera or ranging antenna sits: x forward, y left, z up; intrinsic z-y-x yaw, pitch, roll."""

    x: Length = 0.0
    y: Length = 0.0
    z: Length = 0.0
    yaw: Angle = 0.0
    pitch: Angle = 0.0
    roll: Angle = 0.0


class MotionNoise(Config):
    """Standard deviation of the motion after that length, turn or time; variances add and grow linearly.

    Along and across are about the direction of travel of the reference point.
    """

    along_per_metre: NonNegativeLength = 0.010
    across_per_metre: NonNegativeLength = 0.010
    heading_per_metre: NonNegativeAngle = float(np.radians(0.2))
    heading_per_turn: NonNegativeAngle = float(np.radians(0.5))
    heading_per_minute: NonNegativeAngle = float(np.radians(0.5))


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
