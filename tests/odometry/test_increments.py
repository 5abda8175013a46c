import dataclasses

import numpy as np
import pytest
from builders import START, doubtful, motion
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_dead_reckoning, naive_twists

from locbench.config import MotionNoise
from locbench.geometry import compose, exponential, rolling_row
from locbench.odometry import Motion, dead_reckon, dead_reckon_covariance, interval_noise, noise_of, transition
from locbench.odometry.increments import pod_twists
from locbench.odometry.reckoning import rotated

ROWS = np.array(
    [
        rolling_row(0, 0.12, 0),
        rolling_row(0.02, -0.13, 0.1),
        rolling_row(-0.1, 0, np.pi / 2),
        rolling_row(0.1, 0.05, 0.7),
    ]
)
RNG = np.random.default_rng(3)


def _readings(count=50, noise=1e-4):
    twist = RNG.normal(size=(count, 3)) * [0.02, 0.01, 0.03]
    return twist, twist @ ROWS.T + noise * RNG.normal(size=(count, 4)), RNG.uniform(1e-9, 1e-7, size=(count, 4))


def test_weighted_least_squares_is_the_textbooks():
    _, travel, variance = _readings()
    np.testing.assert_allclose(
        pod_twists(ROWS, travel, variance, "pods", None, None), naive_twists(ROWS, travel, variance), atol=1e-12
    )


def test_the_gyro_is_one_more_row():
    twist, travel, variance = _readings()
    turn, turn_variance = twist[:, 2] + 1e-3, np.full(50, 1e-8)
    rows = np.vstack([ROWS, [0, 0, 1]])
    expected = naive_twists(rows, np.column_stack([travel, turn]), np.column_stack([variance, turn_variance]))
    np.testing.assert_allclose(pod_twists(ROWS, travel, variance, "blend", turn, turn_variance), expected, atol=1e-12)


def test_a_heading_from_the_gyro_alone_takes_its_turns_as_they_are():
    twist, travel, variance = _readings(noise=0.0)
    found = pod_twists(ROWS, travel, variance, "gyro", twist[:, 2], None)
    np.testing.assert_allclose(found, twist, atol=1e-12)
    wrong = pod_twists(ROWS, travel, variance, "gyro", twist[:, 2] + 0.01, None)
    np.testing.assert_allclose(wrong[:, 2], twist[:, 2] + 0.01)


@pytest.mark.parametrize("heading_from", ["pods", "gyro", "blend"])
def test_without_noise_every_source_of_heading_agrees(heading_from):
    twist, travel, variance = _readings(noise=0.0)
    found = pod_twists(ROWS, travel, variance, heading_from, twist[:, 2], np.full(50, 1e-8))
    np.testing.assert_allclose(found, twist, atol=1e-12)


def test_dead_reckoning_is_the_chain_of_matrix_exponentials():
    drive = motion(rows=300)
    np.testing.assert_allclose(dead_reckon(drive, START.pose), naive_dead_reckoning(drive, START.pose), atol=1e-11)


def test_covariance_by_sums_is_the_covariance_by_steps():
    drive, noise = motion(rows=700, speed=4.0), MotionNoise()
    start = np.array([500.0, -300.0, 1.0])
    poses = dead_reckon(drive, start)
    covariance = START.covariance
    steps = [covariance]
    added = interval_noise(drive.twist, drive.duration_s, noise)
    for k in range(1, len(poses)):
        carry = transition(poses[k, :2] - poses[k - 1, :2])
        covariance = carry @ covariance @ carry.T + rotated(added[k], poses[k - 1, 2])
        steps.append(covariance)
    found = dead_reckon_covariance(drive, poses, START.covariance, noise)
    np.testing.assert_allclose(found, steps, rtol=1e-10, atol=1e-16)


@given(st.floats(0.01, 0.99), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-1.5, 1.5))
def test_the_noise_of_a_split_interval_is_the_noise_of_the_whole(fraction, dx, dy, turn):
    noise, twist = MotionNoise(), np.array([[dx, dy, turn]])
    whole = interval_noise(twist, np.array([2.0]), noise)[0]
    first = interval_noise(fraction * twist, np.array([2.0 * fraction]), noise)[0]
    second = interval_noise((1 - fraction) * twist, np.array([2.0 * (1 - fraction)]), noise)[0]
    middle, end = exponential(fraction * twist[0]), exponential(twist[0])
    carry = transition(end[:2] - middle[:2])
    joined = carry @ first @ carry.T + rotated(second, np.array(middle[2]))
    np.testing.assert_allclose(joined, whole, rtol=1e-9, atol=1e-12)


def test_doubted_intervals_add_the_factor_squared_and_the_others_what_they_did():
    drive = doubtful(motion())
    added, plain = noise_of(drive, MotionNoise(doubted_factor=4.0)), noise_of(drive, MotionNoise())
    np.testing.assert_array_equal(plain, interval_noise(drive.twist, drive.duration_s, MotionNoise()))
    np.testing.assert_allclose(added[drive.doubted], 16.0 * plain[drive.doubted], rtol=1e-14)
    np.testing.assert_array_equal(added[~drive.doubted], plain[~drive.doubted])
    assert 0 < np.sum(drive.doubted) < len(drive.time_s)


@given(st.floats(-3, 3), st.floats(-5, 5), st.floats(-5, 5))
def test_transition_is_the_derivative_of_the_motion(heading, dx, dy):
    pose, twist, step = np.array([1.0, -2.0, heading]), np.array([dx, dy, 0.8]), 1e-6
    end = compose(pose, exponential(twist))
    columns = [
        (compose(pose + step * e, exponential(twist)) - compose(pose - step * e, exponential(twist))) / (2 * step)
        for e in np.eye(3)
    ]
    np.testing.assert_allclose(transition(end[:2] - pose[:2]), np.column_stack(columns), atol=1e-8)


def test_variances_grow_linearly_with_the_noise():
    drive = motion()
    single, double = (
        MotionNoise(),
        MotionNoise().model_copy(
            update={name: np.sqrt(2) * value for name, value in MotionNoise().model_dump().items()}
        ),
    )
    first, second = (interval_noise(drive.twist, drive.duration_s, n) for n in (single, double))
    np.testing.assert_allclose(second, 2 * first, rtol=1e-12)


def test_a_stretch_starts_anew():
    drive = motion()
    part = drive.within(drive.time_s[10], drive.time_s[20])
    assert len(part.time_s) == 11
    np.testing.assert_array_equal(part.twist[0], 0.0)
    np.testing.assert_array_equal(part.twist[1:], drive.twist[11:21])
    doubts = dataclasses.replace(drive, flagged=np.ones(60, dtype=bool), suspect=np.ones(60, dtype=bool))
    part = doubts.within(drive.time_s[10], drive.time_s[20])
    assert part.flagged.tolist() == part.suspect.tolist() == [False, *[True] * 10]
    with pytest.raises(ValueError, match="fewer than two"):
        drive.within(drive.time_s[3], drive.time_s[3])


def test_increments_of_equal_time_are_composed():
    twist = np.array([[9.0, 9, 9], [0.1, 0, 0.3], [0.2, 0.1, -0.1], [0.1, 0, 0.4], [0.3, 0.2, 0.1], [0.1, 0, 0.2]])
    flagged = np.array([False, True, False, False, False, False])
    joined = Motion.from_increments(np.array([0.0, 1, 1, 1, 2, 2]), twist, flagged)
    apart = Motion.from_increments(np.array([0.0, 0.5, 0.6, 1, 1.5, 2]), twist, flagged)
    assert joined.time_s.tolist() == [0, 1, 2]
    assert joined.flagged.tolist() == [False, True, False]
    np.testing.assert_allclose(dead_reckon(joined, np.zeros(3))[-1], dead_reckon(apart, np.zeros(3))[-1], atol=1e-12)
    assert np.all(np.diff(joined.time_s) > 0)
