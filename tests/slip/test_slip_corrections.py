"""Slips told by corrections: effects against finite differences, sizes against what was put in."""

import dataclasses

import numpy as np
import pytest
from builders import START, detections, fusion, motion, sightings

from locbench.config import MotionNoise, RobotConfig
from locbench.geometry import compose, exponential
from locbench.odometry import Motion, MotionSensors, dead_reckon, layout_sensors, sensor_response
from locbench.odometry.increments import pod_twists
from locbench.slip.by_corrections import PoseChecks, Reach, narrowed, slips_by_corrections
from locbench.slip.corrections import checked, noise_by_sensors, told_by
from locbench.slip.effects import constant_effects, freed, slip_effect
from locbench.slip.events import Candidate
from locbench.slip.pose_fixes import PoseFix, tag_fixes
from locbench.vision import pose_measurement

NOISE = MotionNoise()
ROBOT = RobotConfig.model_validate(
    {
        "name": "t",
        "heading_from": "gyro",
        "gyro": {},
        "pods": {
            name: {
                "x": x,
                "y": y,
                "rolling_direction": direction,
                "wheel_diameter": "50 mm",
                "counts_per_revolution": 4096,
            }
            for name, x, y, direction in (
                ("left", "0 mm", "120 mm", "0 deg"),
                ("right", "0 mm", "-120 mm", "0 deg"),
                ("cross", "-100 mm", "0 mm", "90 deg"),
            )
        },
    }
)
LAYOUT = layout_sensors(ROBOT, gyro=True)
RESPONSE = sensor_response(ROBOT, LAYOUT)
CROSS, GYRO = LAYOUT.name.index("cross"), LAYOUT.name.index("gyro")
REACH = Reach(3.0, 4)


def _drive(rows=600):
    return motion(rows=rows, period_s=0.05, seed=4)


def _fixes(drive, every=12, std=(0.01, 0.01, 0.01), seed=None):
    """Fixes of the true pose, exact or noisy, evenly spread."""
    poses = dead_reckon(drive, START.pose)
    rng = np.random.default_rng(seed)
    fixes = []
    for row in range(every, len(poses), every):
        noise = np.zeros(3) if seed is None else rng.normal(scale=std)
        fixes.append(PoseFix(float(drive.time_s[row]), pose_measurement(poses[row] + noise, np.diag(np.square(std)))))
    return fixes


def _with_twist(drive, row, twist):
    changed = drive.twist.copy()
    changed[row] = changed[row] + twist
    return Motion.from_increments(drive.time_s, changed, drive.flagged)


def _sensors(drive):
    return MotionSensors(LAYOUT, drive.time_s, np.cumsum(drive.twist @ LAYOUT.row.T, axis=0))


@pytest.mark.parametrize("sensor", [0, CROSS, GYRO])
def test_the_effect_of_a_slip_is_the_difference_it_makes(sensor):
    drive, fixes, size = _drive(), _fixes(_drive()), 1e-4
    plain = checked(drive, START, fixes, NOISE)
    row = 201
    slipped = checked(_with_twist(drive, row, size * RESPONSE[sensor]), START, fixes, NOISE)
    effect = slip_effect(plain, float(drive.time_s[row]), RESPONSE[sensor])
    difference = (slipped.innovation - plain.innovation) / size
    assert np.max(np.abs(difference)) > 0.1
    # a slip within a step acts at its end here, and half-way through there
    whole = np.zeros_like(difference)
    whole[effect.rows] = effect.seen
    assert whole == pytest.approx(difference, abs=0.03)


@pytest.mark.parametrize("sensor", [0, CROSS, GYRO])
def test_the_effect_of_a_constant_is_the_difference_it_makes(sensor):
    drive, share = _drive(), 1e-4
    fixes = _fixes(drive)
    sensors = _sensors(drive)
    step = np.diff(sensors.reading[:, sensor], prepend=sensors.reading[0, sensor])
    wrong = Motion.from_increments(
        drive.time_s, drive.twist + share * step[:, np.newaxis] * RESPONSE[sensor], drive.flagged
    )
    plain, other = checked(drive, START, fixes, NOISE), checked(wrong, START, fixes, NOISE)
    effects = constant_effects(plain, sensors, RESPONSE)
    difference = (other.innovation - plain.innovation) / share
    assert np.max(np.abs(difference)) > 0.1
    assert effects.seen[..., sensor] == pytest.approx(difference, abs=0.03)


def test_drift_is_the_last_of_the_constants():
    drive = _drive()
    fixes = _fixes(drive)
    wrong = Motion.from_increments(
        drive.time_s, drive.twist + 1e-4 * drive.duration_s[:, np.newaxis] * RESPONSE[GYRO], drive.flagged
    )
    plain, other = checked(drive, START, fixes, NOISE), checked(wrong, START, fixes, NOISE)
    seen = constant_effects(plain, _sensors(drive), RESPONSE).seen[..., -1]
    assert seen == pytest.approx((other.innovation - plain.innovation) / 1e-4, abs=0.03)


def test_what_was_put_in_comes_out():
    drive, size = _drive(), 0.05
    fixes = _fixes(drive)
    # between two fixes
    row = 303
    wrong = _with_twist(drive, row, -size * RESPONSE[CROSS])
    checks = checked(wrong, START, fixes, NOISE)
    told = told_by(checks, np.array([drive.time_s[row]]), RESPONSE[[CROSS]], REACH)
    assert told.fixes[0] >= 4
    # the sensor read too little, so too much is negative
    assert told.size[0] == pytest.approx(-size, rel=0.02)
    # that size is the likeliest one
    best = told.favour(told.size)
    assert best > told.favour(1.1 * told.size)
    assert best > told.favour(0.9 * told.size)
    assert 2.0 * best == pytest.approx(told.squared)


def test_a_slip_that_no_sensor_contradicts_is_found_and_named():
    drive, size = _drive(), 0.08
    fixes = _fixes(drive, every=4, seed=3)
    wrong = _with_twist(drive, 300, -size * RESPONSE[CROSS])
    sensors = _sensors(drive)
    pose = PoseChecks.of(checked(wrong, START, fixes, NOISE), REACH, 3, sensors, RESPONSE)
    (slip,) = slips_by_corrections(pose, 0.05)
    (candidate,) = slip.candidates
    assert candidate.sensor == CROSS
    assert abs(candidate.lacks - size) < 4.0 * candidate.std
    assert slip.since_s <= drive.time_s[300] <= slip.found_s
    assert slip.first_s - 0.2 <= drive.time_s[300] <= slip.last_s + 0.2
    assert slip.confidence > 0.99


def test_a_drive_without_slips_shows_none():
    drive = _drive()
    for seed in range(5):
        fixes = _fixes(drive, every=4, seed=seed)
        pose = PoseChecks.of(checked(drive, START, fixes, NOISE), REACH, 3, _sensors(drive), RESPONSE)
        assert slips_by_corrections(pose, 0.05) == []


def test_one_wrong_fix_is_no_slip():
    drive = _drive()
    fixes = _fixes(drive, every=4, seed=1)
    wrong = fixes[60].measurement
    fixes[60] = PoseFix(fixes[60].time_s, dataclasses.replace(wrong, value=wrong.value + np.array([0.1, 0.05, 0.0])))
    pose = PoseChecks.of(checked(drive, START, fixes, NOISE), REACH, 3, _sensors(drive), RESPONSE)
    assert slips_by_corrections(pose, 0.05) == []


def test_a_worn_wheel_is_no_slip():
    drive = _drive()
    fixes = _fixes(drive, every=4, seed=1)
    sensors = _sensors(drive)
    step = np.diff(sensors.reading[:, 0], prepend=sensors.reading[0, 0])
    worn = Motion.from_increments(drive.time_s, drive.twist - 0.02 * step[:, np.newaxis] * RESPONSE[0], drive.flagged)
    pose = PoseChecks.of(checked(worn, START, fixes, NOISE), REACH, 3, sensors, RESPONSE)
    assert slips_by_corrections(pose, 0.05) == []
    left = freed(pose.checks, pose.constants, []).innovation
    assert np.sum(left**2) < np.sum(pose.checks.innovation**2)


def test_tags_decide_between_sensors_that_contradict_each_other_alike():
    drive, size = _drive(), 0.06
    fixes = _fixes(drive, every=4, seed=2)
    wrong = _with_twist(drive, 300, -size * RESPONSE[0])
    pose = PoseChecks.of(checked(wrong, START, fixes, NOISE), REACH, 3, _sensors(drive), RESPONSE)
    left, right = 0, 1
    candidates = [
        Candidate(left, size, 0.002, 1 / 3),
        Candidate(right, -size, 0.002, 1 / 3),
        Candidate(GYRO, size / 0.24, 0.01, 1 / 3),
    ]
    kept = narrowed(candidates, float(drive.time_s[300]), pose, [])
    assert [one.sensor for one in kept] == [left]
    assert kept[0].lacks == size
    # what fits in sense but not in size is no explanation
    swollen = [dataclasses.replace(one, lacks=6.0 * one.lacks) for one in candidates]
    assert narrowed(swollen, float(drive.time_s[300]), pose, []) is None


def test_one_candidate_and_no_fixes_leave_nothing_to_decide():
    drive = _drive(100)
    pose = PoseChecks.of(checked(drive, START, [], NOISE), REACH, 3, _sensors(drive), RESPONSE)
    assert slips_by_corrections(pose, 0.05) == []
    assert narrowed([Candidate(0, 0.1, 0.01, 1.0)], 1.0, pose, []) is None
    believed = pose.checks.believed(drive.time_s)
    assert believed == pytest.approx(dead_reckon(drive, START.pose), abs=1e-9)


def test_flipped_fixes_are_left_out_and_a_step_is_not():
    drive = motion(rows=400, period_s=0.05, seed=4)
    truth = dead_reckon(drive, np.array([1.0, 2.0, 0.3]))
    seen = _robot_poses(drive, truth)
    value = seen.detections.value.copy()
    flipped = np.arange(5, len(value), 9)
    value[flipped, 2] += 0.6
    # from the middle on the fixes lie elsewhere: odometry slipped
    value[len(value) // 2 :, 0] += 0.3
    spoilt = dataclasses.replace(seen, detections=dataclasses.replace(seen.detections, value=value), fix=value.copy())
    kept = {fix.time_s for fix in tag_fixes(spoilt, drive)}
    times = spoilt.detections.captured_s
    assert not kept & set(times[flipped].tolist())
    right = np.setdiff1d(np.arange(len(value)), flipped)
    assert len(kept & set(times[right].tolist())) >= 0.95 * len(right)


def _robot_poses(drive, truth):
    """Fixes ten times a second with noise of 1 mm and 1 mrad."""
    rng = np.random.default_rng(2)
    rows = np.arange(4, len(truth) - 4, 2)
    made = sightings(detections(drive, truth, count=len(rows)), fusion())
    value = truth[rows] + rng.normal(scale=[0.001, 0.001, 0.001], size=(len(rows), 3))
    covariance = np.tile(np.diag([1e-6, 1e-6, 1e-6]), (len(rows), 1, 1))
    found = dataclasses.replace(
        made.detections, captured_s=drive.time_s[rows], arrived_s=drive.time_s[rows], value=value
    )
    return dataclasses.replace(made, detections=found, fix=value, fix_covariance=covariance, covariance=covariance)


def test_the_response_is_the_derivative_of_the_estimator():
    reading = np.array([0.010, 0.012, 0.004, 0.01])
    step = 1e-6
    exact = np.array([_twist(reading + step * unit) - _twist(reading) for unit in np.eye(4)]) / step
    assert exact == pytest.approx(RESPONSE, abs=1e-6)


def _twist(reading):
    rows = LAYOUT.row[:3]
    return pod_twists(rows, reading[np.newaxis, :3], np.ones((1, 3)), "gyro", reading[3:], np.ones(1))[0]


def test_noise_is_at_least_that_of_the_sensors():
    keys = ("along_per_metre", "across_per_metre", "heading_per_metre", "heading_per_turn")
    quiet = NOISE.model_copy(update=dict.fromkeys(keys, 0.0))
    narrow = ROBOT.model_copy(update={"heading_from": "pods"})
    response = sensor_response(narrow, LAYOUT)
    noise = noise_by_sensors(quiet, LAYOUT, response, 1.0)
    # two pods of 1 mm after 1 m, 240 mm apart
    assert noise.heading_per_metre == pytest.approx(np.sqrt(2.0) * 0.001 / 0.24)
    assert noise.along_per_metre == pytest.approx(0.001 / np.sqrt(2.0))
    # each rolls along a circle of 120 mm, and the cross pod has no part in the heading
    assert noise.heading_per_turn == pytest.approx(np.sqrt(2.0 * 2.0 * np.pi * 0.12) * 0.001 / 0.24)
    assert noise_by_sensors(quiet, LAYOUT, response, 3.0).heading_per_metre == pytest.approx(
        3.0 * noise.heading_per_metre
    )
    # a file that says more is believed, and a gyro takes the heading off the pods
    assert noise_by_sensors(NOISE, LAYOUT, RESPONSE, 1.0) == NOISE


def test_poses_are_carried_on():
    drive = _drive(200)
    fixes = _fixes(drive, every=50)
    checks = checked(drive, START, fixes, NOISE)
    row = 120
    last = int(np.searchsorted(checks.time_s, drive.time_s[row], side="right")) - 1
    here = checks.after[last]
    for twist in drive.twist[int(np.searchsorted(drive.time_s, checks.time_s[last])) + 1 : row + 1]:
        here = compose(here, exponential(twist))
    assert checks.believed(drive.time_s[[row]])[0] == pytest.approx(here, abs=1e-9)
