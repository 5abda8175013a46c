"""The reference between marks: against gtsam's batch solution, and against draws of its own model."""

from dataclasses import replace
from itertools import pairwise

import gtsam
import numpy as np
import pytest
from builders import motion

from locbench.config import MotionNoise
from locbench.geometry import compose, exponential, wrap_angle
from locbench.odometry import Motion, Travel, rotated, travel_since
from locbench.reference import smoothed_reference
from locbench.reference.bridge import bridged
from locbench.reference.smoother import Fixes, smooth
from locbench.session import MarkVisits, StartPose

NOISE = MotionNoise()
START_STDS = np.array([0.003, 0.003, 0.005])
MARK_STDS = np.array([0.004, 0.004, 0.006])


def _segments(drive: Motion, times: np.ndarray) -> Travel:
    parts = [travel_since(drive, NOISE, a, np.array([b])) for a, b in pairwise(times)]
    return Travel(*(np.concatenate([getattr(part, name) for part in parts]) for name in vars(parts[0])))


def _drawn_world(seed: int, fixes: int = 8):
    """A drive whose odometry is exact, and a truth and fixes drawn from the model about it."""
    rng = np.random.default_rng(seed)
    drive = motion(rows=400, seed=seed)
    times = np.append(drive.time_s[0], np.sort(rng.uniform(drive.time_s[5], drive.time_s[-1], fixes)))
    travel = _segments(drive, times)
    truth = [np.array([1.0, 2.0, 0.3]) + START_STDS * rng.normal(size=3)]
    for step, covariance in zip(travel.displacement, travel.covariance, strict=True):
        slip = exponential(np.linalg.cholesky(covariance) @ rng.normal(size=3))
        truth.append(compose(compose(truth[-1], step), slip))
    fixed = np.array(truth) + MARK_STDS * rng.normal(size=(len(truth), 3))
    fixed[0] = [1.0, 2.0, 0.3]
    return drive, times, travel, np.array(truth), fixed


def _fixes(fixed: np.ndarray) -> Fixes:
    covariance = np.tile(np.diag(MARK_STDS**2), (len(fixed), 1, 1))
    covariance[0] = np.diag(START_STDS**2)
    return Fixes(fixed, covariance)


def _gtsam_graph(travel: Travel, fixes: Fixes, node_of_fix: list[int]) -> gtsam.NonlinearFactorGraph:
    graph = gtsam.NonlinearFactorGraph()
    gaussian = gtsam.noiseModel.Gaussian.Covariance
    for node, pose, covariance in zip(node_of_fix, fixes.pose, fixes.covariance, strict=True):
        graph.add(gtsam.PoseTranslationPrior2D(node, gtsam.Point2(*pose[:2]), gaussian(covariance[:2, :2])))
        if np.isfinite(pose[2]):
            graph.add(gtsam.PoseRotationPrior2D(node, gtsam.Rot2(pose[2]), gaussian(covariance[2:, 2:])))
    for k, (step, covariance) in enumerate(zip(travel.displacement, travel.covariance, strict=True)):
        graph.add(gtsam.BetweenFactorPose2(k, k + 1, gtsam.Pose2(*step), gaussian(covariance)))
    return graph


def _gtsam_solution(graph: gtsam.NonlinearFactorGraph, guess: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    values = gtsam.Values()
    for node, pose in enumerate(guess):
        values.insert(node, gtsam.Pose2(*pose))
    parameters = gtsam.GaussNewtonParams()
    parameters.setRelativeErrorTol(1e-15)
    parameters.setAbsoluteErrorTol(1e-15)
    parameters.setMaxIterations(100)
    found = gtsam.GaussNewtonOptimizer(graph, values, parameters).optimize()
    solved = [found.atPose2(k) for k in range(len(guess))]
    poses = np.array([[pose.x(), pose.y(), pose.theta()] for pose in solved])
    marginals = gtsam.Marginals(graph, found)
    # gtsam's covariances are in the body frame of each pose
    covariance = np.array([rotated(marginals.marginalCovariance(k), poses[k, 2]) for k in range(len(guess))])
    return poses, covariance


def _apart(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    difference = a - b
    difference[..., 2] = wrap_angle(difference[..., 2])
    return np.abs(difference)


@pytest.mark.parametrize("seed", range(8))
def test_the_smoother_is_gtsams_batch_solution(seed):
    """gtsam 4.3 (GaussNewtonOptimizer, Marginals) with the same segment covariances; two marks have no heading."""
    rng = np.random.default_rng(100 + seed)
    _, _, travel, _, fixed = _drawn_world(seed)
    fixed[rng.choice(np.arange(1, len(fixed)), 2, replace=False), 2] = np.nan
    fixes = _fixes(fixed)
    smoothed = smooth(travel, fixes)
    assert smoothed.converged
    guess = smoothed.pose + 0.01 * rng.normal(size=smoothed.pose.shape)
    poses, covariance = _gtsam_solution(_gtsam_graph(travel, fixes, list(range(len(fixed)))), guess)
    assert _apart(poses, smoothed.pose).max() < 1e-6
    scale = np.sqrt(np.einsum("kii,kjj->kij", covariance, covariance))
    assert np.max(np.abs(covariance - smoothed.covariance) / scale) < 1e-5


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("share", [0.0001, 0.3, 0.8, 0.9999])
def test_a_pose_between_marks_is_gtsams_with_one_more_node(seed, share):
    drive, times, travel, _, fixed = _drawn_world(seed)
    fixes, first = _fixes(fixed), 4
    smoothed = smooth(travel, fixes)
    wanted = times[first] + share * (times[first + 1] - times[first])
    to_time = travel_since(drive, NOISE, times[first], np.array([wanted]))
    pose, covariance = bridged(smoothed, first, to_time, travel_since(drive, NOISE, times[first], times[[first + 1]]))
    nodes = [k if k <= first else k + 1 for k in range(len(times))]
    split = _segments(drive, np.insert(times, first + 1, wanted))
    guess = np.insert(smoothed.pose, first + 1, pose[0], axis=0)
    poses, expected = _gtsam_solution(_gtsam_graph(split, fixes, nodes), guess)
    # one long factor and its two halves differ in second order of the residuals, which are millimetres here
    assert _apart(poses[first + 1], pose[0]).max() < 2e-6
    scale = np.sqrt(np.outer(np.diag(expected[first + 1]), np.diag(expected[first + 1])))
    assert np.max(np.abs(expected[first + 1] - covariance[0]) / scale) < 1e-4


def _visits(times: np.ndarray, fixed: np.ndarray) -> MarkVisits:
    count = len(times) - 1
    return MarkVisits(
        name=tuple(f"M{k}" for k in range(1, count + 1)),
        begin_s=times[1:],
        end_s=times[1:],
        pose=fixed[1:],
        position_std_m=np.full(count, MARK_STDS[0]),
        heading_std_rad=np.full(count, MARK_STDS[2]),
    )


def _reference(drive: Motion, times: np.ndarray, fixed: np.ndarray):
    return smoothed_reference(drive, StartPose(fixed[0], np.diag(START_STDS**2)), _visits(times, fixed), NOISE)


def test_honest_odometry_fails_to_close_in_one_interval_of_twenty():
    closures = []
    for seed in range(60):
        drive, times, _, _, fixed = _drawn_world(seed)
        closures.append(_reference(drive, times, fixed).closure)
    squared = np.concatenate([closure.chi_square for closure in closures])
    freedom = np.concatenate([closure.degrees_of_freedom for closure in closures])
    count = len(squared)
    share = np.mean(np.concatenate([closure.misses for closure in closures]))
    assert abs(share - 0.05) < 4.0 * np.sqrt(0.05 * 0.95 / count)
    assert abs(squared.mean() - 3.0) < 4.0 * np.sqrt(6.0 / count)
    assert set(freedom) == {3}


def test_the_reference_is_as_sure_as_it_is_right():
    """Squared errors over their covariance, at the marks and half-way, over honest worlds."""
    squared = []
    for seed in range(100):
        drive, times, _, truth, fixed = _drawn_world(seed, fixes=4)
        found = _reference(drive, times, fixed).at(times[:-1])
        pose, covariance = found.pose, found.covariance
        error = _signed(pose - truth[:-1])
        known = np.isfinite(pose[:, 0])
        # one time per world: errors within one hang together
        row = np.flatnonzero(known)[seed % known.sum()]
        squared.append(error[row] @ np.linalg.solve(covariance[row], error[row]))
    # the scale of an interval only ever grows, so a little below 3 is expected of it
    assert 2.0 < np.mean(squared) < 3.0 + 4.0 * np.sqrt(6.0 / 100)


def _signed(difference: np.ndarray) -> np.ndarray:
    difference[:, 2] = wrap_angle(difference[:, 2])
    return difference


def _slipped(drive: Motion, at_s: float, lost: np.ndarray) -> Motion:
    twist = drive.twist.copy()
    twist[np.searchsorted(drive.time_s, at_s)] += lost
    return replace(drive, twist=twist)


def test_a_slip_breaks_its_own_interval_and_no_other():
    drive, times, _, truth, fixed = _drawn_world(3)
    healthy = _reference(drive, times, fixed)
    assert not healthy.closure.broken.any()
    slip_s = (times[4] + times[5]) / 2.0
    reference = _reference(_slipped(drive, slip_s, np.array([0.15, 0.0, 0.05])), times, fixed)
    assert np.flatnonzero(reference.closure.broken).tolist() == [4]
    pose = reference.at(np.append(times[:-1], slip_s)).pose
    assert np.isnan(pose[-1]).all()
    # the marks themselves stay as sure as they were
    assert np.max(np.linalg.norm(pose[:-1, :2] - truth[:-1, :2], axis=1)) < 0.012


def test_a_gap_breaks_the_interval_even_where_odometry_happens_to_close():
    drive, times, _, _, fixed = _drawn_world(3)
    flagged = drive.flagged.copy()
    flagged[np.searchsorted(drive.time_s, (times[2] + times[3]) / 2.0)] = True
    closure = _reference(replace(drive, flagged=flagged), times, fixed).closure
    assert np.flatnonzero(closure.broken).tolist() == [2]
    assert not closure.misses.any()


def test_on_a_mark_the_place_is_known_even_beside_a_broken_interval():
    drive, times, _, _, fixed = _drawn_world(3)
    visits = _visits(times, fixed)
    # the robot comes to rest 0.3 s after it arrives
    stays = replace(visits, begin_s=visits.begin_s - 0.3, end_s=visits.end_s + 0.2)
    lost = _slipped(drive, times[4] + 1.0, np.array([0.3, 0.0, 0.0]))
    reference = smoothed_reference(lost, StartPose(fixed[0], np.diag(START_STDS**2)), stays, NOISE)
    assert np.flatnonzero(reference.closure.broken).tolist() == [4]
    assert reference.known(times[4] + np.array([-0.1, 0.0, 0.19, 0.21])).tolist() == [True, True, True, False]


def test_nothing_is_known_after_the_last_mark():
    drive, times, _, _, fixed = _drawn_world(3)
    reference = _reference(drive, times, fixed)
    after = np.array([times[-1], times[-1] + 0.01, drive.time_s[0] - 1.0])
    assert reference.known(after).tolist() == [True, False, False]
    found = reference.at(after)
    pose, covariance = found.pose, found.covariance
    assert np.isfinite(pose[0]).all()
    assert np.isnan(pose[1:]).all()
    assert np.isnan(covariance[1:]).all()


def test_a_robot_that_never_moved_is_where_its_marks_are():
    count = 50
    still = Motion.from_increments(0.1 * np.arange(count), np.zeros((count, 3)), np.zeros(count, dtype=bool))
    fixed = np.tile([1.0, 2.0, 0.3], (3, 1))
    reference = _reference(still, np.array([0.0, 1.0, 3.0]), fixed)
    found = reference.at(np.array([0.0, 0.5, 2.0, 3.0]))
    pose, covariance = found.pose, found.covariance
    np.testing.assert_allclose(pose, np.tile(fixed[0], (4, 1)), atol=1e-12)
    # three readings of one place: a third of the variance, two of which are the marks'
    weights = 1.0 / START_STDS[0] ** 2 + 2.0 / MARK_STDS[0] ** 2
    np.testing.assert_allclose(covariance[:, 0, 0], 1.0 / weights, rtol=1e-6)


def test_marks_that_contradict_each_other_break_the_interval_between_them():
    drive, times, _, _, fixed = _drawn_world(3)
    fixed[4, :2] += [0.5, 0.0]
    assert _reference(drive, times, fixed).closure.broken[[3, 4]].all()
