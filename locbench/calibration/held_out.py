"""What a calibration gains at references that it did not use: dead reckoning before and after."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.calibration.determining import Calibrated, calibrated
from locbench.calibration.drive import Drive, Places
from locbench.calibration.reading import Set
from locbench.geometry import compose

__all__ = ["HeldOut", "held_out_errors"]

_FOLDS = 2
_FEWEST_REFERENCES = 2


@dataclass(frozen=True)
class HeldOut:
    """Distances (M,) of dead reckoning from references left out of the fit, by the files' constants and after."""

    before_m: FloatArray
    after_m: FloatArray


def held_out_errors(fitted: Set) -> HeldOut | None:
    """Return the errors of dead reckoning from each drive's start, or None where too few references could be left out.

    With several drives every other one is left out as a whole, with one every other leg, references and detections
    alike; the constants fitted to the rest are tried on what was left out, and the other way round.
    """
    before, after = [], []
    for fold in range(_FOLDS):
        rest = replace(fitted, drives=tuple(_without(fitted, fold)))
        if sum(len(_references(drive).knot) for drive in rest.drives) < _FEWEST_REFERENCES:
            return None
        found = calibrated(rest)
        for number, drive in enumerate(fitted.drives):
            left_out = _left_out(fitted, drive, number, fold)
            before.append(_errors(fitted, drive, left_out, np.zeros(len(fitted.constants))))
            after.append(_errors(fitted, drive, left_out, _shifts(found)))
    if sum(map(len, before)) < _FEWEST_REFERENCES:
        return None
    return HeldOut(np.concatenate(before), np.concatenate(after))


def _shifts(found: Calibrated) -> FloatArray:
    return np.array([one.shift for one in found.estimates])


def _references(drive: Drive) -> Places:
    """Return the places a drive is judged by: marks or truth, whichever has more."""
    return max((drive.marks, drive.truth), key=lambda places: len(places.knot))


def _without(fitted: Set, fold: int) -> Iterator[Drive]:
    """Return the drives that a fold is fitted to."""
    for number, drive in enumerate(fitted.drives):
        if len(fitted.drives) == 1:
            kept = drive.seen
            yield replace(
                drive,
                marks=drive.marks.chosen(drive.marks.leg % _FOLDS != fold),
                truth=drive.truth.chosen(drive.truth.leg % _FOLDS != fold),
                seen=None if kept is None else kept.chosen(kept.leg % _FOLDS != fold),
            )
        elif number % _FOLDS != fold:
            yield drive


def _left_out(fitted: Set, drive: Drive, number: int, fold: int) -> Places:
    places = _references(drive)
    out: BoolArray = np.full(len(places.knot), number % _FOLDS == fold)
    return places.chosen(places.leg % _FOLDS == fold if len(fitted.drives) == 1 else out)


def _errors(fitted: Set, drive: Drive, places: Places, shifts: FloatArray) -> FloatArray:
    path = drive.wheels.poses(drive.wheels.rolled(fitted.constants, shifts, 0.0))
    reached = compose(drive.start.pose[0], path[drive.knot_row[places.knot]])
    return np.asarray(np.hypot(*(reached[:, :2] - places.pose[:, :2]).T))
