"""Takes a gyro's bias from the standstill before the first motion, as the robot's own program would."""

import math

import numpy as np
from scipy import special

from locbench.arrays import BoolArray, FloatArray
from locbench.session.findings import FindingCode, FindingList, Measured
from locbench.units import Dimension

__all__ = ["without_standstill_bias"]

_SHORTEST_STANDSTILL_S = 1.0
_BLOCKS = 8
_SIGNIFICANT = float(special.stdtrit(_BLOCKS - 2, 0.975))


def without_standstill_bias(
    heading_rad: FloatArray,
    times_s: FloatArray,
    moved: BoolArray,
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
    moved
        (N,) whether the robot has moved by then; standstill lasts until the first such row.
    findings
        Receives the bias as a note; `where` names file and column.

    Notes
    -----
    The standstill is cut into eight blocks of equal length. The bias is the rate from the first to the last block's
    mean heading, its standard error that of the scatter of the rates between neighbouring blocks: means of blocks are
    hardly touched by rounding and angle noise, and a random walk shows in their scatter. The bias is taken off only
    where it stands out from it (Student, 6 degrees of freedom): subtracting noise would turn it into drift.
    """
    last = int(np.argmax(moved)) if np.any(moved) else len(times_s)
    still, times = heading_rad[:last], times_s[:last]
    if last < 2 * _BLOCKS or times[-1] - times[0] < _SHORTEST_STANDSTILL_S:
        return heading_rad
    blocks = [float(np.mean(block)) for block in np.array_split(still, _BLOCKS)]
    middles = np.array([float(np.mean(block)) for block in np.array_split(times, _BLOCKS)])
    rates = np.diff(blocks) / np.diff(middles)
    bias = (blocks[-1] - blocks[0]) / float(middles[-1] - middles[0])
    error = float(np.std(rates, ddof=1)) / math.sqrt(len(rates))
    significant = abs(bias) > _SIGNIFICANT * error
    outcome = "taken off" if significant else "within its noise, left alone"
    findings.note(
        FindingCode.GYRO_BIAS,
        f"the gyro drifts {math.degrees(bias):.3f} deg/s (standard error {math.degrees(error):.3f}) in the first "
        f"{times[-1] - times[0]:.1f} s of standstill: {outcome}",
        "Keep the robot still for some seconds before every run",
        (Measured("bias", bias, error, Dimension.TURN_RATE),),
        **where,
    )
    return heading_rad - bias * (times_s - times_s[0]) if significant else heading_rad
