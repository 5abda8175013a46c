"""Which sensors check each other: layouts whose answers can be told by thinking."""

import numpy as np
import pytest
from detection import LAYOUTS, robot_of

from locbench.config.robot import SensorKind
from locbench.odometry import GYRO, layout_sensors
from locbench.slip.checkable import checkable, fault_directions, helpful_pod, parting_pod

FALSE_ALARM = 1e-5
TWO_AND_CROSS, THREE_AND_CROSS, TWO_CROSS = LAYOUTS.values()


def _checks(pods, *, gyro=True):
    return checkable(layout_sensors(robot_of(pods), gyro=gyro), FALSE_ALARM)


def _sets(checks):
    return {frozenset(checks.layout.name[one] for one in group) for group in checks.sets}


def test_two_pods_a_cross_pod_and_a_gyro():
    """A slip of left or right and a jump of the gyro look alike; one of the cross pod shows nowhere."""
    checks = _checks(TWO_AND_CROSS)
    assert checks.redundancy == 1
    assert _sets(checks) == {frozenset({"left", "right", GYRO})}
    assert dict(zip(checks.layout.name, checks.detectable.tolist(), strict=True)) == {
        "left": True,
        "right": True,
        "cross": False,
        GYRO: True,
    }


def test_a_third_forward_pod_tells_apart():
    checks = _checks(THREE_AND_CROSS)
    assert checks.redundancy == 2
    assert {frozenset({"left"}), frozenset({"middle"})} <= _sets(checks)
    assert not checks.detectable[checks.layout.name.index("cross")]


def test_a_second_cross_pod_shows_slips_of_the_first():
    checks = _checks(TWO_CROSS)
    assert checks.redundancy == 2
    assert _sets(checks) == {frozenset({"left", "right"}), frozenset({"cross", "cross_front"}), frozenset({GYRO})}


@pytest.mark.parametrize("gyro", [True, False])
def test_three_measurements_of_three_motions_check_nothing(gyro):
    pods = dict(list(TWO_AND_CROSS.items())[: 2 if gyro else 3])
    robot = robot_of(TWO_AND_CROSS).model_copy(update={"pods": {}})
    robot = robot.model_copy(update={"pods": {name: robot_of(TWO_AND_CROSS).pods[name] for name in pods}})
    layout = layout_sensors(robot, gyro=gyro)
    checks = checkable(layout, FALSE_ALARM)
    # left, right and gyro see two motions between them, and so contradict each other
    assert checks.redundancy == (1 if gyro else 0)
    assert bool(np.any(checks.detectable)) is gyro


def test_the_pod_that_would_help_is_found_by_trying():
    checks = _checks(TWO_AND_CROSS)
    names = checks.layout.name
    assert helpful_pod(checks, names.index("cross"), FALSE_ALARM)
    assert not helpful_pod(checks, names.index(GYRO), FALSE_ALARM)
    (group,) = checks.sets
    assert parting_pod(checks, group, FALSE_ALARM) == (names.index("left"), names.index("right"))


def test_least_slips_fall_with_redundancy():
    few, many = _checks(TWO_AND_CROSS), _checks(THREE_AND_CROSS)
    assert many.least[many.layout.name.index("left")] < few.least[few.layout.name.index("left")]
    assert few.least[few.layout.name.index("cross")] == np.inf


def test_fault_directions_are_what_a_reading_does_to_the_parity():
    checks = _checks(TWO_CROSS)
    motion = np.array([0.3, -0.1, 0.4])
    reading = checks.layout.row @ motion
    parity = fault_directions(checks)
    assert parity @ reading == pytest.approx(0.0, abs=1e-9)
    moved = reading + np.eye(len(reading))[1] * 0.01
    assert parity @ moved == pytest.approx(0.01 * parity[:, 1], abs=1e-9)


def test_driven_wheels_are_checked_and_check():
    pods = {name: dict(pod) for name, pod in TWO_AND_CROSS.items()}
    wheel = {**pods["cross"], "along_per_metre": "20 mm", "x": "120 mm"}
    robot = robot_of(pods)
    robot = type(robot).model_validate(
        {"name": "t", "heading_from": "gyro", "pods": pods, "gyro": {}, "drive_wheels": {"sideways": wheel}}
    )
    layout = layout_sensors(robot, gyro=True, drive_wheels=True)
    checks = checkable(layout, FALSE_ALARM)
    cross, driven = layout.name.index("cross"), layout.name.index("sideways")
    assert layout.kind[driven] is SensorKind.DRIVE_WHEEL
    # the noisy wheel shows nearly all of its own error and little of the pod's
    assert checks.reliability.redundancy[driven] > 0.9
    assert 0.0 < checks.reliability.redundancy[cross] < 0.1
    assert layout_sensors(robot, gyro=True, drive_wheels=False).name == ("left", "right", "cross", GYRO)
