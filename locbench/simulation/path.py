"""The path a driver takes: smooth curves through waypoints, at rest on every stand, within the robot's limits."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from locbench.arrays import FloatArray
from locbench.simulation.motion import smooth_step

__all__ = ["DrivenPath", "DrivingLimits", "Stand", "Waypoint", "plan_path"]

# how far one radian of turning counts beside one metre of driving when a leg's time is shared out
_TURNING_ARM_M = 0.3
# limits are met at this many points of a leg; between them the curves leave them by far less than the margin
_SAMPLES = 2001
_MARGIN = 1.0005


@dataclass(frozen=True)
class DrivingLimits:
    """Largest speed, acceleration, turn rate and turn acceleration."""

    speed_m_s: float
    acceleration_m_s2: float
    turn_rate_rad_s: float
    turn_acceleration_rad_s2: float


@dataclass(frozen=True)
class Waypoint:
    """A pose (3,) to pass, or to stand on for `dwell_s`; `mark` names the surveyed mark there, if any."""

    pose: FloatArray
    dwell_s: float = 0.0
    mark: str | None = None


@dataclass(frozen=True)
class Stand:
    """A while at rest."""

    begin_s: float
    end_s: float
    pose: FloatArray
    mark: str | None


@dataclass(frozen=True)
class _Leg:
    """A drive from rest to rest along `curve`, from parameter 0 to `length`."""

    start_s: float
    duration_s: float
    curve: Any
    length: float

    def pose_at(self, time_s: FloatArray) -> FloatArray:
        share = smooth_step((time_s - self.start_s) / self.duration_s)
        return np.asarray(self.curve(self.length * share))


@dataclass(frozen=True)
class DrivenPath:
    """Legs and stands in turn, from 0 to `duration_s`."""

    legs: tuple[_Leg, ...]
    stands: tuple[Stand, ...]
    duration_s: float

    def pose_at(self, time_s: FloatArray) -> FloatArray:
        """Return poses (..., 3) at times (...); before the first leg and after the last the robot stands."""
        times = np.asarray(time_s, dtype=float)
        starts = np.array([leg.start_s for leg in self.legs])
        flat = times.reshape(-1)
        # a leg holds its end pose, so that each time belongs to the last leg begun
        owner = np.clip(np.searchsorted(starts, flat, side="right") - 1, 0, len(self.legs) - 1)
        poses = np.empty((len(flat), 3))
        # in order of legs, so that each looks at its own times alone: hours have a thousand legs
        order = np.argsort(owner, kind="stable")
        found, first = np.unique(owner[order], return_index=True)
        for index, mine in zip(found, np.split(order, first[1:]), strict=True):
            poses[mine] = self.legs[index].pose_at(flat[mine])
        return poses.reshape(*times.shape, 3)


def plan_path(waypoints: Sequence[Waypoint], limits: DrivingLimits) -> DrivenPath:
    """Return the path from the first waypoint to the last.

    Parameters
    ----------
    waypoints
        At least two, each different from the one before it. Headings turn the short way round.
    limits
        Kept over every leg; the largest one decides its duration.
    """
    poses = np.array([waypoint.pose for waypoint in waypoints], dtype=float)
    poses[:, 2] = np.unwrap(poses[:, 2])
    stops = [i for i, waypoint in enumerate(waypoints) if i in (0, len(waypoints) - 1) or waypoint.dwell_s > 0.0]
    legs: list[_Leg] = []
    stands = [Stand(0.0, waypoints[0].dwell_s, poses[0], waypoints[0].mark)]
    for first, last in pairwise(stops):
        leg = _plan_leg(poses[first : last + 1], stands[-1].end_s, limits)
        arrival = leg.start_s + leg.duration_s
        legs.append(leg)
        stands.append(Stand(arrival, arrival + waypoints[last].dwell_s, poses[last], waypoints[last].mark))
    return DrivenPath(tuple(legs), tuple(stands), stands[-1].end_s)


def _plan_leg(poses: FloatArray, start_s: float, limits: DrivingLimits) -> _Leg:
    steps = np.diff(poses, axis=0)
    spacing = np.hypot(steps[:, 0], steps[:, 1]) + _TURNING_ARM_M * np.abs(steps[:, 2])
    knots = np.concatenate([[0.0], np.cumsum(spacing)])
    curve = CubicSpline(knots, poses, bc_type="natural")
    return _Leg(start_s, _leg_duration(curve, float(knots[-1]), limits), curve, float(knots[-1]))


def _leg_duration(curve: Any, length: float, limits: DrivingLimits) -> float:
    """Return the shortest duration within all limits: rates fall with it, accelerations with its square."""
    s = np.linspace(0.0, 1.0, _SAMPLES)
    # derivatives of smooth_step by its share
    rate = length * 30.0 * s**2 * (1.0 - s) ** 2
    change = length * 60.0 * s * (1.0 - s) * (1.0 - 2.0 * s)
    along = length * smooth_step(s)
    slope, bend = curve(along, 1), curve(along, 2)
    first = slope * rate[:, np.newaxis]
    second = bend * rate[:, np.newaxis] ** 2 + slope * change[:, np.newaxis]
    needed = [
        np.max(np.hypot(first[:, 0], first[:, 1])) / limits.speed_m_s,
        np.sqrt(np.max(np.hypot(second[:, 0], second[:, 1])) / limits.acceleration_m_s2),
        np.max(np.abs(first[:, 2])) / limits.turn_rate_rad_s,
        np.sqrt(np.max(np.abs(second[:, 2])) / limits.turn_acceleration_rad_s2),
    ]
    return _MARGIN * float(max(needed))
