"""Judges what an estimator's corrections did, by whatever knows where the robot was."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy import evenly, joined, judged
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.fusion import UNCORRECTED, Estimate
from locbench.odometry import Motion
from locbench.reference import Judge, KnownPoses, dense_reference, smoothed_reference
from locbench.session import Session
from locbench.shots import AimKicks, aim_kicks, time_on_target
from locbench.statistics import CorrectionVerdict, UncertainNumber

__all__ = ["JUDGED_EVERY_S", "Judgement", "judge_estimator", "judges_of"]

# often enough to follow a robot that turns at some hundred degrees a second
JUDGED_EVERY_S = 0.1


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


def judges_of(session: Session, motions: Sequence[Motion]) -> tuple[Judge | None, ...]:
    """Return what knows where the robot was in each stretch: the dense truth, else the marks, else nothing."""
    if session.truth is not None:
        return (dense_reference(session.truth),) * len(motions)
    marks = session.marks
    if marks is None or not len(marks):
        return (None,) * len(motions)
    noise = session.robot.motion_noise
    return tuple(
        smoothed_reference(motion, stretch.start, marks, noise)
        for motion, stretch in zip(motions, session.stretches, strict=True)
    )


def judge_estimator(
    estimates: Sequence[Estimate],
    motions: Sequence[Motion],
    judges: Sequence[Judge | None],
    goals: Sequence[Goal],
    shooter: ShooterConfig | None,
) -> Judgement:
    """Return the judgement of one estimator; estimates, motions and judges have one entry per stretch."""
    pairs = [
        (e.corrections, None if judge is None else judge.at(e.corrections.arrived_s))
        for e, judge in zip(estimates, judges, strict=True)
        if e.corrections is not None
    ]
    places = [
        evenly(estimate, motion, judge, JUDGED_EVERY_S, stretch)
        for stretch, (estimate, motion, judge) in enumerate(zip(estimates, motions, judges, strict=True))
        if judge is not None
    ]
    most = 1.0 if any(estimate.name in UNCORRECTED for estimate in estimates) else np.inf
    return Judgement(
        known=tuple(known for _, known in pairs),
        verdicts=tuple(judged(corrections, known) for corrections, known in pairs if known is not None),
        kicks={goal.name: tuple(aim_kicks(fixes, known, goal, shooter) for fixes, known in pairs) for goal in goals},
        on_target=(
            {goal.name: time_on_target(joined(places), goal, shooter, most) for goal in goals} if places else {}
        ),
    )
