"""The figures of the shots from one distance band: measured, predicted, or carried from elsewhere."""

from dataclasses import dataclass
from enum import StrEnum
from functools import partial

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import ShooterConfig
from locbench.config.field import Band, Goal
from locbench.geometry import compose
from locbench.shots.bands import Shots
from locbench.shots.landing import can_aim, landing_offset, line_of_fire
from locbench.shots.opening import clean_entry
from locbench.shots.predicting import hit_probability, landing_covariance
from locbench.statistics import (
    FEWEST_SESSIONS,
    UncertainNumber,
    effective_sample_size,
    measured,
    proportion_interval,
    root_mean_square,
    root_mean_square_of_sessions,
    unavailable,
)

__all__ = ["Basis", "ShotFigures", "ShotNumbers", "Substitute", "clean_share", "shot_numbers"]

FEWEST_MEASURED = 20
# The share of clean shots changes slowly over a band; so many of its poses are enough.
_POSES = 6
_ERRORS = 24
_CANNOT_AIM = "the turret cannot aim at this goal from the places in this band"
_NO_SHOOTER = "no shooter file: give --shooter"


class Basis(StrEnum):
    """Where the figures of a band come from."""

    MEASURED = "measured"
    PREDICTED = "predicted"
    TRANSPORTED = "transported"


@dataclass(frozen=True)
class Substitute:
    """What may stand in where too few shots were seen.

    Attributes
    ----------
    pose, covariance
        (K, 3) and (K, 3, 3): poses the robot surely had, with the covariance the estimator claimed there; NaN where it
        claimed none.
    why_unpredictable
        Why its covariance must not be used, or None.
    body_error
        (E, 3) T_true^-1 T_believed measured anywhere, only of an estimator whose errors do not depend on the place.
    """

    pose: FloatArray
    covariance: FloatArray
    why_unpredictable: str | None
    body_error: FloatArray


@dataclass(frozen=True)
class ShotFigures:
    """Range of the places, miss and clean share."""

    range_m: UncertainNumber
    miss_rms_m: UncertainNumber
    lateral_rms_m: UncertainNumber
    along_rms_m: UncertainNumber
    hit_probability: UncertainNumber


@dataclass(frozen=True)
class ShotNumbers:
    """Shots of one band and goal in numbers; see `results.BandShots`.

    `figures` has the given basis; `seen` is what the few or many shots from places in the band did; `needed` is how
    many more independent ones a measurement needs.
    """

    band: str
    goal: str
    from_m: float
    to_m: float
    figures: ShotFigures
    basis: Basis
    needed: int
    seen: ShotFigures
    hits: int | None
    cannot_aim: int


def shot_numbers(
    shots: Shots,
    band: Band,
    goal: Goal,
    shooter: ShooterConfig | None,
    substitute: Substitute,
    most_independent: float = np.inf,
) -> ShotNumbers:
    """Return the numbers of the shots from places inside the band, half-open in distance.

    Parameters
    ----------
    shots
        Aimed from the places where the robot surely was.
    band, goal, shooter
        Which places count, and what the shots are aimed at.
    substitute
        What stands in below 20 independent shots: first the estimator's own covariance at poses in the band, if its
        consistency allows, then errors measured elsewhere.
    most_independent
        How many independent errors the sessions hold at most; one each for what nothing corrects.
    """
    inside = _in_band(shots.range_m, band)
    fired = inside & shots.aimable
    independent = min(_independent(shots.offset[fired], shots.run[fired]), most_independent)
    seen = _seen(shots, fired, bool(np.any(inside)), independent)
    needed = max(0, int(np.ceil(FEWEST_MEASURED - independent - 1e-9)))
    figures, basis = seen, Basis.MEASURED
    if needed:
        blocked = np.any(inside) and not np.any(fired)
        missing = _CANNOT_AIM if blocked else _drive_here(needed, int(np.sum(fired)), independent)
        figures, basis = _substituted(substitute, band, goal, shooter, missing)
    return ShotNumbers(
        band=band.name,
        goal=shots.goal,
        from_m=band.from_,
        to_m=band.to,
        figures=figures,
        basis=basis,
        needed=needed,
        seen=seen,
        hits=None if shots.clean is None or not np.any(fired) else int(np.sum(shots.clean[fired])),
        cannot_aim=int(np.sum(inside & ~shots.aimable)),
    )


def _in_band(range_m: FloatArray, band: Band) -> BoolArray:
    return np.asarray((range_m >= band.from_) & (range_m < band.to))


def _drive_here(needed: int, places: int, independent: float) -> str:
    if not places:
        return f"drive here: {needed} more independent places needed, none seen"
    return (
        f"drive here: {needed} more independent places needed (of {FEWEST_MEASURED}; the {places} seen are worth "
        f"{independent:.1f})"
    )


def _independent(offset: FloatArray, runs: FloatArray) -> float:
    return sum(effective_sample_size(offset[runs == run]) for run in np.unique(runs))


def _none(why: str) -> ShotFigures:
    number = unavailable(why)
    return ShotFigures(number, number, number, number, number)


def _seen(shots: Shots, fired: BoolArray, any_inside: bool, independent: float) -> ShotFigures:
    if not np.any(fired):
        return _none(_CANNOT_AIM if any_inside else "no place in this band: drive here and stop on marks")
    offset, runs, variance = shots.offset[fired], shots.run[fired], shots.reference_variance[fired].mean(axis=0)
    size = partial(_miss, runs=runs, most=independent)
    return ShotFigures(
        range_m=_mean_range(shots.range_m[fired]),
        miss_rms_m=size(offset, variance=float(variance.sum())),
        lateral_rms_m=size(offset[:, :1], variance=float(variance[0])),
        along_rms_m=size(offset[:, 1:], variance=float(variance[1])),
        hit_probability=clean_share(None if shots.clean is None else shots.clean[fired], independent, runs),
    )


def _miss(offset: FloatArray, runs: FloatArray, most: float, variance: float) -> UncertainNumber:
    parts = [offset[runs == run] for run in np.unique(runs)]
    if len(parts) >= FEWEST_SESSIONS:
        return root_mean_square_of_sessions(parts, variance)
    return root_mean_square(offset, min(_independent(offset, runs), most), variance)


def _mean_range(ranges: FloatArray) -> UncertainNumber:
    why = f"no interval: places from {np.min(ranges):.3g} to {np.max(ranges):.3g} m"
    return measured(float(np.mean(ranges)), None, len(ranges), "mean distance of the places", why)


def clean_share(clean: BoolArray | None, independent: float, runs: FloatArray) -> UncertainNumber:
    """Return the share of clean shots (K,) with a Wilson interval on the effective number of independent ones.

    From six sessions on, shares that differ between them more than chance would make them leave fewer trials.
    """
    method = "share of shots that enter cleanly, aimed exactly from the believed pose; Wilson interval"
    if clean is None:
        return unavailable(_NO_SHOOTER, method=method)
    share = float(np.mean(clean))
    shares = np.array([np.mean(clean[runs == run]) for run in np.unique(runs)])
    trials = independent
    if len(shares) >= FEWEST_SESSIONS and np.var(shares) > 0.0:
        trials = min(trials, share * (1.0 - share) * len(shares) / float(np.var(shares, ddof=1)))
    return measured(share, proportion_interval(share * trials, trials), len(clean), method, None, trials)


def _substituted(
    substitute: Substitute, band: Band, goal: Goal, shooter: ShooterConfig | None, missing: str
) -> tuple[ShotFigures, Basis]:
    centre = np.array([goal.x, goal.y])
    distance = np.linalg.norm(substitute.pose[:, :2] - centre, axis=1)
    inside = _in_band(distance, band)
    if shooter is not None:
        inside &= can_aim(substitute.pose, centre, shooter.turret)
    if not np.any(inside):
        return _none(missing), Basis.MEASURED
    pose, covariance = substitute.pose[inside], substitute.covariance[inside]
    claimed = np.isfinite(covariance).all(axis=(1, 2))
    if substitute.why_unpredictable is None and np.any(claimed):
        return _predicted(pose[claimed], covariance[claimed], goal, shooter), Basis.PREDICTED
    if len(substitute.body_error):
        return _transported(pose, substitute.body_error, goal, shooter), Basis.TRANSPORTED
    reason = substitute.why_unpredictable or "the estimator gives no covariance"
    return _none(f"{missing}; not predicted: {reason}"), Basis.MEASURED


def _spread(count: int, most: int) -> IntArray:
    """Return at most that many of `count` rows, evenly spread."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(np.int64))


def _predicted(pose: FloatArray, covariance: FloatArray, goal: Goal, shooter: ShooterConfig | None) -> ShotFigures:
    centre = np.array([goal.x, goal.y])
    method = "predicted: the estimator's own covariance at poses in this band, taken to the goal"
    why = "no interval: it is as good as the estimator's own covariance"
    landing = landing_covariance(pose, covariance, centre)
    variance = np.diagonal(landing, axis1=1, axis2=2).mean(axis=0)
    known = partial(measured, interval=None, n=len(pose), why=why)
    share = unavailable(_NO_SHOOTER, method=method)
    if shooter is not None:
        rows = _spread(len(pose), _POSES)
        lines = line_of_fire(pose[rows], centre)
        chances = hit_probability(np.zeros((len(rows), 2)), landing[rows], lines, goal, shooter)
        share = known(
            float(np.mean(chances)), method=f"{method}; share of its Gaussian landing points that enter cleanly"
        )
    return ShotFigures(
        range_m=_mean_range(np.asarray(np.linalg.norm(pose[:, :2] - centre, axis=1))),
        miss_rms_m=known(float(np.sqrt(variance.sum())), method=method),
        lateral_rms_m=known(float(np.sqrt(variance[0])), method=method),
        along_rms_m=known(float(np.sqrt(variance[1])), method=method),
        hit_probability=share,
    )


def _transported(pose: FloatArray, body_error: FloatArray, goal: Goal, shooter: ShooterConfig | None) -> ShotFigures:
    centre = np.array([goal.x, goal.y])
    method = "transported: errors measured elsewhere, carried in the robot's frame to poses in this band"
    why = "no interval: measured elsewhere, where the way driven may have been another"
    errors = body_error[_spread(len(body_error), _ERRORS)]
    stood = np.repeat(pose[_spread(len(pose), _POSES)], len(errors), axis=0)
    offset = landing_offset(stood, compose(stood, np.tile(errors, (len(stood) // len(errors), 1))), centre)
    known = partial(measured, interval=None, n=len(errors), why=why)
    size = np.sqrt(np.mean(offset**2, axis=0))
    share = unavailable(_NO_SHOOTER, method=method)
    if shooter is not None:
        clean = clean_entry(offset, line_of_fire(stood, centre), goal, shooter)
        share = known(float(np.mean(clean)), method=f"{method}; share that enters cleanly")
    return ShotFigures(
        range_m=_mean_range(np.asarray(np.linalg.norm(pose[:, :2] - centre, axis=1))),
        miss_rms_m=known(float(np.hypot(size[0], size[1])), method=method),
        lateral_rms_m=known(float(size[0]), method=method),
        along_rms_m=known(float(size[1]), method=method),
        hit_probability=share,
    )
