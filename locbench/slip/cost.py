"""What a slip costs: the pose as the robot's own way of computing it has it, with and without the travel missed."""

from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import RobotConfig
from locbench.odometry import SensorLayout, dead_reckon, unjudged_motion
from locbench.session import PodTravel
from locbench.shots.landing import landing_offset

__all__ = ["Cost", "cost_of"]


@dataclass(frozen=True)
class Cost:
    """Believed and true pose (3,) after a slip, both from the pose believed before it; headings not wrapped."""

    believed: FloatArray
    true: FloatArray

    @property
    def position_m(self) -> float:
        """How far the pose was off."""
        return float(np.linalg.norm((self.believed - self.true)[:2]))

    @property
    def heading_rad(self) -> float:
        """How far the heading was turned; left positive."""
        return float((self.believed - self.true)[2])

    def miss_m(self, goal: FloatArray) -> float:
        """Return how far from a goal (2,) a shot lands that is aimed from the believed pose."""
        return float(np.linalg.norm(landing_offset(self.true[np.newaxis], self.believed[np.newaxis], goal)))


def cost_of(
    log: PodTravel,
    robot: RobotConfig,
    layout: SensorLayout,
    sensor: int,
    lacks: float,
    span_s: tuple[float, float],
    before: FloatArray,
) -> Cost:
    """Return what it costs that a sensor read too little.

    Parameters
    ----------
    log
        As it was recorded.
    robot
        How it computes its pose.
    layout, sensor
        Which of its sensors.
    lacks
        Travel, of a gyro turn, that is missing between the times of `span_s`.
    before
        (3,) pose believed at the first of them.
    """
    first = int(np.searchsorted(log.time_s, span_s[0], side="right")) - 1
    last = max(int(np.searchsorted(log.time_s, span_s[1], side="left")), first + 1)
    rows = slice(max(first, 0), min(last, len(log.time_s) - 1) + 1)
    part = PodTravel(
        time_s=log.time_s[rows],
        travel_m={name: values[rows] for name, values in log.travel_m.items()},
        heading_rad=None if log.heading_rad is None else log.heading_rad[rows],
        flagged=log.flagged[rows],
    )
    name = layout.name[sensor]
    if layout.turns[sensor] and part.heading_rad is not None:
        mended = replace(part, heading_rad=part.heading_rad + lacks * _grown(part.heading_rad))
    elif name in part.travel_m:
        mended = replace(
            part, travel_m={**part.travel_m, name: part.travel_m[name] + lacks * _grown(part.travel_m[name])}
        )
    else:
        mended = part
    return Cost(_end(part, robot, before), _end(mended, robot, before))


def _grown(reading: FloatArray) -> FloatArray:
    """Return (N,) how much of a loss had happened, 0 to 1: as the reading grows, evenly where it does not."""
    step = np.abs(np.diff(reading, prepend=reading[0]))
    whole = float(np.sum(step))
    if whole <= 0.0:
        return np.linspace(0.0, 1.0, len(reading))
    return np.asarray(np.cumsum(step) / whole)


def _end(part: PodTravel, robot: RobotConfig, before: FloatArray) -> FloatArray:
    return np.asarray(dead_reckon(unjudged_motion(part, robot), before)[-1])
