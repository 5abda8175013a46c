"""How much was driven: what decides which constants a drive can tell."""

from dataclasses import dataclass
from itertools import chain

import numpy as np

from locbench.calibration.reading import Set
from locbench.geometry import wrap_angle

__all__ = ["Driven", "driven"]

# a robot that turns on the spot travels less than this for every radian
_ON_THE_SPOT_M_PER_RAD = 0.10
# headings that differ by less are one heading
_SAME_HEADING_RAD = float(np.radians(20.0))
_FAST_RAD_S = float(np.radians(90.0))


@dataclass(frozen=True)
class Driven:
    """What some drives did, by the odometry.

    Attributes
    ----------
    forward_m, sideways_m
        Way along the robot's forward axis, and across it, both senses counted.
    left_turns, right_turns
        Whole turns on the spot in each sense.
    headings
        How many different headings the robot had at references that tell one.
    references
        Visits to marks, or poses of a truth.
    detections
        Of tags.
    fast_turning_s
        Time spent turning at 90 deg/s or more.
    roll_sideways
        What the constants of wheels belong to that roll sideways.
    """

    forward_m: float
    sideways_m: float
    left_turns: float
    right_turns: float
    headings: int
    references: int
    detections: int
    fast_turning_s: float
    roll_sideways: frozenset[str]

    @property
    def turns(self) -> float:
        """Whole turns on the spot, both senses."""
        return self.left_turns + self.right_turns


def driven(fitted: Set) -> Driven:
    """Return what the drives of a set did, by the constants that the files have."""
    shifts = np.zeros(len(fitted.constants))
    every = [(drive.wheels, drive.wheels.rolled(fitted.constants, shifts, 0.0).twist) for drive in fitted.drives]
    twist = np.concatenate([one for _, one in every])
    duration = np.concatenate([wheels.duration_s for wheels, _ in every])
    turn, way = twist[:, 2], np.hypot(twist[:, 0], twist[:, 1])
    spot = way < _ON_THE_SPOT_M_PER_RAD * np.abs(turn)
    places = list(chain.from_iterable((drive.marks, drive.truth) for drive in fitted.drives))
    return Driven(
        forward_m=float(np.sum(np.abs(twist[:, 0]))),
        sideways_m=float(np.sum(np.abs(twist[:, 1]))),
        left_turns=float(np.sum(turn[spot & (turn > 0.0)])) / (2.0 * np.pi),
        right_turns=-float(np.sum(turn[spot & (turn < 0.0)])) / (2.0 * np.pi),
        headings=_different(np.concatenate([one.pose[:, 2] for one in places])),
        references=sum(len(one.knot) for one in places),
        detections=sum(0 if drive.seen is None else len(drive.seen.detections) for drive in fitted.drives),
        fast_turning_s=float(np.sum(duration[np.abs(turn) > _FAST_RAD_S * duration])),
        roll_sideways=frozenset(
            wheel.of for wheels, _ in every for wheel in wheels.wheels if abs(np.cos(wheel.direction_rad)) < 0.5
        ),
    )


def _different(headings: np.ndarray) -> int:
    """Return how many headings differ from all counted before."""
    counted: list[float] = []
    for heading in headings[np.isfinite(headings)]:
        if all(abs(float(wrap_angle(heading - other))) > _SAME_HEADING_RAD for other in counted):
            counted.append(float(heading))
    return len(counted)
