"""Filters against printed examples and an independent least-squares library."""

import gtsam
import numpy as np
import pytest

from locbench.fusion.engines import Belief, ExtendedFilter, UnscentedFilter
from locbench.geometry import compose, exponential
from locbench.odometry.reckoning import rotated
from locbench.vision import Measurement

STEP = np.array([2.0, 0.0, 0.0])
STEP_NOISE = np.diag([0.04, 0.04, 0.01])


def _position_fix(x, y, variance):
    return Measurement(
        value=np.array([x, y]),
        covariance=variance * np.eye(2),
        predict=lambda pose: pose[:2],
        jacobian=lambda _: np.eye(3)[:2],
        angular=np.array([False, False]),
    )


def test_three_pose_odometry_example():
    """gtsam tutorial output OdometryOutput3.txt (seen): prior 0.3, 0.3, 0.1; two steps of 2 m with 0.2, 0.2, 0.1."""
    steps = ExtendedFilter()
    belief = Belief(np.zeros(3), np.diag([0.09, 0.09, 0.01]))
    belief = steps.predict(belief, STEP, STEP_NOISE)
    np.testing.assert_allclose(belief.mean, [2, 0, 0], atol=1e-12)
    expected = [[0.13, 0, 0], [0, 0.17, 0.02], [0, 0.02, 0.02]]
    np.testing.assert_allclose(belief.covariance, expected, atol=1e-9)
    belief = steps.predict(belief, STEP, STEP_NOISE)
    expected = [[0.17, 0, 0], [0, 0.37, 0.06], [0, 0.06, 0.03]]
    np.testing.assert_allclose(belief.covariance, expected, atol=1e-9)


def test_the_unscented_filter_sees_what_a_heading_spread_does_to_a_step():
    """x = 2 cos t, y = 2 sin t with t ~ N(0, s^2): E x = 2 exp(-s^2/2), var y = 2 (1 - exp(-2 s^2)); good to s^4."""
    spread = 0.1
    belief = UnscentedFilter().predict(Belief(np.zeros(3), np.diag([1e-12, 1e-12, spread**2])), STEP, np.zeros((3, 3)))
    assert belief.mean[0] == pytest.approx(2 * np.exp(-(spread**2) / 2), abs=spread**4 / 3)
    assert belief.covariance[1, 1] == pytest.approx(2 * (1 - np.exp(-2 * spread**2)), rel=2 * spread**2)
    assert belief.mean[1] == pytest.approx(0.0, abs=1e-12)


def test_three_pose_localization_example():
    """gtsam tutorial output LocalizationOutput5.txt (seen): no prior, position fixes of 0.1 m at 0, 2 and 4 m.

    A filter knows what the smoother knows at the last pose only: xx .00828571, yy .00944444, yt .00305556,
    tt .01819444; printed .0083, .0094, .0031, .018.
    """
    steps = ExtendedFilter()
    belief = Belief(np.zeros(3), np.diag([1e5, 1e5, 1e5]))
    for x in (0.0, 2.0, 4.0):
        if x:
            belief = steps.predict(belief, STEP, STEP_NOISE)
        belief = steps.update(belief, _position_fix(x, 0.0, 0.01))
    exact = [[0.00828571, 0, 0], [0, 0.00944444, 0.00305556], [0, 0.00305556, 0.01819444]]
    np.testing.assert_allclose(belief.covariance, exact, atol=2e-8)
    printed = [[0.0083, 0, 0], [0, 0.0094, 0.0031], [0, 0.0031, 0.018]]
    np.testing.assert_allclose(belief.covariance, printed, atol=5e-4)


def test_chain_with_turns_and_fixes_equals_gtsams_marginal_of_the_last_pose():
    """Straight and turning steps with pose fixes: gtsam's covariance is in the body frame of the pose."""
    twists = np.array([[1.0, 0.2, 0.4], [0.5, -0.3, -1.2], [2.0, 0.0, np.pi / 2], [0.8, 0.1, 0.3]])
    sigmas, fix_sigmas = np.array([0.05, 0.08, 0.02]), np.array([0.1, 0.1, 0.05])
    graph, values = gtsam.NonlinearFactorGraph(), gtsam.Values()
    pose = np.array([1.0, -2.0, 0.7])
    prior = gtsam.noiseModel.Diagonal.Sigmas(np.array([0.3, 0.3, 0.1]))
    step_model = gtsam.noiseModel.Diagonal.Sigmas(sigmas)
    fix_model = gtsam.noiseModel.Diagonal.Sigmas(fix_sigmas)
    graph.add(gtsam.PriorFactorPose2(0, gtsam.Pose2(*pose), prior))
    values.insert(0, gtsam.Pose2(*pose))
    # gtsam's noise is in the body frame: isotropic position noise makes it the same in the field frame
    steps, belief = ExtendedFilter(), Belief(pose, np.diag([0.09, 0.09, 0.01]))
    for i, twist in enumerate(twists, start=1):
        chord = exponential(twist)
        graph.add(gtsam.BetweenFactorPose2(i - 1, i, gtsam.Pose2(*chord), step_model))
        pose = compose(pose, chord)
        values.insert(i, gtsam.Pose2(*pose))
        graph.add(gtsam.PriorFactorPose2(i, gtsam.Pose2(*pose), fix_model))
        # step noise is stated at the end of the step, our predict takes it in the frame of its start
        belief = steps.predict(belief, twist, rotated(np.diag(sigmas**2), np.array(chord[2])))
        fix = Measurement(
            value=pose,
            covariance=np.diag(fix_sigmas**2),
            predict=lambda p: p,
            jacobian=lambda _: np.eye(3),
            angular=np.array([False, False, True]),
        )
        belief = steps.update(belief, fix)
    body = gtsam.Marginals(graph, values).marginalCovariance(len(twists))
    np.testing.assert_allclose(belief.mean, pose, atol=1e-12)
    np.testing.assert_allclose(belief.covariance, rotated(body, np.array(pose[2])), atol=1e-12)


def _scalar(value, variance):
    return Measurement(
        value=np.array([value]),
        covariance=np.array([[variance]]),
        predict=lambda pose: pose[:1],
        jacobian=lambda _: np.array([[1.0, 0.0, 0.0]]),
        angular=np.array([False]),
    )


def test_building_height_example():
    """Becker, kalmanfilter.net, height of a building (data and results seen, secondary); printed to 0.01."""
    heights = [48.54, 47.11, 55.01, 55.15, 49.89, 40.85, 46.72, 50.05, 51.27, 49.95]
    printed = [49.69, 48.47, 50.57, 51.68, 51.33, 49.62, 49.21, 49.31, 49.53, 49.57]
    variances = [22.5, 11.84, 8.04, 6.08, 4.89, 4.09, 3.52, 3.08, 2.74, 2.47]
    steps, belief = ExtendedFilter(), Belief(np.array([60.0, 0.0, 0.0]), np.diag([225.0, 1.0, 1.0]))
    for height, mean, variance in zip(heights, printed, variances, strict=True):
        belief = steps.update(belief, _scalar(height, 25.0))
        assert belief.mean[0] == pytest.approx(mean, abs=0.01)
        assert belief.covariance[0, 0] == pytest.approx(variance, abs=0.01)


def test_random_constant_example():
    """Welch & Bishop, TR 95-041: variance recursion with Q 1e-5, R 0.01, P0 1 (inputs seen, values computed)."""
    steps, belief = ExtendedFilter(), Belief(np.zeros(3), np.eye(3))
    variances = {}
    for step in range(1, 51):
        belief = steps.predict(belief, np.zeros(3), np.diag([1e-5, 0.0, 0.0]))
        belief = steps.update(belief, _scalar(-0.37727, 0.01))
        variances[step] = belief.covariance[0, 0]
    expected = {1: 0.0099009911, 2: 0.0049776483, 10: 0.0010273160, 50: 0.00033921082}
    for step, variance in expected.items():
        assert variances[step] == pytest.approx(variance, abs=1e-9)
