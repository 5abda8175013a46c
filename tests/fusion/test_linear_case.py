"""On a linear model the extended filter is the Kalman filter, and both are the batch least-squares answer."""

import numpy as np
from filterpy.kalman import KalmanFilter

from locbench.fusion.engines import Belief, ExtendedFilter
from locbench.vision import Measurement

RNG = np.random.default_rng(12)
STEPS = [np.array([0.3, 0.0, 0.0])] * 8
FIXES = RNG.normal(size=(8, 2)) * 0.05 + np.column_stack([0.3 * np.arange(1, 9), np.zeros(8)])
NOISE = np.diag([1e-3, 2e-3, 0.0])
FIX_COVARIANCE = np.array([[4e-3, 1e-3], [1e-3, 3e-3]])
START_COVARIANCE = np.diag([1e-2, 2e-2, 0.0])


def _extended():
    """With a heading known to be zero the pose model is linear."""
    steps, belief = ExtendedFilter(), Belief(np.zeros(3), START_COVARIANCE)
    for twist, fix in zip(STEPS, FIXES, strict=True):
        belief = steps.predict(belief, twist, NOISE)
        measurement = Measurement(
            value=fix,
            covariance=FIX_COVARIANCE,
            predict=lambda pose: pose[:2],
            jacobian=lambda _: np.eye(3)[:2],
            angular=np.array([False, False]),
        )
        belief = steps.update(belief, measurement)
    return belief


def test_extended_filter_equals_the_kalman_filter():
    linear = KalmanFilter(dim_x=2, dim_z=2, dim_u=2)
    linear.x, linear.P = np.zeros(2), START_COVARIANCE[:2, :2]
    linear.F, linear.B, linear.H = np.eye(2), np.eye(2), np.eye(2)
    linear.Q, linear.R = NOISE[:2, :2], FIX_COVARIANCE
    for twist, fix in zip(STEPS, FIXES, strict=True):
        linear.predict(u=twist[:2])
        linear.update(fix)
    belief = _extended()
    np.testing.assert_allclose(belief.mean[:2], linear.x, atol=1e-14)
    np.testing.assert_allclose(belief.covariance[:2, :2], linear.P, atol=1e-16)


def test_both_equal_one_batch_least_squares_solution():
    count = len(STEPS) + 1
    information, vector = np.zeros((2 * count, 2 * count)), np.zeros(2 * count)

    def add(rows, covariance, value):
        weight = np.linalg.inv(covariance)
        information[:] += rows.T @ weight @ rows
        vector[:] += rows.T @ weight @ value

    def block(index):
        rows = np.zeros((2, 2 * count))
        rows[:, 2 * index : 2 * index + 2] = np.eye(2)
        return rows

    add(block(0), START_COVARIANCE[:2, :2], np.zeros(2))
    for i in range(1, count):
        add(block(i) - block(i - 1), NOISE[:2, :2], STEPS[i - 1][:2])
        add(block(i), FIX_COVARIANCE, FIXES[i - 1])
    covariance = np.linalg.inv(information)
    mean = covariance @ vector
    belief = _extended()
    np.testing.assert_allclose(belief.mean[:2], mean[-2:], atol=1e-13)
    np.testing.assert_allclose(belief.covariance[:2, :2], covariance[-2:, -2:], atol=1e-15)
