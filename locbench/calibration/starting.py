"""A first guess: odometry by the files' constants, carried to each reference it meets on the way."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.drive import Drive
from locbench.calibration.model import Guess
from locbench.calibration.reading import Set
from locbench.geometry import between, compose

__all__ = ["first_guess"]


def first_guess(fitted: Set) -> Guess:
    """Return the files' constants, no drift, and poses that start anew from every reference with a heading."""
    shifts = np.zeros(len(fitted.constants))
    knots = tuple(_knots(fitted, drive, shifts) for drive in fitted.drives)
    return Guess(shifts, np.zeros(len(fitted.drives)), knots, np.zeros((len(fitted.surveyed.key), 3)))


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
