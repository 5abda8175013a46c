"""Wheels under shifted constants: exact where the shifts are those of the readings, noise against a slow twin."""

from dataclasses import replace

import numpy as np
import pytest
from calibration.drives import CONSTANTS, wheels
from hypothesis import given, settings
from hypothesis import strategies as st

from locbench.calibration.wheels import noise_seen
from locbench.geometry import between, compose, exponential
from locbench.odometry import dead_reckon
from locbench.odometry.motion import Motion

_SHIFTS = st.lists(st.floats(-0.02, 0.02), min_size=10, max_size=10).map(lambda values: np.array([*values, 0.0]))


def _twists(count: int = 60, seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.normal(scale=[0.02, 0.02, 0.05], size=(count, 3))


@given(shifts=_SHIFTS)
@settings(max_examples=40)
def test_the_right_shifts_give_the_motion_back_without_contradiction(shifts):
    twist = _twists()
    rolled = wheels(twist, shifts).rolled(CONSTANTS, shifts, 0.0)
    np.testing.assert_allclose(rolled.twist, twist, atol=1e-12)
    np.testing.assert_allclose(rolled.parity, 0.0, atol=1e-9)


@given(shifts=_SHIFTS)
@settings(max_examples=40)
def test_contradictions_do_not_shrink_as_wheels_turn(shifts):
    """Rows stay orthonormal: else a fit could lower them by turning wheels."""
    made = wheels(_twists())
    rows = made.rows(CONSTANTS, shifts)
    weighted = made._weighted(rows)
    against = made._unrollable(weighted, np.linalg.pinv(weighted))
    np.testing.assert_allclose(against @ against.T, np.eye(len(against)), atol=1e-12)
    np.testing.assert_allclose(against @ weighted, 0.0, atol=1e-9)


def test_noise_grows_with_the_scale_of_the_readings():
    made, larger = wheels(_twists()), np.zeros(len(CONSTANTS))
    larger[[0, 3, 6, 9]] = 0.1
    nominal = made.rolled(CONSTANTS, np.zeros(len(CONSTANTS)), 0.0)
    scaled = made.rolled(CONSTANTS, larger, 0.0)
    np.testing.assert_allclose(scaled.covariance, 1.21 * nominal.covariance, rtol=1e-12)


def test_poses_are_those_of_dead_reckoning():
    twist = _twists()
    made = wheels(twist)
    path = made.poses(made.rolled(CONSTANTS, np.zeros(len(CONSTANTS)), 0.0))
    motion = Motion.from_increments(made.time_s, np.vstack([np.zeros(3), twist]), np.zeros(len(made.time_s), bool))
    np.testing.assert_allclose(path, dead_reckon(motion, np.zeros(3)), atol=1e-12)


def test_a_lag_reads_what_happened_earlier():
    """Turns read 40 ms late: a shift of the lag by that brings wheels and gyro together again."""
    time_s = 0.02 * np.arange(400)
    heading = np.sin(3.0 * time_s)
    twist = np.column_stack([np.full(399, 0.01), np.zeros(399), np.diff(heading)])
    made = wheels(twist)
    late = np.interp(time_s - 0.04, time_s, heading)
    lagging = replace(made, heading_rad=late)
    shifts = np.zeros(len(CONSTANTS))
    off = np.sum(lagging.rolled(CONSTANTS, shifts, 0.0).parity[5:-5] ** 2)
    shifts[10] = 0.04
    mended = np.sum(lagging.rolled(CONSTANTS, shifts, 0.0).parity[5:-5] ** 2)
    assert mended < 1e-4 * off


def test_noise_between_knots_equals_random_draws():
    """The covariance between two rows against 20,000 draws of the readings' noise, carried along exactly."""
    twist = np.tile([0.02, 0.004, 0.03], (25, 1))
    made = wheels(twist)
    rolled = made.rolled(CONSTANTS, np.zeros(len(CONSTANTS)), 0.0)
    path = made.poses(rolled)
    found = made.covariance_between(rolled, path, np.array([3, 20]))[0]
    rng = np.random.default_rng(4)
    root = np.linalg.cholesky(rolled.covariance[3:20] + 1e-18 * np.eye(3))
    count = 20_000
    pose = np.zeros((count, 3))
    for step in range(17):
        noisy = twist[3 + step] + rng.standard_normal((count, 3)) @ root[step].T
        pose = compose(pose, exponential(noisy))
    exact = between(path[3], path[20])
    error = between(np.broadcast_to(exact, pose.shape), pose)
    sampled = np.cov(error.T)
    scale = np.sqrt(np.outer(np.diag(sampled), np.diag(sampled)))
    # six standard errors of a sample covariance
    assert np.max(np.abs(found - sampled) / scale) < 6.0 * np.sqrt(2.0 / count)


@pytest.mark.parametrize("factor", [0.5, 1.0, 2.0])
def test_the_wheels_own_noise_shows_in_their_contradictions_but_never_as_less(factor):
    rng = np.random.default_rng(7)
    twist = np.tile([0.02, 0.0, 0.0], (8000, 1))
    made = wheels(twist)
    noisy = made.travel_m + np.cumsum(factor * 0.002 * np.sqrt(0.02) * rng.standard_normal(made.travel_m.shape), axis=0)
    made = replace(made, travel_m=noisy, way_m=np.abs(np.diff(noisy, axis=0)))
    rolled = made.rolled(CONSTANTS, np.zeros(len(CONSTANTS)), 0.0)
    assert noise_seen(made.time_s, rolled) == pytest.approx(max(factor, 1.0), rel=0.08)
