"""Pods and driven wheels: the contact point of each is followed through the world and its rolling counted."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config.robot import Pod, RobotConfig
from locbench.config.scenario import ScenarioConfig, TruePodGeometry
from locbench.geometry import transform_points
from locbench.simulation.losses import Loss, kept_share, pod_losses
from locbench.simulation.motion import Motion, fine_steps

__all__ = ["Rolling", "TruePod", "count_pods", "roll_pods", "true_drive_wheels", "true_pods"]


@dataclass(frozen=True)
class TruePod:
    """A pod, or driven wheel, as it really is; `metres_per_count` is negative where it counts backwards."""

    x_m: float
    y_m: float
    direction_rad: float
    metres_per_count: float
    along_per_metre_m: float = 0.0
    losses: tuple[Loss, ...] = ()


@dataclass(frozen=True)
class Rolling:
    """Per row (N,): the cumulative travel, and the cumulative length rolled, whichever way."""

    travel_m: FloatArray
    rolled_m: FloatArray


def true_pods(scenario: ScenarioConfig, robot: RobotConfig) -> dict[str, TruePod]:
    """Return the robot file's pods with the scenario's true geometry, noise and slips."""
    return {name: _true_pod(scenario, name, pod, scenario.pods.along_per_metre) for name, pod in robot.pods.items()}


def true_drive_wheels(scenario: ScenarioConfig, robot: RobotConfig) -> dict[str, TruePod]:
    """Return the robot file's driven wheels, as `true_pods`."""
    along = scenario.drive_wheels.along_per_metre
    return {name: _true_pod(scenario, name, wheel, along) for name, wheel in robot.drive_wheels.items()}


def _true_pod(scenario: ScenarioConfig, name: str, nominal: Pod, along_per_metre: float) -> TruePod:
    real = scenario.truth.pods.get(name, TruePodGeometry())
    pod = nominal.model_copy(update=real.model_dump(exclude_none=True))
    return TruePod(
        x_m=pod.x,
        y_m=pod.y,
        direction_rad=pod.rolling_direction,
        metres_per_count=pod.metres_per_count,
        along_per_metre_m=along_per_metre,
        losses=pod_losses(scenario, name),
    )


def roll_pods(motion: Motion, pods: Mapping[str, TruePod], time_s: FloatArray) -> dict[str, Rolling]:
    """Return what each wheel rolls up to each row, slips taken off, without noise.

    Parameters
    ----------
    motion
        Where the robot truly is.
    time_s
        (N,) times of the rows; rolling starts at the first.

    Notes
    -----
    At steps of at most 1 ms the world position of the contact point is differenced and the step projected on the
    rolling direction half-way; no wheel equation of the estimators is used.
    """
    signed = {name: np.zeros(len(time_s)) for name in pods}
    rolled = {name: np.zeros(len(time_s)) for name in pods}
    for rows, fine_s in fine_steps(time_s):
        poses = motion.pose_at(fine_s)
        middle_s = 0.5 * (fine_s[:, 1:] + fine_s[:, :-1])
        middle_heading = 0.5 * (poses[:, 1:, 2] + poses[:, :-1, 2])
        for name, pod in pods.items():
            contact = transform_points(poses, np.array([pod.x_m, pod.y_m]))
            step = np.diff(contact, axis=1)
            direction = middle_heading + pod.direction_rad
            along = step[..., 0] * np.cos(direction) + step[..., 1] * np.sin(direction)
            along *= kept_share(middle_s, pod.losses)
            signed[name][rows] = np.sum(along, axis=1)
            rolled[name][rows] = np.sum(np.abs(along), axis=1)
    return {name: Rolling(np.cumsum(signed[name]), np.cumsum(rolled[name])) for name in pods}


def count_pods(
    motion: Motion,
    pods: Mapping[str, TruePod],
    time_s: FloatArray,
    generators: Mapping[str, np.random.Generator],
) -> dict[str, IntArray]:
    """Return the counts (N,) of each wheel, from 0 at the first row.

    Parameters
    ----------
    generators
        One per wheel: for its noise, and for where within a count it starts.
    """
    rolling = roll_pods(motion, pods, time_s)
    return {name: _counted(pod, rolling[name], generators[name]) for name, pod in pods.items()}


def _counted(pod: TruePod, rolling: Rolling, generator: np.random.Generator) -> IntArray:
    phase = generator.uniform()
    spread = pod.along_per_metre_m * np.sqrt(np.diff(rolling.rolled_m, prepend=0.0))
    noise = np.cumsum(spread * generator.standard_normal(len(spread)))
    return np.floor((rolling.travel_m + noise) / pod.metres_per_count + phase).astype(np.int64)
