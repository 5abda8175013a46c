"""The kinds that are measured from a camera: models, noise, and what tag poses mean for the robot."""

import dataclasses

import numpy as np
import pytest
from builders import START, camera_detections, detections, field, fusion, motion, sightings
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from strategies import poses

from locbench.fusion.engines import Belief, ExtendedFilter, UnscentedFilter
from locbench.geometry import wrap_angle
from locbench.odometry import dead_reckon
from locbench.session import NO_TAG, TagKind
from locbench.vision import as_robot_poses, measurement
from locbench.vision.robot_poses import robot_poses, robot_poses_slope

DRIVE = motion()
TRUTH = dead_reckon(DRIVE, START.pose)
SEEN = [TagKind.TAG_POSE, TagKind.RANGE_BEARING, TagKind.BEARING, TagKind.RANGE]
PLAIN = {
    "along_floor": "0.001 mm",
    "across_floor": "0.001 mm",
    "along_at_one_metre": "10 mm",
    "across_at_one_metre": "20 mm",
    "view_angle_growth": 0.0,
}


def _camera_distance(found, index, pose):
    """How far the camera would be from the detection's tag, along the floor."""
    where = {tag.id: np.array([tag.x, tag.y]) for tag in field().tags}[int(found.tag[index])]
    c, s = np.cos(pose[2]), np.sin(pose[2])
    x, y = found.mount[index, :2]
    return float(np.hypot(*(pose[:2] + [c * x - s * y, s * x + c * y] - where)))


@pytest.mark.parametrize("slant", [True, False])
@pytest.mark.parametrize("kind", SEEN)
@given(pose=poses(), index=st.integers(0, 7))
@settings(max_examples=40)
def test_jacobians_against_finite_differences(kind, slant, pose, index):
    found = dataclasses.replace(camera_detections(kind, DRIVE, TRUTH, count=8), slant=slant)
    assume(_camera_distance(found, index, pose) > 0.3)
    one = measurement(sightings(found, fusion()), index)
    step = 1e-6
    columns = [one.residual(one.predict(pose + step * e), one.predict(pose - step * e)) / (2 * step) for e in np.eye(3)]
    np.testing.assert_allclose(one.jacobian(pose), np.column_stack(columns), rtol=1e-5, atol=2e-7)


@pytest.mark.parametrize("kind", SEEN)
def test_the_expected_value_is_what_a_camera_without_errors_says(kind):
    """The builder works with scipy's rotations of the whole line in space, the model with its own."""
    noisy = detections(DRIVE, TRUTH, count=8, seed=6)
    found = sightings(camera_detections(kind, DRIVE, TRUTH, count=8), fusion())
    for i in range(8):
        one = measurement(found, i)
        np.testing.assert_allclose(one.residual(one.value, one.predict(noisy.value[i])), 0.0, atol=1e-12)


@pytest.mark.parametrize("kind", SEEN)
def test_at_the_tag_itself_everything_stays_finite(kind):
    found = camera_detections(kind, DRIVE, TRUTH, count=2)
    found = dataclasses.replace(found, mount=np.zeros((2, 6)))
    seen = sightings(found, fusion())
    here = np.array([*seen.tag_position_m[0, :2], 0.4])
    one = measurement(dataclasses.replace(seen, covariance=seen.covariance * np.nan), 0, here)
    assert np.all(np.isfinite(one.predict(here)))
    assert np.all(np.isfinite(one.jacobian(here)))
    assert kind is not TagKind.BEARING or np.all(np.isfinite(one.covariance))


def test_tag_poses_err_along_and_across_the_cameras_own_line_of_sight():
    found = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=10)
    seen = sightings(found, fusion(tag_noise={**PLAIN, "heading_floor": "2 deg", "heading_at_one_metre": "0 deg"}))
    for i in range(10):
        line = found.value[i, :2] - found.mount[i, :2]
        distance = np.linalg.norm(line)
        along, across = line / distance, np.array([-line[1], line[0]]) / distance
        block = seen.covariance[i, :2, :2]
        assert along @ block @ along == pytest.approx((0.01 * distance**2) ** 2, rel=1e-6)
        assert across @ block @ across == pytest.approx((0.02 * distance) ** 2, rel=1e-6)
        assert along @ block @ across == pytest.approx(0.0, abs=1e-12)
        assert seen.covariance[i, 2, 2] == pytest.approx(np.radians(2.0) ** 2)


def test_ranges_and_bearings_have_their_own_noise():
    noise = {
        "range_floor": "3 mm",
        "range_per_metre": "4 mm",
        "range_at_one_metre": "12 mm",
        "bearing_floor": "0.03 rad",
        "bearing_offset": "80 mm",
        "view_angle_growth": 1.0,
    }
    found = camera_detections(TagKind.RANGE_BEARING, DRIVE, TRUTH, count=2)
    found = dataclasses.replace(found, range_m=np.array([1.0, 2.0]), view_angle_rad=np.array([np.nan, np.pi / 2]))
    one, far = sightings(found, fusion(tag_noise=noise)).covariance
    # 3-4-12-13 and 3-4-5 in thousandths and hundredths
    np.testing.assert_allclose(one, np.diag([0.013**2, 0.03**2 + 0.08**2]), rtol=1e-12)
    np.testing.assert_allclose(far, 4 * np.diag([9e-6 + 64e-6 + 48e-3**2, 0.05**2]), rtol=1e-12)


def test_a_bearing_without_a_range_takes_the_one_that_is_believed():
    noise = {"bearing_floor": "0.03 rad", "bearing_offset": "80 mm", "view_angle_growth": 0.0}
    found = camera_detections(TagKind.BEARING, DRIVE, TRUTH, count=2)
    found = dataclasses.replace(found, range_m=np.array([2.0, np.nan]))
    seen = sightings(found, fusion(tag_noise=noise))
    pose = np.array([1.5, 1.5, 0.7])
    assert measurement(seen, 0, pose).covariance[0, 0] == pytest.approx(0.05**2)
    distance = _camera_distance(found, 1, pose)
    assert measurement(seen, 1, pose).covariance[0, 0] == pytest.approx(0.03**2 + (0.08 / distance) ** 2)
    assert np.isnan(measurement(seen, 1).covariance[0, 0])


@pytest.mark.parametrize(("correlation", "share"), [("100 %", 1.0), ("0 %", 0.25), ("40 %", 0.55)])
def test_several_tags_shrink_the_noise_as_far_as_their_errors_differ(correlation, share):
    """The mean of four equally uncertain values of correlation c has c + (1 - c)/4 of one's variance."""
    found = dataclasses.replace(detections(DRIVE, TRUTH, count=3), tag_count=np.array([1, 4, 1]))
    alone = sightings(found, fusion()).covariance
    shared = sightings(found, fusion(tag_noise={"correlation_between_tags": correlation})).covariance
    np.testing.assert_allclose(shared, alone * np.array([1.0, share, 1.0])[:, np.newaxis, np.newaxis], rtol=1e-12)


def test_the_mean_of_equally_correlated_errors_has_that_variance():
    """Against samples, drawn with the correlation by a Cholesky factor."""
    factor = np.linalg.cholesky(0.4 + 0.6 * np.eye(4))
    means = (np.random.default_rng(1).normal(size=(200_000, 4)) @ factor.T).mean(axis=1)
    assert np.var(means) == pytest.approx(0.55, rel=0.02)


def test_a_fix_from_several_tags_counts_from_their_mean_distance_towards_their_middle():
    found = dataclasses.replace(
        detections(DRIVE, TRUTH, count=2),
        value=np.array([[1.0, 1.0, 0.0]] * 2),
        range_m=np.full(2, np.nan),
        tag=np.array([1, 1]),
        other_tags=np.array([[4], [NO_TAG]]),
        tag_count=np.array([2, 1]),
    )
    both, one = sightings(found, fusion(tag_noise=PLAIN)).covariance
    # tags 1 at (4, 1) and 4 at (2, 0): 3 m and sqrt 2 m away, the middle at (3, 0.5)
    assert np.sqrt(np.linalg.eigvalsh(one[:2, :2])) == pytest.approx([0.06, 0.09], rel=1e-6)
    distance = (3 + np.sqrt(2)) / 2
    towards = np.array([2.0, -0.5]) / np.hypot(2.0, 0.5)
    assert towards @ both[:2, :2] @ towards == pytest.approx((0.01 * distance**2) ** 2, rel=1e-6)


@pytest.mark.parametrize("kind", [TagKind.ROBOT_POSE, *SEEN])
def test_the_logs_own_spread_is_used_where_there_is_one(kind):
    robot = kind is TagKind.ROBOT_POSE
    found = detections(DRIVE, TRUTH, count=3) if robot else camera_detections(kind, DRIVE, TRUTH, count=3)
    size = found.value.shape[1]
    own = np.tile(np.diag([0.04, 0.05, 0.06][:size]), (3, 1, 1))
    own[1] = np.nan
    found = dataclasses.replace(found, own_covariance=own, range_m=np.full(3, 2.0))
    modelled = sightings(found, fusion()).covariance
    used = sightings(found, fusion(tag_noise={"source": "log", "scale": 3.0})).covariance
    np.testing.assert_allclose(used[[0, 2]], 9 * own[[0, 2]], rtol=1e-12)
    np.testing.assert_array_equal(used[1], modelled[1])


def test_a_component_the_log_has_no_spread_of_takes_the_models():
    own = np.tile(np.diag([0.04, 0.05, np.nan]), (2, 1, 1))
    found = dataclasses.replace(detections(DRIVE, TRUTH, count=2), own_covariance=own)
    modelled = sightings(found, fusion()).covariance
    used = sightings(found, fusion(tag_noise={"source": "log"})).covariance
    np.testing.assert_allclose(used[:, :2, :2], own[:, :2, :2])
    np.testing.assert_allclose(used[:, 2, 2], modelled[:, 2, 2])


def test_an_unused_heading_leaves_the_tags_place():
    found = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=2)
    one = measurement(sightings(found, fusion(correction={"use_heading": False})), 0)
    assert one.value.shape == (2,)
    # where the tag is still depends on the heading
    assert np.abs(one.jacobian(np.array([1.0, 1.0, 0.3]))[:, 2]).max() > 0.1


def test_tag_poses_with_a_heading_give_robot_poses():
    found = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=6)
    headless = found.value.copy()
    headless[2, 2] = np.nan
    given = as_robot_poses(dataclasses.replace(found, value=headless), field())
    expected = np.delete(detections(DRIVE, TRUTH, count=6, seed=6).value, 2, axis=0)
    assert given.kind is TagKind.ROBOT_POSE
    assert given.row.tolist() == [1, 2, 4, 5, 6]
    np.testing.assert_allclose(given.value[:, :2], expected[:, :2], atol=1e-12)
    np.testing.assert_allclose(wrap_angle(given.value[:, 2] - expected[:, 2]), 0.0, atol=1e-12)


@pytest.mark.parametrize("mode", ["kalman", "replace"])
@pytest.mark.parametrize("use_heading", [True, False])
def test_fixes_are_the_robot_poses_that_tag_poses_mean(mode, use_heading):
    """The error of a heading that is not used still moves the place."""
    config = fusion(correction={"mode": mode, "use_heading": use_heading})
    found = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=6)
    prepared, meant = sightings(found, config), detections(DRIVE, TRUTH, count=6, seed=6).value
    np.testing.assert_allclose(prepared.fix[:, :2], meant[:, :2], atol=1e-12)
    turned = wrap_angle(prepared.fix[:, 2] - meant[:, 2])
    np.testing.assert_allclose(turned, 0.0 if use_heading else np.nan, atol=1e-12)
    on_robot = sightings(found, fusion()).covariance
    for i, tag in enumerate(found.tag):
        place = next(known for known in field().tags if known.id == tag)
        slope = robot_poses_slope(found.value[i : i + 1], np.array([[place.x, place.y, place.facing]]))[0]
        np.testing.assert_allclose(prepared.fix_covariance[i], slope @ on_robot[i] @ slope.T, rtol=1e-9, atol=1e-15)


def test_fixes_of_robot_poses_are_themselves_and_other_kinds_mean_none():
    found = detections(DRIVE, TRUTH, count=6)
    for use_heading in (True, False):
        prepared = sightings(found, fusion(correction={"use_heading": use_heading}))
        np.testing.assert_array_equal(prepared.fix, prepared.detections.value)
        np.testing.assert_array_equal(prepared.fix_covariance, prepared.covariance)
    seen = sightings(camera_detections(TagKind.BEARING, DRIVE, TRUTH, count=6), fusion())
    assert np.all(np.isnan(seen.fix))
    assert seen.fix.shape == (6, 3)
    assert np.all(np.isnan(seen.fix_covariance))


@pytest.mark.parametrize("kind", SEEN)
def test_other_detections_give_no_robot_pose(kind):
    found = camera_detections(kind, DRIVE, TRUTH, count=3)
    assert as_robot_poses(dataclasses.replace(found, value=found.value * np.nan), field()) is None


@given(poses(), poses())
def test_errors_of_a_tag_pose_carry_over_to_the_robot_pose(on_robot, on_field):
    step = 1e-6
    moved = [
        robot_poses(np.array([on_robot + s * step * e]), on_field[np.newaxis])[0] for e in np.eye(3) for s in (1, -1)
    ]
    columns = [(moved[2 * i] - moved[2 * i + 1]) / (2 * step) for i in range(3)]
    slope = robot_poses_slope(on_robot[np.newaxis], on_field[np.newaxis])[0]
    np.testing.assert_allclose(slope, np.column_stack(columns), atol=1e-6)


@given(st.integers(0, 5), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-0.3, 0.3))
@settings(max_examples=30)
def test_a_whole_tag_pose_corrects_like_the_robot_pose_it_means_when_noise_is_small(index, dx, dy, turn):
    """With noise that shrinks as e, the two answers differ as e^2: what is left is the curvature of the model."""
    seen = sightings(camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=6), fusion(correction={"mode": "kalman"}))
    meant = sightings(seen.detections, fusion(correction={"mode": "replace"}))
    where = measurement(meant, index).value
    belief = np.array([dx, dy, turn]), np.array([[0.04, 0.01, 0.003], [0.01, 0.05, -0.002], [0.003, -0.002, 0.01]])
    for shrink in (1e-2, 1e-3):
        start = Belief(where + shrink * belief[0], shrink**2 * belief[1])
        answers = []
        for kind in (seen, meant):
            one = measurement(dataclasses.replace(kind, covariance=shrink**2 * kind.covariance), index)
            answers.append(ExtendedFilter().update(start, one))
        np.testing.assert_allclose(answers[0].mean, answers[1].mean, atol=5 * shrink**2)
        np.testing.assert_allclose(answers[0].covariance, answers[1].covariance, atol=2 * shrink**3)


def test_bearings_straight_behind_are_averaged_round_the_short_way():
    """Sigma points on both sides of the half turn: a plain mean would point the other way."""
    found = camera_detections(TagKind.BEARING, DRIVE, TRUTH, count=1)
    found = dataclasses.replace(found, mount=np.zeros((1, 6)), tag=np.array([2]), value=np.array([[np.pi - 0.01]]))
    one = measurement(sightings(dataclasses.replace(found, range_m=np.array([3.0])), fusion()), 0)
    # tag 2 at (0, 3) lies straight behind
    belief = Belief(np.array([3.0, 3.0, 0.0]), np.diag([1e-4, 1e-2, 1e-2]))
    innovations = [steps.innovation(belief, one) for steps in (ExtendedFilter(), UnscentedFilter())]
    np.testing.assert_allclose(innovations[1].residual, [-0.01], atol=1e-4)
    np.testing.assert_allclose(innovations[1].residual, innovations[0].residual, atol=1e-4)
    np.testing.assert_allclose(innovations[1].covariance, innovations[0].covariance, rtol=0.01)
