"""How sure wheel diameters come out of a line driven there and back, and how often it has to be driven."""

from collections.abc import Sequence

import numpy as np

from locbench.config import RobotConfig
from locbench.config.robot import Pod
from locbench.runsheet.survey import Tape

__all__ = ["NEEDED", "line_std", "placing_over_passes_m", "pods_across", "pods_along", "times_needed"]

NEEDED = 0.0006
"""Relative standard uncertainty that a pre-event check needs of a wheel diameter."""

# six passes at least: below six values no interval is given (statistics/intervals.py); beyond these, better tape helps
_FEWEST_TIMES, _MOST_TIMES = 3, 10
# a pod that rolls less than this share of a line's length does not measure it
_ROLLS_ALONG = 0.5


def pods_along(robot: RobotConfig | None) -> dict[str, Pod]:
    """Return the robot's pods that roll along a line driven forward, by name."""
    pods = {} if robot is None else robot.pods
    return {name: pod for name, pod in pods.items() if abs(float(np.cos(pod.rolling_direction))) >= _ROLLS_ALONG}


def pods_across(robot: RobotConfig | None) -> dict[str, Pod]:
    """Return the robot's pods that roll too little along such a line to be measured by it, by name."""
    along = pods_along(robot)
    return {} if robot is None else {name: pod for name, pod in robot.pods.items() if name not in along}


def placing_over_passes_m(passes: int, tape: Tape) -> float:
    """Return what placing leaves of the mean of passes there and back, of which neighbours share the stand between."""
    return float(np.sqrt(4.0 * passes - 2.0) / passes * tape.placing_m)


def line_std(length_m: float, passes: int, tape: Tape, robot: RobotConfig | None) -> float:
    """Return the relative standard deviation of a wheel's diameter by a line measured from end to end.

    Tape, placing over so many passes, and, of the least sure pod of the robot, what its travel scatters.
    """
    scatter = max((pod.along_per_metre for pod in pods_along(robot).values()), default=0.0)
    travelled = scatter * np.sqrt(length_m / passes)
    parts = [tape.reading_std_m(length_m), placing_over_passes_m(passes, tape), travelled]
    return float(np.linalg.norm(parts) / length_m)


def times_needed(lengths_m: Sequence[float], tape: Tape, robot: RobotConfig | None) -> int:
    """Return how many times lines have to be driven there and back so that all together tell a wheel to 0.06 %.

    The largest number that makes sense where the tape alone leaves more.
    """
    for times in range(_FEWEST_TIMES, _MOST_TIMES):
        stds = [line_std(length, 2 * times, tape, robot) for length in lengths_m]
        if np.sum(np.square(1.0 / np.array(stds))) >= 1.0 / NEEDED**2:
            return times
    return _MOST_TIMES
