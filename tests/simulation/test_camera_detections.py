import math
from collections import Counter

import numpy as np
import pytest

from locbench.config.field import Tag
from locbench.config.robot import CameraMount
from locbench.config.scenario import CameraErrors, TrueTagOffset
from locbench.simulation.camera import detect_tags
from locbench.simulation.streams import random_streams
from locbench.simulation.visibility import true_tags

MOUNT = CameraMount.model_validate({"x": "150 mm", "y": "20 mm", "z": "350 mm", "yaw": "10 deg"})
PLACES = [(1, 4.0, 1.0, 180.0), (2, 4.0, 3.0, 170.0), (5, 1.0, 4.0, -90.0), (7, 0.0, 2.0, 0.0), (9, 2.0, 0.0, 90.0)]
TAGS = [
    Tag.model_validate({"id": i, "x": f"{x} m", "y": f"{y} m", "z": "400 mm", "facing": f"{facing} deg"})
    for i, x, y, facing in PLACES
]


def _errors(**changes):
    wide = {"mount": "front", "frame_period": "20 ms", "field_of_view": "70 deg", "maximum_range": "3.5 m"}
    return CameraErrors.model_validate(wide | {"maximum_view_angle": "65 deg"} | changes)


def _detect(motion, duration_s=60.0, seed=4, mapped=TAGS, real=TAGS, mount=MOUNT, **changes):
    streams = random_streams(seed, []).camera
    return detect_tags(motion, duration_s, mount, mapped, real, _errors(**changes), streams)


@pytest.fixture
def tour(screw):
    """Two slow circles round the middle of the floor, the camera looking outwards and inwards by turns."""
    return screw((2.9, 2.0, 1.2), 0.25, -0.1, 0.21)


def _geometry(motion, detections):
    """Return range, signed view angle and bearing in the camera of each detection, worked out with complex numbers."""
    poses = motion.pose_at(detections.captured_s)
    at = {i: (complex(x, y), math.radians(facing)) for i, x, y, facing in PLACES}
    tag = np.array([at[i][0] for i in detections.tag])
    facing = np.array([at[i][1] for i in detections.tag])
    heading = np.exp(1j * poses[:, 2])
    camera = poses[:, 0] + 1j * poses[:, 1] + complex(0.150, 0.020) * heading
    towards_camera = camera - tag
    view = np.angle(towards_camera * np.exp(-1j * facing))
    bearing = np.angle(-towards_camera / heading * np.exp(-1j * math.radians(10.0)))
    return np.abs(towards_camera), view, bearing


def test_without_errors_every_detection_gives_the_true_pose(tour):
    found = _detect(tour)
    assert len(found.tag) > 1000
    assert set(found.tag) == {1, 2, 5, 7, 9}
    truth = tour.pose_at(found.captured_s)
    np.testing.assert_allclose(found.readings.pose[:, :2], truth[:, :2], atol=1e-12)
    np.testing.assert_allclose(np.cos(found.readings.pose[:, 2] - truth[:, 2]), 1.0, atol=1e-12)
    distance, view, _ = _geometry(tour, found)
    np.testing.assert_allclose(found.readings.range_m, distance, atol=1e-12)
    np.testing.assert_allclose(found.readings.view_angle_rad, np.abs(view), atol=1e-12)
    np.testing.assert_array_equal(found.arrived_s, found.captured_s)


def test_nothing_is_seen_outside_the_picture_beyond_the_range_or_from_behind(tour):
    found = _detect(tour)
    distance, view, bearing = _geometry(tour, found)
    assert np.abs(bearing).max() <= math.radians(35.0)
    assert np.abs(bearing).max() > math.radians(34.0)
    assert np.abs(view).max() <= math.radians(65.0)
    assert np.abs(view).max() > math.radians(64.0)
    assert distance.min() >= 0.2
    assert 3.4 < distance.max() <= 3.5


def test_every_tag_in_view_is_seen_in_every_frame(screw):
    # straight before the camera, nothing else in its picture
    still = screw((2.5, 0.98, math.radians(-10.0)), 0.0, 0.0, 0.0)
    found = _detect(still, duration_s=10.0)
    assert set(found.tag) == {1}
    assert len(found.tag) == 500


def test_a_tag_above_the_picture_is_not_seen(screw):
    # 150 mm beside the mount's height at 0.5 m is 16.7 deg up
    still = screw((3.35, 0.87, 0.0), 0.0, 0.0, 0.0)
    mount = CameraMount.model_validate({"x": "150 mm", "y": "130 mm", "z": "250 mm"})
    up = CameraMount.model_validate({"x": "150 mm", "y": "130 mm", "z": "250 mm", "pitch": "-20 deg"})
    assert len(_detect(still, 1.0, mount=mount, vertical_field_of_view="35 deg").tag) == 50
    assert len(_detect(still, 1.0, mount=mount, vertical_field_of_view="33 deg").tag) == 0
    assert len(_detect(still, 1.0, mount=up, vertical_field_of_view="10 deg").tag) == 50


def test_a_tag_that_hangs_elsewhere_shifts_the_pose_computed_with_the_map(screw):
    still = screw((2.5, 0.98, math.radians(-10.0)), 0.0, 0.0, 0.0)
    offset = TrueTagOffset.model_validate({"id": 1, "dx": "-20 mm", "dy": "30 mm"})
    found = _detect(still, 2.0, real=true_tags(TAGS, [offset]))
    np.testing.assert_allclose(found.readings.pose[:, 0], 2.5 + 0.02, atol=1e-12)
    np.testing.assert_allclose(found.readings.pose[:, 1], 0.98 - 0.03, atol=1e-12)
    turned = TrueTagOffset.model_validate({"id": 1, "turn": "2 deg"})
    found = _detect(still, 2.0, real=true_tags(TAGS, [turned]))
    np.testing.assert_allclose(found.readings.pose[:, 2], math.radians(-12.0), atol=1e-12)


@pytest.mark.parametrize(("x_m", "y_m"), [(2.7, 1.0), (0.85, 1.0), (2.9, 2.2)])
def test_noise_has_the_stated_spread_along_and_across_the_line_of_sight_and_in_heading(screw, x_m, y_m):
    mount = CameraMount.model_validate({})
    still = screw((x_m, y_m, math.atan2(1.0 - y_m, 4.0 - x_m)), 0.0, 0.0, 0.0)
    noise = {
        "along_floor": "10 mm",
        "along_at_one_metre": "5 mm",
        "across_floor": "4 mm",
        "across_at_one_metre": "7 mm",
        "heading_floor": "0.5 deg",
        "heading_at_one_metre": "0.4 deg",
        "view_angle_growth": 1.5,
    }
    found = _detect(still, 80.0, mount=mount, noise=noise, field_of_view="5 deg")
    assert set(found.tag) == {1}
    count = len(found.tag)
    line = complex(x_m - 4.0, y_m - 1.0)
    distance = abs(line)
    growth = 1.0 + 1.5 * (line.imag / distance) ** 2
    error = (found.readings.pose[:, 0] - x_m + 1j * (found.readings.pose[:, 1] - y_m)) * np.conj(line) / distance
    heading = found.readings.pose[:, 2] - still.start[2]
    bound = 6.0 / math.sqrt(2.0 * count)
    for values, floor, grown in [
        (error.real, 0.010, 0.005 * distance**2),
        (error.imag, 0.004, 0.007 * distance),
        (heading, math.radians(0.5), math.radians(0.4) * distance),
    ]:
        std = growth * math.sqrt(floor**2 + grown**2)
        assert np.std(values) == pytest.approx(std, rel=bound)
        assert abs(np.mean(values)) < 6.0 * std / math.sqrt(count)
    # the reported range carries the same error as the pose
    np.testing.assert_allclose(found.readings.range_m, np.hypot(distance + error.real, error.imag), atol=1e-12)


def test_flips_appear_at_their_share_and_rather_far_and_face_on(tour):
    found = _detect(tour, duration_s=600.0, flips="5 %")
    count = len(found.tag)
    assert np.sum(found.flipped) == pytest.approx(0.05 * count, abs=6.0 * math.sqrt(0.05 * count))
    distance, view, _ = _geometry(tour, found)
    towards = {"far": distance, "face on": -np.abs(view)}
    for name, measure in towards.items():
        upper = measure > np.median(measure)
        assert np.mean(found.flipped[upper]) > 1.2 * np.mean(found.flipped[~upper]), name


def test_a_flip_keeps_range_and_bearing_and_mirrors_the_view_angle(tour):
    found = _detect(tour, flips="100 %")
    flipped = found.flipped
    assert np.sum(flipped) > 500
    distance, view, bearing = _geometry(tour, found)
    at = {i: (complex(x, y), math.radians(facing)) for i, x, y, facing in PLACES}
    tag = np.array([at[i][0] for i in found.tag])
    facing = np.array([at[i][1] for i in found.tag])
    heading = np.exp(1j * found.readings.pose[:, 2])
    camera = found.readings.pose[:, 0] + 1j * found.readings.pose[:, 1] + complex(0.150, 0.020) * heading
    believed_view = np.angle((camera - tag) * np.exp(-1j * facing))
    believed_bearing = np.angle((tag - camera) / heading * np.exp(-1j * math.radians(10.0)))
    np.testing.assert_allclose(np.abs(camera - tag), distance, atol=1e-9)
    np.testing.assert_allclose(believed_bearing, bearing, atol=1e-9)
    np.testing.assert_allclose(believed_view[flipped], -view[flipped], atol=1e-9)
    np.testing.assert_allclose(believed_view[~flipped], view[~flipped], atol=1e-9)


def test_false_ids_appear_at_their_share_and_name_other_tags(screw):
    still = screw((2.5, 0.98, math.radians(-10.0)), 0.0, 0.0, 0.0)
    found = _detect(still, duration_s=200.0, false_ids="8 %")
    count = len(found.tag)
    assert count == 10000
    np.testing.assert_array_equal(found.false_id, found.tag != 1)
    assert np.mean(found.false_id) == pytest.approx(0.08, abs=6.0 * math.sqrt(0.08 / count))
    each = Counter(found.tag[found.false_id].tolist())
    assert set(each) == {2, 5, 7, 9}
    for number in each.values():
        assert number == pytest.approx(0.02 * count, abs=6.0 * math.sqrt(0.02 * count))
    # the pose is computed with the wrong tag's place: the same picture, seen from elsewhere
    wrong = found.readings.pose[found.tag == 2]
    assert np.hypot(wrong[:, 0] - 2.5, wrong[:, 1] - 0.98).min() > 1.0


def test_detections_are_dropped_at_their_share(tour):
    everything = _detect(tour, duration_s=600.0)
    found = _detect(tour, duration_s=600.0, dropped="12 %")
    count = len(everything.tag)
    assert len(found.tag) + found.dropped == count
    assert found.dropped == pytest.approx(0.12 * count, abs=6.0 * math.sqrt(0.12 * 0.88 * count))


def test_latency_has_its_mean_and_jitter_and_is_shared_by_a_frame(tour):
    found = _detect(tour, duration_s=600.0, latency="50 ms", latency_jitter="10 ms")
    latency = found.arrived_s - found.captured_s
    frames, first = np.unique(found.captured_s, return_index=True)
    count = len(frames)
    assert np.mean(latency[first]) == pytest.approx(0.050, abs=6.0 * 0.010 / math.sqrt(count))
    assert np.std(latency[first]) == pytest.approx(0.010, rel=8.0 / math.sqrt(2.0 * count))
    assert latency.min() > 0.0
    for frame in frames[:200]:
        assert np.ptp(found.arrived_s[found.captured_s == frame]) == 0.0


def test_rows_are_in_order_of_arrival_and_inside_the_log(tour):
    found = _detect(tour, duration_s=30.0, latency="80 ms", latency_jitter="60 ms")
    assert np.all(np.diff(found.arrived_s) >= 0.0)
    assert np.any(np.diff(found.captured_s) < 0.0)
    assert found.captured_s.min() >= 0.0
    assert found.arrived_s.max() <= 30.0


def test_a_fixed_latency_has_no_scatter(tour):
    found = _detect(tour, duration_s=5.0, latency="40 ms")
    np.testing.assert_allclose(found.arrived_s - found.captured_s, 0.040, atol=1e-12)


def test_silencing_one_error_leaves_the_others_as_they_were(tour):
    noise = {"along_floor": "10 mm", "across_floor": "10 mm", "heading_floor": "1 deg"}
    full = _detect(tour, noise=noise, flips="3 %", dropped="10 %", latency="50 ms", latency_jitter="9 ms")
    calm = _detect(tour, flips="3 %", dropped="10 %", latency="50 ms", latency_jitter="9 ms")
    np.testing.assert_array_equal(full.captured_s, calm.captured_s)
    np.testing.assert_array_equal(full.arrived_s, calm.arrived_s)
    np.testing.assert_array_equal(full.flipped, calm.flipped)
    upright = _detect(tour, noise=noise, dropped="10 %", latency="50 ms", latency_jitter="9 ms")
    np.testing.assert_array_equal(upright.readings.pose[~full.flipped], full.readings.pose[~full.flipped])
