"""Small drives for tests of the calibration, made of arrays."""

import numpy as np

from locbench.calibration.constants import Constant, ConstantKind, Constants
from locbench.calibration.wheels import Wheel, Wheels

__all__ = ["CONSTANTS", "wheels"]

CONSTANTS = Constants(
    (
        *(
            Constant(kind, f"pods.{name}", nominal)
            for name, lever, direction in (
                ("left", -0.12, 0.0),
                ("right", 0.12, 0.0),
                ("cross", -0.1, np.pi / 2.0),
            )
            for kind, nominal in (
                (ConstantKind.WHEEL_DIAMETER, 0.05),
                (ConstantKind.LEVER_ARM, lever),
                (ConstantKind.ROLLING_DIRECTION, direction),
            )
        ),
        Constant(ConstantKind.TURN_SCALE, "gyro", 1.0),
        Constant(ConstantKind.GYRO_LAG, "gyro", 0.0),
    )
)
_LAYOUT = (("left", -0.12, 0.0), ("right", 0.12, 0.0), ("cross", -0.1, np.pi / 2.0))


def wheels(twist: np.ndarray, shifts: np.ndarray | None = None, period_s: float = 0.02) -> Wheels:
    """Return what left, right, cross pod and gyro read over twists (N, 3), their real constants shifted by (P,).

    Scales are those by which readings have to be multiplied, as everywhere in the calibration.
    """
    shifts = np.zeros(len(CONSTANTS)) if shifts is None else shifts
    found = tuple(
        Wheel(f"pods.{name}", ConstantKind.WHEEL_DIAMETER, lever, direction, 0.002, 1e-10)
        for name, lever, direction in _LAYOUT
    )
    columns = []
    for wheel in found:
        angle = wheel.direction_rad + CONSTANTS.shift(shifts, ConstantKind.ROLLING_DIRECTION, wheel.of)
        lever = wheel.lever_m + CONSTANTS.shift(shifts, ConstantKind.LEVER_ARM, wheel.of)
        travel = twist @ np.array([np.cos(angle), np.sin(angle), lever])
        columns.append(travel / (1.0 + CONSTANTS.shift(shifts, ConstantKind.WHEEL_DIAMETER, wheel.of)))
    travel_m = np.vstack([np.zeros(3), np.cumsum(np.column_stack(columns), axis=0)])
    turned = np.append(0.0, np.cumsum(twist[:, 2])) / (1.0 + CONSTANTS.shift(shifts, ConstantKind.TURN_SCALE, "gyro"))
    time_s = period_s * np.arange(len(twist) + 1)
    return Wheels(
        time_s=time_s,
        travel_m=travel_m,
        heading_rad=turned,
        doubted=np.zeros(len(time_s), dtype=bool),
        wheels=found,
        way_m=np.abs(np.diff(travel_m, axis=0)),
        heading_of="gyro",
        turn_variance=np.full(len(twist), 1e-9),
    )
