"""A first guess: odometry by the files' constants, carried to each reference it meets on the way."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.constants import ConstantKind
from locbench.calibration.drive import Drive
from locbench.calibration.model import Guess
from locbench.calibration.reading import Set
from locbench.geometry import between, compose, unseen_motion
from locbench.statistics import time_offset

__all__ = ["first_guess"]

_LARGEST_LAG_S = 0.5


def first_guess(fitted: Set) -> Guess:
    """Return the files' constants, the gyro's lag as turn rates show it, and poses that start anew from references."""
    shifts = np.zeros(len(fitted.constants))
    for constant in {drive.wheels.heading_of for drive in fitted.drives}:
        place = fitted.constants.index(ConstantKind.GYRO_LAG, constant)
        if place is not None:
            shifts[place] = _gyro_lag(fitted, constant)
    knots = tuple(_knots(fitted, drive, shifts) for drive in fitted.drives)
    return Guess(shifts, np.zeros(len(fitted.drives)), knots, np.zeros((len(fitted.surveyed.key), 3)))


def _gyro_lag(fitted: Set, heading_of: str) -> float:
    """Return by how much the gyro's turn rate lags behind that of the wheels alone, the median over the drives.

    Zero where the wheels alone tell no turns, or not clearly.
    """
    found = []
    for drive in fitted.drives:
        wheels = drive.wheels
        if wheels.heading_of != heading_of or wheels.heading_rad is None or unseen_motion(wheels.nominal_rows):
            continue
        turned = wheels.steps_m @ np.linalg.pinv(wheels.nominal_rows).T[:, 2]
        period = float(np.median(wheels.duration_s))
        even = np.arange(wheels.time_s[0], wheels.time_s[-1], period)
        by_wheels = np.interp(even, wheels.time_s, np.append(0.0, np.cumsum(turned)))
        by_gyro = np.interp(even, wheels.time_s, wheels.heading_rad)
        late = time_offset(np.diff(by_wheels), np.diff(by_gyro), period, _LARGEST_LAG_S)
        if late is not None:
            found.append(late)
    return float(np.median(found)) if found else 0.0


def _knots(fitted: Set, drive: Drive, shifts: FloatArray) -> FloatArray:
    path = drive.wheels.poses(drive.wheels.rolled(fitted.constants, shifts, 0.0))[drive.knot_row]
    anchor = np.zeros(len(path), dtype=np.int64)
    pose = np.tile(drive.start.pose[0], (len(path), 1))
    for places in (drive.marks, drive.truth):
        whole = np.isfinite(places.pose[:, 2])
        pose[places.knot[whole]] = places.pose[whole]
        anchor[places.knot[whole]] = places.knot[whole]
    anchor = np.maximum.accumulate(anchor)
    guess = compose(pose[anchor], between(path[anchor], path))
    # whole turns of the gyro are kept: compose adds headings, and a reference's own may lack them
    guess[:, 2] += 2.0 * np.pi * np.round((path[:, 2] + drive.start.pose[0, 2] - guess[:, 2]) / (2.0 * np.pi))
    return guess
