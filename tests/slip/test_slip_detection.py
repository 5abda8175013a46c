"""Slips in simulated drives: the same drives as the proof's, only a few of them."""

import numpy as np
import pytest
from detection import AS_CALIBRATED, LAYOUTS, ROUGH, analysed, drive, recorded, robot_of, scores_of

from locbench.odometry import logged_sensors, measure_motion
from locbench.slip.alarms import FALSE_ALARMS_PER_MINUTE, false_alarm_of_a_while, limits
from locbench.slip.checkable import checkable
from locbench.slip.steps import parity_steps

A, B, C = LAYOUTS


@pytest.mark.parametrize("layout", LAYOUTS)
def test_slips_are_found_soon_and_named_or_reported_as_their_set(layout):
    with_slips, without = scores_of(layout, AS_CALIBRATED, 2, 2.0, 31)
    assert with_slips.slips >= 25
    assert with_slips.in_time >= 0.95 * with_slips.slips
    assert with_slips.named >= 0.95 * with_slips.isolable
    assert with_slips.as_set == with_slips.grouped
    assert with_slips.as_one == 0
    assert without.alarms == 0
    assert float(np.median(np.abs(with_slips.size_errors))) < 0.001


def test_a_late_gyro_and_noisy_pods_raise_no_alarms():
    worst = next(one for one in ROUGH if one.lag_s == 0.020 and one.along_per_metre_m == 0.003)
    with_slips, without = scores_of(A, worst, 1, 4.0, 31)
    assert with_slips.in_time >= 0.9 * with_slips.slips
    assert without.alarms <= 1


def _steps(layout, conditions, seed=5):
    robot = robot_of(LAYOUTS[layout])
    generator = np.random.default_rng(seed)
    log, _ = recorded(drive(1.0, generator), robot, conditions, generator, None)
    return analysed(log, robot)[1]


def test_the_log_says_how_noisy_it_is():
    assert _steps(A, AS_CALIBRATED).noise_factor < 1.5
    noisy = next(one for one in ROUGH if one.along_per_metre_m == 0.003 and one.lag_s < 0.002)
    assert _steps(A, noisy).noise_factor == pytest.approx(3.0, rel=0.2)


def test_a_worn_wheel_is_taken_off_and_told():
    robot = robot_of(LAYOUTS[A])
    generator = np.random.default_rng(6)
    log, _ = recorded(drive(1.0, generator), robot, AS_CALIBRATED, generator, None)
    worn = {name: travel * (1.02 if name == "left" else 1.0) for name, travel in log.travel_m.items()}
    worn_log = type(log)(log.time_s, worn, log.heading_rad, log.flagged)
    _, steps, found = analysed(worn_log, robot)
    assert found == []
    assert steps.steady_share == pytest.approx(0.02, abs=0.003)


def test_the_drift_of_the_gyro_is_kept_apart():
    robot = robot_of(LAYOUTS[A])
    generator = np.random.default_rng(7)
    log, _ = recorded(drive(1.0, generator), robot, AS_CALIBRATED, generator, None)
    drifting = type(log)(log.time_s, log.travel_m, log.heading_rad + 0.004 * log.time_s, log.flagged)
    _, steps, found = analysed(drifting, robot)
    assert found == []
    drift, std = steps.gyro_drift
    # the prior holds a drift that large for unlikely, so part of it is left
    assert 0.0 < drift < 0.004 + 3.0 * std


def test_flagged_steps_are_left_out():
    robot = robot_of(LAYOUTS[A])
    generator = np.random.default_rng(8)
    log, planned = recorded(drive(0.5, generator), robot, AS_CALIBRATED, generator, ["left"])
    first = planned[0]
    flagged = (log.time_s > first.begin_s - 0.3) & (log.time_s < first.end_s + 0.3)
    _, steps, found = analysed(type(log)(log.time_s, log.travel_m, log.heading_rad, flagged), robot)
    inside = [one for one in found if steps.time_s[one.first] < first.end_s and steps.time_s[one.last] > first.begin_s]
    assert inside == []


def test_a_jump_in_a_flagged_row_is_no_slip():
    robot = robot_of(LAYOUTS[A])
    generator = np.random.default_rng(10)
    log, _ = recorded(drive(0.5, generator), robot, AS_CALIBRATED, generator, None)
    row = len(log.time_s) // 2
    travel = {name: values.copy() for name, values in log.travel_m.items()}
    travel["left"][row:] += 3.0
    flagged = np.arange(len(log.time_s)) == row
    assert analysed(type(log)(log.time_s, travel, log.heading_rad, flagged), robot)[2] == []


def test_a_short_log_says_nothing():
    robot = robot_of(LAYOUTS[A])
    generator = np.random.default_rng(9)
    log, _ = recorded(drive(0.5, generator), robot, AS_CALIBRATED, generator, None)
    short = type(log)(
        log.time_s[:100],
        {name: travel[:100] for name, travel in log.travel_m.items()},
        log.heading_rad[:100],
        log.flagged[:100],
    )
    motion = measure_motion(short, robot)
    sensors = logged_sensors(motion, short, robot)
    checks = checkable(sensors.layout, false_alarm_of_a_while(FALSE_ALARMS_PER_MINUTE))
    assert parity_steps(motion, sensors, checks) is None


def test_rarer_false_alarms_need_more():
    often, seldom = limits(1.0, 1, 1), limits(0.01, 1, 1)
    assert often.squared < seldom.squared
    assert often.summed < seldom.summed
