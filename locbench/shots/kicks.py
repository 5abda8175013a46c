"""What corrections do to the aim: where shots land just before and after, and how far the turret has to follow."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.config.shooter import Turret
from locbench.fusion import Corrections
from locbench.reference import KnownPoses
from locbench.shots.landing import aim_angle, goal_seen, goal_seen_covariance
from locbench.statistics import CorrectionVerdict, judge_corrections

__all__ = ["AimKicks", "aim_kicks", "judged_landings"]


@dataclass(frozen=True)
class AimKicks:
    """What each correction did to the aim at one goal.

    Attributes
    ----------
    goal
        Its name.
    verdict
        Whether the landing point came nearer to the goal; one per detection offered, None where it was refused.
    kick_rad
        (M,) how far the turret had to follow; NaN where the detection was refused or the turret's travel does not
        reach the goal just before or just after.
    """

    goal: str
    verdict: tuple[CorrectionVerdict | None, ...]
    kick_rad: FloatArray


def aim_kicks(
    corrections: Corrections, known: KnownPoses | None, goal: Goal, shooter: ShooterConfig | None
) -> AimKicks:
    """Return what every detection offered did to the aim at a goal.

    Parameters
    ----------
    corrections
        The detections offered.
    known
        Where the robot was at each arrival; None leaves every verdict out.
    goal
        The goal.
    shooter
        The turret; None is one on the reference point that turns without end.
    """
    centre = np.array([goal.x, goal.y])
    verdicts = [None] * len(corrections) if known is None else judged_landings(corrections, known, centre)
    kick = _kicks(corrections, centre, Turret() if shooter is None else shooter.turret)
    return AimKicks(goal.name, tuple(verdicts), np.where(corrections.accepted, kick, np.nan))


def judged_landings(corrections: Corrections, known: KnownPoses, goal: FloatArray) -> list[CorrectionVerdict | None]:
    """Return whether each accepted correction moved the landing point nearer to the goal (2,), None per refused one.

    The test is the one for poses, made where the robot sees the goal: a shot misses by as much as the believed and the
    true place of the goal are apart in the robot's frame.
    """
    verdicts = judge_corrections(
        goal_seen(corrections.before, goal),
        goal_seen(corrections.after, goal),
        goal_seen(known.pose, goal),
        goal_seen_covariance(known.pose, known.covariance, goal),
    )
    return [v if ok else None for v, ok in zip(verdicts, corrections.accepted, strict=True)]


def _kicks(corrections: Corrections, goal: FloatArray, turret: Turret) -> FloatArray:
    turned = np.abs(aim_angle(corrections.after, goal, turret) - aim_angle(corrections.before, goal, turret))
    whole = 2.0 * np.pi
    # a travel of a whole turn or more lets it go the short way round
    return np.minimum(turned, whole - turned) if turret.travel_to - turret.travel_from >= whole else turned
