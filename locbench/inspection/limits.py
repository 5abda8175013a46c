"""From which size on a deviation is a fault of the set-up, and which faults spoil every number.

Below the first size it is wear, survey or the camera's own error; common practice, no source.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from locbench.inspection.change import Amount, Change
from locbench.inspection.diagnosis import SetupFault
from locbench.session import Severity

__all__ = ["is_notable", "severity"]


@dataclass(frozen=True)
class _Limit:
    """From where on an amount is worth a warning, and from where on it is an error: SI, radians, shares."""

    warning: float
    error: float


def _degrees(warning: float, error: float) -> _Limit:
    return _Limit(math.radians(warning), math.radians(error))


_PLACE = {Amount.X: _Limit(0.05, 0.10), Amount.Y: _Limit(0.05, 0.10)}
_LIMITS: Mapping[SetupFault, Mapping[Amount, _Limit]] = {
    SetupFault.POD_SCALE: {Amount.FACTOR: _Limit(0.03, 0.08)},
    SetupFault.RANGE_SCALE: {Amount.FACTOR: _Limit(0.02, 0.04)},
    SetupFault.BEARING_BIAS: {Amount.TURN: _degrees(1.0, 2.0)},
    SetupFault.HEADING_ZERO: {Amount.TURN: _degrees(2.5, 4.0)},
    SetupFault.FRAME_ROTATED: {Amount.TURN: _degrees(2.5, 4.0)},
    SetupFault.FRAME_SHIFTED: _PLACE,
    SetupFault.TAG_MISPLACED: {**_PLACE, Amount.TURN: _degrees(4.0, 8.0)},
    SetupFault.CLOCK_SHIFT: {Amount.SHIFT: _Limit(0.025, 0.05)},
    SetupFault.GYRO_LAG: {Amount.SHIFT: _Limit(0.015, 0.03)},
    SetupFault.START_POSE: {**_PLACE, Amount.TURN: _degrees(2.5, 5.0)},
    SetupFault.GYRO_DRIFT: {Amount.RATE: _Limit(math.radians(2.0) / 60.0, math.radians(5.0) / 60.0)},
}
# standard uncertainties that an amount must exceed
_SURE = 3.0


def is_notable(change: Change) -> bool:
    """Return whether a change is larger than what wear and survey leave, and than its own uncertainty allows."""
    limits = _LIMITS.get(change.fault)
    return limits is None or any(_exceeds(change, amount, limit.warning) for amount, limit in limits.items())


def severity(change: Change) -> Severity:
    """Return whether the fault spoils every number, or may only make them worse."""
    limits = _LIMITS.get(change.fault)
    if limits is None or any(_exceeds(change, amount, limit.error) for amount, limit in limits.items()):
        return Severity.ERROR
    return Severity.WARNING


def _exceeds(change: Change, amount: Amount, limit: float) -> bool:
    return _deviation(amount, change) > max(limit, _SURE * change.stds.get(amount, 0.0))


def _deviation(amount: Amount, change: Change) -> float:
    """Return how far an amount is from what changes nothing; 0 if it was not fitted."""
    value = change.amounts.get(amount)
    if value is None:
        return 0.0
    match amount:
        case Amount.FACTOR:
            return abs(math.log(value))
        case Amount.TURN:
            return abs(math.atan2(math.sin(value), math.cos(value)))
        case _:
            return abs(value)
