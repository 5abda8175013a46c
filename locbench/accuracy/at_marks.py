"""How well every mark that was visited more than once was found again, and which marks' own poses are in doubt.

Source of accuracy and repeatability: ISO 9283:1998 (formulas from memory).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from locbench.accuracy.comparing import Comparison
from locbench.arrays import FloatArray
from locbench.statistics import (
    NORMAL_95,
    UncertainNumber,
    bias_with_interval,
    heading_repeatability,
    measured,
    position_repeatability,
    unavailable,
)

__all__ = ["MarkBias", "MarkRepeatability", "biased_marks", "repeatability_at_marks"]

_AXES: tuple[Literal["x"], Literal["y"]] = ("x", "y")
_FEWEST_VISITS = 2
_PLACE_DECIMALS = 6
_NO_INTERVAL = "no interval: ISO 9283 gives none"


@dataclass(frozen=True)
class MarkRepeatability:
    """One mark and estimator; see `results.AtMark`. `position_std_m` is the mark's own."""

    mark: str
    visits: int
    sessions: int
    position_std_m: float
    bias_x_m: UncertainNumber
    bias_y_m: UncertainNumber
    accuracy_m: UncertainNumber
    repeatability_m: UncertainNumber
    heading_accuracy_rad: UncertainNumber
    heading_repeatability_rad: UncertainNumber


@dataclass(frozen=True)
class MarkBias:
    """A mark about whose place every estimator is wrong alike: how far, at least, by which axis."""

    mark: str
    axis: Literal["x", "y"]
    low_m: float
    high_m: float


def repeatability_at_marks(
    comparisons: Sequence[Comparison], names: Sequence[Sequence[str]], most_independent: float
) -> list[MarkRepeatability]:
    """Return the figures of one estimator per mark with at least two visits, in order of the first visit.

    Visits are to the same mark if they are to the same surveyed pose: another field file may give its name to another
    place, and places without names are numbered anew in every log.

    Parameters
    ----------
    comparisons
        At the surveyed marks, one per session.
    names
        Of the marks, per session and visit.
    most_independent
        How many independent errors the sessions hold at most; infinite if their correlation alone decides.
    """
    visits: dict[tuple[float, ...], list[tuple[int, FloatArray, float]]] = {}
    name_of: dict[tuple[float, ...], str] = {}
    for session, (comparison, marks) in enumerate(zip(comparisons, names, strict=True)):
        for row in np.flatnonzero(comparison.covered):
            std = float(np.sqrt(comparison.reference_covariance[row, 0, 0]))
            # NaN equals nothing, so a missing heading is written as another turn than any
            place = tuple(np.round(np.nan_to_num(comparison.reference[row], nan=np.inf), _PLACE_DECIMALS))
            name_of.setdefault(place, marks[comparison.source[row]])
            visits.setdefault(place, []).append((session, comparison.error[row], std))
    return [
        _repeated(name_of[place], found, most_independent)
        for place, found in visits.items()
        if len(found) >= _FEWEST_VISITS
    ]


def _repeated(mark: str, visits: Sequence[tuple[int, FloatArray, float]], most_independent: float) -> MarkRepeatability:
    errors = np.array([error for _, error, _ in visits])
    position = position_repeatability(errors[:, :2])
    headings = errors[np.isfinite(errors[:, 2]), 2]
    accuracy, spread = unavailable("fewer than two visits with a heading"), unavailable("fewer than two with a heading")
    if len(headings) >= _FEWEST_VISITS:
        heading = heading_repeatability(headings)
        accuracy = _figure(heading.accuracy, len(headings), "mean heading minus the mark's (ISO 9283)")
        spread = _figure(heading.repeatability, len(headings), "three standard deviations of headings (ISO 9283)")
    count = len(errors)
    return MarkRepeatability(
        mark=mark,
        visits=count,
        sessions=len({session for session, _, _ in visits}),
        position_std_m=float(np.mean([std for _, _, std in visits])),
        bias_x_m=bias_with_interval(errors[:, 0], min(float(count), most_independent)),
        bias_y_m=bias_with_interval(errors[:, 1], min(float(count), most_independent)),
        accuracy_m=_figure(position.accuracy, count, "distance of the barycentre from the mark (ISO 9283)"),
        repeatability_m=_figure(
            position.repeatability, count, "mean distance from the barycentre plus three standard deviations (ISO 9283)"
        ),
        heading_accuracy_rad=accuracy,
        heading_repeatability_rad=spread,
    )


def _figure(value: float, count: int, method: str) -> UncertainNumber:
    return measured(value, None, count, method, _NO_INTERVAL)


def biased_marks(by_estimator: Mapping[str, Sequence[MarkRepeatability]], unaided: frozenset[str]) -> list[MarkBias]:
    """Return the marks that every estimator misses alike, beyond their own and the marks' uncertainty.

    At least one estimator with fixes and one without must agree; where most marks are missed alike it is no mark's
    fault but the frame's or the start pose's, and none is returned.

    Parameters
    ----------
    by_estimator
        Figures of all estimators.
    unaided
        Names of those that use no tags.
    """
    judged: dict[str, list[MarkBias]] = {}
    for mark in dict.fromkeys(found.mark for figures in by_estimator.values() for found in figures):
        there = {name: f for name, figures in by_estimator.items() for f in figures if f.mark == mark}
        if there.keys() & unaided and there.keys() - unaided:
            judged[mark] = [bias for axis in _AXES if (bias := _shared(mark, axis, list(there.values())))]
    doubtful = [biases for biases in judged.values() if biases]
    return [bias for biases in doubtful for bias in biases] if 2 * len(doubtful) <= len(judged) else []


def _shared(mark: str, axis: Literal["x", "y"], found: Sequence[MarkRepeatability]) -> MarkBias | None:
    intervals = [(f.bias_x_m if axis == "x" else f.bias_y_m).ci95 for f in found]
    known = [interval for interval in intervals if interval is not None]
    if len(known) < len(intervals):
        return None
    low, high = max(interval[0] for interval in known), min(interval[1] for interval in known)
    own = NORMAL_95 * max(f.position_std_m for f in found)
    beyond = min(interval[0] for interval in known) > own or max(interval[1] for interval in known) < -own
    return MarkBias(mark, axis, low, high) if beyond and low <= high else None
