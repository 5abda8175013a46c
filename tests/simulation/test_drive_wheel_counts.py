"""Driven wheels are simulated as pods are, with errors of their own, and change nothing else in a run."""

import math

import numpy as np
import pytest

from locbench.errors import ConfigError
from locbench.session import read_session
from locbench.session.writer import write_session
from locbench.simulation.pods import true_drive_wheels, true_pods

WHEEL = """
[drive_wheels.{name}]
x = "{x} mm"
y = "{y} mm"
rolling_direction = "{direction} deg"
wheel_diameter = "75 mm"
counts_per_revolution = 2048
"""
FRONT = WHEEL.format(name="front", x=110, y=90, direction=45)
REAR = WHEEL.format(name="rear", x=-110, y=90, direction=-45)
EXTRA_POD = """
[pods.more]
x = "0 mm"
y = "40 mm"
wheel_diameter = "50 mm"
counts_per_revolution = 4096
"""
ERRORS = '[pods]\nalong_per_metre = "2 mm"\n[gyro]\nheading_per_minute = "1 deg"\n'
WHEEL_ERRORS = '[drive_wheels]\nalong_per_metre = "8 mm"\n'
CAMERA = '[camera]\nmount = "front"\n[camera.noise]\nalong_floor = "10 mm"\n'


@pytest.fixture
def driven(make_bench):
    """Return a bench whose robot has that further text in its file."""

    def make(more: str = FRONT + REAR):
        plain = (make_bench().folder / "robot.toml").read_text()
        return make_bench(robot=plain + more)

    return make


def test_a_robot_with_driven_wheels_logs_everything_else_as_one_without(driven, round_trip):
    text = ERRORS + CAMERA + round_trip
    plain, wheeled = driven("").record(text).record, driven().record(WHEEL_ERRORS + text).record
    assert not plain.odometry.drive_counts
    assert list(wheeled.odometry.drive_counts) == ["front", "rear"]
    assert list(wheeled.odometry.counts) == list(plain.odometry.counts)
    for name, counts in plain.odometry.counts.items():
        np.testing.assert_array_equal(wheeled.odometry.counts[name], counts)
    np.testing.assert_array_equal(wheeled.odometry.heading_rad, plain.odometry.heading_rad)
    np.testing.assert_array_equal(wheeled.detections.readings.pose, plain.detections.readings.pose)


def test_a_wheels_errors_depend_on_its_place_among_the_wheels_alone(driven, round_trip):
    text = ERRORS + WHEEL_ERRORS + round_trip
    alone, both = driven(FRONT).record(text).record.odometry, driven().record(text).record.odometry
    beside_a_pod = driven(FRONT + EXTRA_POD).record(text).record.odometry
    np.testing.assert_array_equal(alone.drive_counts["front"], both.drive_counts["front"])
    np.testing.assert_array_equal(alone.drive_counts["front"], beside_a_pod.drive_counts["front"])


def test_without_errors_wheels_roll_as_the_true_way_says(driven):
    """On a straight drive to the mark 2 m ahead a wheel at 45 deg rolls cos 45 deg of the way, wherever it sits."""
    bench = driven()
    odometry = bench.record('[[waypoints]]\nmark = "B"\ndwell = "1 s"\n').record.odometry
    for name, counts in odometry.drive_counts.items():
        rolled_m = counts[-1] * bench.robot.drive_wheels[name].metres_per_count
        assert rolled_m == pytest.approx(2.0 * math.cos(math.pi / 4.0), abs=2.0 * math.pi * 0.075 / 2048)


def test_a_wheel_at_the_place_of_a_pod_has_its_own_errors_and_no_others(driven, round_trip):
    twin = '[drive_wheels.twin]\nx = "10 mm"\ny = "120 mm"\nwheel_diameter = "50 mm"\ncounts_per_revolution = 4096\n'
    bench = driven(twin)
    quiet = bench.record(round_trip).record.odometry
    assert np.max(np.abs(quiet.drive_counts["twin"] - quiet.counts["left"])) <= 1
    noisy = bench.record(WHEEL_ERRORS + round_trip).record.odometry
    np.testing.assert_array_equal(noisy.counts["left"], quiet.counts["left"])
    apart = np.abs(noisy.drive_counts["twin"] - quiet.drive_counts["twin"])
    assert np.max(apart) > 50


def test_true_geometry_noise_and_losses_of_a_wheel(driven, round_trip):
    bench = driven()
    scenario = bench.scenario(
        WHEEL_ERRORS
        + '[truth.pods.front]\nwheel_diameter = "74 mm"\n'
        + '[[slips]]\npod = "rear"\nstart = "3 s"\nduration = "1 s"\nlost = "50 %"\n'
        + '[[shoves]]\nstart = "3 s"\ncontact = "300 ms"\nrecovery = "500 ms"\npods_lose = { front = "20 %" }\n'
        + round_trip
    )
    wheels = true_drive_wheels(scenario, bench.robot)
    assert wheels["front"].metres_per_count == pytest.approx(math.pi * 0.074 / 2048)
    assert wheels["rear"].metres_per_count == pytest.approx(math.pi * 0.075 / 2048)
    assert {wheel.along_per_metre_m for wheel in wheels.values()} == {0.008}
    assert [loss.share for loss in wheels["front"].losses] == [0.2]
    assert [(loss.begin_s, loss.end_s, loss.share) for loss in wheels["rear"].losses] == [(3.0, 4.0, 0.5)]
    assert not any(pod.losses or pod.along_per_metre_m for pod in true_pods(scenario, bench.robot).values())


def test_a_slip_of_a_wheel_loses_travel_of_that_wheel_alone(driven, round_trip):
    bench = driven()
    slip = '[[slips]]\npod = "front"\nstart = "2.5 s"\nduration = "1 s"\nlost = "100 %"\n'
    whole, slipped = bench.record(round_trip).record.odometry, bench.record(slip + round_trip).record.odometry
    during = (whole.time_s > 2.51) & (whole.time_s < 3.49)
    assert np.ptp(slipped.drive_counts["front"][during]) <= 1
    assert np.ptp(whole.drive_counts["front"][during]) > 100
    np.testing.assert_array_equal(slipped.drive_counts["rear"], whole.drive_counts["rear"])
    for name, counts in whole.counts.items():
        np.testing.assert_array_equal(slipped.counts[name], counts)


def test_what_is_written_reads_back(driven, round_trip):
    bench = driven()
    record = bench.record(ERRORS + WHEEL_ERRORS + round_trip).record
    write_session(bench.folder / "log", record)
    log = read_session(bench.folder / "log").odometry
    for name, counts in record.odometry.drive_counts.items():
        size = bench.robot.drive_wheels[name].metres_per_count
        np.testing.assert_allclose(log.drive_travel_m[name], counts * size, atol=1e-12)
    assert not np.any(log.flagged)


def test_body_noise_simulates_no_wheels(driven, round_trip):
    bench = driven()
    record = bench.record('noise = "body"\n' + round_trip).record
    write_session(bench.folder / "log", record)
    assert "drive" not in (bench.folder / "log" / "session.toml").read_text()
    with pytest.raises(ConfigError, match="so drive_wheels would do nothing"):
        bench.record('noise = "body"\n' + WHEEL_ERRORS + round_trip)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (WHEEL_ERRORS, r"scenario\.toml: drive_wheels: the robot has no driven wheels.*add \[drive_wheels\.NAME\]"),
        (
            '[[slips]]\npod = "front"\nstart = "1 s"\nduration = "1 s"\nlost = "20 %"\n',
            r"slips\[1\]\.pod: no such pod or driven wheel in the robot file \(got 'front'\)",
        ),
    ],
)
def test_wheels_that_the_robot_file_lacks_are_refused(driven, round_trip, text, message):
    with pytest.raises(ConfigError, match=message):
        driven("").record(text + round_trip)
