"""Thins a replayed session to what the pictures show; everything the report draws is computed here."""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from locbench.accuracy import Comparison, DriftSegments
from locbench.arrays import FloatArray, IntArray
from locbench.config import FieldConfig
from locbench.config.field import Goal, HorizontalOpening
from locbench.fusion import Between, Corrections, Estimate, Sampled, sample_track
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.odometry import Motion
from locbench.reference import KnownPoses
from locbench.results import (
    AimMarks,
    CorrectionMarks,
    DriftPoint,
    Ellipse,
    ErrorSeries,
    EstimatorTrack,
    FieldDrawing,
    GoalDrawing,
    LandingPoint,
    Opening,
    Place,
    SessionTracks,
    TagDrawing,
)
from locbench.session import NO_TAG, Detections
from locbench.shots import AimKicks, Shots, clean_outline, opening_outline
from locbench.statistics import CorrectionVerdict, chi_square_quantile

__all__ = ["draw_field", "draw_session"]

_PATH_POINTS = 1500
_SERIES_POINTS = 900
_ELLIPSES = 14
_RADIUS_95 = math.sqrt(chi_square_quantile(0.95, 2.0))


def draw_session(run: SessionRun) -> SessionTracks:
    """Return everything the pictures of one session show."""
    session = run.session
    visits = session.marks
    reference, path = _draw_reference(run)
    return SessionTracks(
        name=session.name,
        field=draw_field(session.field),
        reference=reference,
        reference_x_m=_sparse(path[:, 0]),
        reference_y_m=_sparse(path[:, 1]),
        visits=(
            []
            if visits is None
            else [Place(name=n, x_m=p[0], y_m=p[1]) for n, p in zip(visits.name, visits.pose, strict=True)]
        ),
        openings=[_draw_opening(run, goal) for goal in session.field.goals],
        estimators={name: _draw_estimator(run, estimator) for name, estimator in run.estimators.items()},
    )


def _rounded(values: FloatArray) -> list[float]:
    return [round(float(value), 6) for value in values]


def _sparse(values: FloatArray) -> list[float | None]:
    return [round(float(value), 6) if math.isfinite(value) else None for value in values]


def _spread(count: int, most: int) -> IntArray:
    """Return at most that many of `count` rows, evenly spread, the first and last among them."""
    if count <= most:
        return np.arange(count)
    return np.unique(np.linspace(0, count - 1, most).round().astype(np.int64))


def _thinned(values: FloatArray, most: int) -> FloatArray:
    return np.asarray(values[_spread(len(values), most)])


def _draw_reference(run: SessionRun) -> tuple[Literal["dense truth", "odometry between marks", "none"], FloatArray]:
    """Return what the reference is and its path (K, 3), NaN where it knows nothing."""
    if run.reference is not None:
        return "dense truth", _thinned(run.reference.pose, _PATH_POINTS)
    parts = [
        judge.at(np.linspace(motion.time_s[0], motion.time_s[-1], _PATH_POINTS // len(run.motions))).pose
        for judge, motion in zip(run.judges, run.motions, strict=True)
        if judge is not None
    ]
    if not parts:
        return "none", np.zeros((0, 3))
    return "odometry between marks", np.concatenate(parts)


def draw_field(field: FieldConfig) -> FieldDrawing:
    """Return the floor with everything that stands on it."""
    return FieldDrawing(
        x_from_m=field.floor.x_from,
        x_to_m=field.floor.x_to,
        y_from_m=field.floor.y_from,
        y_to_m=field.floor.y_to,
        tags=[TagDrawing(id=tag.id, x_m=tag.x, y_m=tag.y, facing_rad=tag.facing) for tag in field.tags],
        marks=[Place(name=mark.name, x_m=mark.x, y_m=mark.y) for mark in field.marks],
        goals=[_draw_goal(goal) for goal in field.goals],
    )


def _draw_goal(goal: Goal) -> GoalDrawing:
    if isinstance(goal.opening, HorizontalOpening):
        outline = opening_outline(goal.opening, None)
    else:
        half = goal.opening.width / 2.0
        outline = half * np.array(
            [[-np.sin(goal.facing), np.cos(goal.facing)], [np.sin(goal.facing), -np.cos(goal.facing)]]
        )
    return GoalDrawing(
        name=goal.name,
        x_m=goal.x,
        y_m=goal.y,
        outline_x_m=_rounded(goal.x + outline[:, 0]),
        outline_y_m=_rounded(goal.y + outline[:, 1]),
    )


def _draw_opening(run: SessionRun, goal: Goal) -> Opening:
    outline = opening_outline(goal.opening, run.shooter)
    clean = np.zeros((0, 2)) if run.shooter is None else clean_outline(goal, run.shooter)
    return Opening(
        goal=goal.name,
        outline_lateral_m=_rounded(outline[:, 0]),
        outline_along_m=_rounded(outline[:, 1]),
        clean_lateral_m=_rounded(clean[:, 0]),
        clean_along_m=_rounded(clean[:, 1]),
    )


def _draw_estimator(run: SessionRun, estimator: EstimatorRun) -> EstimatorTrack:
    stretches = list(zip(estimator.estimates, run.motions, strict=True))
    path = _path_rows(stretches)
    return EstimatorTrack(
        time_s=_rounded(path[:, 0]),
        x_m=_sparse(path[:, 1]),
        y_m=_sparse(path[:, 2]),
        ellipses=[
            ellipse
            for estimate, motion in stretches
            for ellipse in _ellipses(_published(estimate, motion, max(2, _ELLIPSES // len(stretches))))
        ],
        truth_error=None if estimator.truth is None else _error_series(estimator.truth),
        mark_error=None if estimator.marks is None else _error_series(estimator.marks),
        corrections=_draw_corrections(run.session.detections, estimator),
        drift=[] if estimator.drift is None else _drift_points(estimator.drift),
        landings=[point for shots in estimator.shots for point in _landings(run, shots)],
    )


def _published(estimate: Estimate, motion: Motion, most: int) -> Sampled:
    """Return what was published at times evenly spread over everything published and, where it carries on, odometry."""
    track = estimate.track
    if track.between is Between.ODOMETRY:
        times = np.union1d(motion.time_s, track.time_s)
        return sample_track(track, motion, estimate.noise, times[_spread(len(times), most)])
    chosen = _spread(len(track.time_s), most)
    return Sampled(track.time_s[chosen], track.pose[chosen], track.covariance[chosen])


def _path_rows(stretches: Sequence[tuple[Estimate, Motion]]) -> FloatArray:
    """Return (K, 3) time, x, y over all stretches, a row without position between two of them."""
    parts: list[FloatArray] = []
    for estimate, motion in stretches:
        if parts:
            parts.append(np.array([[parts[-1][-1, 0], np.nan, np.nan]]))
        sampled = _published(estimate, motion, _PATH_POINTS // len(stretches))
        if len(sampled.time_s):
            parts.append(np.column_stack([sampled.time_s, sampled.pose[:, :2]]))
    return np.concatenate(parts) if parts else np.zeros((0, 3))


def _ellipses(sampled: Sampled) -> list[Ellipse]:
    ellipses = []
    for row in np.flatnonzero(np.isfinite(sampled.covariance[:, 0, 0])):
        sizes, axes = np.linalg.eigh(sampled.covariance[row, :2, :2])
        major = axes[:, 1]
        ellipses.append(
            Ellipse(
                time_s=float(sampled.time_s[row]),
                x_m=float(sampled.pose[row, 0]),
                y_m=float(sampled.pose[row, 1]),
                semi_major_m=_RADIUS_95 * math.sqrt(max(0.0, float(sizes[1]))),
                semi_minor_m=_RADIUS_95 * math.sqrt(max(0.0, float(sizes[0]))),
                angle_rad=math.atan2(major[1], major[0]),
            )
        )
    return ellipses


def _error_series(comparison: Comparison) -> ErrorSeries:
    error, covariance = comparison.error, comparison.believed_covariance[:, :2, :2]
    largest_variance = np.full(len(comparison), np.nan)
    known = np.isfinite(covariance).all(axis=(1, 2))
    largest_variance[known] = np.linalg.eigvalsh(covariance[known])[:, 1]
    table = np.column_stack(
        [
            comparison.time_s,
            np.linalg.norm(error[:, :2], axis=1),
            error[:, 2],
            _RADIUS_95 * np.sqrt(largest_variance),
        ]
    )
    table = _thinned(table, _SERIES_POINTS)
    return ErrorSeries(
        time_s=_rounded(table[:, 0]),
        position_m=_sparse(table[:, 1]),
        heading_rad=_sparse(table[:, 2]),
        believed_95_m=_sparse(table[:, 3]),
    )


def _tag_labels(detections: Detections | None) -> dict[int, str]:
    """Return row of the log -> "3+7" of every fix from several tags."""
    if detections is None:
        return {}
    several = np.flatnonzero((detections.other_tags != NO_TAG).any(axis=1))
    every = np.column_stack([detections.tag, detections.other_tags])
    return {int(detections.row[i]): "+".join(str(tag) for tag in every[i] if tag != NO_TAG) for i in several}


def _draw_corrections(detections: Detections | None, estimator: EstimatorRun) -> CorrectionMarks | None:
    parts = [estimate.corrections for estimate in estimator.estimates if estimate.corrections is not None]
    if not parts:
        return None
    verdicts: list[CorrectionVerdict | None] = [v for stretch in estimator.judgement.verdicts for v in stretch]
    labels = _tag_labels(detections)
    outcomes = [str(rule) if rule is not None else "accepted" for part in parts for rule in part.rejected_by]
    return CorrectionMarks(
        time_s=[float(time) for part in parts for time in part.arrived_s],
        captured_s=[float(time) for part in parts for time in part.captured_s],
        tag=[labels.get(int(row), int(tag)) for part in parts for row, tag in zip(part.row, part.tag, strict=True)],
        row=[int(row) for part in parts for row in part.row],
        jump_m=[round(float(jump), 6) for part in parts for jump in part.jump_m],
        outcome=outcomes,
        reacquired=[bool(given_up) for part in parts for given_up in part.reacquired],
        verdict=[None if v is None else str(v) for v in verdicts] if verdicts else [None] * len(outcomes),
        error_after_m=[
            size
            for part, known in zip(parts, estimator.judgement.known, strict=True)
            for size in _errors_after(part, known)
        ],
        aims={goal: _aim_marks(kicks) for goal, kicks in estimator.judgement.kicks.items()},
    )


def _aim_marks(kicks: Sequence[AimKicks]) -> AimMarks:
    return AimMarks(
        verdict=[None if verdict is None else str(verdict) for part in kicks for verdict in part.verdict],
        kick_rad=[size for part in kicks for size in _sparse(part.kick_rad)],
    )


def _errors_after(corrections: Corrections, known: KnownPoses | None) -> list[float | None]:
    if known is None:
        return [None] * len(corrections)
    return _sparse(np.linalg.norm(corrections.after[:, :2] - known.pose[:, :2], axis=1))


def _drift_points(segments: DriftSegments) -> list[DriftPoint]:
    return [
        DriftPoint(
            start_s=float(segments.start_s[i]),
            length_m=float(segments.length_m[i]),
            turn_rad=float(segments.turning_rad[i]),
            duration_s=float(segments.duration_s[i]),
            position_error_m=float(np.linalg.norm(segments.error[i, :2])),
            heading_error_rad=float(segments.error[i, 2]),
        )
        for i in range(len(segments))
    ]


def _landings(run: SessionRun, shots: Shots) -> list[LandingPoint]:
    bands = [band for band in run.session.field.bands if band.goal in (None, shots.goal)]
    points = []
    for i, distance in enumerate(shots.range_m):
        band = next((band.name for band in bands if band.from_ <= distance < band.to), "outside all bands")
        points.append(
            LandingPoint(
                place=run.places[shots.place[i]],
                band=band,
                goal=shots.goal,
                range_m=float(distance),
                lateral_m=float(shots.offset[i, 0]),
                along_m=float(shots.offset[i, 1]),
                inside=None if shots.clean is None else bool(shots.clean[i]),
            )
        )
    return points
