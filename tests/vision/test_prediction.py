"""Many detections predicted at once: against the filters' measurement models, and with a camera that sits elsewhere."""

import dataclasses

import numpy as np
import pytest
from builders import START, camera_detections, detections, field, fusion, motion, sightings

from locbench.geometry import compose, inverse, wrap_angle
from locbench.odometry import dead_reckon
from locbench.session import TagKind
from locbench.vision import as_robot_poses, measurement, mount_error, predicted_values, tag_places

DRIVE = motion()
TRUTH = dead_reckon(DRIVE, START.pose)
SEEN = [TagKind.TAG_POSE, TagKind.RANGE_BEARING, TagKind.BEARING, TagKind.RANGE]


def _poses(count: int) -> np.ndarray:
    rng = np.random.default_rng(8)
    return np.column_stack([rng.uniform(0.5, 3.5, (count, 2)), rng.uniform(-3.0, 3.0, count)])


@pytest.mark.parametrize("slant", [True, False])
@pytest.mark.parametrize("kind", SEEN)
def test_equals_the_measurement_models_of_the_filters(kind, slant):
    found = dataclasses.replace(camera_detections(kind, DRIVE, TRUTH, count=12), slant=slant)
    poses, models = _poses(12), sightings(found, fusion())
    value = predicted_values(found, tag_places(found, field())[:, 0], poses, found.mount, found.mount)
    for i in range(12):
        one = measurement(models, i)
        np.testing.assert_allclose(one.residual(value[i], one.predict(poses[i])), 0.0, atol=1e-12)


def test_a_robot_pose_is_the_pose_itself():
    found = detections(DRIVE, TRUTH, count=5)
    poses = _poses(5)
    value = predicted_values(found, tag_places(found, field())[:, 0], poses, found.mount, found.mount)
    np.testing.assert_allclose(value, poses, atol=1e-12)


def test_both_pose_kinds_mean_the_same_robot_pose_when_the_camera_sits_elsewhere():
    """A robot pose with a wrong mount, and a tag pose with the same wrong mount brought to the robot, agree."""
    tag_poses = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=9)
    tags, poses = tag_places(tag_poses, field())[:, 0], _poses(9)
    real = tag_poses.mount + np.array([0.02, -0.01, 0.0, 0.03, 0.0, 0.0])
    on_robot = predicted_values(tag_poses, tags, poses, tag_poses.mount, real)
    meant = as_robot_poses(dataclasses.replace(tag_poses, value=on_robot), field())
    robot_pose = dataclasses.replace(tag_poses, kind=TagKind.ROBOT_POSE)
    logged = predicted_values(robot_pose, tags, poses, tag_poses.mount, real)
    np.testing.assert_allclose(meant.value[:, :2], logged[:, :2], atol=1e-12)
    np.testing.assert_allclose(wrap_angle(meant.value[:, 2] - logged[:, 2]), 0.0, atol=1e-12)


def test_what_the_real_camera_sees_is_put_where_the_believed_one_sits():
    """From first principles: the tag in the picture, times the mount as believed, is its pose on the robot."""
    found = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=7)
    tags, poses = tag_places(found, field())[:, 0], _poses(7)
    nominal = np.zeros((7, 6))
    nominal[:, [0, 1, 3]] = [0.1, 0.02, 0.1]
    real = np.zeros((7, 6))
    real[:, [0, 1, 3]] = [0.13, -0.01, 0.15]
    in_picture = compose(inverse(compose(poses, real[:, [0, 1, 3]])), tags[:, [0, 1, 3]])
    expected = compose(nominal[:, [0, 1, 3]], in_picture)
    value = predicted_values(found, tags, poses, nominal, real)
    np.testing.assert_allclose(value[:, :2], expected[:, :2], atol=1e-12)
    np.testing.assert_allclose(wrap_angle(value[:, 2] - expected[:, 2]), 0.0, atol=1e-12)


def test_the_error_of_a_mount_carries_the_believed_one_onto_the_real_one():
    nominal, real = np.array([0.1, 0.0, 0.3, 0.2, 0.0, 0.0]), np.array([0.12, -0.02, 0.3, 0.25, 0.0, 0.0])
    carried = compose(mount_error(nominal, real), nominal[[0, 1, 3]])
    np.testing.assert_allclose(carried, real[[0, 1, 3]], atol=1e-15)
