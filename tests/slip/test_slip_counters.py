"""Counters that fail for a while in a simulated drive."""

import dataclasses

import numpy as np
import pytest
from detection import AS_CALIBRATED, LAYOUTS, drive, recorded, robot_of

from locbench.odometry import logged_sensors, measure_motion
from locbench.slip.counters import counter_faults
from locbench.slip.kinds import SlipFault

ROBOT = robot_of(next(iter(LAYOUTS.values())))


@pytest.fixture(scope="module")
def log():
    generator = np.random.default_rng(12)
    return recorded(drive(1.0, generator), ROBOT, AS_CALIBRATED, generator, None)[0]


def _rows(log, name, fast=0.4):
    """Return the first row of a while of 0.4 s that begins and ends in a fast roll one way."""
    speed = np.gradient(log.travel_m[name], log.time_s)
    for row in range(300, len(speed) - 60, 10):
        part = speed[row - 4 : row + 44]
        if np.all(part > fast) or np.all(part < -fast):
            return row, row + 40
    raise AssertionError("the drive is too slow")


def _faults(log, name, change):
    first, last = _rows(log, name)
    step = np.diff(log.travel_m[name], prepend=log.travel_m[name][0])
    true = float(np.sum(step[first:last]))
    change(step, first, last)
    travel = {**log.travel_m, name: log.travel_m[name][0] + np.cumsum(step)}
    spoilt = dataclasses.replace(log, travel_m=travel)
    motion = measure_motion(spoilt, ROBOT)
    found = counter_faults(motion, logged_sensors(motion, spoilt, ROBOT))
    return found, float(log.time_s[first - 1]), float(log.time_s[last - 1]), true


def _stop(step, first, last):
    step[first:last] = 0.0


def _turn_round(step, first, last):
    step[first:last] *= -1.0


def _leap(step, first, _):
    step[first] += 0.05


def test_a_healthy_log_shows_nothing(log):
    motion = measure_motion(log, ROBOT)
    assert counter_faults(motion, logged_sensors(motion, log, ROBOT)) == []


@pytest.mark.parametrize("name", ["left", "cross"])
def test_a_counter_that_stops(log, name):
    (fault,), begin, end, true = _faults(log, name, _stop)
    assert fault.fault is SlipFault.STUCK
    assert ROBOT.pods[name].row == pytest.approx(logged_sensors_row(log, fault.sensor))
    assert fault.first_s == pytest.approx(begin, abs=0.02)
    assert fault.last_s == pytest.approx(end, abs=0.02)
    assert abs(fault.lacks - true) < max(3.0 * fault.std, 0.01)


def logged_sensors_row(log, sensor):
    motion = measure_motion(log, ROBOT)
    return logged_sensors(motion, log, ROBOT).layout.row[sensor]


@pytest.mark.parametrize("name", ["left", "cross"])
def test_a_counter_that_counts_backwards(log, name):
    (fault,), begin, end, true = _faults(log, name, _turn_round)
    assert fault.fault is SlipFault.REVERSED
    assert fault.first_s == pytest.approx(begin, abs=0.02)
    assert fault.last_s == pytest.approx(end, abs=0.02)
    assert fault.lacks == pytest.approx(2.0 * true, rel=0.05)


@pytest.mark.parametrize("name", ["left", "right", "cross"])
def test_a_counter_that_leaps(log, name):
    (fault,), begin, _, _ = _faults(log, name, _leap)
    assert fault.fault is SlipFault.JUMP
    assert fault.lacks == pytest.approx(-0.05, abs=0.002)
    assert fault.first_s == pytest.approx(begin, abs=0.02)


def test_a_logger_that_skips_a_row_is_no_counter(log):
    """All counters stand still for one row and catch up in the next."""
    first, _ = _rows(log, "left")
    travel = {name: values.copy() for name, values in log.travel_m.items()}
    for values in travel.values():
        values[first : first + 3] = values[first - 1]
    held = dataclasses.replace(log, travel_m=travel)
    motion = measure_motion(held, ROBOT)
    assert counter_faults(motion, logged_sensors(motion, held, ROBOT)) == []
