"""Takes a gyro's bias from the standstill before the first motion, as the robot's own program would."""

import math
from collections.abc import Mapping

import numpy as np

from locbench.arrays import FloatArray
from locbench.session.findings import FindingCode
from locbench.session.tables import FindingList

__all__ = ["without_standstill_bias"]

_MOVED_M = 0.001
_SHORTEST_STANDSTILL_S = 1.0
_SIGNIFICANT = 1.96


def without_standstill_bias(
    heading_rad: FloatArray,
    times_s: FloatArray,
    travel_m: Mapping[str, FloatArray],
    findings: FindingList,
    **where: str | int | None,
) -> FloatArray:
    """Return the heading (N,) with the drift seen at the initial standstill taken off.

    Parameters
    ----------
    heading_rad
        (N,) unwrapped.
    times_s
        (N,) non-decreasing.
    travel_m
        (N,) per pod; standstill lasts until one has moved by 1 mm.
    findings
        Receives the bias as a note; `where` names file and column.

    Notes
    -----
    The bias is the mean rate and its standard error that of the rate's scatter. It is taken off only where it stands
    out from that scatter: subtracting noise would turn it into drift.
    """
    moved = np.zeros(len(times_s), dtype=bool)
    for travel in travel_m.values():
        moved |= np.abs(travel - travel[0]) > _MOVED_M
    last = int(np.argmax(moved)) - 1 if np.any(moved) else len(times_s) - 1
    duration = float(times_s[max(last, 0)] - times_s[0])
    if duration < _SHORTEST_STANDSTILL_S:
        return heading_rad
    turns = np.diff(heading_rad[: last + 1])
    bias = float(np.sum(turns)) / duration
    error = float(np.std(turns, ddof=1)) * math.sqrt(len(turns)) / duration
    significant = abs(bias) > _SIGNIFICANT * error
    outcome = "taken off" if significant else "within its noise, left alone"
    findings.note(
        FindingCode.GYRO_BIAS,
        f"the gyro drifts {math.degrees(bias):.3f} deg/s (standard error {math.degrees(error):.3f}) in the first "
        f"{duration:.1f} s of standstill: {outcome}",
        "Keep the robot still for some seconds before every run",
        **where,
    )
    return heading_rad - bias * (times_s - times_s[0]) if significant else heading_rad
