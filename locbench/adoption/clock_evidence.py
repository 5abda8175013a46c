"""Whether another clock is the odometry's: what a table saw move or stand must move or stand at those times."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from locbench.adoption.foreign_tables import ForeignColumn
from locbench.adoption.kinds import TakenTable
from locbench.adoption.meanings import DIMENSION, Meaning
from locbench.adoption.questions import Evidence, Strength
from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.units import Dimension

__all__ = ["Pace", "clock_by_changes", "clock_by_stands", "pace_of", "turning_pace_of"]

_REACH_S, _STEP_S = 5.0, 0.02
_SHIFTS_S = np.round(np.arange(-_REACH_S, _REACH_S + _STEP_S / 2.0, _STEP_S), 2)
# First every fifth shift is tried, then those about the best.
_COARSELY = 5
_SAME_MOMENT_S = 0.08
_ELSEWHERE_S = 1.5
# A clear match is this good, and this much better than any that lies further away.
_GOOD_LIKENESS, _AHEAD = 0.25, 0.08
_FEWEST_CHANGES, _SHORTEST_CHANGE_S, _LONGEST_CHANGE_S = 30, 0.15, 0.6
# Shares of the usual pace: standing still, as still as at the best shift, and driving.
_AT_REST, _AS_STILL, _DRIVING = 0.1, 0.015, 0.3
_FEWEST_STANDS = 3
_MOST_CHANGES = 1500
_PRESS_S = 0.15
_ALONG = (Meaning.FORWARD_STEP, Meaning.LEFT_STEP, Meaning.FORWARD_SPEED, Meaning.LEFT_SPEED)
_PLACES = (Meaning.X, Meaning.Y)
_SEEN = (
    *(Meaning.X, Meaning.Y, Meaning.HEADING, Meaning.RANGE, Meaning.BEARING),
    *(Meaning.FORWARD_STEP, Meaning.LEFT_STEP),
)
# Absolute changes from a row to the next one.
_Steps: TypeAlias = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Pace:
    """How much the odometry has moved up to each of its times (N,), in multiples of its mean pace times a second."""

    times_s: FloatArray
    moved: FloatArray

    def between(self, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """Return the mean pace within each interval, as a multiple of the mean of the whole log."""
        moved = np.interp(end_s, self.times_s, self.moved) - np.interp(begin_s, self.times_s, self.moved)
        return np.asarray(moved / np.maximum(end_s - begin_s, 1e-9))


def pace_of(taken: TakenTable, times_s: FloatArray) -> Pace | None:
    """Return how much the odometry's columns move, whatever their units, or None where its times do not grow."""
    return _pace(_moving_columns(taken), times_s)


def turning_pace_of(taken: TakenTable, times_s: FloatArray) -> Pace | None:
    """Return how much the odometry's heading turns, or None where no column tells or its times do not grow."""
    for steps, meaning in ((_folded, Meaning.HEADING), (_values, Meaning.TURN_STEP), (_values, Meaning.TURN_RATE)):
        column = taken.column(meaning)
        if column is not None:
            return _pace([(column.column.numbers, steps)], times_s)
    return None


def _moving_columns(taken: TakenTable) -> list[tuple[FloatArray, _Steps]]:
    columns = [pod.column for pod in taken.pods] + _those(taken, _PLACES)
    if columns:
        return [(column.numbers, _differences) for column in columns]
    return [(column.numbers, _values) for column in _those(taken, _ALONG)]


def _pace(columns: Sequence[tuple[FloatArray, _Steps]], times_s: FloatArray) -> Pace | None:
    sure = np.isfinite(times_s)
    times = times_s[sure]
    if len(times) < _FEWEST_CHANGES or np.any(np.diff(times) < 0.0):
        return None
    if not columns:
        return None
    # not each by itself: what hardly moves would bring nothing but its noise
    total = _evened(np.sum([np.nan_to_num(steps(numbers[sure])) for numbers, steps in columns], axis=0))
    if not np.sum(total) > 0.0:
        return None
    moved = np.concatenate([[0.0], np.cumsum(total)])
    return Pace(times, moved / moved[-1] * float(np.ptp(times)))


def _differences(numbers: FloatArray) -> FloatArray:
    return np.abs(np.diff(numbers))


def _folded(numbers: FloatArray) -> FloatArray:
    """Return the changes of an angle in an unknown unit: over the end of its range is a change, not a jump."""
    return _within(np.abs(np.diff(numbers)), float(np.nanmax(numbers) - np.nanmin(numbers)))


def _within(changes: FloatArray, span: float) -> FloatArray:
    return np.minimum(changes, np.abs(span - changes))


def _values(numbers: FloatArray) -> FloatArray:
    return np.abs(numbers[1:])


def _those(taken: TakenTable, meanings: tuple[Meaning, ...]) -> list[ForeignColumn]:
    return [one.column for meaning in meanings if (one := taken.column(meaning)) is not None]


def _evened(amounts: FloatArray) -> FloatArray:
    """Return amounts with a mean of one, without what is no motion: gaps, restarts, wrap-arounds."""
    known = np.where(np.isfinite(amounts), amounts, 0.0)
    cut = np.minimum(known, 3.0 * float(np.quantile(known, 0.99)))
    mean = float(np.mean(cut))
    return cut / mean if mean > 0.0 else cut


def clock_by_stands(paces: Sequence[Pace], begin_s: FloatArray, end_s: FloatArray) -> Evidence:
    """Return what must be added to the times of visits, if the robot is to stand still in them."""
    known = np.isfinite(begin_s) & np.isfinite(end_s)
    begin, end = begin_s[known], end_s[known]
    presses = end - begin < 2.0 * _PRESS_S
    begin, end = np.where(presses, begin - _PRESS_S, begin), np.where(presses, end + _PRESS_S, end)
    if not paces or len(begin) < _FEWEST_STANDS:
        return _unseen("too little is known to see in the odometry whether the robot stands during the visits")
    shares = np.mean([_shares(pace, begin, end) for pace in paces], axis=0)
    still = shares <= min(_AT_REST, float(np.min(shares)) + _AS_STILL)
    shift = _middle_of_run(still) if np.any(still) else 0.0
    if not np.any(still) or np.min(shares[np.abs(_SHIFTS_S - shift) > _ELSEWHERE_S]) < _DRIVING:
        return _unseen("the odometry does not stand out as still during the visits, at whatever shift of their clock")
    at_zero = int(np.argmin(np.abs(_SHIFTS_S)))
    if still[at_zero]:
        why = f"the odometry stands still in them ({shares[at_zero]:.0%} of its usual pace), shifted it would not"
        return Evidence("0 s", why, Strength.SHOWN)
    why = f"during the visits the odometry moves at {shares[at_zero]:.0%} of its usual pace, {shift:g} s away it stands"
    return Evidence(f"{shift:g} s", why, Strength.HINTED)


def _shares(pace: Pace, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
    """Return the mean pace within intervals at each shift."""
    return np.array([float(np.mean(pace.between(begin_s + shift, end_s + shift))) for shift in _SHIFTS_S])


def _middle_of_run(still: BoolArray) -> float:
    """Return the middle of the run of shifts nearest to none."""
    nearest = int(np.flatnonzero(still)[np.argmin(np.abs(_SHIFTS_S[still]))])
    first = last = nearest
    while first > 0 and still[first - 1]:
        first -= 1
    while last + 1 < len(still) and still[last + 1]:
        last += 1
    return float(round((_SHIFTS_S[first] + _SHIFTS_S[last]) / 2.0, 2))


def clock_by_changes(paces: Sequence[Pace], taken: TakenTable, times_s: FloatArray) -> Evidence:
    """Return what must be added to the times of a table for what it measures to change as the odometry moves.

    The pace, of the odometry's motion or of its turning, that goes best with the table's changes decides.
    """
    best, shift, elsewhere = -1.0, 0.0, -1.0
    for changes in _changes(taken, times_s):
        for pace in paces:
            likeness = _likenesses(changes, pace)
            if np.max(likeness) > best:
                best, shift = float(np.max(likeness)), float(_SHIFTS_S[int(np.argmax(likeness))]) + 0.0
                elsewhere = float(np.max(likeness[np.abs(_SHIFTS_S - shift) > _ELSEWHERE_S], initial=-1.0))
    if best < _GOOD_LIKENESS or best - elsewhere < _AHEAD:
        return _unseen("its rows do not change so plainly with the odometry that its clock could be told")
    if abs(shift) <= _SAME_MOMENT_S:
        why = f"its rows change as the odometry moves (correlation {best:.2f}), shifted they would not"
        return Evidence("0 s", why, Strength.SHOWN)
    why = f"its rows change as the odometry moves at times shifted by {shift:g} s (correlation {best:.2f})"
    return Evidence(f"{shift:g} s", why, Strength.HINTED)


def _unseen(why: str) -> Evidence:
    return Evidence("0 s", why, Strength.HINTED)


@dataclass(frozen=True)
class _Changes:
    """Begin, end and size a second (K,) of the changes between a row and a later one that tells of the same thing."""

    begin_s: FloatArray
    end_s: FloatArray
    rate: FloatArray


def _changes(taken: TakenTable, times_s: FloatArray) -> Iterator[_Changes]:
    """Yield the changes of each column that shows how the robot moves."""
    tag = taken.column(Meaning.TAG)
    names = np.zeros(len(times_s), dtype=str) if tag is None else np.array(tag.column.cells)
    groups = [np.flatnonzero((names == name) & np.isfinite(times_s)) for name in np.unique(names)]
    for meaning in _SEEN:
        column = taken.column(meaning)
        if column is None:
            continue
        pairs = [_pairs(rows[np.argsort(times_s[rows], kind="stable")], times_s) for rows in groups]
        first, second = (np.concatenate(ends) for ends in zip(*pairs, strict=True))
        numbers = column.column.numbers
        sizes = np.abs(numbers[second] - numbers[first])
        if DIMENSION.get(meaning) is Dimension.ANGLE:
            sizes = _within(sizes, float(np.nanmax(numbers) - np.nanmin(numbers)))
        known = np.isfinite(sizes) & _spread_out(len(sizes))
        if np.count_nonzero(known) < _FEWEST_CHANGES:
            continue
        begin, end = times_s[first][known], times_s[second][known]
        rates = sizes[known] / (end - begin)
        # a few wild detections must not hide the rest
        yield _Changes(begin, end, np.minimum(rates, float(np.quantile(rates, 0.95))))


def _spread_out(count: int) -> BoolArray:
    """Return which of many rows are looked at: enough of them, all through the log."""
    return np.asarray(np.arange(count) % max(1, count // _MOST_CHANGES) == 0)


def _pairs(rows: IntArray, times_s: FloatArray) -> tuple[IntArray, IntArray]:
    """Return each row and the first one that is a little later, where that is not long after."""
    times = times_s[rows]
    later = np.searchsorted(times, times + _SHORTEST_CHANGE_S)
    there = later < len(rows)
    first, second = rows[there], rows[later[there]]
    near = times_s[second] - times_s[first] < _LONGEST_CHANGE_S
    return first[near], second[near]


def _likenesses(changes: _Changes, pace: Pace) -> FloatArray:
    """Return the correlation of changes with the pace at each shift that was tried, else less than any."""
    found = np.full(len(_SHIFTS_S), -1.0)
    coarse = range(0, len(_SHIFTS_S), _COARSELY)
    found[coarse] = [_likeness_at(float(_SHIFTS_S[index]), changes, pace) for index in coarse]
    best = int(np.argmax(found))
    fine = range(max(0, best - _COARSELY), min(len(_SHIFTS_S), best + _COARSELY + 1))
    found[fine] = [_likeness_at(float(_SHIFTS_S[index]), changes, pace) for index in fine]
    return found


def _likeness_at(shift_s: float, changes: _Changes, pace: Pace) -> float:
    return _likeness(changes.rate, pace.between(changes.begin_s + shift_s, changes.end_s + shift_s))


def _likeness(one: FloatArray, other: FloatArray) -> float:
    spread = float(np.std(one) * np.std(other))
    return float(np.mean((one - np.mean(one)) * (other - np.mean(other)))) / spread if spread > 0.0 else 0.0
