"""What a filter's innovations tell in the order of time: lock-outs, and errors of fixes that hang together."""

from collections.abc import Callable, Sequence

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.fusion import Corrections, Rule
from locbench.statistics import Remark, remark_on_whiteness, remarks_on_lockout

__all__ = ["locked_out", "slow_errors"]

_Pairs = tuple[IntArray, IntArray]

# Two fixes further apart than that say nothing of an error that lasts.
_CLOSE_S = 1.0


def locked_out(parts: Sequence[Corrections], gate_probability: float) -> list[Remark]:
    """Return a remark for each while in which a gate of that probability has locked the truth out.

    Parameters
    ----------
    parts
        One per stretch.
    gate_probability
        Of the filter's gate.
    """
    remarks: list[Remark] = []
    for part in parts:
        reached = part.degrees_of_freedom > 0
        refused = np.array([rule is Rule.GATE for rule in part.rejected_by], dtype=bool)
        remarks += remarks_on_lockout(part.arrived_s[reached], part.tag[reached], refused[reached], gate_probability)
    return remarks


def slow_errors(parts: Sequence[Corrections]) -> Remark | None:
    """Return a remark if the accepted fixes of one tag hang together over time; not those that gave the belief up.

    Parameters
    ----------
    parts
        One per stretch, of a Kalman gain: others do not make innovations independent.
    """
    return remark_on_whiteness(_pairs(parts, _next_of_same_tag), _pairs(parts, _next_of_other_tag))


def _next_of_same_tag(tag: IntArray) -> _Pairs:
    order = np.argsort(tag, kind="stable")
    same = tag[order[:-1]] == tag[order[1:]]
    return order[:-1][same], order[1:][same]


def _next_of_other_tag(tag: IntArray) -> _Pairs:
    first = np.flatnonzero(tag[:-1] != tag[1:])
    return first, first + 1


def _pairs(parts: Sequence[Corrections], paired: Callable[[IntArray], _Pairs]) -> tuple[FloatArray, FloatArray]:
    """Return whitened innovations (N, 3) and those they are paired with, close in time."""
    firsts, seconds = [np.zeros((0, 3))], [np.zeros((0, 3))]
    for part in parts:
        used: BoolArray = part.accepted & ~part.reacquired & (part.degrees_of_freedom > 0)
        values, captured_s = part.whitened_innovation[used], part.captured_s[used]
        first, second = paired(part.tag[used])
        close = np.abs(captured_s[second] - captured_s[first]) <= _CLOSE_S
        firsts.append(values[first[close]])
        seconds.append(values[second[close]])
    return np.concatenate(firsts), np.concatenate(seconds)
