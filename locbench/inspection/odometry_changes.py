"""What can be wrong with pods and gyro, as changes to try."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, permutations

import numpy as np

from locbench.arrays import FloatArray
from locbench.geometry import between, logarithm
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.recorded import ANGLE_FACTORS, Odometry, OwnPoses, Recorded, Wheels
from locbench.inspection.references import references
from locbench.units import UNITS

__all__ = ["LENGTH_FACTORS", "odometry_changes"]

# units of length that logs come in; one taken for another is off by their ratio
_LENGTH_UNITS = [UNITS[symbol].factor for symbol in ("m", "cm", "mm", "in", "ft")]
LENGTH_FACTORS = tuple(sorted({first / second for first, second in permutations(_LENGTH_UNITS, 2)}))
_SCALE_WINDOW_S = 0.5
_LEAST_TRAVEL_M = 0.05


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
    for index, name in enumerate(wheels.names):
        signs = np.ones(count)
        signs[index] = -1.0
        reversed_one = _with_travel(log, wheels, wheels.travel_m * signs)
        yield Change(SetupFault.POD_REVERSED, Part.WHEELS, reversed_one, names=(name,))
    yield from _scale_changes(log, odometry, wheels)


def _scale_changes(log: Recorded, odometry: Odometry, wheels: Wheels) -> Iterator[Change]:
    """Yield each wheel's size, and that of all together, fitted to the other sensors and to the references."""
    expected = _expected_travel(log, odometry, wheels)
    factors = []
    for index, name in enumerate(wheels.names):
        pairs = [_factor(measured, other) for measured, other in expected[index]]
        for factor, std in [pair for pair in pairs if pair is not None]:
            factors.append(factor)
            scale = np.ones(len(wheels.names))
            scale[index] = factor
            yield Change(
                SetupFault.POD_SCALE,
                Part.WHEELS,
                _with_travel(log, wheels, wheels.travel_m * scale),
                parameters=1,
                names=(name,),
                amounts={Amount.FACTOR: factor},
                stds={Amount.FACTOR: std},
            )
    if factors:
        common = float(np.median(factors))
        yield Change(
            SetupFault.POD_SCALE,
            Part.WHEELS,
            _with_travel(log, wheels, wheels.travel_m * common),
            parameters=1,
            names=wheels.names,
            amounts={Amount.FACTOR: common},
            stds={Amount.FACTOR: float(np.std(factors)) / np.sqrt(len(factors))},
        )


def _expected_travel(log: Recorded, odometry: Odometry, wheels: Wheels) -> list[list[tuple[FloatArray, FloatArray]]]:
    """Return per wheel pairs of measured and expected travel over short windows, by the sensors that can tell."""
    times = np.arange(odometry.time_s[0], odometry.time_s[-1], _SCALE_WINDOW_S)
    travel = np.diff(np.column_stack([np.interp(times, odometry.time_s, one) for one in wheels.travel_m.T]), axis=0)
    found: list[list[tuple[FloatArray, FloatArray]]] = [[] for _ in wheels.names]
    if len(travel) < 4:
        return found
    if odometry.heading_rad is not None:
        turn = np.diff(np.interp(times, odometry.time_s, odometry.heading_rad))
        for index in range(len(wheels.names)):
            others = np.arange(len(wheels.names)) != index
            rows = np.vstack([wheels.rows[others], [0.0, 0.0, 1.0]])
            if np.linalg.matrix_rank(np.vstack([rows, wheels.rows[index]]), tol=1e-9) > np.linalg.matrix_rank(
                rows, tol=1e-9
            ):
                continue
            motion = np.column_stack([travel[:, others], turn]) @ np.linalg.pinv(rows).T
            found[index].append((travel[:, index], motion @ wheels.rows[index]))
    for begin, end, twist in _reference_twists(log):
        measured = np.column_stack(
            [np.interp(end, odometry.time_s, one) - np.interp(begin, odometry.time_s, one) for one in wheels.travel_m.T]
        )
        for index in range(len(wheels.names)):
            found[index].append((measured[:, index], twist @ wheels.rows[index]))
    return found


def _adds_to(rows: FloatArray, row: FloatArray) -> bool:
    """Return whether a row measures a motion that the others leave open, so that they cannot foretell it."""
    return bool(np.linalg.matrix_rank(np.vstack([rows, row]), tol=1e-9) > np.linalg.matrix_rank(rows, tol=1e-9))


def _reference_twists(log: Recorded) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Yield begin and end times (M,) and twists (M, 3) between them, by truth or fixes."""
    if log.truth is not None:
        times = np.arange(log.odometry.time_s[0], log.odometry.time_s[-1], _SCALE_WINDOW_S)
        yield from _twists(times, references(log, times))
    if log.fixes is not None:
        whole = np.flatnonzero(np.isfinite(log.fixes.pose[:, 2]))
        times = log.fixes.time_s[whole]
        bins = np.unique(np.floor(times / _SCALE_WINDOW_S), return_index=True)[1]
        yield from _twists(times[bins], log.fixes.pose[whole][bins])


def _twists(times_s: FloatArray, poses: FloatArray) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    if len(times_s) < 5:
        return
    twist = logarithm(between(poses[:-1], poses[1:]))
    usable = np.isfinite(twist).all(axis=1) & (np.diff(times_s) < 3.0 * _SCALE_WINDOW_S)
    if np.sum(usable) >= 4:
        yield times_s[:-1][usable], times_s[1:][usable], twist[usable]


def _factor(measured: FloatArray, expected: FloatArray) -> tuple[float, float] | None:
    """Return by how much the measured travel must be multiplied, and how surely; a weighted median of ratios.

    None where the wheel hardly moved, or the two do not go together.
    """
    moving = np.abs(measured) + np.abs(expected) > _LEAST_TRAVEL_M
    moving &= (np.abs(measured) > 0.002) & (measured * expected > 0.0)
    if np.sum(moving) < 4:
        return None
    ratio, weight = expected[moving] / measured[moving], np.abs(measured[moving])
    order = np.argsort(ratio)
    middle = np.searchsorted(np.cumsum(weight[order]), 0.5 * np.sum(weight))
    factor = float(ratio[order][middle])
    spread = 1.4826 * float(np.median(np.abs(ratio - factor)))
    return factor, 1.25 * spread / float(np.sqrt(np.sum(moving)))


def _gyro_changes(log: Recorded, odometry: Odometry, heading: FloatArray) -> Iterator[Change]:
    yield Change(SetupFault.HEADING_SENSE, Part.GYRO, _with(log, replace(odometry, heading_rad=-heading)))
    for factor, reread in odometry.otherwise_rad.items():
        scaled = _with(log, replace(odometry, heading_rad=reread))
        yield Change(SetupFault.ANGLE_UNIT, Part.GYRO, scaled, amounts={Amount.FACTOR: factor})


def _own_pose_changes(log: Recorded, odometry: Odometry, own: OwnPoses) -> Iterator[Change]:
    def with_pose(pose: FloatArray) -> Recorded:
        return _with(log, replace(odometry, measured=OwnPoses(pose)))

    mirrored = own.pose * [1.0, 1.0, -1.0]
    for quarter in range(4):
        turn = quarter * np.pi / 2.0
        amounts = {Amount.TURN: turn}
        if quarter:
            yield Change(SetupFault.HEADING_ZERO, Part.ODOMETRY, with_pose(own.pose + [0, 0, turn]), amounts=amounts)
        yield Change(SetupFault.HEADING_SENSE, Part.ODOMETRY, with_pose(mirrored + [0, 0, turn]), amounts=amounts)
    for factor in ANGLE_FACTORS:
        scaled = with_pose(own.pose * [1.0, 1.0, factor])
        yield Change(SetupFault.ANGLE_UNIT, Part.ODOMETRY, scaled, amounts={Amount.FACTOR: factor})
    for factor in LENGTH_FACTORS:
        scaled = with_pose(own.pose * [factor, factor, 1.0])
        yield Change(SetupFault.LENGTH_UNIT, Part.ODOMETRY, scaled, amounts={Amount.FACTOR: factor})
    yield Change(SetupFault.FRAME_MIRRORED, Part.ODOMETRY, with_pose(own.pose * [1.0, -1.0, -1.0]))
