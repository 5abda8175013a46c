"""What can be wrong with pods and gyro, as changes to try."""

import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, permutations

import numpy as np

from locbench.arrays import FloatArray
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.least import find_least, standard_sides
from locbench.inspection.misfit import Misfit
from locbench.inspection.recorded import ANGLE_FACTORS, Odometry, OwnPoses, Recorded, Wheels
from locbench.inspection.wheel_scales import scale_estimates
from locbench.units import UNITS

__all__ = ["LENGTH_FACTORS", "odometry_changes", "refined_scale"]

# units of length that logs come in; one taken for another is off by their ratio
_LENGTH_UNITS = [UNITS[symbol].factor for symbol in ("m", "cm", "mm", "in", "ft")]
LENGTH_FACTORS = tuple(sorted({first / second for first, second in permutations(_LENGTH_UNITS, 2)}))
_STEP, _FINEST = 0.02, 0.001


def odometry_changes(log: Recorded) -> Iterator[Change]:
    """Yield every change of pods and gyro that can be tried."""
    odometry = log.odometry
    if isinstance(odometry.measured, OwnPoses):
        yield from _own_pose_changes(log, odometry, odometry.measured)
        return
    yield from _wheel_changes(log, odometry, odometry.measured)
    if odometry.heading_rad is not None:
        yield from _gyro_changes(log, odometry, odometry.heading_rad)


def _with(log: Recorded, odometry: Odometry) -> Recorded:
    return replace(log, odometry=odometry)


def _with_travel(log: Recorded, wheels: Wheels, travel_m: FloatArray) -> Recorded:
    return _with(log, replace(log.odometry, measured=replace(wheels, travel_m=travel_m)))


def _wheel_changes(log: Recorded, odometry: Odometry, wheels: Wheels) -> Iterator[Change]:
    count = len(wheels.names)
    if wheels.metres_per_count is not None:
        for first, second in combinations(range(count), 2):
            travel = wheels.travel_m.copy()
            ratio = wheels.metres_per_count[first] / wheels.metres_per_count[second]
            travel[:, first] = wheels.travel_m[:, second] * ratio
            travel[:, second] = wheels.travel_m[:, first] / ratio
            names = (wheels.names[first], wheels.names[second])
            yield Change(SetupFault.PODS_EXCHANGED, Part.WHEELS, _with_travel(log, wheels, travel), names=names)
    else:
        for factor in LENGTH_FACTORS:
            scaled = _with_travel(log, wheels, wheels.travel_m * factor)
            yield Change(SetupFault.LENGTH_UNIT, Part.ODOMETRY, scaled, amounts={Amount.FACTOR: factor})
    for index, name in enumerate(wheels.names):
        signs = np.ones(count)
        signs[index] = -1.0
        reversed_one = _with_travel(log, wheels, wheels.travel_m * signs)
        yield Change(SetupFault.POD_REVERSED, Part.WHEELS, reversed_one, names=(name,))
    yield from _scale_changes(log, odometry, wheels)


def _scale_changes(log: Recorded, odometry: Odometry, wheels: Wheels) -> Iterator[Change]:
    """Yield each wheel's size, and that of all together, fitted to the other sensors and to the references."""
    for estimate in scale_estimates(log, odometry, wheels):
        yield _scaled(log, wheels, estimate.names, estimate.factor, estimate.std)


def _scaled(log: Recorded, wheels: Wheels, names: tuple[str, ...], factor: float, std: float) -> Change:
    scale = np.where([name in names for name in wheels.names], factor, 1.0)
    return Change(
        SetupFault.POD_SCALE,
        Part.WHEELS,
        _with_travel(log, wheels, wheels.travel_m * scale),
        parameters=1,
        names=names,
        amounts={Amount.FACTOR: factor},
        stds={Amount.FACTOR: std},
    )


def refined_scale(base: Misfit, change: Change) -> Change:
    """Return a change of wheels' sizes with the factor at which all comparisons together leave least."""
    wheels = base.log.odometry.measured
    assert isinstance(wheels, Wheels)

    # by its logarithm, so that it stays positive
    def cost(logarithm: float) -> float:
        return base.cost_of(base.of(_scaled(base.log, wheels, change.names, math.exp(logarithm), 0.0).log))

    least = find_least(cost, math.log(change.amounts[Amount.FACTOR]), _STEP, _FINEST)
    low, high = standard_sides(cost, least, _FINEST)
    factor = math.exp(least)
    return _scaled(base.log, wheels, change.names, factor, factor * (low + high) / 2.0)


def _gyro_changes(log: Recorded, odometry: Odometry, heading: FloatArray) -> Iterator[Change]:
    yield Change(SetupFault.HEADING_SENSE, Part.GYRO, _with(log, replace(odometry, heading_rad=-heading)))
    for factor, reread in odometry.otherwise_rad.items():
        scaled = _with(log, replace(odometry, heading_rad=reread))
        yield Change(SetupFault.ANGLE_UNIT, Part.GYRO, scaled, amounts={Amount.FACTOR: factor})


def _own_pose_changes(log: Recorded, odometry: Odometry, own: OwnPoses) -> Iterator[Change]:
    def with_pose(pose: FloatArray) -> Recorded:
        return _with(log, replace(odometry, measured=replace(own, pose=pose)))

    mirrored = own.pose * [1.0, 1.0, -1.0]
    for quarter in range(4):
        turn = quarter * np.pi / 2.0
        amounts = {Amount.TURN: turn}
        if quarter:
            yield Change(SetupFault.HEADING_ZERO, Part.ODOMETRY, with_pose(own.pose + [0, 0, turn]), amounts=amounts)
        yield Change(SetupFault.HEADING_SENSE, Part.ODOMETRY, with_pose(mirrored + [0, 0, turn]), amounts=amounts)
    for factor in ANGLE_FACTORS:
        scaled = with_pose(own.zero + (own.pose - own.zero) * [1.0, 1.0, factor])
        yield Change(SetupFault.ANGLE_UNIT, Part.ODOMETRY, scaled, amounts={Amount.FACTOR: factor})
    for factor in LENGTH_FACTORS:
        scaled = with_pose(own.zero + (own.pose - own.zero) * [factor, factor, 1.0])
        yield Change(SetupFault.LENGTH_UNIT, Part.ODOMETRY, scaled, amounts={Amount.FACTOR: factor})
    yield Change(SetupFault.FRAME_MIRRORED, Part.ODOMETRY, with_pose(own.pose * [1.0, -1.0, -1.0]))
    other_side = with_pose(own.pose * [1.0, -1.0, 1.0])
    yield Change(SetupFault.FRAME_MIRRORED, Part.ODOMETRY, other_side, headings_kept=True)
