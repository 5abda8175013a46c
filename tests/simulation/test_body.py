import numpy as np
import pytest
from naive import naive_dead_reckoning

from locbench.config import MotionNoise
from locbench.errors import ConfigError
from locbench.odometry import Motion, dead_reckon, dead_reckon_covariance
from locbench.session import read_session
from locbench.session.writer import IncrementRecord, write_session
from locbench.simulation.body import body_increments

SILENT = MotionNoise(
    along_per_metre="0 m",
    across_per_metre="0 m",
    heading_per_metre="0 deg",
    heading_per_turn="0 deg",
    heading_per_minute="0 deg",
)
LOUD = MotionNoise(
    along_per_metre="20 mm",
    across_per_metre="10 mm",
    heading_per_metre="1 deg",
    heading_per_turn="3 deg",
    heading_per_minute="20 deg",
)
TIMES = np.arange(11) * 0.1
BODY = 'noise = "body"\n'


def _motion(twist):
    return Motion.from_increments(TIMES, twist, np.zeros(len(TIMES), dtype=bool))


def test_without_noise_the_increments_are_the_true_ones(screw):
    drive = screw((1.0, 2.0, 0.4), 0.8, 0.3, 1.5)
    twist = body_increments(drive, SILENT, TIMES, np.random.default_rng(1))
    truth = drive.pose_at(TIMES)
    np.testing.assert_allclose(naive_dead_reckoning(_motion(twist), truth[0]), truth, atol=1e-12)


@pytest.mark.parametrize(("forward", "left", "turn"), [(1.0, 0.0, 0.0), (0.8, 0.5, 2.0), (0.0, 0.0, -3.0)])
def test_the_errors_spread_as_the_motion_noise_says(screw, forward, left, turn):
    """Against the covariance that the estimators integrate along the arc, over 1500 draws of a second's drive."""
    drive = screw((0.0, 0.0, 0.7), forward, left, turn)
    truth = drive.pose_at(TIMES)
    rng = np.random.default_rng(7)
    ends = [dead_reckon(_motion(body_increments(drive, LOUD, TIMES, rng)), truth[0])[-1] for _ in range(1500)]
    error = np.array(ends) - truth[-1]
    exact = body_increments(drive, SILENT, TIMES, np.random.default_rng(1))
    expected = dead_reckon_covariance(_motion(exact), truth, np.zeros((3, 3)), LOUD)[-1]
    spread = np.cov(error.T)
    # standard error of a variance from n draws is sqrt(2 / n) of it; correlations about 1 / sqrt(n)
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected))) + 1e-15
    np.testing.assert_allclose(spread / scale, expected / scale, atol=0.15)
    np.testing.assert_allclose(np.mean(error, axis=0), 0.0, atol=4.5 * np.sqrt(np.max(np.diag(expected)) / 1500))


def test_the_log_holds_increments_and_reads_back(bench, round_trip):
    run = bench.record(BODY + round_trip)
    assert isinstance(run.record.odometry, IncrementRecord)
    folder = bench.folder / "log"
    write_session(folder, run.record)
    session = read_session(folder)
    np.testing.assert_allclose(session.odometry.twist[1:], run.record.odometry.twist[1:], atol=1e-8)
    np.testing.assert_allclose(session.odometry.time_s, run.record.odometry.time_s, atol=1e-6)


def test_the_robot_is_put_on_marks_as_the_field_file_says(bench, round_trip):
    starts = np.array([bench.record(BODY + round_trip, seed=seed).record.truth.pose[0] for seed in range(60)])
    spread = np.std(starts - [1.0, 1.0, 0.0], axis=0)
    np.testing.assert_allclose(spread, [0.002, 0.002, np.radians(0.3)], rtol=0.35)


def test_the_same_seed_gives_the_same_increments_and_another_seed_others(bench, round_trip):
    first, again, other = (bench.record(BODY + round_trip, seed=seed).record.odometry.twist for seed in (1, 1, 2))
    np.testing.assert_array_equal(first, again)
    assert np.any(first[: len(other)] != other[: len(first)])


def test_a_robot_without_pods_will_do(make_bench, round_trip):
    bench = make_bench(robot='name = "bare"\nheading_from = "pods"\n')
    assert len(bench.record(BODY + round_trip).record.odometry.twist) > 100
    with pytest.raises(ConfigError, match="no pods to simulate"):
        bench.record(round_trip)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[placing]\nposition_std = "1 mm"\n', "placing would do nothing"),
        ('[pods]\nalong_per_metre = "1 mm"\n', "pods would do nothing"),
        ('[gyro]\nbias = "1 deg/s"\n', "gyro would do nothing"),
        ('[truth.pods.left]\nx = "1 mm"\n', r"truth\.pods would do nothing"),
        ('[[slips]]\npod = "left"\nstart = "1 s"\nduration = "1 s"\nlost = "9 %"\n', "slips would do nothing"),
        (
            '[[shoves]]\nstart = "2.2 s"\ncontact = "1 s"\nrecovery = "1 s"\ngyro_loses = "5 %"\n',
            "no gyro that a shove could disturb",
        ),
    ],
)
def test_errors_of_sensors_that_are_not_simulated_are_refused(bench, round_trip, text, message):
    with pytest.raises(ConfigError, match=message):
        bench.record(BODY + text + round_trip)
