"""Turns what corrections did, and what they were judged by, into the records of results.json."""

from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from locbench.accuracy import longest_without_fix
from locbench.arrays import FloatArray
from locbench.config import FusionConfig
from locbench.config.fusion import Trust
from locbench.fusion import Corrections, Rule
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.odometry import Motion
from locbench.reference import FilledReference, Judge, KnownPoses, SmoothedReference
from locbench.results import (
    CorrectionSummary,
    GoalCorrections,
    OnTarget,
    ReferenceInterval,
    ReferenceRecord,
)
from locbench.session import Detections
from locbench.shots import AimKicks
from locbench.statistics import (
    CorrectionVerdict,
    UncertainNumber,
    effective_sample_size,
    largest,
    measured,
    root_mean_square,
    unavailable,
)

__all__ = ["correction_summary", "on_target_records", "reference_record"]

_NOTHING_TO_JUDGE_BY = "judging single corrections needs a dense ground truth or visits to surveyed marks"
_NO_FIX = "no fix was applied"
_NO_SLEW_RATE = "the shooter file gives no slew_rate"


def correction_summary(
    run: SessionRun, estimator: EstimatorRun, fusion: FusionConfig | None
) -> CorrectionSummary | None:
    """Return what became of the detections offered to an estimator, or None if it takes none."""
    parts = [estimate.corrections for estimate in estimator.estimates if estimate.corrections is not None]
    if not parts:
        return None
    counts = Counter(rule for part in parts for rule in part.rejected_by)
    jumps = np.concatenate([part.jump[part.accepted] for part in parts])
    turns = np.concatenate([part.jump_rad[part.accepted] for part in parts])
    judgement = estimator.judgement
    judged = bool(judgement.verdicts)
    return CorrectionSummary(
        offered=sum(counts.values()),
        accepted=counts[None],
        rejected={str(rule): counts[rule] for rule in Rule if counts[rule]},
        **_verdict_counts(verdict for stretch in judgement.verdicts for verdict in stretch),
        unreferenced=_unreferenced(parts, judgement.known) if judged else None,
        idle_rules=[] if fusion is None else _idle_rules(run.session.detections, fusion.trust),
        reacquired=_reacquired(parts, fusion),
        goals=[_goal_corrections(kicks, run) for kicks in judgement.kicks.values()],
        jump_rms_m=root_mean_square(jumps, effective_sample_size(jumps)),
        jump_max_m=largest(np.linalg.norm(jumps, axis=1)),
        jump_max_rad=largest(turns),
        longest_without_s=max(
            longest_without_fix(part, motion) for part, motion in zip(parts, run.motions, strict=True)
        ),
        why=_why_no_verdict(judged, len(jumps)),
    )


def _idle_rules(detections: Detections | None, trust: Trust) -> list[str]:
    if detections is None:
        return []
    looked_at = {
        Rule.RANGE: (trust.maximum_range, detections.range_m),
        Rule.VIEW_ANGLE: (trust.maximum_view_angle, detections.view_angle_rad),
        Rule.REPROJECTION_RATIO: (trust.maximum_reprojection_ratio, detections.reprojection_ratio),
    }
    return [
        str(rule)
        for rule, (limit, reported) in looked_at.items()
        if limit is not None and not np.isfinite(reported).any()
    ]


def _reacquired(parts: Sequence[Corrections], fusion: FusionConfig | None) -> int | None:
    if fusion is None or fusion.trust.reacquire_after is None:
        return None
    return sum(int(np.sum(part.reacquired)) for part in parts)


def _why_no_verdict(judged: bool, accepted: int) -> dict[str, str]:
    if not judged:
        return {"helped": _NOTHING_TO_JUDGE_BY}
    return {} if accepted else {"helped": _NO_FIX}


def _verdict_counts(verdicts: Iterable[CorrectionVerdict | None]) -> dict[str, int | None]:
    """Return the counts per verdict; None each if there is no verdict to count."""
    counts = Counter(verdicts)
    return {str(word): counts[word] if counts else None for word in CorrectionVerdict}


def _unreferenced(parts: Sequence[Corrections], known: Sequence[KnownPoses | None]) -> int:
    """Return how many accepted corrections came while nothing told where the robot was."""
    pairs = zip(parts, known, strict=True)
    return sum(int(np.sum(part.accepted & ~poses.known)) for part, poses in pairs if poses is not None)


def _goal_corrections(kicks: Sequence[AimKicks], run: SessionRun) -> GoalCorrections:
    verdicts = [verdict for part in kicks for verdict in part.verdict]
    size = np.concatenate([part.kick_rad for part in kicks])
    size = size[np.isfinite(size)]
    judged = any(judge is not None for judge in run.judges)
    slew = None if run.shooter is None else run.shooter.turret.slew_rate
    why = _why_no_verdict(judged, sum(verdict is not None for verdict in verdicts))
    if slew is None:
        why["follow_max_s"] = _NO_SLEW_RATE
    return GoalCorrections(
        goal=kicks[0].goal,
        **_verdict_counts(verdicts if judged else ()),
        kick_rms_rad=_kick_rms(size),
        kick_max_rad=largest(size),
        follow_max_s=float(np.max(size) / slew) if slew is not None and len(size) else None,
        follow_s_per_minute=None if slew is None else float(np.sum(size) / slew / _minutes(run.motions)),
        why=why,
    )


def _kick_rms(size: FloatArray) -> UncertainNumber:
    if not len(size):
        return unavailable("no accepted fix while the turret reached this goal")
    return root_mean_square(size, effective_sample_size(size))


def _minutes(motions: Sequence[Motion]) -> float:
    return sum(float(motion.time_s[-1] - motion.time_s[0]) for motion in motions) / 60.0


def on_target_records(estimator: EstimatorRun) -> list[OnTarget]:
    """Return the shares of time on target, one per goal."""
    return [OnTarget(goal=goal, share=share) for goal, share in estimator.judgement.on_target.items()]


def reference_record(run: SessionRun) -> ReferenceRecord | None:
    """Return what single corrections were judged by, or None if nothing could."""
    judges = [judge for judge in run.judges if judge is not None]
    if not judges:
        return None
    found = [way.poses for way in run.ways if way is not None]
    known = np.concatenate([part.known for part in found])
    smoothed = [marks for judge in judges if (marks := _marks_of(judge)) is not None]
    truth = any(not isinstance(judge, SmoothedReference) for judge in judges)
    return ReferenceRecord(
        kind="dense truth and marks" if truth and smoothed else "dense truth" if truth else "marks",
        share_known=float(np.mean(known)),
        position_std_m=_median_std(np.concatenate([part.covariance for part in found])[known]),
        intervals=[interval for judge in smoothed for interval in _intervals(judge)],
    )


def _marks_of(judge: Judge) -> SmoothedReference | None:
    match judge:
        case SmoothedReference():
            return judge
        case FilledReference():
            return judge.marks
        case _:
            return None


def _median_std(covariance: FloatArray) -> UncertainNumber:
    method = "median over time of the reference's standard uncertainty per coordinate"
    if not len(covariance):
        return unavailable("the reference is broken everywhere", method=method)
    stds = np.sqrt((covariance[:, 0, 0] + covariance[:, 1, 1]) / 2.0)
    return measured(float(np.median(stds)), None, len(stds), method, "no interval: it is itself an uncertainty")


def _intervals(judge: SmoothedReference) -> list[ReferenceInterval]:
    closure = judge.closure
    misses, broken, scale = closure.misses, closure.broken, closure.scale
    return [
        ReferenceInterval(
            from_place=judge.name[k],
            to_place=judge.name[k + 1],
            # visits that overlap leave no time between them
            start_s=float(min(judge.known_until_s[k], judge.time_s[k + 1])),
            end_s=float(judge.time_s[k + 1]),
            chi_square=float(closure.chi_square[k]),
            degrees_of_freedom=int(closure.degrees_of_freedom[k]),
            noise_scale=float(scale[k]),
            broken=bool(broken[k] or not judge.smoothed.converged),
            why=_why_broken(bool(misses[k]), bool(closure.flagged[k]), judge.smoothed.converged),
        )
        for k in range(len(broken))
    ]


def _why_broken(misses: bool, flagged: bool, converged: bool) -> str | None:
    if misses:
        return "odometry misses the next mark by more than its noise allows (95 %)"
    if flagged:
        return "odometry has a gap, a restart or an impossible jump inside"
    return None if converged else "start, odometry and marks contradict each other"
