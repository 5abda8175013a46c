"""Finds the change of the set-up that mends a log best, one after the other."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from locbench.geometry import wrap_angle
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.frame_changes import frame_changes
from locbench.inspection.limits import is_notable
from locbench.inspection.misfit import Misfit, misfit
from locbench.inspection.odometry_changes import odometry_changes, refined_scale
from locbench.inspection.recorded import Recorded
from locbench.inspection.references import first_references, references, start_by
from locbench.inspection.tag_changes import tag_changes
from locbench.inspection.time_changes import time_changes

__all__ = ["Found", "search"]

_MOST_FAULTS = 4
# cost that a change without any fitted number must save, and what each fitted number costs
_LEAST_GAIN, _PRICE = 12.0, 4.0
# share of all cost that only the one fault there is can save
_MOST_OF_IT = 0.6


@dataclass(frozen=True)
class Found:
    """A change that mends the log, what the comparisons left before and leave after it, and how much that saves."""

    change: Change
    before: Misfit
    after: Misfit
    gain: float


def search(log: Recorded) -> tuple[Found, ...]:
    """Return what has to be changed, the most telling first; each is looked for in the log as the ones before leave it.

    Of all changes the one that saves most cost is taken (a generalised likelihood-ratio test among many hypotheses),
    each fitted number paid for, as long as it is larger than what wear and survey leave.
    """
    found: list[Found] = []
    base = misfit(log)
    while len(found) < _MOST_FAULTS:
        best = _best(base)
        if best is None:
            break
        found.append(best)
        base = best.after
    return tuple(found)


def _best(base: Misfit) -> Found | None:
    tried = list(_worth_it(base, _quick_changes(base.log)))
    best = _holding(base, tried)
    if best is not None and best.gain > _MOST_OF_IT * base.cost:
        # clocks take the longest to search, and nothing is left for them to mend
        return best
    shifts = list(_worth_it(base, time_changes(base)))
    return _holding(base, [*tried, *shifts]) if shifts else best


def _holding(base: Misfit, tried: Sequence[Found]) -> Found | None:
    """Return the one that saves most; the size of a wheel only if it is still worth it where it fits best."""
    for found in sorted(tried, key=lambda one: one.gain, reverse=True):
        if found.change.fault is not SetupFault.POD_SCALE:
            return found
        refined = list(_worth_it(base, [refined_scale(base, found.change)]))
        if refined:
            return refined[0]
    return None


def _worth_it(base: Misfit, changes: Iterable[Change]) -> Iterator[Found]:
    for change in changes:
        if is_notable(change):
            found = _tried(base, change)
            if found.gain > _LEAST_GAIN:
                yield found


def _tried(base: Misfit, change: Change) -> Found:
    after = base.of(change.log)
    return Found(change, base, after, base.cost - base.cost_of(after) - _PRICE * change.parameters)


def _quick_changes(log: Recorded) -> Iterator[Change]:
    yield from odometry_changes(log)
    yield from tag_changes(log)
    yield from _truth_changes(log)
    yield from _start_changes(log)


def _truth_changes(log: Recorded) -> Iterator[Change]:
    truth = log.truth
    if truth is None or log.visits is None:
        return
    by_marks = references(replace(log, truth=None), truth.time_s)
    yield from frame_changes(
        Part.TRUTH, truth.pose, log.truth_zero, by_marks, lambda pose: replace(log, truth=replace(truth, pose=pose))
    )


def _start_changes(log: Recorded) -> Iterator[Change]:
    for times, poses in first_references(log):
        start, std = start_by(log, times, poses)
        error = start - log.start
        amounts = {Amount.X: float(error[0]), Amount.Y: float(error[1]), Amount.TURN: float(wrap_angle(error[2]))}
        # a start that the files call unsure may well be that far off
        sure = dict(zip(amounts, np.hypot(std, log.start_std).tolist(), strict=True))
        yield Change(SetupFault.START_POSE, Part.START, replace(log, start=start), 3, amounts=amounts, stds=sure)
