import numpy as np
import pytest
from builders import doubtful, motion
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import MotionNoise
from locbench.geometry import adjoint, compose, exponential, inverse
from locbench.odometry import Motion, dead_reckon, travel_since

NOISE = MotionNoise(doubted_factor=3.0)
DRIVE = doubtful(motion(rows=120))
FIRST, LAST = float(DRIVE.time_s[0]), float(DRIVE.time_s[-1])
share = st.floats(0.0, 1.0)


@given(share, share, share)
def test_travel_composes(a, b, c):
    begin, middle, end = np.sort(FIRST + (LAST - FIRST) * np.array([a, b, c]))
    whole = travel_since(DRIVE, NOISE, begin, np.array([middle, end]))
    rest = travel_since(DRIVE, NOISE, middle, np.array([end]))
    np.testing.assert_allclose(compose(whole.displacement[0], rest.displacement[0]), whole.displacement[1], atol=1e-12)
    # noise up to the middle, carried to the frame of the end, and what comes after
    carry = adjoint(inverse(rest.displacement[0]))
    added = carry @ whole.covariance[0] @ carry.T + rest.covariance[0]
    np.testing.assert_allclose(added, whole.covariance[1], atol=1e-15, rtol=1e-8)


def test_travel_over_the_whole_log_is_dead_reckoning():
    travel = travel_since(DRIVE, NOISE, FIRST, DRIVE.time_s)
    np.testing.assert_allclose(travel.displacement, dead_reckon(DRIVE, np.zeros(3)), atol=1e-12)


def test_times_may_come_in_any_order_and_no_time_is_no_travel():
    times = np.array([LAST, FIRST, (FIRST + LAST) / 2.0])
    travel = travel_since(DRIVE, NOISE, FIRST, times)
    ordered = travel_since(DRIVE, NOISE, FIRST, np.sort(times))
    np.testing.assert_allclose(travel.displacement[[1, 2, 0]], ordered.displacement)
    np.testing.assert_array_equal(travel.displacement[1], np.zeros(3))
    np.testing.assert_array_equal(travel.covariance[1], np.zeros((3, 3)))


def test_a_flagged_interval_marks_what_comes_after_it():
    flagged = np.zeros(5, dtype=bool)
    flagged[2] = True
    log = Motion.from_increments(np.arange(5.0), np.tile([0.1, 0.0, 0.0], (5, 1)), flagged)
    travel = travel_since(log, NOISE, 0.5, np.array([1.0, 1.5, 3.5]))
    assert travel.flagged.tolist() == [False, True, True]
    assert not travel_since(log, NOISE, 2.0, np.array([4.0])).flagged[0]


@pytest.mark.parametrize("part", [0.25, 0.5])
def test_part_of_an_increment_is_its_share_of_the_time(part):
    twist = np.array([0.4, 0.1, 0.6])
    log = Motion.from_increments(np.array([0.0, 1.0]), np.array([np.zeros(3), twist]), np.zeros(2, dtype=bool))
    travel = travel_since(log, NOISE, 0.0, np.array([part]))
    np.testing.assert_allclose(travel.displacement[0], exponential(part * twist), atol=1e-15)
