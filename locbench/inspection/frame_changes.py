"""What can be wrong with the frame and units of a table of poses, as changes to try."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.geometry import rigid_alignment, rotation_matrix, wrap_angle
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.odometry_changes import LENGTH_FACTORS
from locbench.inspection.recorded import ANGLE_FACTORS, Recorded
from locbench.inspection.residuals import ALIKE
from locbench.statistics import standard_error_of_median

__all__ = ["frame_changes", "straightness"]

_LEAST_POSES = 8


@dataclass(frozen=True)
class _Tried:
    """Poses (M, 3) as they would be, and what was fitted."""

    fault: SetupFault
    pose: FloatArray
    parameters: int
    amounts: Mapping[Amount, float]
    stds: Mapping[Amount, float]
    headings_kept: bool = False
    headings_turned_rad: float = 0.0


def frame_changes(
    part: Part, pose: FloatArray, zero: FloatArray, there: FloatArray, rebuilt: Callable[[FloatArray], Recorded]
) -> Iterator[Change]:
    """Yield what other conventions of a table of poses would make of it.

    Parameters
    ----------
    part
        Which table.
    pose
        (M, 3) as the files have it.
    zero
        (3,) what a row of zeros in that table means.
    there
        (M, 3) where the robot was by other references, NaN where they cannot tell.
    rebuilt
        Returns the log with other poses (M, 3) in that table.
    """
    known = np.isfinite(there[:, 0]) & np.isfinite(pose[:, 0])
    for tried in _tried(pose, zero, there, known):
        log = rebuilt(tried.pose)
        yield Change(
            tried.fault,
            part,
            log,
            tried.parameters,
            amounts=tried.amounts,
            stds=tried.stds,
            headings_kept=tried.headings_kept,
            headings_turned_rad=tried.headings_turned_rad,
        )


def _tried(pose: FloatArray, zero: FloatArray, there: FloatArray, known: BoolArray) -> Iterator[_Tried]:
    logged = pose - zero
    flat = pose * [1.0, 1.0, -1.0]
    mirrored = pose * [1.0, -1.0, -1.0]
    yield _Tried(SetupFault.HEADING_SENSE, flat, 0, {Amount.TURN: 0.0}, {})
    for factor in ANGLE_FACTORS:
        yield _Tried(SetupFault.ANGLE_UNIT, zero + logged * [1.0, 1.0, factor], 0, {Amount.FACTOR: factor}, {})
    for factor in LENGTH_FACTORS:
        yield _Tried(SetupFault.LENGTH_UNIT, zero + logged * [factor, factor, 1.0], 0, {Amount.FACTOR: factor}, {})
    if np.sum(known) < _LEAST_POSES:
        return
    yield _heading_turned(SetupFault.HEADING_SENSE, flat, there, known)
    yield _heading_turned(SetupFault.HEADING_ZERO, pose, there, known)
    yield _shifted(SetupFault.FRAME_SHIFTED, pose, there, known)
    yield from _rotated(SetupFault.FRAME_ROTATED, pose, there, known)
    yield from _mirrored(mirrored, there, known)
    for tried in _mirrored(pose * [1.0, -1.0, 1.0], there, known):
        yield replace(tried, headings_kept=True)


def _mirrored(pose: FloatArray, there: FloatArray, known: BoolArray) -> Iterator[_Tried]:
    """Yield a mirrored frame turned to where it fits, and the same with its headings turned on by quarters.

    Where headings are zero along an axis that mirroring exchanges with another, no turn of the frame fits both.
    """
    for tried in _rotated(SetupFault.FRAME_MIRRORED, pose, there, known):
        yield tried
        turn, _ = _heading_error(tried.pose, there, known)
        quarters = float(np.round(turn / (np.pi / 2.0)) * np.pi / 2.0)
        if quarters:
            yield replace(tried, pose=tried.pose + [0.0, 0.0, quarters], headings_turned_rad=quarters)


def _heading_error(pose: FloatArray, there: FloatArray, known: BoolArray) -> tuple[float, float]:
    """Return the typical heading error of poses and its standard uncertainty; both 0 without headings."""
    error = (there - pose)[known, 2]
    error = error[np.isfinite(error)]
    if len(error) < _LEAST_POSES:
        return 0.0, 0.0
    rough = _circular_median(error)
    rest = wrap_angle(error - rough)
    middle = float(np.median(rest))
    return float(wrap_angle(np.array(rough + middle))), standard_error_of_median(rest, len(rest) / ALIKE)


def _circular_median(angle_rad: FloatArray) -> float:
    """Return the one of the angles that is nearest to most: outliers and the wrap-around do not matter."""
    some = angle_rad[:: max(1, len(angle_rad) // 200)]
    away = np.abs(wrap_angle(some[:, np.newaxis] - some[np.newaxis]))
    return float(some[np.argmin(np.sum(np.minimum(away, 0.5), axis=1))])


def _heading_turned(fault: SetupFault, pose: FloatArray, there: FloatArray, known: BoolArray) -> _Tried:
    turn, std = _heading_error(pose, there, known)
    return _Tried(fault, pose + [0.0, 0.0, turn], 1, {Amount.TURN: turn}, {Amount.TURN: std})


def _shifted(fault: SetupFault, pose: FloatArray, there: FloatArray, known: BoolArray) -> _Tried:
    return _placed(fault, pose, 0.0, 0.0, 2, there, known)


def _placed(
    fault: SetupFault, pose: FloatArray, turn: float, turn_std: float, fitted: int, there: FloatArray, known: BoolArray
) -> _Tried:
    """Return poses turned about the origin, then moved to where they fit best: by the median, so flips do not count."""
    points = pose[:, :2] @ rotation_matrix(np.array(turn)).T
    away = there[known, :2] - points[known]
    move = np.median(away, axis=0)
    x_std, y_std = (standard_error_of_median(column, len(away) / ALIKE) for column in away.T)
    amounts = {Amount.TURN: turn, Amount.X: float(move[0]), Amount.Y: float(move[1])}
    stds = {Amount.TURN: turn_std, Amount.X: x_std, Amount.Y: y_std}
    return _Tried(fault, np.column_stack([points + move, pose[:, 2] + turn]), fitted, amounts, stds)


def _rotated(fault: SetupFault, pose: FloatArray, there: FloatArray, known: BoolArray) -> Iterator[_Tried]:
    """Yield the frame turned by what headings say, and by what positions say."""
    turn, std = _heading_error(pose, there, known)
    yield _placed(fault, pose, turn, std, 3, there, known)
    alignment = rigid_alignment(pose[known, :2], there[known, :2])
    by_positions = float(np.arctan2(alignment.rotation[1, 0], alignment.rotation[0, 0]))
    yield _placed(fault, pose, by_positions, std, 3, there, known)


def straightness(points: FloatArray) -> tuple[float, float]:
    """Return the standard deviations of points (M, 2) along and across the line that fits them best."""
    centred = points - points.mean(axis=0)
    along, across = np.linalg.svd(centred, compute_uv=False) / np.sqrt(len(points))
    return float(along), float(across)
