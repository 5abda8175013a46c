"""What a fit had to weigh down: visits, stretches of odometry and detections that contradict everything else."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.calibration.fitting import Fit
from locbench.calibration.model import Group

__all__ = ["Outlying", "outlying"]


@dataclass(frozen=True)
class Outlying:
    """Of one drive.

    Attributes
    ----------
    session
        Name of its session.
    visit_s
        (V,) when the robot stood on marks that do not fit.
    odometry_s
        (W, 2) between which times the odometry does not fit.
    detections, offered
        How many detections do not fit, and how many there are.
    wheel_noise
        How many times the wheels' noise is that of the robot file, by their contradictions.
    """

    session: str
    visit_s: FloatArray
    odometry_s: FloatArray
    detections: int
    offered: int
    wheel_noise: float


def outlying(found: Fit) -> tuple[Outlying, ...]:
    """Return what was weighed down, drive by drive."""
    return tuple(_of_drive(found, number) for number in range(len(found.fitted.drives)))


def _of_drive(found: Fit, number: int) -> Outlying:
    drive = found.fitted.drives[number]
    knot_s = drive.wheels.time_s[drive.knot_row]
    low: dict[Group, list[BoolArray]] = {Group.PLACES: [], Group.ODOMETRY: [], Group.DETECTIONS: []}
    for part in found.parts:
        if part.drive == number and part.group in low:
            low[part.group].append(part.block.weight < 1.0)
    # places come as start, marks, truth, as far as there are any
    marks = low[Group.PLACES][1] if len(drive.marks.knot) else np.zeros(0, dtype=bool)
    legs = low[Group.ODOMETRY][0]
    seen = low[Group.DETECTIONS][0] if drive.seen is not None else np.zeros(0, dtype=bool)
    return Outlying(
        session=drive.session,
        visit_s=knot_s[drive.marks.knot[marks]],
        odometry_s=np.column_stack([knot_s[:-1][legs], knot_s[1:][legs]]),
        detections=int(np.sum(seen)),
        offered=len(seen),
        wheel_noise=found.wheel_noise[number],
    )
