"""Slips, lifted pods and shoves are suspected; healthy, worn and roughly logged drives are not."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from naive import naive_contradictions, naive_jumps
from plaza import write_plaza

from locbench.config import FieldConfig, RobotConfig, ScenarioConfig, load_config
from locbench.config.robot import DriveWheel
from locbench.config.scenario import TrueGeometry
from locbench.geometry import rolling_row
from locbench.odometry import Motion, dead_reckon, measure_motion
from locbench.session import BodyVelocities, PodTravel, PoseTrack, Session, read_session
from locbench.session.writer import SourceFiles, write_session
from locbench.simulation import record_run

CONFIGS = Path(__file__).parents[2] / "configs"
ROBOT = load_config(CONFIGS / "robot_three_pods.toml", RobotConfig)


def _scenario(name):
    scenario = load_config(CONFIGS / f"scenario_{name}.toml", ScenarioConfig)
    return scenario.model_copy(update={"camera": None, "fusion": (), "shooter": None})


def _driven(folder, scenario, seed) -> Session:
    files = SourceFiles(CONFIGS / scenario.robot, CONFIGS / scenario.field)
    field = load_config(CONFIGS / scenario.field, FieldConfig)
    write_session(folder / "log", record_run(scenario, ROBOT, field, files, seed, "scenario").record)
    return read_session(folder / "log")


@pytest.fixture(scope="module")
def healthy(tmp_path_factory) -> Session:
    return _driven(tmp_path_factory.mktemp("healthy"), _scenario("healthy"), 11)


def _suspect_s(motion):
    return float(np.sum(motion.duration_s[motion.suspect]))


def _losing(log, pod, begin_s, end_s, kept):
    """The log with a pod that keeps that share of its travel for a while."""
    steps = np.diff(log.travel_m[pod], prepend=log.travel_m[pod][0])
    steps[(log.time_s > begin_s) & (log.time_s <= end_s)] *= kept
    return replace(log, travel_m={**log.travel_m, pod: np.cumsum(steps)})


def _fastest_s(motion):
    """The middle of the longest drive at speed, found by the most travel within a second."""
    way = motion.path_length_m
    return float(motion.time_s[np.argmax(np.interp(motion.time_s + 1.0, motion.time_s, way) - way)] + 0.5)


def test_a_healthy_drive_is_not_suspected(healthy):
    assert _suspect_s(measure_motion(healthy.odometry, healthy.robot)) == 0.0


@pytest.mark.parametrize("diameter", ["49 mm", "51 mm", "47.5 mm"])
def test_worn_wheels_are_not_slips(tmp_path, diameter):
    scenario = _scenario("healthy")
    worn = TrueGeometry.model_validate({"pods": {"left": {"wheel_diameter": diameter}}})
    log = _driven(tmp_path, scenario.model_copy(update={"truth": worn}), 12)
    assert _suspect_s(measure_motion(log.odometry, log.robot)) == 0.0


def test_shoves_and_the_slip_of_a_redundant_pod_are_met_at_their_times(tmp_path):
    """The cross pod alone measures sideways motion, so nothing contradicts its slip."""
    scenario = _scenario("shoved")
    log = _driven(tmp_path, scenario, 13)
    motion = measure_motion(log.odometry, log.robot)
    happened = [(shove.start, shove.start + shove.contact) for shove in scenario.shoves]
    happened += [(slip.start, slip.start + slip.duration) for slip in scenario.slips if slip.pod == "left"]
    near = np.zeros(len(motion.time_s), dtype=bool)
    for begin, end in happened:
        inside = (motion.time_s > begin) & (motion.time_s <= end)
        assert np.mean(motion.suspect[inside]) > 0.3
        near |= (motion.time_s > begin - 0.15) & (motion.time_s < end + 0.15)
    assert not np.any(motion.suspect & ~near)


def test_a_lifted_pod_is_met(healthy):
    whole = measure_motion(healthy.odometry, healthy.robot)
    begin = _fastest_s(whole) - 0.3
    lifted = measure_motion(_losing(healthy.odometry, "right", begin, begin + 0.6, 0.0), healthy.robot)
    inside = (whole.time_s > begin) & (whole.time_s <= begin + 0.6)
    assert np.all(lifted.suspect[inside])
    assert not np.any(lifted.suspect[(whole.time_s < begin - 0.15) | (whole.time_s > begin + 0.75)])


def test_a_pod_that_never_turns_is_no_worn_wheel(healthy):
    motion = measure_motion(_losing(healthy.odometry, "left", -1.0, 1e9, 0.0), healthy.robot)
    driving = np.hypot(motion.twist[:, 0], motion.twist[:, 1]) > 0.3 * motion.duration_s
    assert np.mean(motion.suspect[driving]) > 0.8


def test_without_redundancy_only_jumps_are_seen(healthy):
    log = _losing(healthy.odometry, "left", 20.0, 60.0, 0.8)
    robot = healthy.robot.model_copy(update={"gyro": None, "heading_from": "pods"})
    assert _suspect_s(measure_motion(log, healthy.robot)) > 5.0
    assert _suspect_s(measure_motion(log, robot)) == 0.0


def test_a_driven_wheel_that_spins_or_stands_is_no_reason_to_doubt_the_pose(healthy):
    """Pods and gyro alone are looked at: neither does it add a doubt, nor does it take one off."""
    wheel = DriveWheel.model_validate(
        {"wheel_diameter": "50 mm", "counts_per_revolution": 1000, "x": "100 mm", "y": "0 mm"}
    )
    robot = healthy.robot.model_copy(update={"drive_wheels": {"front": wheel}})
    slipping = _losing(healthy.odometry, "left", 20.0, 22.0, 0.8)
    for log in (healthy.odometry, slipping):
        for travel in (3.0 * log.travel_m["right"], np.zeros_like(log.time_s)):
            driven = replace(log, drive_travel_m={"front": travel})
            expected = measure_motion(log, healthy.robot).suspect
            np.testing.assert_array_equal(measure_motion(driven, robot).suspect, expected)
    assert np.any(measure_motion(slipping, healthy.robot).suspect)


TIMES = np.arange(0.0, 6.0, 0.01)


def _velocities(forward):
    zero = np.zeros_like(forward)
    return BodyVelocities(TIMES, np.column_stack([forward, zero, zero]), None, np.zeros(len(TIMES), dtype=bool))


def test_a_velocity_that_no_friction_could_change_is_suspected():
    motion = measure_motion(_velocities(np.where(np.abs(TIMES - 3.0) < 0.2, 3.0, 1.0)), ROBOT)
    suspected = TIMES[motion.suspect]
    assert np.any(np.abs(suspected - 2.8) < 0.02)
    assert np.any(np.abs(suspected - 3.2) < 0.02)
    assert np.all(np.minimum(np.abs(suspected - 2.8), np.abs(suspected - 3.2)) < 0.15)


def test_braking_at_one_g_while_spinning_is_not():
    forward = np.clip(3.0 - 9.8 * np.maximum(TIMES - 3.0, 0.0), 0.0, None)
    log = _velocities(forward)
    log.velocity[:, 2] = 12.0
    # straight on over the floor while turning: the velocity in the robot's frame turns backwards
    angle = 12.0 * TIMES
    log.velocity[:, :2] = np.column_stack([forward * np.cos(angle), -forward * np.sin(angle)])
    assert _suspect_s(measure_motion(log, ROBOT)) == 0.0


def _as_poses(session):
    motion = measure_motion(session.odometry, session.robot)
    pose = dead_reckon(motion, np.zeros(3))
    return PoseTrack(motion.time_s, pose, 0.0, 0.0, np.zeros(len(pose), dtype=bool))


@pytest.mark.parametrize("step_m", [0.001, 0.01])
def test_rounded_poses_do_not_jump(healthy, step_m):
    log = _as_poses(healthy)
    log.pose[:, :2] = np.round(log.pose[:, :2] / step_m) * step_m
    assert _suspect_s(measure_motion(log, ROBOT)) == 0.0


def test_a_row_logged_late_is_no_jump():
    log = _velocities(np.full(len(TIMES), 3.0))
    pose = dead_reckon(measure_motion(log, ROBOT), np.zeros(3))
    late = TIMES[::10].copy()
    late[30] += 0.09
    track = PoseTrack(late, pose[::10], 0.0, 0.0, np.zeros(len(late), dtype=bool))
    assert _suspect_s(measure_motion(track, ROBOT)) == 0.0


def test_a_flagged_interval_is_not_judged():
    pose = np.column_stack([TIMES + np.where(TIMES > 3.0, 2.0, 0.0), np.zeros((len(TIMES), 2))])
    flagged = np.diff(pose[:, 0], prepend=0.0) > 1.0
    track = PoseTrack(TIMES, pose, 0.0, 0.0, np.zeros(len(TIMES), dtype=bool))
    assert _suspect_s(measure_motion(track, ROBOT)) > 0.0
    assert _suspect_s(measure_motion(replace(track, flagged=flagged), ROBOT)) == 0.0


def test_a_real_log_has_two_steps_that_no_mower_made(tmp_path):
    """Plaza 1 (source in tests/plaza.py): 0.83 and 0.87 m in 0.2 s, between steps of 0.14 and 0.18 m."""
    log = read_session(write_plaza(tmp_path / "1", 1, "increments", 1.070).folder)
    motion = measure_motion(log.odometry, log.robot)
    length = np.hypot(motion.twist[:, 0], motion.twist[:, 1])
    assert np.flatnonzero(motion.suspect & (length > 0.8)).tolist() == np.flatnonzero(length > 0.8).tolist()
    assert np.sum(length > 0.8) == 2
    assert np.sum(motion.suspect) <= 2 * 5
    other = read_session(write_plaza(tmp_path / "2", 2, "increments", 1.070).folder)
    assert not np.any(measure_motion(other.odometry, other.robot).suspect)


def _noisy_pods(extra):
    """A short uneven drive of pods and gyro, two slips and a gap in it, and what the slow twin needs of it."""
    rng = np.random.default_rng(5)
    times = np.cumsum(rng.uniform(0.007, 0.013, size=700))
    period = np.diff(times, prepend=times[0])
    speed = np.column_stack([1.0 + np.sin(times), 0.5 * np.cos(2 * times), 2.0 * np.sin(1.3 * times)])
    pods = {
        **ROBOT.pods,
        **{f"more{i}": ROBOT.pods["left"].model_copy(update={"x": 0.08, "rolling_direction": a}) for i, a in extra},
    }
    rows = np.array([*(rolling_row(p.x, p.y, p.rolling_direction) for p in pods.values()), [0.0, 0.0, 1.0]])
    steps = period[:, np.newaxis] * (speed @ rows.T) * [1.03, *[1.0] * (len(rows) - 1)]
    steps[:, :-1] += 0.002 * np.sqrt(np.abs(steps[:, :-1])) * rng.normal(size=(700, len(pods)))
    steps[200:240, 0] *= 0.8
    steps[420:450, -1] += 0.004
    reading = np.cumsum(steps, axis=0)
    log = PodTravel(times, dict(zip(pods, reading.T, strict=False)), reading[:, -1], np.arange(700) == 300)
    return log, ROBOT.model_copy(update={"pods": pods}), rows, reading


@pytest.mark.parametrize("extra", [[], [(0, 0.6)]])
def test_windows_are_judged_as_one_after_the_other_would_be(extra, monkeypatch):
    log, robot, rows, reading = _noisy_pods(extra)
    motion = measure_motion(log, robot)
    pods = list(robot.pods.values())
    expected = naive_jumps(motion) | naive_contradictions(
        times=log.time_s,
        flagged=log.flagged,
        rows=rows,
        reading=reading,
        per_travel=np.array([*(pod.along_per_metre**2 for pod in pods), 0.0]),
        per_second=np.array([*[0.0] * len(pods), robot.gyro.heading_per_minute**2 / 60.0]),
        of_ends=np.array([*(pod.metres_per_count**2 / 6.0 for pod in pods), 0.0]),
        scale=np.array([*[1.0] * len(pods), 0.5]),
    )
    np.testing.assert_array_equal(motion.suspect, expected)
    assert 40 < np.sum(expected) < 150
    monkeypatch.setattr("locbench.odometry.suspicion._ROWS", 37)
    np.testing.assert_array_equal(measure_motion(log, robot).suspect, expected)


def test_jumps_are_judged_as_one_after_the_other_would_be():
    rng = np.random.default_rng(8)
    twist = rng.normal(scale=[0.01, 0.004, 0.02], size=(400, 3))
    twist[::67, 0] += 0.15
    motion = Motion.from_increments(np.cumsum(rng.uniform(0.006, 0.014, size=400)), twist, np.arange(400) == 134)
    log = PoseTrack(motion.time_s, dead_reckon(motion, np.zeros(3)), 0.0, 0.0, motion.flagged)
    found = measure_motion(log, ROBOT).suspect
    np.testing.assert_array_equal(found, naive_jumps(motion))
    assert 0 < np.sum(found) < 200


@pytest.mark.parametrize("rows", [2, 3, 5])
def test_a_log_shorter_than_a_window_has_nothing_to_compare(rows):
    times = 0.01 * np.arange(rows)
    log = PodTravel(times, {name: times.copy() for name in ROBOT.pods}, times.copy(), np.zeros(rows, dtype=bool))
    assert not np.any(measure_motion(log, ROBOT).suspect)
