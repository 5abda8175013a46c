"""The sensors of body motion that a log holds: their rows in the kinematics, their noise and what they have read."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import RobotConfig
from locbench.config.robot import Pod, SensorKind
from locbench.odometry.motion import Motion
from locbench.session import PodTravel

__all__ = ["GYRO", "MotionSensors", "SensorLayout", "layout_sensors", "logged_sensors"]

# what the gyro is called among the pods
GYRO = "gyro"


@dataclass(frozen=True)
class SensorLayout:
    """K sensors of body motion: pods, driven wheels with encoders, and the gyro last.

    `row` (K, 3) are such that row . (dx, dy, dtheta) is what each reads: metres, of a gyro radians. Per sensor (K,):
    the variance per metre of travel, per second, and of the two ends of any while, which are rounded to counts.
    """

    name: tuple[str, ...]
    kind: tuple[SensorKind, ...]
    row: FloatArray
    per_travel: FloatArray
    per_second: FloatArray
    of_ends: FloatArray

    def __len__(self) -> int:
        return len(self.name)

    @property
    def redundancy(self) -> int:
        """How many of the measurements are more than the motions they see need."""
        return len(self) - int(np.linalg.matrix_rank(self.row)) if len(self) else 0

    @property
    def turns(self) -> BoolArray:
        """(K,) whether it reads turns and not travel."""
        return np.array([kind is SensorKind.GYRO for kind in self.kind], dtype=bool)

    def variance(self, travel: FloatArray, duration_s: FloatArray) -> FloatArray:
        """Return (..., K) of what each reads over whiles of a travel (..., K) and a duration (...)."""
        time = np.asarray(duration_s)[..., np.newaxis]
        return np.asarray(self.per_travel * np.abs(travel) + self.per_second * time + self.of_ends)


@dataclass(frozen=True)
class MotionSensors:
    """Sensors and what each has read (N, K) up to each time (N,) of a motion."""

    layout: SensorLayout
    time_s: FloatArray
    reading: FloatArray


def layout_sensors(robot: RobotConfig, *, gyro: bool, drive_wheels: bool = True) -> SensorLayout:
    """Return the sensors of a robot.

    Parameters
    ----------
    robot
        Its pods, driven wheels and gyro.
    gyro, drive_wheels
        Whether a log has their columns.
    """
    pods: Mapping[str, Pod] = robot.pods
    wheels: Mapping[str, Pod] = robot.drive_wheels if drive_wheels else {}
    rolling = [*pods.values(), *wheels.values()]
    names = [*pods, *wheels]
    kinds = [SensorKind.POD] * len(pods) + [SensorKind.DRIVE_WHEEL] * len(wheels)
    rows = [wheel.row for wheel in rolling]
    per_travel = [wheel.along_per_metre**2 for wheel in rolling]
    of_ends = [wheel.rounding_variance for wheel in rolling]
    per_second = [0.0] * len(rolling)
    if gyro and robot.gyro is not None:
        names.append(GYRO if GYRO not in names else f"{GYRO} sensor")
        kinds.append(SensorKind.GYRO)
        rows.append(np.array([0.0, 0.0, 1.0]))
        per_travel.append(0.0)
        of_ends.append(0.0)
        per_second.append(robot.gyro.heading_per_minute**2 / 60.0)
    return SensorLayout(
        name=tuple(names),
        kind=tuple(kinds),
        row=np.array(rows).reshape(-1, 3),
        per_travel=np.array(per_travel),
        per_second=np.array(per_second),
        of_ends=np.array(of_ends),
    )


def logged_sensors(motion: Motion, log: PodTravel, robot: RobotConfig) -> MotionSensors:
    """Return the sensors that a log has, read at the times of its motion."""
    last_row = np.searchsorted(log.time_s, motion.time_s, side="right") - 1
    wheels = bool(log.drive_travel_m)
    layout = layout_sensors(robot, gyro=log.heading_rad is not None, drive_wheels=wheels)
    reading = [log.travel_m[name][last_row] for name in robot.pods]
    if wheels:
        reading += [log.drive_travel_m[name][last_row] for name in robot.drive_wheels]
    if len(layout) > len(reading) and log.heading_rad is not None:
        reading.append(log.heading_rad[last_row])
    return MotionSensors(layout, motion.time_s, np.column_stack(reading))
