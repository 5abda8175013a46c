"""Runs every estimator over every stretch of a session and sets it beside the references."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from locbench.accuracy import (
    Comparison,
    DriftSegments,
    against_marks,
    against_truth,
    drift_segments,
    equal_parts,
    joined,
    visits_on_reference,
)
from locbench.config import CorrectionMode, Engine, FusionConfig, ShooterConfig
from locbench.config.fusion import NoiseSource
from locbench.errors import ConfigError, UsageError
from locbench.fusion import UNCORRECTED, Estimate, dead_reckoning, fuse, make_ready, onboard, tags_only
from locbench.jobs.judging import Judgement, KnownWay, judge_estimator, judges_of, known_way
from locbench.odometry import Motion, measure_motion
from locbench.reference import Judge, Reference, dense_reference
from locbench.session import Detections, MarkVisits, Session, TagKind
from locbench.shots import Shots, aim_from
from locbench.vision import as_robot_poses, prepare_sightings

__all__ = ["EstimatorRun", "Progress", "SessionRun", "check_fusion", "replay_session"]

Progress = Callable[[str, float], None]
References = TypeVar("References", MarkVisits, Reference)

_DRIFT_PARTS = 20
_SHOT_SPACING_S = 1.0


@dataclass(frozen=True)
class EstimatorRun:
    """One estimator over a session.

    `estimates` has one entry per stretch. Where `uncorrected`, nothing took its errors back: odometry alone, or a
    filter that applied no fix.
    `places` compares at the mark visits with the surest pose known there: the dense truth's where there is one, else
    the mark's; without marks it compares with the truth once a second.
    """

    estimates: tuple[Estimate, ...]
    marks: Comparison | None
    truth: Comparison | None
    places: Comparison | None
    drift: DriftSegments | None
    shots: tuple[Shots, ...]
    judgement: Judgement
    uncorrected: bool


@dataclass(frozen=True)
class SessionRun:
    """A session with everything its estimators did.

    `judges` and `ways` have one entry per stretch; `fusions` holds the configuration of the estimators that have one;
    `places` names the rows shots were aimed from.
    """

    session: Session
    motions: tuple[Motion, ...]
    reference: Reference | None
    judges: tuple[Judge | None, ...]
    ways: tuple[KnownWay | None, ...]
    estimators: Mapping[str, EstimatorRun]
    fusions: Mapping[str, FusionConfig]
    left_out: Mapping[str, str]
    places: tuple[str, ...]
    shooter: ShooterConfig | None


def replay_session(
    session: Session,
    fusions: Sequence[FusionConfig],
    shooter: ShooterConfig | None,
    run: int,
    progress: Progress,
) -> SessionRun:
    """Return the replayed session.

    Parameters
    ----------
    session
        The log.
    fusions
        One estimator per entry, beside dead reckoning, tags alone and the robot's own pose.
    shooter
        The launcher, or None.
    run
        Number of the session, to keep the shots of several apart.
    progress
        Told what is being done and which share of the session is done.
    """
    motion = measure_motion(session.odometry, session.robot)
    motions = tuple(motion.within(stretch.start_s, stretch.end_s) for stretch in session.stretches)
    reference = None if session.truth is None else dense_reference(session.truth)
    estimates, left_out = _run_estimators(session, motions, fusions, progress)
    by_name = {fusion.name: fusion for fusion in fusions}
    judges = judges_of(session, motions)
    ways = tuple(known_way(motion, judge) for motion, judge in zip(motions, judges, strict=True))
    known = _known_places(session, reference)
    estimators = {
        name: _beside_references(
            session, motions, reference, judges, ways, known, parts, by_name.get(name), shooter, run
        )
        for name, parts in estimates.items()
    }
    names = known.name if isinstance(known, MarkVisits) else ()
    if isinstance(known, Reference):
        names = tuple(f"{time:.1f} s" for time in known.time_s)
    return SessionRun(session, motions, reference, judges, ways, estimators, by_name, left_out, names, shooter)


def check_fusion(fusion: FusionConfig, session: Session, where: str) -> None:
    """Refuse a fusion configuration that does not go with a session.

    Raises
    ------
    ConfigError
        If it names a tag that is not on the field; `where` is its file.
    UsageError
        If it needs whole poses and the session's detections are none, it wants the log's own standard deviations and
        the log has none, or it waits for requests and the log has no such table.
    """
    known = {tag.id for tag in session.field.tags}
    unknown = [tag for tag in fusion.trust.excluded_tags if tag not in known]
    if unknown:
        raise ConfigError(
            "this tag is not on the field",
            where=f"{where}: trust.excluded_tags",
            received=unknown[0],
            remedy="Tags: " + ", ".join(str(tag) for tag in sorted(known)),
        )
    if fusion.trust.only_on_request and session.requests_s is None:
        raise UsageError(
            f'session "{session.name}" does not tell when the driver asked for a correction',
            where=f"{where}: trust.only_on_request",
            received="true",
            remedy="Add a [requests] table to its session.toml, or leave this file out (--fusion names the files)",
        )
    if session.detections is not None:
        _check_detections(fusion, session.detections, session.name, where)


def _check_detections(fusion: FusionConfig, detections: Detections, session: str, where: str) -> None:
    whole = detections.kind is TagKind.ROBOT_POSE
    fault = f'has detections of kind "{detections.kind}"'
    if detections.kind is TagKind.TAG_POSE:
        lacking = int(np.sum(~np.isfinite(detections.value[:, 2])))
        whole, fault = lacking == 0, f"has {lacking} detections without the tag's heading"
    for key, received, way_out in _need_of_whole_poses(fusion):
        if not whole:
            raise UsageError(
                f'this needs whole poses, but session "{session}" {fault}',
                where=f"{where}: {key}",
                received=received,
                remedy=f"{way_out}, or leave this file out: --fusion names the files to use",
            )
    if fusion.tag_noise.source is NoiseSource.LOG and not np.any(detections.own_covariance > 0.0):
        raise UsageError(
            f'session "{session}" has no usable standard deviations of its own beside its detections',
            where=f"{where}: tag_noise.source",
            received=fusion.tag_noise.source.value,
            remedy='Name their columns in [tags], such as range_std or x_std and y_std, or set source = "model"',
        )


def _need_of_whole_poses(fusion: FusionConfig) -> Iterator[tuple[str, str | int, str]]:
    """Yield key, value and way out of everything that takes the robot's pose straight from a detection."""
    if fusion.correction.mode in (CorrectionMode.REPLACE, CorrectionMode.FIXED_GAIN):
        yield "correction.mode", fusion.correction.mode.value, 'Use mode = "kalman"'
    if fusion.trust.reacquire_after is not None:
        yield "trust.reacquire_after", fusion.trust.reacquire_after, "Remove this key"


def _run_estimators(
    session: Session, motions: Sequence[Motion], fusions: Sequence[FusionConfig], progress: Progress
) -> tuple[dict[str, list[Estimate]], dict[str, str]]:
    noise = session.robot.motion_noise
    pairs = list(zip(motions, session.stretches, strict=True))
    progress(f"{session.name}: dead reckoning", 0.0)
    estimates = {"dead_reckoning": [dead_reckoning(motion, stretch.start, noise) for motion, stretch in pairs]}
    left_out: dict[str, str] = {}
    if session.onboard is None:
        left_out["onboard"] = "the log has no [onboard] table"
    else:
        estimates["onboard"] = [onboard(session.onboard, motion, noise) for motion in motions]
    if session.detections is None:
        for name in ("tags_only", *(fusion.name for fusion in fusions)):
            left_out[name] = "the log has no [tags] table"
        return estimates, left_out
    poses = as_robot_poses(session.detections, session.field)
    if poses is not None:
        estimates["tags_only"] = [tags_only(poses, motion, noise) for motion in motions]
    else:
        headless = " without heading" if session.detections.kind is TagKind.TAG_POSE else ""
        left_out["tags_only"] = f"one detection of kind {session.detections.kind}{headless} does not give a pose"
    if any(fusion.engine is Engine.KERNEL for fusion in fusions):
        progress(f"{session.name}: making the replay ready (compiled once on each machine)", 0.0)
        make_ready()
    requests_s = np.zeros(0) if session.requests_s is None else session.requests_s
    for number, fusion in enumerate(fusions):
        sightings = prepare_sightings(session.detections, session.field, fusion)
        believed_noise = fusion.motion_noise.applied_to(noise)
        estimates[fusion.name] = []
        for part, (motion, stretch) in enumerate(pairs):

            def tell(share: float, name: str = fusion.name, done: float = number + part / len(pairs)) -> None:
                progress(f"{session.name}: {name}", (done + share / len(pairs)) / len(fusions))

            tell(0.0)
            estimates[fusion.name].append(
                fuse(motion, stretch.start, sightings, fusion, believed_noise, requests_s, tell)
            )
    return estimates, left_out


def _known_places(session: Session, reference: Reference | None) -> MarkVisits | Reference | None:
    """Return where the robot was surely: mark visits, the dense truth's poses there if it has any, else the truth."""
    if reference is None:
        return session.marks
    if session.marks is None or not len(session.marks):
        return _spaced(reference)
    return visits_on_reference(session.marks, reference)


def _spaced(reference: Reference) -> Reference:
    """Return the reference thinned to one pose a second."""
    wanted = np.arange(reference.time_s[0], reference.time_s[-1], _SHOT_SPACING_S)
    poses, no_gap = reference.poses_at(wanted), np.zeros(len(wanted), dtype=bool)
    return Reference(wanted, poses, no_gap, reference.position_std_m, reference.heading_std_rad)


def _beside_references(
    session: Session,
    motions: Sequence[Motion],
    reference: Reference | None,
    judges: Sequence[Judge | None],
    ways: Sequence[KnownWay | None],
    known: MarkVisits | Reference | None,
    estimates: Sequence[Estimate],
    fusion: FusionConfig | None,
    shooter: ShooterConfig | None,
    run: int,
) -> EstimatorRun:
    marks = None if session.marks is None else _compared(against_marks, motions, estimates, session.marks)
    truth = None if reference is None else _compared(against_truth, motions, estimates, reference)
    match known:
        case None:
            places = None
        case MarkVisits():
            places = marks if known is session.marks else _compared(against_marks, motions, estimates, known)
        case Reference():
            places = _compared(against_truth, motions, estimates, known)
    goals = session.field.goals if places is not None else ()
    uncorrected = _uncorrected(estimates, fusion)
    return EstimatorRun(
        estimates=tuple(estimates),
        marks=marks,
        truth=truth,
        places=places,
        drift=_drift(places if isinstance(known, MarkVisits) else None, truth),
        shots=tuple(aim_from(places, goal, shooter, run) for goal in goals if places is not None),
        judgement=judge_estimator(
            estimates, motions, judges, ways, session.field.goals, shooter, 1.0 if uncorrected else np.inf
        ),
        uncorrected=uncorrected,
    )


def _uncorrected(estimates: Sequence[Estimate], fusion: FusionConfig | None) -> bool:
    if fusion is None:
        return all(estimate.name in UNCORRECTED for estimate in estimates)
    applied = [fixes.accepted.any() for estimate in estimates if (fixes := estimate.corrections) is not None]
    return fusion.correction.mode is CorrectionMode.NONE or not any(applied)


def _compared(
    compare: Callable[[Estimate, Motion, References, int], Comparison],
    motions: Sequence[Motion],
    estimates: Sequence[Estimate],
    references: References,
) -> Comparison:
    """Return the comparisons of all stretches one after the other.

    A reference at the moment where one stretch ends and the next begins counts once, in the later one.
    """
    pairs = zip(estimates, motions, strict=True)
    found = joined([compare(estimate, motion, references, i) for i, (estimate, motion) in enumerate(pairs)])
    _, from_behind = np.unique(found.source[::-1], return_index=True)
    return found.chosen(np.sort(len(found) - 1 - from_behind))


def _drift(visits: Comparison | None, truth: Comparison | None) -> DriftSegments | None:
    """Return the segments between mark visits; without any, between equal parts of the truth."""
    segments = None if visits is None else drift_segments(visits)
    if not segments and truth is not None and len(truth):
        segments = drift_segments(equal_parts(truth, _DRIFT_PARTS))
    return segments or None
