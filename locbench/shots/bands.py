"""Shots aimed from believed poses, gathered per goal and distance band."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from locbench.accuracy import Comparison
from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import ShooterConfig
from locbench.config.field import Band, Goal
from locbench.shots.landing import can_aim, landing_offset, line_of_fire
from locbench.shots.opening import clean_entry
from locbench.statistics import (
    UncertainNumber,
    effective_sample_size,
    measured,
    root_mean_square,
    unavailable,
    wilson_interval,
)

__all__ = ["ShotNumbers", "Shots", "aim_from", "clean_share", "joined_shots", "shot_numbers"]


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
    variance = np.diagonal(comparison.reference_covariance[known], axis1=1, axis2=2)
    return Shots(
        goal=goal.name,
        place=comparison.source[known],
        range_m=np.asarray(distance),
        offset=offset,
        aimable=(
            np.ones(len(offset), dtype=bool) if shooter is None else can_aim(believed_pose, centre, shooter.turret)
        ),
        clean=None if shooter is None else clean_entry(offset, line_of_fire(true_pose, centre), goal, shooter),
        reference_variance=np.column_stack([variance[:, 0] + distance**2 * variance[:, 2], variance[:, 0]]),
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


@dataclass(frozen=True)
class ShotNumbers:
    """Shots of one band and goal in numbers; see `results.BandShots`."""

    band: str
    goal: str
    from_m: float
    to_m: float
    range_m: UncertainNumber
    miss_rms_m: UncertainNumber
    lateral_rms_m: UncertainNumber
    along_rms_m: UncertainNumber
    hit_probability: UncertainNumber
    hits: int | None
    cannot_aim: int


def shot_numbers(shots: Shots, band: Band) -> ShotNumbers:
    """Return the numbers of the shots from places inside the band, half-open in distance."""
    inside = (shots.range_m >= band.from_) & (shots.range_m < band.to)
    fired = inside & shots.aimable
    named = partial(
        ShotNumbers,
        band=band.name,
        goal=shots.goal,
        from_m=band.from_,
        to_m=band.to,
        cannot_aim=int(np.sum(inside & ~shots.aimable)),
    )
    if not np.any(fired):
        why = "no place in this band: drive here and stop on marks"
        if np.any(inside):
            why = "the turret cannot aim at this goal from the places in this band"
        none = unavailable(why)
        return named(
            range_m=none, miss_rms_m=none, lateral_rms_m=none, along_rms_m=none, hit_probability=none, hits=None
        )
    offset, runs, variance = shots.offset[fired], shots.run[fired], shots.reference_variance[fired].mean(axis=0)
    independent = _independent(offset, runs)
    clean = None if shots.clean is None else shots.clean[fired]
    return named(
        range_m=_mean_range(shots.range_m[fired]),
        miss_rms_m=root_mean_square(offset, independent, float(variance.sum())),
        lateral_rms_m=root_mean_square(offset[:, 0], _independent(offset[:, :1], runs), float(variance[0])),
        along_rms_m=root_mean_square(offset[:, 1], _independent(offset[:, 1:], runs), float(variance[1])),
        hit_probability=clean_share(clean, independent),
        hits=None if clean is None else int(np.sum(clean)),
    )


def _independent(offset: FloatArray, runs: FloatArray) -> float:
    return sum(effective_sample_size(offset[runs == run]) for run in np.unique(runs))


def _mean_range(ranges: FloatArray) -> UncertainNumber:
    why = f"no interval: places from {np.min(ranges):.3g} to {np.max(ranges):.3g} m"
    return measured(float(np.mean(ranges)), None, len(ranges), "mean distance of the places", why)


def clean_share(clean: BoolArray | None, independent: float) -> UncertainNumber:
    """Return the share of clean shots with a Wilson interval on the effective number of independent ones."""
    method = "share of shots that enter cleanly, aimed exactly from the believed pose; Wilson interval"
    if clean is None:
        return unavailable("no shooter file: give --shooter", method=method)
    share = float(np.mean(clean))
    interval = wilson_interval(share * independent, independent)
    return measured(share, interval, len(clean), method, None, independent)
