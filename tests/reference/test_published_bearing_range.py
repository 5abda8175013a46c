"""Range and bearing corrections against gtsam's factors: a prior holds the landmarks, so that only poses move."""

import dataclasses

import gtsam
import numpy as np
import pytest
from builders import camera_detections, motion

from locbench.config import FieldConfig, FusionConfig
from locbench.fusion.engines import Belief, ExtendedFilter
from locbench.geometry import compose, exponential
from locbench.odometry.reckoning import rotated
from locbench.session import TagKind
from locbench.vision import measurement, prepare_sightings

STEP, STEP_SIGMAS = np.array([2.0, 0.0, 0.0]), np.array([0.2, 0.2, 0.1])
PRIOR_SIGMAS = np.array([0.3, 0.3, 0.1])
# bearing and range sigmas of the PlanarSLAM example
BEARING_SIGMA, RANGE_SIGMA = 0.1, 0.2
LANDMARKS = {1: (2.0, 2.0), 2: (4.0, 2.0)}
FIELD = FieldConfig.model_validate(
    {
        "name": "landmarks",
        "floor": {"x_from": "0 m", "x_to": "9 m", "y_from": "0 m", "y_to": "9 m"},
        "tags": [{"id": i, "x": f"{x} m", "y": f"{y} m"} for i, (x, y) in LANDMARKS.items()],
    }
)
FUSION = FusionConfig.model_validate(
    {
        "name": "f",
        "tag_noise": {
            "range_floor": f"{RANGE_SIGMA} m",
            "bearing_floor": f"{BEARING_SIGMA} rad",
            "bearing_offset": "0 m",
            "view_angle_growth": 0.0,
        },
    }
)
MODELS = {
    "prior": gtsam.noiseModel.Diagonal.Sigmas(PRIOR_SIGMAS),
    "step": gtsam.noiseModel.Diagonal.Sigmas(STEP_SIGMAS),
    "seen": gtsam.noiseModel.Diagonal.Sigmas(np.array([BEARING_SIGMA, RANGE_SIGMA])),
    "fast": gtsam.noiseModel.Diagonal.Sigmas(np.array([1e-6, 1e-6])),
}


def _seen_from(pose, tag):
    line = np.array(LANDMARKS[tag]) - pose[:2]
    return float(np.arctan2(line[1], line[0]) - pose[2]), float(np.hypot(*line))


def _marginals(poses, sighted, landmarks_fast):
    """gtsam's marginals for a chain of poses that see a landmark each, everything at its expected value."""
    graph, values = gtsam.NonlinearFactorGraph(), gtsam.Values()
    graph.add(gtsam.PriorFactorPose2(0, gtsam.Pose2(*poses[0]), MODELS["prior"]))
    for i, pose in enumerate(poses):
        values.insert(i, gtsam.Pose2(*pose))
        if i:
            step = gtsam.Pose2(*poses[i - 1]).between(gtsam.Pose2(*pose))
            graph.add(gtsam.BetweenFactorPose2(i - 1, i, step, MODELS["step"]))
    for tag, place in LANDMARKS.items():
        values.insert(100 + tag, np.array(place))
        if landmarks_fast:
            graph.add(gtsam.PriorFactorPoint2(100 + tag, np.array(place), MODELS["fast"]))
    for i, tag in sighted:
        bearing, distance = _seen_from(poses[i], tag)
        graph.add(gtsam.BearingRangeFactor2D(i, 100 + tag, gtsam.Rot2(bearing), distance, MODELS["seen"]))
    return gtsam.Marginals(graph, values)


def _filtered(twists, poses, sighted):
    """The same chain through our own reader's values, models and filter."""
    steps, belief = ExtendedFilter(), Belief(poses[0], np.diag(PRIOR_SIGMAS**2))
    for i, pose in enumerate(poses):
        if i:
            # gtsam's step noise is in the frame of the step's end
            noise = rotated(np.diag(STEP_SIGMAS**2), np.array(exponential(twists[i - 1])[2]))
            belief = steps.predict(belief, twists[i - 1], noise)
        for tag in [tag for at, tag in sighted if at == i]:
            bearing, distance = _seen_from(pose, tag)
            one = camera_detections(TagKind.RANGE_BEARING, motion(), np.zeros((60, 3)), count=1)
            one = dataclasses.replace(
                one,
                tag=np.array([tag]),
                value=np.array([[distance, bearing]]),
                range_m=np.array([distance]),
                mount=np.zeros((1, 6)),
            )
            belief = steps.update(belief, measurement(prepare_sightings(one, FIELD, FUSION), 0))
    return belief


PLANAR_SLAM = [(0, 1), (1, 1), (2, 2)]


def test_the_graph_is_the_published_one_while_the_landmarks_are_free():
    """PlanarSLAM of the gtsam tutorial, its three sightings from memory; computed by gtsam and an own information
    matrix: x2 xx .12096774 yy .15838710 tt .01774194, x3 xx .16096774 yy .35193548 tt .02774194."""
    poses = np.array([[0.0, 0, 0], [2, 0, 0], [4, 0, 0]])
    marginals = _marginals(poses, PLANAR_SLAM, landmarks_fast=False)
    for key, expected in {1: [0.12096774, 0.15838710, 0.01774194], 2: [0.16096774, 0.35193548, 0.02774194]}.items():
        np.testing.assert_allclose(np.diag(marginals.marginalCovariance(key)), expected, atol=1e-8)


def test_with_known_landmarks_the_filter_knows_what_the_graph_knows_of_its_last_pose():
    poses = np.array([[0.0, 0, 0], [2, 0, 0], [4, 0, 0]])
    expected = _marginals(poses, PLANAR_SLAM, landmarks_fast=True).marginalCovariance(2)
    belief = _filtered([STEP, STEP], poses, PLANAR_SLAM)
    np.testing.assert_allclose(belief.mean, poses[2], atol=1e-12)
    np.testing.assert_allclose(belief.covariance, expected, atol=1e-8)


@pytest.mark.parametrize("heading", [0.4, -2.8])
def test_also_with_turns_and_several_sightings(heading):
    """Equal noise ahead and aside makes gtsam's body frame noise ours; its marginals are turned to the field."""
    twists = np.array([[1.0, 0.2, 0.4], [0.5, -0.3, -1.2], [2.0, 0.0, np.pi / 2]])
    poses = [np.array([1.0, 0.5, heading])]
    for twist in twists:
        poses.append(compose(poses[-1], exponential(twist)))
    poses = np.array(poses)
    sighted = [(0, 1), (1, 2), (2, 1), (2, 2), (3, 1)]
    body = _marginals(poses, sighted, landmarks_fast=True).marginalCovariance(3)
    belief = _filtered(twists, poses, sighted)
    np.testing.assert_allclose(belief.mean, poses[3], atol=1e-12)
    np.testing.assert_allclose(belief.covariance, rotated(body, np.array(poses[3][2])), atol=1e-8)
