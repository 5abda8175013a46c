"""The sensors of body motion that a robot and its log have."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logs import SmallLog

from locbench.config import RobotConfig
from locbench.config.robot import SensorKind
from locbench.odometry import GYRO, Motion, layout_sensors, logged_sensors, measure_motion, sensor_response
from locbench.session import PodTravel, read_session

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


PLACES = st.tuples(st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-3.1, 3.1))
STEPS = st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1), st.floats(-0.5, 0.5))


def _anywhere(places):
    """The robot with driven wheels at places (x, y, direction) in metres and radians."""
    wheels = {
        f"wheel {number}": {**WHEEL, "x": f"{x:.12f} m", "y": f"{y:.12f} m", "rolling_direction": f"{turn:.12f} rad"}
        for number, (x, y, turn) in enumerate(places)
    }
    return _robot(drive_wheels=wheels)


def _rolled(wheel, twist):
    """The part along the rolling direction of how a point of the body moves, from its velocity about the centre."""
    forward = twist[:, 0] - wheel.y * twist[:, 2]
    left = twist[:, 1] + wheel.x * twist[:, 2]
    return np.cumsum(forward * np.cos(wheel.rolling_direction) + left * np.sin(wheel.rolling_direction))


@given(st.lists(PLACES, min_size=1, max_size=4), st.lists(STEPS, min_size=2, max_size=6), st.booleans())
def test_readings_made_from_any_motion_of_the_body_fit_the_rows(places, steps, gyro):
    robot, twist = _anywhere(places), np.array([(0.0, 0.0, 0.0), *steps])
    times = np.arange(len(twist)) * 0.02
    log = PodTravel(
        time_s=times,
        travel_m={name: _rolled(pod, twist) for name, pod in robot.pods.items()},
        heading_rad=np.cumsum(twist[:, 2]) if gyro else None,
        flagged=np.zeros(len(twist), dtype=bool),
        drive_travel_m={name: _rolled(wheel, twist) for name, wheel in robot.drive_wheels.items()},
    )
    sensors = logged_sensors(Motion.from_increments(times, twist, log.flagged), log, robot)
    kinds = [SensorKind.POD] * 3 + [SensorKind.DRIVE_WHEEL] * len(places) + [SensorKind.GYRO] * gyro
    assert sensors.layout.kind == tuple(kinds)
    np.testing.assert_allclose(np.diff(sensors.reading, axis=0), twist[1:] @ sensors.layout.row.T, atol=1e-9)
    # whatever more than three measurements say, no motion contradicts them
    left, singular, _ = np.linalg.svd(sensors.layout.row)
    assert np.min(singular) > 1e-3
    assert sensors.layout.redundancy == len(kinds) - 3
    np.testing.assert_allclose(np.diff(sensors.reading, axis=0) @ left[:, 3:], 0.0, atol=1e-9)


def test_of_rows_with_one_time_the_last_reading_holds():
    robot = _robot(drive_wheels=DRIVEN)
    times, reading = np.array([0.0, 0.1, 0.1, 0.1, 0.2]), np.array([0.0, 1.0, 2.0, 3.0, 4.0])
    travel = {name: reading + number for number, name in enumerate(robot.pods)}
    log = PodTravel(times, travel, 0.1 * reading, np.zeros(5, dtype=bool), {"front": 10.0 + reading})
    sensors = logged_sensors(Motion.from_increments(times, np.zeros((5, 3)), log.flagged), log, robot)
    np.testing.assert_array_equal(sensors.time_s, [0.0, 0.1, 0.2])
    np.testing.assert_allclose(sensors.reading[1], [3.0, 4.0, 5.0, 13.0, 0.3])


def test_what_a_log_lacks_is_no_sensor():
    robot = _robot(drive_wheels=DRIVEN)
    pods = ("left", "right", "cross")
    assert layout_sensors(robot, gyro=False, drive_wheels=False).name == pods
    assert layout_sensors(robot, gyro=False).name == (*pods, "front")
    without = robot.model_copy(update={"gyro": None, "heading_from": "pods"})
    assert layout_sensors(without, gyro=True, drive_wheels=False).name == pods
    nothing = layout_sensors(without.model_copy(update={"pods": {}, "drive_wheels": {}}), gyro=True)
    assert (len(nothing), nothing.redundancy, nothing.row.shape) == (0, 0, (0, 3))


def test_variance_is_the_files_noise_and_the_rounding_of_both_ends():
    robot = _robot(drive_wheels=DRIVEN, gyro={"heading_per_minute": "0.6 deg"})
    layout = layout_sensors(robot, gyro=True)
    # right: 2 mm after a metre; front: 20 mm; over four metres twice that; the gyro over a quarter of a minute
    variance = layout.variance(np.full(5, -4.0), np.array(15.0))
    count = np.pi * 0.050 / 1000
    expected = [0.002**2, 0.004**2, 0.002**2, 0.040**2]
    np.testing.assert_allclose(variance[:4], np.array(expected) + count**2 / 6.0, rtol=1e-12)
    assert np.sqrt(variance[4]) == pytest.approx(np.radians(0.3))
    several = layout.variance(np.zeros((7, 5)), np.arange(7.0))
    np.testing.assert_allclose(several[:, :4], np.tile(count**2 / 6.0, (7, 4)))
