"""Body increments from each kind of odometry log: exact where it can be, weighted least squares where it must be."""

from dataclasses import replace
from typing import Literal

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import RobotConfig
from locbench.config.robot import SensorKind
from locbench.geometry import between, logarithm
from locbench.odometry.motion import Motion
from locbench.odometry.sensors import SensorLayout
from locbench.odometry.suspicion import suspect_intervals
from locbench.session import BodyIncrements, BodyVelocities, OdometryLog, PodTravel, PoseTrack

__all__ = ["measure_motion", "pod_twists", "sensor_response", "unjudged_motion"]

# a row at an ordinary speed, by which pods of different noise are weighed
_USUAL_STEP_M, _USUAL_STEP_S = 0.010, 0.010
# A gyro reading is never exact; this keeps its weight finite when two rows share a time.
_GYRO_FLOOR_RAD2 = 1e-12


def measure_motion(log: OdometryLog, robot: RobotConfig) -> Motion:
    """Return the body increments of a log, those that look like a slip, a lifted pod or a shove marked as suspect.

    Parameters
    ----------
    log
        Any of the four kinds.
    robot
        The pods, gyro and the source of the heading; used for pod counts only.
    """
    match log:
        case PodTravel():
            twist = _pod_log_twists(log, robot)
        case BodyIncrements():
            twist = log.twist
        case BodyVelocities():
            twist = _velocity_twists(log)
        case PoseTrack():
            twist = np.zeros_like(log.pose)
            twist[1:] = logarithm(between(log.pose[:-1], log.pose[1:]))
    motion = Motion.from_increments(log.time_s, twist, log.flagged)
    return replace(motion, suspect=suspect_intervals(motion, log, robot))


def unjudged_motion(log: PodTravel, robot: RobotConfig) -> Motion:
    """Return the body increments of a log of pods, none of them suspected of anything."""
    return Motion.from_increments(log.time_s, _pod_log_twists(log, robot), log.flagged)


def sensor_response(robot: RobotConfig, layout: SensorLayout) -> FloatArray:
    """Return (K, 3) by what twist the measured motion changes per metre (of a gyro radian) that a sensor reads more.

    Driven wheels change nothing. Pods are weighed as over a usual step.
    """
    pods = np.flatnonzero([kind is SensorKind.POD for kind in layout.kind])
    gyro = np.flatnonzero(layout.turns)
    usual = np.full(len(layout), _USUAL_STEP_M)
    variance = layout.variance(usual, np.array(_USUAL_STEP_S))
    unit = np.eye(len(layout))
    turn = unit[:, gyro[0]] if len(gyro) else None
    turn_variance = np.full(len(layout), variance[gyro[0]]) if len(gyro) else None
    return pod_twists(
        layout.row[pods],
        unit[:, pods],
        np.tile(variance[pods], (len(layout), 1)),
        robot.heading_from,
        turn,
        turn_variance,
    )


def _velocity_twists(log: BodyVelocities) -> FloatArray:
    step = np.diff(log.time_s)[:, np.newaxis]
    twist = np.zeros_like(log.velocity)
    twist[1:] = step * (log.velocity[:-1] + log.velocity[1:]) / 2.0
    if log.heading_rad is not None:
        twist[1:, 2] = np.diff(log.heading_rad)
    return twist


def _pod_log_twists(log: PodTravel, robot: RobotConfig) -> FloatArray:
    names = list(robot.pods)
    rows = np.array([robot.pods[name].row for name in names])
    travel = np.column_stack([np.diff(log.travel_m[name], prepend=log.travel_m[name][0]) for name in names])
    per_metre = np.array([robot.pods[name].along_per_metre for name in names])
    rounding = np.array([robot.pods[name].rounding_variance for name in names])
    variance = per_metre**2 * np.abs(travel) + rounding
    if log.heading_rad is None:
        return pod_twists(rows, travel, variance, "pods", None, None)
    turn = np.diff(log.heading_rad, prepend=log.heading_rad[0])
    rate = robot.gyro.heading_per_minute if robot.gyro is not None else 0.0
    gyro_variance = rate**2 * np.diff(log.time_s, prepend=log.time_s[0]) / 60.0 + _GYRO_FLOOR_RAD2
    return pod_twists(rows, travel, variance, robot.heading_from, turn, gyro_variance)


def pod_twists(
    rows: FloatArray,
    travel: FloatArray,
    variance: FloatArray,
    heading_from: Literal["gyro", "pods", "blend"],
    turn: FloatArray | None,
    turn_variance: FloatArray | None,
) -> FloatArray:
    """Return the twists (N, 3) that explain the pods' travel best.

    Parameters
    ----------
    rows
        (K, 3), one `rolling_row` per pod.
    travel, variance
        (N, K) in metres and square metres.
    heading_from
        "pods" ignores the gyro, "gyro" takes its turns as exact, "blend" weighs them as one more row.
    turn, turn_variance
        (N,) of the gyro, or None.

    Notes
    -----
    Weighted least squares on the normal equations, three by three per sample.
    """
    if heading_from == "gyro" and turn is not None:
        rest = travel - rows[:, 2] * turn[:, np.newaxis]
        planar = _weighted_least_squares(rows[:, :2], rest, variance)
        return np.column_stack([planar, turn])
    if heading_from == "blend" and turn is not None and turn_variance is not None:
        rows = np.vstack([rows, [0.0, 0.0, 1.0]])
        travel = np.column_stack([travel, turn])
        variance = np.column_stack([variance, turn_variance])
    return _weighted_least_squares(rows, travel, variance)


def _weighted_least_squares(rows: FloatArray, values: FloatArray, variance: FloatArray) -> FloatArray:
    weight = 1.0 / variance
    normal = np.einsum("ki,nk,kj->nij", rows, weight, rows, optimize=True)
    right = np.einsum("ki,nk,nk->ni", rows, weight, values, optimize=True)
    return np.asarray(np.linalg.solve(normal, right[..., np.newaxis])[..., 0])
