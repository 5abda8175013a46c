"""Visits of marks that cannot be what they say: overlapping ones, a press logged twice, a robot that does not stand."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.odometry import Motion, dead_reckon, rates_at
from locbench.session import MarkVisits, Measured, Severity
from locbench.units import Dimension, format_clock, format_quantity

__all__ = ["visit_faults"]

# A button bounces, or is pressed again to be sure, within a second; nobody drives away and comes back in it.
_BOUNCE_S = 1.0
_SAME_PLACE_M = 0.020
# What a robot that stands still shows: play of the pods and noise of the gyro. Common practice, no source.
_STANDING_M, _STANDING_RAD = 0.010, float(np.radians(2.0))
# at a press over the 100 ms before it, which may still hold the end of the braking
_STANDING_M_PER_S, _STANDING_RAD_PER_S = 0.10, float(np.radians(20.0))
_SURE = 3.0


def visit_faults(visits: MarkVisits, motion: Motion, file: str) -> list[Diagnosis]:
    """Return what is wrong with the visits, which are in order of time; `file` is their table's."""
    found = [_overlapping(visits, file), _repeated(visits, motion, file), _moving(visits, motion, file)]
    return [diagnosis for diagnosis in found if diagnosis is not None]


def _overlapping(visits: MarkVisits, file: str) -> Diagnosis | None:
    latest_end = np.maximum.accumulate(visits.end_s)[:-1]
    overlapping = np.flatnonzero(visits.begin_s[1:] < latest_end)
    if not len(overlapping):
        return None
    first = int(overlapping[0])
    longest = float(np.max(latest_end[overlapping] - visits.begin_s[1:][overlapping]))
    return Diagnosis(
        code=LogFault.OVERLAPPING_VISITS,
        severity=Severity.WARNING,
        where=file,
        evidence=f"{len(overlapping)} visits begin before an earlier one ends, by up to {longest:.3g} s; first "
        f'"{visits.name[first + 1]}" at {format_clock(visits.begin_s[first + 1])}.',
        meaning="The robot cannot stand on two places at once: errors at one of them are not errors of the pose.",
        remedy="Correct the times, or take out the visits that were not made.",
        measured=(
            Measured("visits", float(len(overlapping))),
            Measured("longest_overlap", longest, dimension=Dimension.TIME),
        ),
    )


def _repeated(visits: MarkVisits, motion: Motion, file: str) -> Diagnosis | None:
    moved_m = _path_between(motion, visits.end_s[:-1], visits.begin_s[1:])
    same_mark = np.array([one == next_ for one, next_ in zip(visits.name, visits.name[1:], strict=False)], dtype=bool)
    presses = (visits.begin_s == visits.end_s)[:-1] & (visits.begin_s == visits.end_s)[1:]
    soon = np.diff(visits.begin_s) < _BOUNCE_S
    repeated = np.flatnonzero(same_mark & presses & soon & (moved_m < _SAME_PLACE_M))
    if not len(repeated):
        return None
    first = int(repeated[0]) + 1
    return Diagnosis(
        code=LogFault.REPEATED_PRESS,
        severity=Severity.WARNING,
        where=file,
        evidence=f"{len(repeated)} presses follow another one on the same mark within {_BOUNCE_S:.0f} s, and the robot "
        f'did not move in between; first "{visits.name[first]}" at {format_clock(visits.begin_s[first])}.',
        meaning="One visit counts several times, so intervals come out narrower than they should be.",
        remedy="Keep one row of each, and debounce the button in the logging program.",
        measured=(Measured("presses", float(len(repeated))),),
    )


def _path_between(motion: Motion, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
    length = np.interp(np.stack([begin_s, end_s]), motion.time_s, motion.path_length_m)
    return np.asarray(length[1] - length[0])


@dataclass(frozen=True)
class _Restless:
    """A visit during which the robot moved: how far and how much it turned, or how fast at a press."""

    visit: int
    shown: str
    excess: float
    moved_m: float | None = None
    speed_m_per_s: float | None = None


def _moving(visits: MarkVisits, motion: Motion, file: str) -> Diagnosis | None:
    dwells = np.flatnonzero(visits.end_s > visits.begin_s)
    presses = np.flatnonzero(visits.end_s == visits.begin_s)
    restless = [*_moving_dwells(visits, motion, dwells), *_moving_presses(visits, motion, presses)]
    if not restless:
        return None
    worst = max(restless, key=lambda found: found.excess)
    numbers = [Measured("visits", float(len(restless)))]
    if worst.moved_m is not None:
        numbers.append(Measured("moved", worst.moved_m, dimension=Dimension.LENGTH))
    if worst.speed_m_per_s is not None:
        numbers.append(Measured("speed", worst.speed_m_per_s, dimension=Dimension.SPEED))
    return Diagnosis(
        code=LogFault.MOVING_ON_MARK,
        severity=Severity.WARNING,
        where=file,
        evidence=f"The odometry moves during {len(restless)} of {len(visits)} visits, most on "
        f'"{visits.name[worst.visit]}" at {format_clock(visits.begin_s[worst.visit])}: {worst.shown}.',
        meaning="The robot was not on the mark, or not yet: errors at these visits are those of the visit as well.",
        remedy="Press, or count the stay, only while the robot stands on the mark; correct or take out these rows.",
        measured=tuple(numbers),
    )


def _moving_dwells(visits: MarkVisits, motion: Motion, chosen: IntArray) -> list[_Restless]:
    restless = []
    for visit in chosen:
        inside = (motion.time_s >= visits.settled_s[visit]) & (motion.time_s <= visits.end_s[visit])
        if np.sum(inside) < 2:
            continue
        stay = motion.within(float(visits.settled_s[visit]), float(visits.end_s[visit]))
        pose = dead_reckon(stay, np.zeros(3))
        moved, turned = float(np.max(np.linalg.norm(pose[:, :2], axis=1))), float(np.max(np.abs(pose[:, 2])))
        allowed_m = max(_STANDING_M, _SURE * float(visits.position_std_m[visit]))
        heading_std = float(np.nan_to_num(visits.heading_std_rad[visit]))
        excess = max(moved / allowed_m, turned / max(_STANDING_RAD, _SURE * heading_std))
        if excess > 1.0:
            shown = f"{format_quantity(moved, Dimension.LENGTH)} and {format_quantity(turned, Dimension.ANGLE)} away"
            restless.append(_Restless(int(visit), f"it gets {shown}", excess, moved_m=moved))
    return restless


def _moving_presses(visits: MarkVisits, motion: Motion, chosen: IntArray) -> list[_Restless]:
    if not len(chosen):
        return []
    rates = rates_at(motion, visits.begin_s[chosen])
    restless = []
    for visit, speed, turn_rate in zip(chosen, rates.speed_m_s, rates.turn_rate_rad_s, strict=True):
        excess = max(speed / _STANDING_M_PER_S, turn_rate / _STANDING_RAD_PER_S)
        if excess > 1.0:
            shown = f"{format_quantity(speed, Dimension.SPEED)} and {format_quantity(turn_rate, Dimension.TURN_RATE)}"
            restless.append(_Restless(int(visit), f"it drives at {shown}", excess, speed_m_per_s=float(speed)))
    return restless
