"""Turns a replayed session into the numbers of results.json."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from locbench.accuracy import (
    Comparison,
    DriftSegments,
    confounded_terms,
    drift_numbers,
    longest_without_fix,
    mean_innovation_squared,
    mean_normalised_error_squared,
    outlying_segments,
    residual_numbers,
    summarise,
    summarise_uncorrected,
    tag_residuals,
    typical_innovation_squared,
)
from locbench.config import CorrectionMode, FusionConfig
from locbench.fusion import Corrections, Rule
from locbench.jobs.banding import UNCORRECTED, band_shots
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.results import (
    Consistency,
    CorrectionSummary,
    Drift,
    DriftSegment,
    ErrorSummary,
    EstimatorResult,
    FindingRecord,
    PooledEstimator,
    PooledResult,
    SegmentRecord,
    SessionResult,
    TagResiduals,
)
from locbench.session import TagKind
from locbench.statistics import (
    CorrectionVerdict,
    UncertainNumber,
    effective_sample_size,
    judge_consistency,
    largest,
    measured,
    root_mean_square,
    unavailable,
)

__all__ = ["pool", "score_session"]

_NOT_WHITE = "without a Kalman gain the innovations follow from each other, so they give no band"
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
    return SessionResult(
        name=session.name,
        evidence=session.evidence.value,
        duration_s=sum(segment.end_s - segment.start_s for segment in segments),
        path_length_m=sum(segment.path_length_m for segment in segments),
        turns_absolute=sum(float(motion.turning_rad[-1]) for motion in run.motions) / (2.0 * np.pi),
        segments=segments,
        findings=findings,
        estimators={name: _estimator(run, name) for name in run.estimators},
        estimators_left_out=dict(run.left_out),
    )


def _error_summary(name: str, parts: Sequence[Comparison]) -> ErrorSummary | None:
    if not any(len(part) for part in parts):
        return None
    return ErrorSummary(**vars(summarise_uncorrected(parts) if name in UNCORRECTED else summarise(parts)))


def _estimator(run: SessionRun, name: str) -> EstimatorResult:
    estimator, fusion = run.estimators[name], run.fusions.get(name)
    why: dict[str, str] = {}
    marks = None if estimator.marks is None else _error_summary(name, [estimator.marks])
    truth = None if estimator.truth is None else _error_summary(name, [estimator.truth])
    if marks is None:
        why["marks"] = _NO_MARKS
    if truth is None:
        why["truth"] = _NO_TRUTH
    drift = None if estimator.drift is None else _drift(estimator.drift)
    if drift is None:
        why["drift"] = "no two references with a heading between which this estimator had a pose"
    applies = fusion is not None and fusion.correction.mode is not CorrectionMode.NONE
    corrections = _corrections(run, estimator) if applies else None
    if corrections is None:
        why["corrections"] = "this estimator takes no corrections"
    consistency = _consistency(estimator, fusion)
    shots = band_shots([run], name, [consistency])
    if not shots:
        why["shots"] = _why_no_shots(run)
    return EstimatorResult(
        correction_mode=None if fusion is None else fusion.correction.mode.value,
        marks=marks,
        truth=truth,
        drift=drift,
        consistency=consistency,
        corrections=corrections,
        shots=shots,
        why=why,
        tag_residuals=_tag_residuals(run, estimator, name),
    )


def _tag_residuals(run: SessionRun, estimator: EstimatorRun, name: str) -> TagResiduals | None:
    """Return the residuals of an estimator that has a pose of its own between fixes."""
    detections = run.session.detections
    if detections is None or detections.kind is not TagKind.ROBOT_POSE or name == "tags_only":
        return None
    pairs = zip(estimator.estimates, run.motions, strict=True)
    return TagResiduals(**vars(residual_numbers([tag_residuals(e, motion, detections) for e, motion in pairs])))


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


def _all_corrections(estimator: EstimatorRun) -> list[Corrections]:
    return [estimate.corrections for estimate in estimator.estimates if estimate.corrections is not None]


def _corrections(run: SessionRun, estimator: EstimatorRun) -> CorrectionSummary | None:
    parts = _all_corrections(estimator)
    if not parts:
        return None
    rules = [rule for part in parts for rule in part.rejected_by]
    counts = Counter(rules)
    jumps = np.concatenate([part.jump[part.accepted] for part in parts])
    turns = np.concatenate([part.jump_rad[part.accepted] for part in parts])
    verdicts = Counter(verdict for stretch in estimator.verdicts for verdict in stretch)
    judged = bool(estimator.verdicts)
    return CorrectionSummary(
        offered=len(rules),
        accepted=counts[None],
        rejected={str(rule): counts[rule] for rule in Rule if counts[rule]},
        helped=verdicts[CorrectionVerdict.HELPED] if judged else None,
        hurt=verdicts[CorrectionVerdict.HURT] if judged else None,
        neutral=verdicts[CorrectionVerdict.NEUTRAL] if judged else None,
        undecided=verdicts[CorrectionVerdict.UNDECIDED] if judged else None,
        jump_rms_m=root_mean_square(jumps, effective_sample_size(jumps)),
        jump_max_m=largest(np.linalg.norm(jumps, axis=1)),
        jump_max_rad=largest(turns),
        longest_without_s=max(
            longest_without_fix(part, motion) for part, motion in zip(parts, run.motions, strict=True)
        ),
        why={} if judged else {"helped": "judging single corrections needs a dense ground truth"},
    )


def _consistency(estimator: EstimatorRun, fusion: FusionConfig | None) -> Consistency:
    places = estimator.places
    errors = unavailable("no reference in this log") if places is None else mean_normalised_error_squared(places)
    parts = _all_corrections(estimator)
    innovations, band, typical = unavailable("no corrections"), None, unavailable("no corrections")
    why = {"nees_band95": "errors along one run are correlated, so this run alone gives no band"}
    if parts:
        innovations, band = mean_innovation_squared(parts)
        typical = typical_innovation_squared(parts)
    if band is None:
        why["nis_band95"] = "no corrections"
    elif fusion is None or fusion.correction.mode is not CorrectionMode.KALMAN:
        # only a Kalman gain makes innovations independent of each other
        band, typical = None, replace(typical, ci95=None, why=_NOT_WHITE)
        why["nis_band95"] = _NOT_WHITE
    return Consistency(
        nees_mean=errors,
        nees_band95=None,
        nis_mean=innovations,
        nis_band95=band,
        nis_median=typical,
        verdict=judge_consistency(typical),
        why=why,
    )


def pool(runs: Sequence[SessionRun]) -> PooledResult | None:
    """Return several sessions taken together, or None for a single one."""
    if len(runs) < 2:
        return None
    names = list(dict.fromkeys(name for run in runs for name in run.estimators))
    return PooledResult(estimators={name: _pooled_estimator(runs, name) for name in names})


def _pooled_estimator(runs: Sequence[SessionRun], name: str) -> PooledEstimator:
    with_it = [run for run in runs if name in run.estimators]
    estimators = [run.estimators[name] for run in with_it]
    marks = [estimator.marks for estimator in estimators if estimator.marks is not None]
    truths = [estimator.truth for estimator in estimators if estimator.truth is not None]
    why = {}
    fields = [run.session.field for run in with_it]
    if any((field.bands, field.goals) != (fields[0].bands, fields[0].goals) for field in fields):
        shots, why["shots"] = [], "the sessions' fields differ in goals or bands"
    else:
        consistencies = [_consistency(run.estimators[name], run.fusions.get(name)) for run in with_it]
        shots = band_shots(with_it, name, consistencies)
    if not marks:
        why["marks"] = _NO_MARKS
    if not truths:
        why["truth"] = _NO_TRUTH
    return PooledEstimator(
        sessions=len(with_it),
        marks=_error_summary(name, marks),
        truth=_error_summary(name, truths),
        shots=shots,
        between_session_std_m=_between_sessions(estimators),
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
