"""Shots aimed from believed poses, gathered per goal."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy import Comparison
from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.shots.landing import can_aim, landing_offset, line_of_fire
from locbench.shots.opening import clean_entry
from locbench.shots.predicting import landing_covariance

__all__ = ["Shots", "aim_from", "joined_shots"]


@dataclass(frozen=True)
class Shots:
    """Shots at one goal from K places, in order of time.

    Attributes
    ----------
    range_m
        (K,) horizontal distance of the true reference point to the goal's centre.
    offset
        (K, 2) lateral and along, in metres.
    aimable
        (K,) whether the turret's travel allows the aim; all true without a shooter file.
    clean
        (K,) whether the shot enters cleanly; None without a shooter file.
    reference_variance
        (K, 2) what the reference's own uncertainty adds to lateral and along.
    place
        (K,) row of the visit or reference time the shot was aimed at.
    run
        (K,) number of the session.
    """

    goal: str
    place: IntArray
    range_m: FloatArray
    offset: FloatArray
    aimable: BoolArray
    clean: BoolArray | None
    reference_variance: FloatArray
    run: FloatArray


def aim_from(comparison: Comparison, goal: Goal, shooter: ShooterConfig | None, run: int) -> Shots:
    """Return the shots at one goal from the places of a comparison where both headings are known.

    A heading error of the reference throws the landing point sideways by its size times the distance.
    """
    centre = np.array([goal.x, goal.y])
    known = np.isfinite(comparison.reference).all(axis=1) & np.isfinite(comparison.believed).all(axis=1)
    true_pose, believed_pose = comparison.reference[known], comparison.believed[known]
    offset = landing_offset(true_pose, believed_pose, centre)
    distance = np.linalg.norm(true_pose[:, :2] - centre, axis=1)
    at_goal = landing_covariance(true_pose, comparison.reference_covariance[known], centre)
    return Shots(
        goal=goal.name,
        place=comparison.source[known],
        range_m=np.asarray(distance),
        offset=offset,
        aimable=(
            np.ones(len(offset), dtype=bool) if shooter is None else can_aim(believed_pose, centre, shooter.turret)
        ),
        clean=None if shooter is None else clean_entry(offset, line_of_fire(true_pose, centre), goal, shooter),
        reference_variance=np.diagonal(at_goal, axis1=1, axis2=2),
        run=np.full(len(offset), float(run)),
    )


def joined_shots(parts: Sequence[Shots]) -> Shots:
    """Return the shots of several sessions at goals of one name; at least one part is needed."""
    cleans = [part.clean for part in parts if part.clean is not None]
    arrays = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in ("place", "range_m", "offset", "aimable", "reference_variance", "run")
    }
    clean = np.concatenate(cleans) if len(cleans) == len(parts) else None
    return Shots(goal=parts[0].goal, clean=clean, **arrays)
