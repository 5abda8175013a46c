"""Whether one estimator is better than another: the only place where "better" and "worse" are decided."""

import math
from enum import StrEnum

import numpy as np
from scipy import special

from locbench.arrays import FloatArray
from locbench.statistics.between_sessions import FEWEST_SESSIONS
from locbench.statistics.intervals import effective_mean_size
from locbench.statistics.uncertain import UncertainNumber, measured, unavailable

__all__ = [
    "ComparisonVerdict",
    "difference_between_sessions",
    "difference_within_runs",
    "judge_comparison",
    "sign_flip_probability",
]

_FEWEST_PARTS = 6
_LEVEL = 0.05
_ENUMERABLE = 16
_DRAWN_PATTERNS = 1 << 16
# Two sums that differ by rounding alone are equal.
_ROUNDING = 1e-9


class ComparisonVerdict(StrEnum):
    """Which of two estimators has the smaller error; "here" means in these runs, which is no verdict on the next."""

    BETTER = "better"
    WORSE = "worse"
    BETTER_HERE = "better_here"
    WORSE_HERE = "worse_here"
    NO_CLEAR_GAIN = "no_clear_gain"


def sign_flip_probability(differences: FloatArray) -> float:
    """Return how probable so large a mean of paired differences (N,) is if either sign of each was as likely.

    Two-sided, over all 2^N patterns of signs; above 16 differences over a fixed sample of 65,536 patterns, the one
    seen counted among them.

    Source: Fisher, "The Design of Experiments" (1935), section 21.
    """
    count = len(differences)
    if count == 0:
        return 1.0
    if count <= _ENUMERABLE:
        bits = np.arange(1 << count)[:, np.newaxis] >> np.arange(count) & 1
        sums = np.abs((2.0 * bits - 1.0) @ differences)
        return float(np.mean(sums >= _least(differences)))
    signs = np.random.default_rng(count).integers(0, 2, size=(_DRAWN_PATTERNS, count), dtype=np.int8)
    sums = np.abs((2.0 * signs - 1.0) @ differences)
    return float((np.sum(sums >= _least(differences)) + 1) / (_DRAWN_PATTERNS + 1))


def _least(differences: FloatArray) -> float:
    return abs(float(np.sum(differences))) - _ROUNDING * float(np.sum(np.abs(differences)))


def difference_between_sessions(differences: FloatArray) -> UncertainNumber:
    """Return the mean of paired differences (N,), one per session, with a Student interval; N at least 6."""
    method = "mean of the sessions' paired differences; Student interval"
    count = len(differences)
    value = float(np.mean(differences))
    half = float(special.stdtrit(count - 1.0, 0.975) * np.std(differences, ddof=1)) / math.sqrt(count)
    return measured(value, (value - half, value + half), count, method)


def difference_within_runs(
    ours: FloatArray, theirs: FloatArray, weights: FloatArray, run: FloatArray
) -> UncertainNumber:
    """Return the paired difference of two root mean squares from the parts of a few runs.

    Parameters
    ----------
    ours, theirs
        (K,) mean squares of both errors over the same places of each part, in order of time.
    weights
        (K,) how many places each part has.
    run
        (K,) number of the session.

    Returns
    -------
    UncertainNumber
        Difference of the root mean squares over all places. Its interval speaks for these runs alone; none below 6
        independent parts.

    Notes
    -----
    First-order: each part moves the difference by w (a_k - a) / (2 sqrt a) - w (b_k - b) / (2 sqrt b), and neighbours
    count as what they are worth (Zwiers & von Storch, J. Climate 8 (1995) 336-351).
    """
    method = "difference of root mean squares over the same places; Student interval on independent parts of the runs"
    if not len(ours):
        return unavailable("no place where both have an error", method=method)
    mean_ours, mean_theirs = (float(np.average(squares, weights=weights)) for squares in (ours, theirs))
    value = math.sqrt(mean_ours) - math.sqrt(mean_theirs)
    effect = (weights / np.mean(weights)) * (
        (ours - mean_ours) * _slope(mean_ours) - (theirs - mean_theirs) * _slope(mean_theirs)
    )
    independent = sum(effective_mean_size(effect[run == number]) for number in np.unique(run))
    if independent < _FEWEST_PARTS:
        why = (
            f"no interval: {len(ours)} parts of the way hang together and are worth {independent:.1f} independent "
            f"ones; {_FEWEST_PARTS} are needed"
        )
        return measured(value, None, len(ours), method, why, independent)
    spread = float(np.std(effect, ddof=1)) * math.sqrt(independent / (independent - 1.0))
    half = float(special.stdtrit(independent - 1.0, 0.975)) * spread / math.sqrt(independent)
    return measured(value, (value - half, value + half), len(ours), method, None, independent)


def _slope(mean_square: float) -> float:
    return 0.0 if mean_square == 0.0 else 0.5 / math.sqrt(mean_square)


def judge_comparison(difference: UncertainNumber, session_differences: FloatArray) -> ComparisonVerdict:
    """Return the verdict on a paired difference of errors; negative means smaller, so better.

    Parameters
    ----------
    difference
        From the sessions, or from the parts of a few runs.
    session_differences
        (N,) paired differences of the sessions. From six on the exact sign-flip test of them decides (5 %, two-sided);
        below, only whether the interval of the difference leaves out zero, and the verdict holds for these runs.
    """
    if difference.value is None:
        return ComparisonVerdict.NO_CLEAR_GAIN
    if len(session_differences) >= FEWEST_SESSIONS:
        if sign_flip_probability(session_differences) > _LEVEL:
            return ComparisonVerdict.NO_CLEAR_GAIN
        return ComparisonVerdict.BETTER if np.sum(session_differences) < 0.0 else ComparisonVerdict.WORSE
    if difference.ci95 is None or difference.ci95[0] <= 0.0 <= difference.ci95[1]:
        return ComparisonVerdict.NO_CLEAR_GAIN
    return ComparisonVerdict.BETTER_HERE if difference.value < 0.0 else ComparisonVerdict.WORSE_HERE
