"""Two estimators' errors at the same places: what a comparison between them rests on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.statistics import (
    FEWEST_SESSIONS,
    ComparisonVerdict,
    UncertainNumber,
    difference_between_sessions,
    difference_within_runs,
    judge_comparison,
    unavailable,
)

__all__ = ["PairedDifference", "PairedErrors", "paired_comparisons", "paired_difference", "parts_of_the_way"]

_EQUAL_PARTS = 20
# So many rows of a dense truth tell all there is to tell; a comparison of two long logs need not take longer.
_MOST_ROWS = 20_000


@dataclass(frozen=True)
class PairedErrors:
    """Errors of two estimators at the same K places of one session.

    Attributes
    ----------
    ours, theirs
        (K, D) errors, without NaN.
    part
        (K,) number of the part of the way between two marks.
    """

    ours: FloatArray
    theirs: FloatArray
    part: IntArray

    def __len__(self) -> int:
        return len(self.part)


@dataclass(frozen=True)
class PairedDifference:
    """Our error minus theirs, on how many sessions and parts of the way it rests, and the verdict."""

    difference: UncertainNumber
    sessions: int
    parts: int
    verdict: ComparisonVerdict


def parts_of_the_way(comparison: Comparison, visits_s: FloatArray) -> IntArray:
    """Return (K,) the part of the way of each place: between mark visits, or twenty of equal length without any.

    Parameters
    ----------
    comparison
        Along the way.
    visits_s
        (V,) times of the mark visits; fewer than two cut nothing.
    """
    if len(visits_s) >= 2:
        within = np.searchsorted(np.sort(visits_s), comparison.time_s)
    else:
        length = max(float(np.max(comparison.path_length_m, initial=0.0)), 1e-12)
        within = np.minimum(comparison.path_length_m / length * _EQUAL_PARTS, _EQUAL_PARTS - 1).astype(np.int64)
    keys = np.stack([comparison.stretch.astype(np.int64), within])
    return np.asarray(np.unique(keys, axis=1, return_inverse=True)[1].reshape(-1), dtype=np.int64)


def paired_comparisons(ours: Comparison, theirs: Comparison, part: IntArray) -> tuple[Comparison, Comparison, IntArray]:
    """Return both comparisons, and the parts, at the places where both estimators had a pose.

    Both must be against the same reference, so that their rows are the same moments.
    """
    rows = np.flatnonzero(ours.covered & theirs.covered)
    rows = rows[:: max(1, -(-len(rows) // _MOST_ROWS))]
    return ours.chosen(rows), theirs.chosen(rows), part[rows]


def paired_difference(
    sessions: Sequence[PairedErrors], ours: UncertainNumber, theirs: UncertainNumber
) -> PairedDifference:
    """Return the paired difference of two root mean squares and the verdict on it.

    Parameters
    ----------
    sessions
        One entry per session that has both estimators.
    ours, theirs
        Root mean squares over the same places; their intervals give that of the difference below six sessions.
    """
    filled = [pair for pair in sessions if len(pair)]
    if not filled:
        none = unavailable("no place where both have an error")
        return PairedDifference(none, 0, 0, ComparisonVerdict.NO_CLEAR_GAIN)
    by_session = np.array([_root(pair.ours) - _root(pair.theirs) for pair in filled])
    by_part = np.concatenate([_part_differences(pair) for pair in filled])
    if len(filled) >= FEWEST_SESSIONS:
        difference = difference_between_sessions(by_session)
    else:
        difference = difference_within_runs(ours, theirs, _shared(filled))
    verdict = judge_comparison(by_session, by_part, difference.value)
    return PairedDifference(difference, len(filled), len(by_part), verdict)


def _root(errors: FloatArray) -> float:
    return float(np.sqrt(np.mean(np.sum(errors**2, axis=1))))


def _part_differences(pair: PairedErrors) -> FloatArray:
    rows: list[BoolArray] = [pair.part == number for number in np.unique(pair.part)]
    return np.array([_root(pair.ours[inside]) - _root(pair.theirs[inside]) for inside in rows])


def _shared(sessions: Sequence[PairedErrors]) -> float:
    """Return the correlation of both squared errors over all places, 0 if it is negative or neither varies."""
    ours = np.concatenate([np.sum(pair.ours**2, axis=1) for pair in sessions])
    theirs = np.concatenate([np.sum(pair.theirs**2, axis=1) for pair in sessions])
    if np.ptp(ours) == 0.0 or np.ptp(theirs) == 0.0:
        return 0.0
    return max(0.0, float(np.corrcoef(ours, theirs)[0, 1]))
