"""How far the parts of a log contradict each other, as one cost that a change of the set-up can lower.

Every comparison between two parts (odometry and marks, fixes and marks, pods and gyro, ...) gives residuals, divided by
what a healthy log of a student robot leaves there (common practice, no source).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import between, interpolate_poses, wrap_angle
from locbench.inspection.recorded import Recorded, Wheels
from locbench.inspection.references import (
    expected_bearings,
    expected_ranges,
    first_references,
    references,
    since_start,
    start_by,
)
from locbench.inspection.residuals import NOTHING, Residuals, pose_residuals, position_residuals

__all__ = ["Comparison", "Misfit", "misfit"]


class Comparison(StrEnum):
    """Which two parts of a log are set beside each other."""

    WHEELS_GYRO = "wheels and gyro"
    ODOMETRY_TRUTH = "odometry and truth"
    ODOMETRY_MARKS = "odometry and marks"
    ODOMETRY_FIXES = "odometry and fixes"
    STANDSTILL_MARKS = "odometry and standing still at marks"
    START = "start pose and what follows it"
    TRUTH_MARKS = "truth and marks"
    FIXES = "fixes and references"
    RANGES = "measured and expected ranges"
    BEARINGS = "measured and expected bearings"


# what a healthy log leaves: a floor, and shares of the way and of the turn between the two times
_FLOOR_M, _FLOOR_RAD = 0.012, np.radians(0.5)
_SHARE_OF_WAY, _SHARE_OF_TURN = 0.02, 0.01
_LEVER_M = 0.05
_PARITY_FLOOR_M, _PARITY_SHARE = 0.004, 0.02
_FIX_M, _FIX_RAD = 0.05, np.radians(2.5)
_START_M, _START_RAD = 0.03, np.radians(1.5)
_STILL_M = 0.006
_RANGE_M, _RANGE_SHARE = 0.05, 0.02
_BEARING_RAD = np.radians(1.5)

_PARITY_WINDOW_S = 0.25
_TRUTH_WINDOWS_S = (0.4, 2.0)
_FIX_WINDOW_S = (0.7, 1.6)
_WEIGHT_LIMIT = 150.0
_START_WEIGHT = 12.0


@dataclass(frozen=True)
class Misfit:
    """What every comparison that a log allows leaves."""

    log: Recorded
    residuals: Mapping[Comparison, Residuals]

    @property
    def cost(self) -> float:
        """Of all comparisons together, by their independent evidence."""
        return sum(residuals.independent * residuals.mean_cost for residuals in self.residuals.values())

    def cost_of(self, changed: "Misfit") -> float:
        """Return the cost of a changed log by the evidence of this one: to compare less would else seem to fit better.

        What the change makes impossible to compare, all or some of it, costs as much as here.
        """
        return sum(
            here.independent * _cost_after(here, changed.residuals[kind]) for kind, here in self.residuals.items()
        )

    def of(self, changed: Recorded) -> "Misfit":
        """Return what a changed log leaves; comparisons of unchanged parts are taken over."""
        return Misfit(
            changed,
            {
                kind: self.residuals[kind] if self.takes_over(kind, changed) else _COMPARISONS[kind](changed)
                for kind in Comparison
            },
        )

    def takes_over(self, kind: Comparison, changed: Recorded) -> bool:
        """Return whether a comparison looks at nothing that differs between the two logs."""
        return all(getattr(self.log, part) is getattr(changed, part) for part in _PARTS[kind])


def _cost_after(here: Residuals, there: Residuals) -> float:
    if not here.count:
        return 0.0
    still = min(1.0, there.count / here.count)
    return still * there.mean_cost + (1.0 - still) * here.mean_cost


def misfit(log: Recorded) -> Misfit:
    """Return what the comparisons of a log leave; those that it does not allow leave nothing."""
    return Misfit(log, {kind: comparison(log) for kind, comparison in _COMPARISONS.items()})


def _relative(error: FloatArray, way_m: FloatArray, turn_rad: FloatArray, share: float) -> Residuals:
    scale_m = _FLOOR_M + _SHARE_OF_WAY * way_m + _LEVER_M * _SHARE_OF_TURN * turn_rad
    scale_rad = _FLOOR_RAD + _SHARE_OF_TURN * turn_rad
    return pose_residuals(error, scale_m, scale_rad, _weight(len(error), share))


def _weight(count: int, share: float) -> float:
    return min(share * count, _WEIGHT_LIMIT)


def _wheels_and_gyro(log: Recorded) -> Residuals:
    odometry = log.odometry
    if not isinstance(odometry.measured, Wheels) or odometry.heading_rad is None:
        return NOTHING
    wheels = odometry.measured
    rows = np.vstack([wheels.rows, [0.0, 0.0, 1.0]])
    left, singular, _ = np.linalg.svd(rows)
    hidden = left[:, int(np.sum(singular > 1e-9 * singular[0])) :]
    hidden = hidden[:, np.linalg.norm(hidden[:-1], axis=0) > 1e-9]
    if not hidden.shape[1]:
        return NOTHING
    hidden = hidden / np.linalg.norm(hidden[:-1], axis=0)
    times = np.arange(odometry.time_s[0], odometry.time_s[-1], _PARITY_WINDOW_S)
    columns = [*wheels.travel_m.T, odometry.heading_rad]
    steps = np.diff(np.column_stack([np.interp(times, odometry.time_s, column) for column in columns]), axis=0)
    if not len(steps):
        return NOTHING
    travel = np.abs(steps[:, :-1]).max(axis=1)
    moving = travel > 0.01
    if not np.any(moving):
        return NOTHING
    parity = np.linalg.norm(steps @ hidden, axis=1)[moving]
    scale = _PARITY_FLOOR_M + _PARITY_SHARE * travel[moving]
    return position_residuals(parity, scale, _weight(len(parity), 0.5))


def _odometry_and_truth(log: Recorded) -> Residuals:
    truth = log.truth
    if truth is None:
        return NOTHING
    parts = []
    for window in _TRUTH_WINDOWS_S:
        times = np.arange(max(log.start_s, truth.time_s[0]), log.odometry.time_s[-1], window)
        there = interpolate_poses(truth.time_s, truth.pose, truth.flagged, times)
        if len(there) < 2:
            continue
        error = _odometry_error(log, times[:-1], times[1:], there[:-1], there[1:])
        way = log.odometry.spent(log.odometry.way_m, times[:-1], times[1:])
        turn = log.odometry.spent(log.odometry.turning_rad, times[:-1], times[1:])
        parts.append((error, way, turn))
    if not parts:
        return NOTHING
    error, way, turn = (np.concatenate(part) for part in zip(*parts, strict=True))
    known = np.isfinite(error[:, 0]) & (way + 0.2 * turn > 0.02)
    return _relative(error[known], way[known], turn[known], 0.5) if np.any(known) else NOTHING


def _odometry_error(
    log: Recorded, begin_s: FloatArray, end_s: FloatArray, begin: FloatArray, end: FloatArray
) -> FloatArray:
    """Return (M, 3) the way by odometry against the way between references, in the frame of its end.

    A reference without a heading at the begin leaves only the length of the way to compare.
    """
    by_odometry = between(log.odometry.at(begin_s), log.odometry.at(end_s))
    by_reference = between(begin, end)
    error = between(by_reference, by_odometry)
    length = np.linalg.norm(end[:, :2] - begin[:, :2], axis=1)
    blind = ~np.isfinite(begin[:, 2])
    error[blind, 0] = np.hypot(by_odometry[blind, 0], by_odometry[blind, 1]) - length[blind]
    error[blind, 1] = 0.0
    # only the end without a heading: positions still compare
    half = ~blind & ~np.isfinite(end[:, 2])
    error[half, :2] = by_odometry[half, :2] - by_reference[half, :2]
    return error


def _odometry_and_marks(log: Recorded) -> Residuals:
    visits = log.visits
    if visits is None:
        return NOTHING
    times = visits.middle_s
    if len(times) < 2:
        return NOTHING
    error = _odometry_error(log, times[:-1], times[1:], visits.pose[:-1], visits.pose[1:])
    way = log.odometry.spent(log.odometry.way_m, times[:-1], times[1:])
    turn = log.odometry.spent(log.odometry.turning_rad, times[:-1], times[1:])
    known = np.isfinite(error[:, 0])
    return _relative(error[known], way[known], turn[known], 1.0) if np.any(known) else NOTHING


def _odometry_and_fixes(log: Recorded) -> Residuals:
    fixes = log.fixes
    if fixes is None or len(fixes.time_s) < 2:
        return NOTHING
    later = np.searchsorted(fixes.time_s, fixes.time_s + _FIX_WINDOW_S[0])
    first = np.flatnonzero(later < len(fixes.time_s))
    first = first[fixes.time_s[later[first]] - fixes.time_s[first] < _FIX_WINDOW_S[1]]
    if not len(first):
        return NOTHING
    second = later[first]
    times, pose = fixes.time_s, fixes.pose
    error = _odometry_error(log, times[first], times[second], pose[first], pose[second])
    way = log.odometry.spent(log.odometry.way_m, times[first], times[second])
    scale = np.hypot(np.sqrt(2.0) * _FIX_M, _SHARE_OF_WAY * way)
    moments = len(np.unique(np.round(times[first] / _FIX_WINDOW_S[0])))
    return pose_residuals(error, scale, float(np.sqrt(2.0)) * _FIX_RAD, min(float(moments), _WEIGHT_LIMIT))


def _standstill_at_marks(log: Recorded) -> Residuals:
    visits = log.visits
    if visits is None:
        return NOTHING
    stays = visits.end_s - visits.begin_s > 0.25
    # outside the log nothing says whether the robot stood
    stays &= (visits.begin_s >= log.odometry.time_s[0]) & (visits.end_s <= log.odometry.time_s[-1])
    if not np.any(stays):
        return NOTHING
    moved = log.odometry.spent(
        log.odometry.way_m + _LEVER_M * log.odometry.turning_rad, visits.begin_s[stays], visits.end_s[stays]
    )
    return position_residuals(moved, np.full(len(moved), _STILL_M), float(len(moved)))


def _start(log: Recorded) -> Residuals:
    """Return the start pose against the first visit, the truth there and the fixes near it."""
    found = first_references(log)
    if not found:
        return NOTHING
    error = between(log.start[np.newaxis], np.array([start_by(log, times, poses)[0] for times, poses in found]))
    way = np.array([np.median(since_start(log, log.odometry.way_m, times)) for times, _ in found])
    turn = np.array([np.median(since_start(log, log.odometry.turning_rad, times)) for times, _ in found])
    scale_m = np.hypot(_START_M + _SHARE_OF_WAY * way, np.max(log.start_std[:2]))
    scale_rad = np.hypot(_START_RAD + _SHARE_OF_TURN * turn, log.start_std[2])
    return pose_residuals(error, scale_m, scale_rad, _START_WEIGHT * len(found))


def _truth_and_marks(log: Recorded) -> Residuals:
    if log.truth is None or log.visits is None:
        return NOTHING
    there = interpolate_poses(log.truth.time_s, log.truth.pose, log.truth.flagged, log.visits.middle_s)
    known = np.isfinite(there[:, 0])
    if not np.any(known):
        return NOTHING
    error = there[known] - log.visits.pose[known]
    return pose_residuals(error, _FLOOR_M, 2.0 * _FLOOR_RAD, float(np.sum(known)))


def _fixes(log: Recorded) -> Residuals:
    if log.fixes is None:
        return NOTHING
    there = references(log, log.fixes.time_s)
    known = np.isfinite(there[:, 0])
    if np.sum(known) < 5:
        return NOTHING
    error = log.fixes.pose[known] - there[known]
    scale = 1.0 + 0.5 * _distance(log.fixes.tag_pose[known], there[known])
    return pose_residuals(error, _FIX_M / 2.0 * scale, _FIX_RAD / 2.0 * scale, _moments(log.fixes.time_s[known]))


def _distance(tag_pose: FloatArray, pose: FloatArray) -> FloatArray:
    return np.asarray(np.hypot(tag_pose[:, 0] - pose[:, 0], tag_pose[:, 1] - pose[:, 1]))


def _moments(times_s: FloatArray) -> float:
    """Return how many fifths of a second hold a detection, up to a limit: what is seen at one moment errs alike."""
    return min(float(len(np.unique(np.round(times_s / 0.2)))), _WEIGHT_LIMIT)


def _ranges(log: Recorded) -> Residuals:
    if log.rays is None or not np.any(np.isfinite(log.rays.range_m)):
        return NOTHING
    expected = expected_ranges(log)
    known = np.isfinite(expected) & np.isfinite(log.rays.range_m)
    if np.sum(known) < 5:
        return NOTHING
    error = (log.rays.range_m - expected)[known]
    return position_residuals(error, _RANGE_M + _RANGE_SHARE * expected[known], _moments(log.rays.time_s[known]))


def _bearings(log: Recorded) -> Residuals:
    if log.rays is None or not np.any(np.isfinite(log.rays.bearing_rad)):
        return NOTHING
    error = wrap_angle(log.rays.bearing_rad - expected_bearings(log))
    known = np.isfinite(error)
    count = int(np.sum(known))
    if count < 5:
        return NOTHING
    scale = np.full(count, _BEARING_RAD)
    return Residuals(np.full(count, np.nan), error[known], np.ones(count), scale, _moments(log.rays.time_s[known]))


_COMPARISONS: Mapping[Comparison, Callable[[Recorded], Residuals]] = {
    Comparison.WHEELS_GYRO: _wheels_and_gyro,
    Comparison.ODOMETRY_TRUTH: _odometry_and_truth,
    Comparison.ODOMETRY_MARKS: _odometry_and_marks,
    Comparison.ODOMETRY_FIXES: _odometry_and_fixes,
    Comparison.STANDSTILL_MARKS: _standstill_at_marks,
    Comparison.START: _start,
    Comparison.TRUTH_MARKS: _truth_and_marks,
    Comparison.FIXES: _fixes,
    Comparison.RANGES: _ranges,
    Comparison.BEARINGS: _bearings,
}

# fields of `Recorded` that each comparison depends on
_REFERENCES = ("odometry", "truth", "visits", "start", "start_s")
_PARTS: Mapping[Comparison, tuple[str, ...]] = {
    Comparison.WHEELS_GYRO: ("odometry",),
    Comparison.ODOMETRY_TRUTH: ("odometry", "truth"),
    Comparison.ODOMETRY_MARKS: ("odometry", "visits"),
    Comparison.ODOMETRY_FIXES: ("odometry", "fixes"),
    Comparison.STANDSTILL_MARKS: ("odometry", "visits"),
    Comparison.START: (*_REFERENCES, "fixes"),
    Comparison.TRUTH_MARKS: ("truth", "visits"),
    Comparison.FIXES: (*_REFERENCES, "fixes"),
    Comparison.RANGES: (*_REFERENCES, "rays"),
    Comparison.BEARINGS: (*_REFERENCES, "rays"),
}
