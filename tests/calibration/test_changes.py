"""The keys of a user's files that a calibration changes: the edited robot has the calibrated constants."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.calibration.changes import robot_edits, session_edits
from locbench.calibration.constants import Constant, ConstantKind
from locbench.calibration.determining import Estimate
from locbench.config import RobotConfig, SessionConfig, load_config
from locbench.config.edits import Quantity
from locbench.geometry import wrap_angle

ROOT = Path(__file__).parents[2]
ROBOT = load_config(ROOT / "configs" / "robot_three_pods.toml", RobotConfig)
SESSION = load_config(ROOT / "logs_demo" / "orchard_healthy" / "session.toml", SessionConfig)


def _estimate(kind, of, nominal, shift, std=1e-4, determined=True):
    return Estimate(Constant(kind, of, nominal), shift, std, determined)


def _values(edits):
    return {edit.path: edit.value.si if isinstance(edit.value, Quantity) else edit.value for edit in edits}


@given(
    direction=st.floats(-3.1, 3.1),
    turned=st.floats(-0.1, 0.1),
    moved=st.floats(-0.02, 0.02),
    x=st.floats(-0.2, 0.2),
    y=st.floats(-0.2, 0.2),
)
def test_the_edited_pod_has_the_lever_arm_and_direction_found(direction, turned, moved, x, y):
    pod = ROBOT.pods["left"].model_copy(update={"x": x, "y": y, "rolling_direction": direction})
    robot = ROBOT.model_copy(update={"pods": {"left": pod}})
    lever = float(pod.row[2])
    edits = robot_edits(
        [
            _estimate(ConstantKind.ROLLING_DIRECTION, "pods.left", direction, turned),
            _estimate(ConstantKind.LEVER_ARM, "pods.left", lever, moved),
        ],
        robot,
    )
    changed = {path[2]: value for path, value in _values(edits).items()}
    edited = pod.model_copy(update=changed)
    assert abs(wrap_angle(edited.rolling_direction - direction - turned)) < 1e-12
    # changes of less than 0.01 mm are not written
    assert edited.row[2] == pytest.approx(lever + moved, abs=1.5e-5)
    # the other coordinate cannot be seen, and stays
    assert edited.x == x or edited.y == y


def test_a_direction_alone_keeps_the_lever_arm():
    pod = ROBOT.pods["left"]
    edits = robot_edits([_estimate(ConstantKind.ROLLING_DIRECTION, "pods.left", 0.0, 0.05)], ROBOT)
    edited = pod.model_copy(update={path[2]: value for path, value in _values(edits).items()})
    assert edited.row[2] == pytest.approx(float(pod.row[2]), abs=1e-5)


def test_what_is_not_determined_is_not_written():
    estimates = [
        _estimate(ConstantKind.WHEEL_DIAMETER, "pods.left", 0.05, 0.0, determined=False),
        _estimate(ConstantKind.TURN_SCALE, "gyro", 1.0, 0.0, determined=False),
        _estimate(ConstantKind.GYRO_LAG, "gyro", 0.0, 0.0, determined=False),
    ]
    assert robot_edits(estimates, ROBOT) == ()
    assert session_edits(estimates, SESSION) == ()


def test_relative_shifts_become_diameters_and_scales():
    edits = robot_edits(
        [
            _estimate(ConstantKind.WHEEL_DIAMETER, "pods.right", 0.05, 0.006),
            _estimate(ConstantKind.TURN_SCALE, "gyro", 1.0, -0.005),
            _estimate(ConstantKind.MOUNT_YAW, "cameras.front", 0.0, 0.02),
        ],
        ROBOT,
    )
    values = _values(edits)
    assert values["pods", "right", "wheel_diameter"] == pytest.approx(0.0503)
    assert values["gyro", "scale"] == pytest.approx(0.995)
    assert values["cameras", "front", "yaw"] == pytest.approx(ROBOT.cameras["front"].yaw + 0.02)


@pytest.mark.parametrize(("shift", "count"), [(0.0015, 0), (0.0025, 1), (-0.0025, 1)])
def test_clocks_are_left_alone_unless_surely_off(shift, count):
    edits = session_edits([_estimate(ConstantKind.LATENCY, "cameras.front", 0.0, shift, std=0.001)], SESSION)
    assert len(edits) == count
    if edits:
        (value,) = _values(edits).values()
        assert SESSION.tags is not None
        # stamps that are late by so much are moved back
        assert value == pytest.approx(SESSION.tags.offset - shift)
        assert np.isfinite(value)
