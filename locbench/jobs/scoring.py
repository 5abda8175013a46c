"""Turns a replayed session into the numbers of results.json."""

from collections.abc import Sequence

import numpy as np

from locbench.accuracy import (
    Comparison,
    DriftSegments,
    confounded_terms,
    drift_numbers,
    outlying_segments,
    residual_numbers,
    summarise,
    summarise_uncorrected,
    tag_residuals,
)
from locbench.config import CorrectionMode
from locbench.jobs.banding import band_shots
from locbench.jobs.consistency import consistency, pooled_consistency
from locbench.jobs.correction_scores import correction_summary, on_target_records, reference_record
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.odometry import Motion
from locbench.results import (
    Drift,
    DriftSegment,
    ErrorSummary,
    EstimatorResult,
    FindingRecord,
    PooledEstimator,
    PooledResult,
    SegmentRecord,
    SessionResult,
    SuspectMotion,
    TagResiduals,
)
from locbench.session import Detections
from locbench.statistics import (
    UncertainNumber,
    measured,
    unavailable,
)
from locbench.vision import as_robot_poses

__all__ = ["pool", "score_session"]

_NO_MARKS = "no mark visit in this log: lay out marks and press when the robot stands on one"
_NO_TRUTH = "no dense ground truth in this log"


def score_session(run: SessionRun) -> SessionResult:
    """Return the numbers of one replayed session."""
    session = run.session
    segments = [
        SegmentRecord(
            names=list(stretch.names),
            start_s=float(motion.time_s[0]),
            end_s=float(motion.time_s[-1]),
            path_length_m=float(motion.path_length_m[-1]),
        )
        for stretch, motion in zip(session.stretches, run.motions, strict=True)
    ]
    findings = [
        FindingRecord(
            code=str(finding.code),
            severity=finding.severity.value,
            where=finding.where,
            message=finding.message,
            value=finding.value,
            remedy=finding.remedy,
        )
        for finding in session.findings
    ]
    poses = None if session.detections is None else as_robot_poses(session.detections, session.field)
    return SessionResult(
        name=session.name,
        evidence=session.evidence.value,
        duration_s=sum(segment.end_s - segment.start_s for segment in segments),
        path_length_m=sum(segment.path_length_m for segment in segments),
        turns_absolute=sum(float(motion.turning_rad[-1]) for motion in run.motions) / (2.0 * np.pi),
        segments=segments,
        findings=findings,
        reference=reference_record(run),
        estimators={name: _estimator(run, name, poses) for name in run.estimators},
        estimators_left_out=dict(run.left_out),
        suspect_motion=_suspect_motion(run.motions),
    )


def _suspect_motion(motions: Sequence[Motion]) -> SuspectMotion | None:
    begins_s = [
        float(time) for motion in motions for time in motion.time_s[:-1][np.diff(motion.suspect.astype(int)) == 1]
    ]
    if not begins_s:
        return None
    return SuspectMotion(
        duration_s=sum(float(np.sum(motion.duration_s[motion.suspect])) for motion in motions),
        places=len(begins_s),
        first_s=begins_s[0],
    )


def _error_summary(estimators: Sequence[EstimatorRun], parts: Sequence[Comparison]) -> ErrorSummary | None:
    if not any(len(part) for part in parts):
        return None
    uncorrected = all(estimator.uncorrected for estimator in estimators)
    return ErrorSummary(**vars(summarise_uncorrected(parts) if uncorrected else summarise(parts)))


def _estimator(run: SessionRun, name: str, poses: Detections | None) -> EstimatorResult:
    estimator, fusion = run.estimators[name], run.fusions.get(name)
    why: dict[str, str] = {}
    marks = None if estimator.marks is None else _error_summary([estimator], [estimator.marks])
    truth = None if estimator.truth is None else _error_summary([estimator], [estimator.truth])
    if marks is None:
        why["marks"] = _NO_MARKS
    if truth is None:
        why["truth"] = _NO_TRUTH
    drift = None if estimator.drift is None else _drift(estimator.drift)
    if drift is None:
        why["drift"] = "no two references with a heading between which this estimator had a pose"
    applies = fusion is not None and fusion.correction.mode is not CorrectionMode.NONE
    corrections = correction_summary(run, estimator, fusion) if applies else None
    if corrections is None:
        why["corrections"] = "this estimator takes no corrections"
    honesty = consistency(run, name)
    shots = band_shots([run], name, [honesty])
    if not shots:
        why["shots"] = _why_no_shots(run)
    return EstimatorResult(
        correction_mode=None if fusion is None else fusion.correction.mode.value,
        marks=marks,
        truth=truth,
        drift=drift,
        consistency=honesty,
        corrections=corrections,
        shots=shots,
        on_target=on_target_records(estimator),
        tag_residuals=None if name == "tags_only" else _tag_residuals(run, estimator, poses),
        why=why,
    )


def _tag_residuals(run: SessionRun, estimator: EstimatorRun, poses: Detections | None) -> TagResiduals | None:
    """Return the residuals of an estimator that has a pose of its own between fixes, where fixes mean whole poses."""
    if poses is None:
        return None
    pairs = zip(estimator.estimates, run.motions, strict=True)
    return TagResiduals(**vars(residual_numbers([tag_residuals(e, motion, poses) for e, motion in pairs])))


def _drift(segments: DriftSegments) -> Drift:
    outlying = [
        DriftSegment(
            start_s=float(segments.start_s[row]),
            end_s=float(segments.start_s[row] + segments.duration_s[row]),
            length_m=float(segments.length_m[row]),
            position_error_m=float(np.linalg.norm(segments.error[row, :2])),
        )
        for row in outlying_segments(segments)
    ]
    return Drift(**vars(drift_numbers(segments)), outlying=outlying, confounded=confounded_terms(segments))


def _why_no_shots(run: SessionRun) -> str:
    if not run.session.field.goals:
        return "the field file has no goals"
    if not run.session.field.bands:
        return "the field file has no bands"
    return "shots need marks or a dense truth, with headings"


def pool(runs: Sequence[SessionRun], scored: Sequence[SessionResult]) -> PooledResult | None:
    """Return several sessions taken together, or None for a single one; `scored` are the numbers of each."""
    if len(runs) < 2:
        return None
    names = list(dict.fromkeys(name for run in runs for name in run.estimators))
    return PooledResult(estimators={name: _pooled_estimator(runs, scored, name) for name in names})


def _pooled_estimator(runs: Sequence[SessionRun], scored: Sequence[SessionResult], name: str) -> PooledEstimator:
    with_it = [run for run in runs if name in run.estimators]
    estimators = [run.estimators[name] for run in with_it]
    marks = [estimator.marks for estimator in estimators if estimator.marks is not None]
    truths = [estimator.truth for estimator in estimators if estimator.truth is not None]
    why = {}
    fields = [run.session.field for run in with_it]
    if any((field.bands, field.goals) != (fields[0].bands, fields[0].goals) for field in fields):
        shots, why["shots"] = [], "the sessions' fields differ in goals or bands"
    else:
        honesties = [session.estimators[name].consistency for session in scored if name in session.estimators]
        shots = band_shots(with_it, name, honesties)
    if not marks:
        why["marks"] = _NO_MARKS
    if not truths:
        why["truth"] = _NO_TRUTH
    return PooledEstimator(
        sessions=len(with_it),
        marks=_error_summary(estimators, marks),
        truth=_error_summary(estimators, truths),
        shots=shots,
        between_session_std_m=_between_sessions(estimators),
        consistency=pooled_consistency(estimators),
        why=why,
    )


def _between_sessions(estimators: Sequence[EstimatorRun]) -> UncertainNumber:
    method = "standard deviation of the sessions' RMS position errors"
    sizes = [
        summarise([estimator.places]).position_rms_m.value for estimator in estimators if estimator.places is not None
    ]
    known = [size for size in sizes if size is not None]
    if len(known) < 2:
        return unavailable("fewer than two sessions with a reference", n=len(known), method=method)
    return measured(float(np.std(known, ddof=1)), None, len(known), method, "no interval: it is itself a spread")
