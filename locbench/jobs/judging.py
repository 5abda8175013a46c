"""Judges what an estimator's corrections did, by whatever knows where the robot was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy import against_known, joined, judged
from locbench.arrays import FloatArray
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.fusion import Estimate
from locbench.odometry import Motion
from locbench.reference import FilledReference, Judge, KnownPoses, Reference, dense_reference, smoothed_reference
from locbench.session import Session, Stretch
from locbench.shots import AimKicks, aim_kicks, time_on_target
from locbench.statistics import CorrectionVerdict, UncertainNumber

__all__ = ["Judgement", "KnownWay", "judge_estimator", "judges_of", "known_way"]

# often enough to follow a robot that turns at some hundred degrees a second
_JUDGED_EVERY_S = 0.1
# a track may begin a little late and end a little early
_COMPLETE = 0.98


@dataclass(frozen=True)
class Judgement:
    """What corrections did, and how much of the time the aim was good.

    Attributes
    ----------
    known
        Where the robot was at the arrival of every detection offered, one entry per stretch with corrections; None
        where nothing could tell.
    verdicts
        One list per stretch with corrections, one entry per detection offered; no list without anything to judge by.
    kicks
        Per goal, one entry per stretch with corrections.
    on_target
        Per goal; empty without anything to judge by.
    """

    known: tuple[KnownPoses | None, ...]
    verdicts: tuple[list[CorrectionVerdict | None], ...]
    kicks: Mapping[str, tuple[AimKicks, ...]]
    on_target: Mapping[str, UncertainNumber]


@dataclass(frozen=True)
class KnownWay:
    """Evenly spaced times (M,) of one stretch, and where the robot was then."""

    time_s: FloatArray
    poses: KnownPoses


def known_way(motion: Motion, judge: Judge | None) -> KnownWay | None:
    """Return what the judge of a stretch knows all along it, the same for every estimator; None without a judge."""
    if judge is None:
        return None
    times = _even_times(motion)
    return KnownWay(times, judge.at(times))


def _even_times(motion: Motion) -> FloatArray:
    return np.arange(motion.time_s[0], motion.time_s[-1], _JUDGED_EVERY_S)


def judges_of(session: Session, motions: Sequence[Motion]) -> tuple[Judge | None, ...]:
    """Return what knows where the robot was in each stretch.

    That is the dense truth; where it tells nothing or no heading, and always without one, odometry between the marks;
    None where there is neither.
    """
    truth = None if session.truth is None else dense_reference(session.truth)
    return tuple(
        _judge(session, motion, stretch, truth) for motion, stretch in zip(motions, session.stretches, strict=True)
    )


def _judge(session: Session, motion: Motion, stretch: Stretch, truth: Reference | None) -> Judge | None:
    if truth is not None and np.mean(np.isfinite(truth.poses_at(_even_times(motion))).all(axis=1)) > _COMPLETE:
        return truth
    if session.marks is None or not len(session.marks):
        return truth
    marks = smoothed_reference(motion, stretch.start, session.marks, session.robot.motion_noise)
    return marks if truth is None else FilledReference(truth, marks)


def judge_estimator(
    estimates: Sequence[Estimate],
    motions: Sequence[Motion],
    judges: Sequence[Judge | None],
    ways: Sequence[KnownWay | None],
    goals: Sequence[Goal],
    shooter: ShooterConfig | None,
    most_independent: float = np.inf,
) -> Judgement:
    """Return the judgement of one estimator; all but goals have one entry per stretch.

    Its errors over time are worth `most_independent` observations at most: one, where nothing corrects it.
    """
    pairs = [
        (e.corrections, None if judge is None else judge.at(e.corrections.arrived_s))
        for e, judge in zip(estimates, judges, strict=True)
        if e.corrections is not None
    ]
    places = [
        against_known(estimate, motion, way.time_s, way.poses, stretch)
        for stretch, (estimate, motion, way) in enumerate(zip(estimates, motions, ways, strict=True))
        if way is not None
    ]
    whole = joined(places) if places else None
    return Judgement(
        known=tuple(known for _, known in pairs),
        verdicts=tuple(judged(corrections, known) for corrections, known in pairs if known is not None),
        kicks={goal.name: tuple(aim_kicks(fixes, known, goal, shooter) for fixes, known in pairs) for goal in goals},
        on_target={
            goal.name: time_on_target(whole, goal, shooter, most_independent) for goal in goals if whole is not None
        },
    )
