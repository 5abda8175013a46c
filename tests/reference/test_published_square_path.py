"""Square-path calibration of a differential drive: published formulas beside our least squares on the same squares.

Borenstein & Feng, "Measurement and correction of systematic odometry errors in mobile robots", IEEE Trans. Robotics and
Automation 12(6) 1996, 869-880. The formulas were read in a secondary source; the y-form is from memory. Start
(0, 0, 0), first leg along +x, cw means right turns, errors are the true end minus the end by odometry. The rows were
computed, by an integration apart from this one.
"""

import numpy as np
import pytest

from locbench.calibration.constants import Constant, ConstantKind, Constants
from locbench.calibration.drive import Drive, Places
from locbench.calibration.fitting import fit
from locbench.calibration.reading import Set
from locbench.calibration.surveyed import surveyed_places
from locbench.calibration.wheels import Wheel, Wheels
from locbench.geometry import compose, exponential

_SIDE_M, _BASE_M = 4.0, 0.34
_STEPS = 40

# true E_d, E_b, then x errors of cw and ccw, then what the x-form gives
ROWS = [
    (1.001, 1.005, -0.151988, 0.031384, 1.0009746, 1.0048218),
    (1.001, 1.0, -0.092364, 0.095690, 1.0009995, 0.9998677),
    (1.0, 1.005, -0.062022, -0.062022, 1.0, 1.0049601),
    (0.9995, 0.998, 0.073200, -0.021855, 0.9994951, 0.9979612),
]


def _formulas(alpha: float, beta: float) -> tuple[float, float]:
    """E_d and E_b from the turn error per corner and the bend per side."""
    radius = (_SIDE_M / 2.0) / np.sin(beta / 2.0) if beta else np.inf
    ratio = (radius + _BASE_M / 2.0) / (radius - _BASE_M / 2.0) if np.isfinite(radius) else 1.0
    return ratio, 90.0 / (90.0 - np.degrees(alpha))


def _x_form(cw: np.ndarray, ccw: np.ndarray) -> tuple[float, float]:
    return _formulas((cw[0] + ccw[0]) / (-4.0 * _SIDE_M), (cw[0] - ccw[0]) / (-4.0 * _SIDE_M))


def _y_form(cw: np.ndarray, ccw: np.ndarray) -> tuple[float, float]:
    return _formulas((cw[1] - ccw[1]) / (-4.0 * _SIDE_M), (cw[1] + ccw[1]) / (-4.0 * _SIDE_M))


def _believed(sense: float) -> np.ndarray:
    """Travel (N, 2) of the left and right wheel as the odometry believes it, over a square in that sense."""
    side = np.full((_STEPS, 2), _SIDE_M / _STEPS)
    turn = np.full((_STEPS, 2), np.pi / 2.0 * _BASE_M / 2.0 / _STEPS) * [-sense, sense]
    return np.concatenate([side, turn] * 4)


def _true_end(sense: float, ratio: float, base: float) -> np.ndarray:
    """Where the robot really ends: mean diameter kept, true ratio of right to left wheel, true base over nominal."""
    travel = _believed(sense) * [2.0 / (ratio + 1.0), 2.0 / (1.0 / ratio + 1.0)]
    pose = np.zeros(3)
    for left, right in travel:
        twist = np.array([(left + right) / 2.0, 0.0, (right - left) / (base * _BASE_M)])
        pose = compose(pose, exponential(twist))
    return pose


def test_the_worked_example():
    ratio, base = _x_form(np.array([-0.050, 0.0, 0.0]), np.array([0.030, 0.0, 0.0]))
    assert ratio == pytest.approx(1.000425090, abs=1e-8)
    assert base == pytest.approx(1.000796408, abs=1e-8)
    assert 2.0 / (ratio + 1.0) == pytest.approx(0.999787500, abs=1e-8)
    assert 2.0 / (1.0 / ratio + 1.0) == pytest.approx(1.000212500, abs=1e-8)


def test_the_exact_ends_of_the_first_row():
    np.testing.assert_allclose(_true_end(-1.0, 1.001, 1.005), [-0.151988, -0.163065, -6.205124], atol=1e-6)
    np.testing.assert_allclose(_true_end(1.0, 1.001, 1.005), [0.031384, -0.030658, 6.298727], atol=1e-6)
    assert _y_form(_true_end(-1.0, 1.001, 1.005), _true_end(1.0, 1.001, 1.005)) == pytest.approx(
        (1.0010297, 1.0052962), abs=1e-6
    )


@pytest.mark.parametrize(("ratio", "base", "x_cw", "x_ccw", "ratio_by_x", "base_by_x"), ROWS)
def test_the_formulas_on_exact_squares(ratio, base, x_cw, x_ccw, ratio_by_x, base_by_x):
    cw, ccw = _true_end(-1.0, ratio, base), _true_end(1.0, ratio, base)
    assert (cw[0], ccw[0]) == pytest.approx((x_cw, x_ccw), abs=1e-6)
    assert _x_form(cw, ccw) == pytest.approx((ratio_by_x, base_by_x), abs=1e-6)


def _drive(sense: float, end: np.ndarray) -> Drive:
    travel = np.vstack([np.zeros((1, 3)), np.cumsum(np.column_stack([_believed(sense), np.zeros(8 * _STEPS)]), axis=0)])
    half = _BASE_M / 2.0
    wheels = tuple(
        Wheel(f"pods.{name}", ConstantKind.WHEEL_DIAMETER, lever, direction, 1e-4, 1e-12)
        for name, lever, direction in (("left", -half, 0.0), ("right", half, 0.0), ("cross", 0.0, np.pi / 2.0))
    )
    count = len(travel)
    time_s = 0.02 * np.arange(count)
    made = Wheels(
        time_s,
        travel,
        None,
        np.zeros(count, bool),
        wheels,
        np.abs(np.diff(travel, axis=0)),
        "gyro",
        np.zeros(count - 1),
    )
    std, alone, zero = np.full((1, 3), 1e-4), np.array([-1]), np.zeros(1, dtype=np.int64)
    nothing = Places(zero[:0], np.zeros((0, 3)), np.zeros((0, 3)), alone[:0], zero[:0])
    return Drive(
        session="square",
        wheels=made,
        knot_row=np.array([0, count - 1]),
        start=Places(zero, np.zeros((1, 3)), std, alone, zero),
        marks=Places(zero + 1, end[np.newaxis], std, alone, zero),
        truth=nothing,
        seen=None,
        legs=np.array([[0.0, time_s[-1]]]),
        drift_std_rad_s=1e-9,
    )


def _fitted(ratio: float, base: float) -> tuple[float, float]:
    """E_d and E_b by our least squares, from the ends of the same two squares."""
    constants = Constants(
        tuple(
            Constant(kind, f"pods.{name}", value)
            for name, lever in (("left", -_BASE_M / 2.0), ("right", _BASE_M / 2.0))
            for kind, value in ((ConstantKind.WHEEL_DIAMETER, 0.05), (ConstantKind.LEVER_ARM, lever))
        )
    )
    drives = tuple(_drive(sense, _true_end(sense, ratio, base)) for sense in (-1.0, 1.0))
    found = fit(Set(drives, constants, surveyed_places({})))
    left, left_lever, right, right_lever = found.guess.shifts
    mean = 1.0 + (left + right) / 2.0
    # closed squares tell no size: lever arms and diameters may all grow together
    return (1.0 + right) / (1.0 + left), (_BASE_M + right_lever - left_lever) / _BASE_M / mean


@pytest.mark.parametrize(("ratio", "base"), [(row[0], row[1]) for row in ROWS])
def test_least_squares_finds_the_truth_and_the_formulas_come_within_their_first_order_error(ratio, base):
    by_squares = _fitted(ratio, base)
    assert by_squares == pytest.approx((ratio, base), abs=3e-6)
    by_formula = _x_form(_true_end(-1.0, ratio, base), _true_end(1.0, ratio, base))
    for ours, theirs in zip(by_squares, by_formula, strict=True):
        # 6 % of the error, and what one error leaks into the other
        assert abs(ours - theirs) < 0.06 * abs(ours - 1.0) + 2e-4
