"""Shots per distance band: from where, with what standing in where too few were seen."""

from collections.abc import Sequence

import numpy as np

from locbench.accuracy import Comparison, summarise
from locbench.arrays import FloatArray, IntArray
from locbench.geometry import between
from locbench.jobs.replaying import EstimatorRun, SessionRun
from locbench.results import BandShots, Consistency, SeenShots
from locbench.shots import ShotNumbers, Substitute, joined_shots, shot_numbers
from locbench.statistics import ConsistencyVerdict, chi_square_mean_band

__all__ = ["band_shots"]

_TRANSPORTABLE = "dead_reckoning"
_SPACING_S = 1.0
_MOST_OF_THE_WAY = 0.9
_COMPONENTS = 3.0


def band_shots(runs: Sequence[SessionRun], name: str, consistencies: Sequence[Consistency]) -> list[BandShots]:
    """Return the shots of one estimator, per goal and band, over sessions on the same field.

    Parameters
    ----------
    runs
        The sessions that have the estimator; at least one.
    name
        The estimator.
    consistencies
        Of it in each session: whether its covariance may be used where too few shots were seen.
    """
    field = runs[0].session.field
    estimators = [run.estimators[name] for run in runs]
    shooter = runs[0].shooter if all(run.shooter == runs[0].shooter for run in runs) else None
    substitute = _substitute(runs, name, consistencies)
    most = float(len(runs)) if all(estimator.uncorrected for estimator in estimators) else np.inf
    found = []
    for goal in field.goals:
        parts = [shots for estimator in estimators for shots in estimator.shots if shots.goal == goal.name]
        if not parts:
            continue
        aimed = joined_shots(parts)
        bands = [band for band in field.bands if band.goal is None or band.goal == goal.name]
        found += [_record(shot_numbers(aimed, band, goal, shooter, substitute, most)) for band in bands]
    return found


def _record(numbers: ShotNumbers) -> BandShots:
    return BandShots(
        band=numbers.band,
        goal=numbers.goal,
        from_m=numbers.from_m,
        to_m=numbers.to_m,
        **vars(numbers.figures),
        hits=numbers.hits,
        cannot_aim=numbers.cannot_aim,
        basis=numbers.basis.value,
        needed=numbers.needed,
        seen=SeenShots(**vars(numbers.seen)),
    )


def _substitute(runs: Sequence[SessionRun], name: str, consistencies: Sequence[Consistency]) -> Substitute:
    estimators = [run.estimators[name] for run in runs]
    stood = [part for estimator in estimators if (part := _surely_stood(estimator)) is not None]
    reasons = [
        reason
        for estimator, consistency in zip(estimators, consistencies, strict=True)
        if (reason := _why_unpredictable(estimator, consistency)) is not None
    ]
    return Substitute(
        pose=np.concatenate([pose for pose, _ in stood]) if stood else np.zeros((0, 3)),
        covariance=np.concatenate([covariance for _, covariance in stood]) if stood else np.zeros((0, 3, 3)),
        why_unpredictable=reasons[0] if reasons else None,
        body_error=_body_errors(estimators) if name == _TRANSPORTABLE else np.zeros((0, 3)),
    )


def _surely_stood(estimator: EstimatorRun) -> tuple[FloatArray, FloatArray] | None:
    """Return poses the robot surely had, the dense truth's once a second or those of its places, and covariances."""
    truth, places = estimator.truth, estimator.places
    rows = np.zeros(0, dtype=np.int64) if truth is None else _once_a_second(truth)
    # a covariance grows along the way, so a truth that tells only a part of it stands for that part alone
    if truth is not None and _tells_the_way(truth, rows, places):
        return truth.reference[rows], truth.believed_covariance[rows]
    if places is None or not len(places):
        return None
    whole = np.isfinite(places.reference).all(axis=1)
    return places.reference[whole], places.believed_covariance[whole]


def _once_a_second(comparison: Comparison) -> IntArray:
    """Return a row in every second in which both coordinates and the heading are known."""
    whole = np.flatnonzero(np.isfinite(comparison.reference).all(axis=1))
    _, first = np.unique(np.floor(comparison.time_s[whole] / _SPACING_S), return_index=True)
    return np.asarray(whole[first], dtype=np.int64)


def _tells_the_way(truth: Comparison, rows: IntArray, places: Comparison | None) -> bool:
    """Return whether whole poses of the truth span most of the way that the places span."""
    if not len(rows):
        return False
    if places is None or not len(places):
        return True
    spanned = float(np.max(places.path_length_m))
    return float(np.ptp(truth.path_length_m[rows])) >= _MOST_OF_THE_WAY * spanned


def _body_errors(estimators: Sequence[EstimatorRun]) -> FloatArray:
    errors = [between(e.places.reference, e.places.believed) for e in estimators if e.places is not None]
    known = np.concatenate(errors) if errors else np.zeros((0, 3))
    return np.asarray(known[np.isfinite(known).all(axis=1)])


def _why_unpredictable(estimator: EstimatorRun, consistency: Consistency) -> str | None:
    """Return why the estimator's own covariance would mislead, or None if nothing speaks against it."""
    if consistency.verdict in (ConsistencyVerdict.TOO_SURE, ConsistencyVerdict.UNRELATED):
        return "its innovations are larger than it claims"
    errors, places = consistency.nees_mean.value, estimator.places
    if errors is None or places is None:
        return None
    independent = 1.0 if estimator.uncorrected else summarise([places]).position_rms_m.independent or 1.0
    band = consistency.nees_band95 or chi_square_mean_band(_COMPONENTS, max(1.0, independent))
    highest = band[1] if consistency.nees_band95 is not None else band[1] / _COMPONENTS
    if errors <= highest:
        return None
    return f"its errors are larger than it claims (NEES {errors:.2g}, up to {highest:.2g} would be honest)"
