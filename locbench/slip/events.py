"""From alarms to slips: when each began and ended, which sensors may have caused it, and how much they lost.

Of the steps about an alarm those are taken that contradict most (largest r' V^-1 r: more steps would add noise and no
slip). A sensor is a candidate if its slip alone explains what contradicts as well as the best one's does, or if its
slips look like the best one's.
"""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.slip.alarms import Alarm, Limits, alarms, chance_of
from locbench.slip.steps import Steps, squared
from locbench.statistics import chi_square_quantile

__all__ = ["Candidate", "Slip", "slips"]

# steps before and after an alarm in which its slip may have begun or ended
_AROUND = 4
# so much chi-square the best one may be ahead of another candidate: odds of seven to one
_MARGIN = 4.0
# what one slip leaves unexplained by chance in one of a thousand, and by directions that are not quite known
_EXPLAINED, _SHARE_UNEXPLAINED = 0.999, 0.02
# slips of one sensor, one way, this many steps apart are one
_ONE_SLIP = 4
# longer stretches in alarm are searched in coarser steps
_FINE = 160


@dataclass(frozen=True)
class Candidate:
    """A sensor that read `lacks` too little (negative: too much), in metres, of a gyro in radians."""

    sensor: int
    lacks: float
    std: float
    probability: float


@dataclass(frozen=True)
class Slip:
    """Steps from `first` to before `last`, known with step `found`.

    `candidates` are the likeliest first. `alone` is whether one of them alone explains it. `confidence` is that it is
    no noise.
    """

    first: int
    last: int
    found: int
    candidates: tuple[Candidate, ...]
    alone: bool
    confidence: float


def slips(steps: Steps, limit: Limits) -> list[Slip]:
    """Return the slips of a log in order of time."""
    found: list[Slip] = []
    free_from = 0
    raised = alarms(steps, limit)
    for index, alarm in enumerate(raised):
        next_first = raised[index + 1].first if index + 1 < len(raised) else len(steps)
        first = max(free_from, alarm.first - _AROUND)
        last = min(max(alarm.last + 1, next_first), alarm.last + 1 + _AROUND)
        found += _slips_in(steps, first, last, alarm, limit)
        free_from = last
    return _joined(steps, sorted(found, key=lambda slip: slip.first))


def _joined(steps: Steps, found: list[Slip]) -> list[Slip]:
    """Return the slips, those of one kind that almost touch made one."""
    joined: list[Slip] = []
    for slip in found:
        if (
            joined
            and _is_one(joined[-1], slip)
            and steps.usable(np.array([joined[-1].first]), np.array([slip.last]))[0]
        ):
            before = joined[-1]
            joined[-1] = _slip(steps, before.first, slip.last, Alarm(before.first, slip.last, before.found))
        else:
            joined.append(slip)
    return joined


def _is_one(before: Slip, after: Slip) -> bool:
    first, second = before.candidates[0], after.candidates[0]
    same = {one.sensor for one in before.candidates} == {one.sensor for one in after.candidates}
    alike = same and first.sensor == second.sensor and first.lacks * second.lacks > 0.0
    return alike and before.alone and after.alone and after.first - before.last <= _ONE_SLIP


def _slips_in(steps: Steps, first: int, last: int, alarm: Alarm, limit: Limits) -> list[Slip]:
    """Return the strongest slip between two steps, and those before and after it that are beyond the limit too."""
    found = []
    waiting = [(first, last, True)]
    while waiting:
        begin, end, is_first = waiting.pop()
        best = _strongest(steps, begin, end)
        if best is None or (not is_first and best[2] <= limit.squared):
            continue
        found.append(_slip(steps, best[0], best[1], alarm))
        waiting += [(begin, best[0], False), (best[1], end, False)]
    return found


def _strongest(steps: Steps, begin: int, end: int) -> tuple[int, int, float] | None:
    """Return first, last and chi-square of the run of good steps between two that contradicts most."""
    if end - begin < 1:
        return None
    stride = max(1, (end - begin) // _FINE)
    edges = np.unique(np.append(np.arange(begin, end + 1, stride), end))
    first, last = (edges[index] for index in np.triu_indices(len(edges), 1))
    usable = steps.usable(first, last)
    if not np.any(usable):
        return None
    first, last = first[usable], last[usable]
    size = squared(steps.residual_over(first, last), steps.covariance_over(first, last))
    best = int(np.argmax(size))
    return int(first[best]), int(last[best]), float(size[best])


def _slip(steps: Steps, first: int, last: int, alarm: Alarm) -> Slip:
    bounds = np.array([first]), np.array([last])
    residual, covariance = steps.residual_over(*bounds)[0], steps.covariance_over(*bounds)[0]
    whole = float(residual @ np.linalg.solve(covariance, residual))
    chosen, alone = _candidates(steps, residual, covariance, whole)
    return Slip(
        first=first,
        last=last,
        found=max(alarm.found, first) if alarm.found < last else last - 1,
        candidates=chosen,
        alone=alone,
        confidence=1.0 - chance_of(whole, len(residual), len(steps)),
    )


def _candidates(
    steps: Steps, residual: FloatArray, covariance: FloatArray, whole: float
) -> tuple[tuple[Candidate, ...], bool]:
    """Return the candidates, likeliest first, and whether one alone explains a parity (R,) with its covariance."""
    sensors = np.flatnonzero(steps.checks.detectable)
    direction = steps.directions[:, sensors]
    weighted = np.linalg.solve(covariance, direction)
    information = np.sum(weighted * direction, axis=0)
    size = (weighted.T @ residual) / information
    explained = size**2 * information
    best = int(np.argmax(explained))
    alike = np.isin(sensors, steps.checks.set_of(int(sensors[best])))
    left_over = _left_over(len(residual)) + _SHARE_UNEXPLAINED * whole
    alone = bool(whole - explained[best] <= left_over)
    near = explained >= explained[best] - _MARGIN
    is_candidate = alike | (near & (whole - explained <= left_over)) if alone else np.ones(len(sensors), dtype=bool)
    belief = np.where(is_candidate, np.exp(0.5 * (explained - explained[best])), 0.0)
    belief /= np.sum(belief)
    # those that cannot be told apart stay in the robot file's order
    order = sorted(np.flatnonzero(is_candidate), key=lambda one: -round(float(belief[one]), 6))
    return (
        tuple(
            Candidate(int(sensors[one]), -float(size[one]), float(information[one] ** -0.5), float(belief[one]))
            for one in order
        ),
        alone,
    )


def _left_over(redundancy: int) -> float:
    return chi_square_quantile(_EXPLAINED, float(redundancy - 1)) if redundancy > 1 else 0.0
