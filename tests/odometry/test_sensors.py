"""The sensors of body motion that a robot and its log have."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logs import SmallLog

from locbench.config import RobotConfig
from locbench.config.robot import SensorKind
from locbench.odometry import GYRO, layout_sensors, logged_sensors, measure_motion, sensor_response
from locbench.session import read_session

WHEEL = {"wheel_diameter": "50 mm", "counts_per_revolution": 1000}


def _robot(**more):
    pods = {
        "left": {**WHEEL, "x": "0 mm", "y": "100 mm"},
        "right": {**WHEEL, "x": "0 mm", "y": "-100 mm", "along_per_metre": "2 mm"},
        "cross": {**WHEEL, "x": "-80 mm", "y": "0 mm", "rolling_direction": "90 deg"},
    }
    return RobotConfig.model_validate({"name": "t", "gyro": {}, "pods": pods, **more})


DRIVEN = {"front": {**WHEEL, "x": "100 mm", "y": "0 mm"}}


def test_pods_come_first_then_driven_wheels_then_the_gyro():
    layout = layout_sensors(_robot(drive_wheels=DRIVEN), gyro=True)
    assert layout.name == ("left", "right", "cross", "front", GYRO)
    assert layout.kind[3] is SensorKind.DRIVE_WHEEL
    assert layout.turns.tolist() == [False] * 4 + [True]
    assert layout.redundancy == 2
    # a driven wheel is trusted less, unless the file says otherwise
    assert layout.per_travel[3] == pytest.approx(0.020**2)


def test_a_pod_called_gyro_keeps_its_name():
    robot = _robot()
    pods = {**robot.pods, GYRO: robot.pods["left"]}
    names = layout_sensors(robot.model_copy(update={"pods": pods}), gyro=True).name
    assert len(set(names)) == len(names)


@given(st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=3), st.floats(0.0, 10.0))
def test_variance_grows_with_travel_and_time(motion, duration):
    layout = layout_sensors(_robot(), gyro=True)
    travel = layout.row @ np.array(motion)
    once = layout.variance(travel, np.array(duration)) - layout.of_ends
    twice = layout.variance(2.0 * travel, np.array(2.0 * duration)) - layout.of_ends
    assert twice == pytest.approx(2.0 * once)
    assert np.all(once >= 0.0)


def test_driven_wheels_do_nothing_to_the_pose():
    robot = _robot(drive_wheels=DRIVEN)
    response = sensor_response(robot, layout_sensors(robot, gyro=True))
    assert response[3].tolist() == [0.0, 0.0, 0.0]
    # the heading comes from the gyro: pods do not turn it
    assert response[:3, 2].tolist() == [0.0, 0.0, 0.0]
    assert response[4, 2] == pytest.approx(1.0)


def test_readings_are_those_of_the_log_and_fit_its_motion(tmp_path):
    session = read_session(SmallLog(tmp_path).write())
    motion = measure_motion(session.odometry, session.robot)
    sensors = logged_sensors(motion, session.odometry, session.robot)
    assert sensors.layout.name == ("left", "right", "cross", GYRO)
    steps = np.diff(sensors.reading, axis=0)
    # two counts of rounding
    assert steps == pytest.approx(motion.twist[1:] @ sensors.layout.row.T, abs=5e-5)


def test_driven_wheels_of_the_log_are_read_too(tmp_path):
    session = read_session(SmallLog(tmp_path).write())
    log = session.odometry
    robot = session.robot.model_copy(update={"drive_wheels": {"front": session.robot.pods["left"]}})
    driven = dataclasses.replace(log, drive_travel_m={"front": log.travel_m["left"]})
    motion = measure_motion(driven, robot)
    sensors = logged_sensors(motion, driven, robot)
    assert sensors.layout.name == ("left", "right", "cross", "front", GYRO)
    assert sensors.reading[:, 3] == pytest.approx(sensors.reading[:, 0])
    # the pose is computed without them
    assert motion.twist == pytest.approx(measure_motion(log, session.robot).twist)
