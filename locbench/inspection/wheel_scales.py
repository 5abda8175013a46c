"""By which factors the wheels' travel would agree with the other sensors and with the references."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import between, logarithm, rotation_matrix
from locbench.inspection.recorded import Odometry, Recorded, Wheels
from locbench.inspection.references import references
from locbench.statistics import standard_error_of_median

__all__ = ["ScaleEstimate", "scale_estimates"]

_WINDOW_S = 0.5
_LEAST_TRAVEL_M = 0.05
_LEAST_PAIRS = 4


@dataclass(frozen=True)
class ScaleEstimate:
    """The wheels, the factor their travel has to be multiplied by, and its standard uncertainty."""

    names: tuple[str, ...]
    factor: float
    std: float


def scale_estimates(log: Recorded, odometry: Odometry, wheels: Wheels) -> Iterator[ScaleEstimate]:
    """Yield factors of single wheels and of all together: by the other sensors, by truth or fixes, and by marks."""
    for name, measured, expected in _by_the_others(odometry, wheels):
        yield from _estimate((name,), measured, expected)
    for begin, end, twist in _reference_twists(log):
        measured = _travel_between(odometry, wheels, begin, end)
        expected = twist @ wheels.rows.T
        for index, name in enumerate(wheels.names):
            yield from _estimate((name,), measured[:, index], expected[:, index])
        yield from _estimate(wheels.names, measured.ravel(), expected.ravel())
    yield from _by_marks(log, odometry, wheels)


def _estimate(names: tuple[str, ...], measured: FloatArray, expected: FloatArray) -> Iterator[ScaleEstimate]:
    found = _factor(measured, expected)
    if found is not None:
        yield ScaleEstimate(names, *found)


def _travel_between(odometry: Odometry, wheels: Wheels, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Return (M, K) each wheel's travel between two times."""
    return np.column_stack(
        [np.interp(end_s, odometry.time_s, one) - np.interp(begin_s, odometry.time_s, one) for one in wheels.travel_m.T]
    )


def _by_marks(log: Recorded, odometry: Odometry, wheels: Wheels) -> Iterator[ScaleEstimate]:
    """Yield factors by the ways from mark to mark, of which each wheel makes a part if the gyro turns the robot."""
    visits = log.visits
    if visits is None or odometry.heading_rad is None or not odometry.heading_counts:
        return
    known = np.flatnonzero(np.isfinite(visits.pose[:, 2]))
    if len(known) < _LEAST_PAIRS + 1:
        return
    times, poses = visits.middle_s[known], visits.pose[known]
    way = between(poses[:-1], poses[1:])[:, :2]
    parts = _parts(odometry, wheels, odometry.heading_rad, times)
    whole = np.sum(parts[:, :-1], axis=1)
    rest = way - parts[:, -1]
    for index, name in enumerate(wheels.names):
        part = parts[:, index]
        yield from _projected((name,), part, rest - whole + part)
    yield from _projected(wheels.names, whole, rest)


def _parts(odometry: Odometry, wheels: Wheels, heading: FloatArray, times_s: FloatArray) -> FloatArray:
    """Return (M - 1, K + 1, 2) what each wheel's travel, and last the turning, add to the ways between times (M,).

    In the frame of the robot at the way's begin.
    """
    inverse_rows = np.linalg.pinv(wheels.rows[:, :2])
    turn = np.diff(heading)
    travel = np.diff(wheels.travel_m, axis=0)
    steps = [travel[:, [index]] * inverse_rows[:, index] for index in range(len(wheels.names))]
    steps.append(-np.outer(turn, inverse_rows @ wheels.rows[:, 2]))
    turned = rotation_matrix(heading[:-1] + turn / 2.0)
    at_begin = rotation_matrix(-np.interp(times_s[:-1], odometry.time_s, heading))
    parts = []
    for step in steps:
        sums = np.vstack([np.zeros(2), np.cumsum((turned @ step[..., np.newaxis])[..., 0], axis=0)])
        there = np.column_stack([np.interp(times_s, odometry.time_s, column) for column in sums.T])
        parts.append((at_begin @ np.diff(there, axis=0)[..., np.newaxis])[..., 0])
    return np.stack(parts, axis=1)


def _projected(names: tuple[str, ...], part: FloatArray, wanted: FloatArray) -> Iterator[ScaleEstimate]:
    """Yield the factor that brings parts (M, 2) of ways nearest to what is wanted of them."""
    length = np.linalg.norm(part, axis=1)
    long = length > _LEAST_TRAVEL_M
    if np.sum(long) >= _LEAST_PAIRS:
        along = np.sum(part[long] * wanted[long], axis=1) / length[long]
        yield from _estimate(names, length[long], along)


def _by_the_others(odometry: Odometry, wheels: Wheels) -> Iterator[tuple[str, FloatArray, FloatArray]]:
    """Yield wheels that the others and the gyro foretell, with their travel over short windows and the foretold one."""
    times = np.arange(odometry.time_s[0], odometry.time_s[-1], _WINDOW_S)
    if odometry.heading_rad is None or len(times) < _LEAST_PAIRS + 1:
        return
    travel = _travel_between(odometry, wheels, times[:-1], times[1:])
    turn = np.diff(np.interp(times, odometry.time_s, odometry.heading_rad))
    for index, name in enumerate(wheels.names):
        others = np.arange(len(wheels.names)) != index
        rows = np.vstack([wheels.rows[others], [0.0, 0.0, 1.0]])
        if not _adds_to(rows, wheels.rows[index]):
            motion = np.column_stack([travel[:, others], turn]) @ np.linalg.pinv(rows).T
            yield name, travel[:, index], motion @ wheels.rows[index]


def _adds_to(rows: FloatArray, row: FloatArray) -> bool:
    """Return whether a row measures a motion that the others leave open, so that they cannot foretell it."""
    return bool(np.linalg.matrix_rank(np.vstack([rows, row]), tol=1e-9) > np.linalg.matrix_rank(rows, tol=1e-9))


def _reference_twists(log: Recorded) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Yield begin and end times (M,) and twists (M, 3) between them, by truth or fixes."""
    if log.truth is not None:
        times = np.arange(log.odometry.time_s[0], log.odometry.time_s[-1], _WINDOW_S)
        yield from _twists(times, references(log, times))
    if log.fixes is not None:
        whole = np.flatnonzero(np.isfinite(log.fixes.pose[:, 2]))
        times = log.fixes.time_s[whole]
        bins = np.unique(np.floor(times / _WINDOW_S), return_index=True)[1]
        yield from _twists(times[bins], log.fixes.pose[whole][bins])


def _twists(times_s: FloatArray, poses: FloatArray) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    if len(times_s) < 5:
        return
    twist = logarithm(between(poses[:-1], poses[1:]))
    usable = np.isfinite(twist).all(axis=1) & (np.diff(times_s) < 3.0 * _WINDOW_S)
    if np.sum(usable) >= _LEAST_PAIRS:
        yield times_s[:-1][usable], times_s[1:][usable], twist[usable]


def _factor(measured: FloatArray, expected: FloatArray) -> tuple[float, float] | None:
    """Return by how much the measured travel must be multiplied, and how surely; a weighted median of ratios.

    None where the wheel hardly moved, or the two do not go together.
    """
    moving = np.abs(measured) + np.abs(expected) > _LEAST_TRAVEL_M
    moving &= (np.abs(measured) > 0.002) & (measured * expected > 0.0)
    if np.sum(moving) < _LEAST_PAIRS:
        return None
    ratio, weight = expected[moving] / measured[moving], np.abs(measured[moving])
    order = np.argsort(ratio)
    middle = np.searchsorted(np.cumsum(weight[order]), 0.5 * np.sum(weight))
    factor = float(ratio[order][middle])
    return factor, standard_error_of_median(ratio, len(ratio))
