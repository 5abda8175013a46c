"""Which sensors of a layout check each other, from which slip on, and whose slips look alike.

Sources: Baarda 1968 and Chow & Willsky 1984, see `locbench.statistics.reliability`.
"""

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.robot import SensorKind
from locbench.odometry import SensorLayout
from locbench.statistics import Reliability, noncentrality, reliability

__all__ = [
    "ALIKE",
    "WHILE_S",
    "WHILE_SPEED_M_S",
    "Checkable",
    "checkable",
    "fault_directions",
    "helpful_pod",
    "parting_pod",
]

# a while of driving in which a slip is looked for; common practice, no source
WHILE_S, WHILE_SPEED_M_S = 0.2, 0.5
# faults whose parity vectors enclose less than 26 deg are taken for one
ALIKE = 0.9
# Of a sensor's error this share shows at least, or it goes unchecked.
_LEAST_SHARE = 0.1
# a gyro is checked if a turn that matters to a shot would show
_LEAST_TURN_RAD = math.radians(5.0)
_POWER = 0.8
# How far off a further pod is tried beside one that nothing checks.
_APART_M = 0.1


@dataclass(frozen=True)
class Checkable:
    """What the sensors of a layout can tell of each other.

    `least` (K,) is the smallest slip (of a gyro the smallest turn) that a while of `WHILE_S` at `WHILE_SPEED_M_S` shows
    in four cases of five; `detectable` (K,) which show at all. `sets` are the detectable ones whose faults look alike.
    """

    layout: SensorLayout
    reliability: Reliability
    least: FloatArray
    detectable: BoolArray
    sets: tuple[tuple[int, ...], ...]

    @property
    def redundancy(self) -> int:
        """How many measurements are more than the motions need."""
        return len(self.reliability.parity)

    def set_of(self, sensor: int) -> tuple[int, ...]:
        """Return the sensors whose faults look like this one's, itself among them."""
        return next((group for group in self.sets if sensor in group), (sensor,))


def checkable(layout: SensorLayout, false_alarm: float) -> Checkable:
    """Return what the sensors of a layout can tell of each other.

    Parameters
    ----------
    layout
        K sensors.
    false_alarm
        Probability of an alarm in one while without a slip.
    """
    travel = np.full(len(layout), WHILE_S * WHILE_SPEED_M_S)
    std = np.sqrt(layout.variance(travel, np.array(WHILE_S)))
    checks = reliability(layout.row, std)
    least = checks.least_detectable(math.sqrt(noncentrality(false_alarm, _POWER)))
    seen = (checks.redundancy > _LEAST_SHARE) | (layout.turns & (least < _LEAST_TURN_RAD))
    groups = [tuple(one for one in group if seen[one]) for group in checks.alike(ALIKE)]
    return Checkable(
        layout=layout,
        reliability=checks,
        least=np.where(seen, least, np.inf),
        detectable=np.asarray(seen),
        sets=tuple(group for group in groups if group),
    )


def fault_directions(checks: Checkable) -> FloatArray:
    """Return (R, K) by how much a parity vector moves per metre (of a gyro radian) that a sensor reads more."""
    return np.asarray(checks.reliability.parity / checks.reliability.std)


def helpful_pod(checks: Checkable, sensor: int, false_alarm: float) -> bool:
    """Whether a further pod that rolls as this one does, 100 mm beside it, would make its slips show."""
    layout = checks.layout
    if layout.turns[sensor]:
        return False
    # beside it along its own axle: across its rolling direction
    beside = layout.row[sensor] + np.array([0.0, 0.0, _APART_M])
    return bool(checkable(_with_pod(layout, beside, sensor), false_alarm).detectable[sensor])


def parting_pod(checks: Checkable, group: tuple[int, ...], false_alarm: float) -> tuple[int, int] | None:
    """Return two pods of a set between which a further one would tell all of the set apart; None if none would."""
    layout = checks.layout
    pods = [one for one in group if layout.kind[one] is SensorKind.POD]
    for first, second in combinations(pods, 2):
        middle = (layout.row[first] + layout.row[second]) / 2.0
        wider = checkable(_with_pod(layout, middle, first), false_alarm)
        if all(len(wider.set_of(one)) == 1 for one in group):
            return first, second
    return None


def _with_pod(layout: SensorLayout, row: FloatArray, like: int) -> SensorLayout:
    """Return a layout with one more pod, as noisy as another one."""
    return replace(
        layout,
        name=(*layout.name, "another"),
        kind=(*layout.kind, SensorKind.POD),
        row=np.vstack([layout.row, row]),
        per_travel=np.append(layout.per_travel, layout.per_travel[like]),
        per_second=np.append(layout.per_second, layout.per_second[like]),
        of_ends=np.append(layout.of_ends, layout.of_ends[like]),
    )
