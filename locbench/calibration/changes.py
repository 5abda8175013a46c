"""The keys of a user's files that determined constants change."""

import math
from collections.abc import Sequence

import numpy as np

from locbench.calibration.constants import ConstantKind
from locbench.calibration.determining import Estimate
from locbench.config import RobotConfig, SessionConfig
from locbench.config.camera_edits import clock_edit, mount_edits
from locbench.config.edits import Edit, EditedFile, Quantity
from locbench.config.robot import Pod
from locbench.config.session import PosesSource
from locbench.units import Dimension

__all__ = ["robot_edits", "session_edits"]

# smaller changes of a pod's place are none
_SAME_PLACE_M = 1e-5
_SURE = 2.0


def robot_edits(estimates: Sequence[Estimate], robot: RobotConfig) -> tuple[Edit, ...]:
    """Return the keys of the robot file that the determined constants change.

    Parameters
    ----------
    estimates
        Of one calibration.
    robot
        The robot as its file has it.
    """
    known = {(one.constant.of, one.constant.kind): one for one in estimates if one.determined}
    edits: list[Edit] = []
    for name, pod in robot.pods.items():
        edits += _pod_edits(name, pod, known)
    scale = known.get(("gyro", ConstantKind.TURN_SCALE))
    if scale is not None and robot.gyro is not None:
        digits = max(3, 1 - math.floor(math.log10(max(scale.std, 1e-6))))
        edits.append(Edit(EditedFile.ROBOT, ("gyro", "scale"), round(scale.constant.estimate(scale.shift), digits)))
    for name, mount in robot.cameras.items():
        found = {
            kind.value: (known[f"cameras.{name}", kind].shift, known[f"cameras.{name}", kind].std)
            for kind in (ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW)
            if (f"cameras.{name}", kind) in known
        }
        edits += mount_edits(name, mount, found)
    return tuple(edits)


def _quantity(found: Estimate, dimension: Dimension) -> Quantity:
    return Quantity(found.constant.estimate(found.shift), dimension, abs(found.constant.absolute(found.std)))


def _pod_edits(name: str, pod: Pod, known: dict[tuple[str, ConstantKind], Estimate]) -> list[Edit]:
    of = f"pods.{name}"
    edits = []
    diameter = known.get((of, ConstantKind.WHEEL_DIAMETER))
    if diameter is not None:
        edits.append(Edit(EditedFile.ROBOT, ("pods", name, "wheel_diameter"), _quantity(diameter, Dimension.LENGTH)))
    direction, lever = (known.get((of, kind)) for kind in (ConstantKind.ROLLING_DIRECTION, ConstantKind.LEVER_ARM))
    angle = pod.rolling_direction
    if direction is not None:
        angle = direction.constant.estimate(direction.shift)
        edits.append(Edit(EditedFile.ROBOT, ("pods", name, "rolling_direction"), _quantity(direction, Dimension.ANGLE)))
    wanted = float(pod.row[2]) if lever is None else lever.constant.estimate(lever.shift)
    std = None if lever is None else lever.std
    # only the lever arm can be seen, not the place: the coordinate that makes most of it is changed
    sine, cosine = float(np.sin(angle)), float(np.cos(angle))
    if abs(sine) > abs(cosine):
        key, old, new = "x", pod.x, (wanted + pod.y * cosine) / sine
    else:
        key, old, new = "y", pod.y, (pod.x * sine - wanted) / cosine
    if abs(new - old) > _SAME_PLACE_M:
        edits.append(Edit(EditedFile.ROBOT, ("pods", name, key), Quantity(new, Dimension.LENGTH, std)))
    return edits


def session_edits(estimates: Sequence[Estimate], config: SessionConfig) -> tuple[Edit, ...]:
    """Return the keys of a session file that the determined lags change: the gyro's, and the clock of the detections.

    Parameters
    ----------
    estimates
        Of one calibration.
    config
        The session file.
    """
    edits: list[Edit] = []
    for one in estimates:
        # clocks are left alone unless they are surely off
        if not one.determined or abs(one.shift) < _SURE * one.std:
            continue
        if one.constant.kind is ConstantKind.GYRO_LAG and not isinstance(config.odometry, PosesSource):
            value = Quantity(one.constant.estimate(one.shift), Dimension.TIME, one.std)
            edits.append(Edit(EditedFile.SESSION, ("odometry", "heading_lag"), value))
        if one.constant.kind is ConstantKind.LATENCY and config.tags is not None:
            edits.append(clock_edit(config.tags, (one.shift, one.std)))
    return tuple(edits)
