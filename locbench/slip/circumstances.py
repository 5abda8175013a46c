"""What the robot did while something slipped."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from locbench.odometry import Motion, dead_reckon

__all__ = ["Circumstances", "Doing", "circumstances"]

Doing = Literal["standing", "driving", "spinning", "jerk", "contact"]

# Speeds and changes of speed are taken over this time. Common practice, no source, as the limits below.
_WINDOW_S = 0.06
_STANDING_M_PER_S, _STANDING_RAD_PER_S = 0.03, float(np.radians(5.0))
_SPINNING_RAD_PER_S, _ON_THE_SPOT_M = float(np.radians(45.0)), 0.15
# a driver speeds up and brakes below half of what rubber holds (1.2 g, from memory); beyond all of it something pushed
_JERK_M_PER_S2, _CONTACT_M_PER_S2 = 0.6 * 9.80665, 1.2 * 9.80665


@dataclass(frozen=True)
class Circumstances:
    """Mean speed and turn rate over a while, the greatest acceleration in it, and what that was."""

    speed_m_s: float
    turn_rate_rad_s: float
    acceleration_m_s2: float
    doing: tuple[Doing, ...]


def circumstances(motion: Motion, first_s: float, last_s: float) -> Circumstances:
    """Return what a motion did between two times, and just before and after them."""
    rows = np.flatnonzero((motion.time_s >= first_s - _WINDOW_S) & (motion.time_s <= last_s + _WINDOW_S))
    first, last = max(int(rows[0]) - 1, 0), min(int(rows[-1]) + 1, len(motion.time_s) - 1)
    part = motion.within(float(motion.time_s[first]), float(motion.time_s[last]))
    pose = dead_reckon(part, np.zeros(3))
    duration = float(part.time_s[-1] - part.time_s[0])
    speed = float(part.path_length_m[-1]) / duration
    rate = float(pose[-1, 2]) / duration
    hardest = _hardest(part.time_s, pose)
    doing: list[Doing] = []
    if speed < _STANDING_M_PER_S and abs(rate) < _STANDING_RAD_PER_S:
        doing.append("standing")
    elif abs(rate) > _SPINNING_RAD_PER_S and speed < _ON_THE_SPOT_M * abs(rate):
        doing.append("spinning")
    else:
        doing.append("driving")
    if hardest > _CONTACT_M_PER_S2:
        doing.append("contact")
    elif hardest > _JERK_M_PER_S2:
        doing.append("jerk")
    return Circumstances(speed, rate, hardest, tuple(doing))


def _hardest(time_s: np.ndarray, pose: np.ndarray) -> float:
    """Return the greatest change of velocity between neighbouring windows, over the time between them."""
    rows = max(1, round(_WINDOW_S / float(np.median(np.diff(time_s)))))
    if len(time_s) <= 2 * rows:
        return 0.0
    place = pose[:, :2]
    velocity = (place[rows:] - place[:-rows]) / (time_s[rows:] - time_s[:-rows])[:, np.newaxis]
    apart = (time_s[2 * rows :] - time_s[: -2 * rows]) / 2.0
    change = np.linalg.norm(velocity[rows:] - velocity[:-rows], axis=1) / apart
    return float(np.max(change))
