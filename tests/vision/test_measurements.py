import dataclasses

import numpy as np
import pytest
from builders import START, detections, fusion, motion, range_detections, sightings
from hypothesis import given
from strategies import poses

from locbench.odometry import dead_reckon
from locbench.vision import measurement

DRIVE = motion()
TRUTH = dead_reckon(DRIVE, START.pose)


@given(poses())
@pytest.mark.parametrize("make", [detections, range_detections])
def test_jacobians_against_finite_differences(make, pose):
    found = measurement(sightings(make(DRIVE, TRUTH, count=3), fusion()), 0)
    step = 1e-6
    columns = [(found.predict(pose + step * e) - found.predict(pose - step * e)) / (2 * step) for e in np.eye(3)]
    np.testing.assert_allclose(found.jacobian(pose), np.column_stack(columns), atol=1e-7)


def test_residuals_of_headings_take_the_short_way_round():
    found = measurement(sightings(detections(DRIVE, TRUTH, count=3), fusion()), 0)
    residual = found.residual(np.array([1.0, 2.0, np.pi - 0.01]), np.array([1.0, 2.0, -np.pi + 0.01]))
    np.testing.assert_allclose(residual, [0, 0, -0.02], atol=1e-12)


def test_noise_lies_along_and_across_the_line_of_sight():
    noise = {
        "along_floor": "30 mm",
        "along_at_one_metre": "0 mm",
        "across_floor": "10 mm",
        "across_at_one_metre": "0 mm",
        "view_angle_growth": 0.0,
    }
    found = detections(DRIVE, TRUTH, count=20)
    covariance = sightings(found, fusion(tag_noise=noise)).covariance
    seen = sightings(found, fusion(tag_noise=noise))
    for i in range(20):
        line = seen.tag_position_m[i, :2] - found.value[i, :2]
        along = line / np.linalg.norm(line)
        across = np.array([-along[1], along[0]])
        assert along @ covariance[i, :2, :2] @ along == pytest.approx(0.03**2)
        assert across @ covariance[i, :2, :2] @ across == pytest.approx(0.01**2)
        assert along @ covariance[i, :2, :2] @ across == pytest.approx(0.0, abs=1e-15)


def test_noise_grows_with_the_square_of_range_along_and_linearly_across():
    """Range from the size of a tag's image: its error grows with the square of range (pinhole geometry)."""
    noise = {
        "along_floor": "0.001 mm",
        "along_at_one_metre": "10 mm",
        "across_floor": "0.001 mm",
        "across_at_one_metre": "10 mm",
        "view_angle_growth": 1.0,
    }
    found = detections(DRIVE, TRUTH, count=2)
    near_far = dataclasses.replace(
        found,
        range_m=np.array([1.0, 3.0]),
        view_angle_rad=np.zeros(2),
        value=np.repeat(found.value[:1], 2, axis=0),
        tag=np.repeat(found.tag[:1], 2),
    )
    covariance = sightings(near_far, fusion(tag_noise=noise)).covariance
    near, far = (np.sqrt(np.linalg.eigvalsh(c[:2, :2])) for c in covariance)
    np.testing.assert_allclose(near, [0.01, 0.01], rtol=1e-6)
    np.testing.assert_allclose(far, [0.03, 0.09], rtol=1e-6)
    angled = dataclasses.replace(near_far, view_angle_rad=np.array([0.0, np.pi / 2]), range_m=np.ones(2))
    covariance = sightings(angled, fusion(tag_noise=noise)).covariance
    np.testing.assert_allclose(covariance[1], 4 * covariance[0], rtol=1e-9)


def test_an_unused_or_missing_heading_leaves_the_position():
    found = detections(DRIVE, TRUTH, count=3)
    without = dataclasses.replace(found, value=found.value * [1, 1, np.nan])
    for seen in (sightings(without, fusion()), sightings(found, fusion(correction={"use_heading": False}))):
        assert measurement(seen, 1).value.shape == (2,)


def test_a_slant_range_includes_the_height_and_the_lever_arm():
    found = range_detections(DRIVE, TRUTH, count=3)
    seen = sightings(found, fusion())
    one = measurement(seen, 0)
    assert one.predict(np.zeros(3))[0] == pytest.approx(np.linalg.norm(found.mount[0, :3] - seen.tag_position_m[0]))
    flat = measurement(sightings(dataclasses.replace(found, slant=False), fusion()), 0)
    assert flat.predict(np.zeros(3))[0] == pytest.approx(
        np.linalg.norm(found.mount[0, :2] - seen.tag_position_m[0, :2])
    )
