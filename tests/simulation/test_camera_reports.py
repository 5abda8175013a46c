"""What the simulated camera's program reports: exact without errors, with the stated spread with them."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from locbench.config.field import Tag
from locbench.config.robot import CameraMount
from locbench.config.scenario import CameraErrors
from locbench.errors import ConfigError
from locbench.simulation.camera import detect_tags
from locbench.simulation.streams import random_streams

TILTED = {"x": "150 mm", "y": "20 mm", "z": "350 mm", "yaw": "10 deg", "pitch": "-14 deg", "roll": "6 deg"}
PLACES = [(1, 4.0, 1.0, 180.0), (2, 4.0, 3.0, 170.0), (5, 1.0, 4.0, -90.0), (7, 0.0, 2.0, 0.0), (9, 2.0, 0.0, 90.0)]
TAGS = [
    Tag.model_validate({"id": i, "x": f"{x} m", "y": f"{y} m", "z": "700 mm", "facing": f"{facing} deg"})
    for i, x, y, facing in PLACES
]
KINDS = ["tag_pose", "range_bearing", "bearing", "range"]
NOISE = {
    "along_floor": "10 mm",
    "along_at_one_metre": "5 mm",
    "across_floor": "4 mm",
    "across_at_one_metre": "7 mm",
    "heading_floor": "0.5 deg",
    "heading_at_one_metre": "0.4 deg",
    "view_angle_growth": 1.5,
}


def _detect(motion, kind, duration_s=20.0, mount=TILTED, aim=None, **changes):
    wide = {"mount": "front", "frame_period": "20 ms", "field_of_view": "70 deg", "maximum_range": "3.5 m"}
    errors = CameraErrors.model_validate(wide | {"maximum_view_angle": "65 deg", "reports": kind} | changes)
    streams = random_streams(4, []).camera
    return detect_tags(motion, duration_s, CameraMount.model_validate(mount), TAGS, TAGS, errors, streams, aim)


@pytest.fixture
def tour(screw):
    return screw((2.9, 2.0, 1.2), 0.25, -0.1, 0.21)


def _seen(pose, tag, yaw=0.0, axis=(0.0, 0.0), mount=(0.15, 0.02, 0.35), angles=(10.0, -14.0, 6.0)):
    """Line to the tag and its normal on the camera's axes, and the level distance, by scipy's rotations in space."""
    where, facing = {i: (np.array([x, y, 0.7]), math.radians(f)) for i, x, y, f in PLACES}[int(tag)]
    robot, turret = Rotation.from_euler("Z", pose[2]), Rotation.from_euler("Z", yaw)
    camera = robot * turret * Rotation.from_euler("ZYX", angles, degrees=True)
    place = np.array([pose[0], pose[1], 0.0]) + robot.apply(np.array([*axis, 0.0]) + turret.apply(mount))
    normal = camera.inv().apply([math.cos(facing), math.sin(facing), 0.0])
    return camera.inv().apply(where - place), normal, float(np.hypot(*(where - place)[:2]))


def _expected(kind, line, normal, distance):
    return {
        "tag_pose": [*line, math.atan2(normal[1], normal[0])],
        "range_bearing": [distance, math.atan2(line[1], line[0])],
        "bearing": [math.atan2(line[1], line[0])],
        "range": [distance],
    }[kind]


def _rows(readings):
    columns = [np.reshape(values, (len(values), -1)) for values in vars(readings).values()]
    return np.column_stack(columns)


@pytest.mark.parametrize("kind", KINDS)
def test_without_errors_every_reading_is_exact(tour, kind):
    found = _detect(tour, kind)
    assert found.turret_yaw_rad is None
    rows, poses = _rows(found.readings), tour.pose_at(found.captured_s)
    assert len(rows) > 300
    expected = [_expected(kind, *_seen(pose, tag)) for pose, tag in zip(poses, found.tag, strict=True)]
    difference = rows - expected
    if kind == "tag_pose":
        difference[:, 3] = np.angle(np.exp(1j * difference[:, 3]))
    np.testing.assert_allclose(difference, 0.0, atol=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_a_camera_on_the_turret_keeps_the_goal_before_it(tour, kind):
    mount = TILTED | {"carried_by": "turret", "turret_x": "-60 mm", "turret_y": "30 mm"}
    goal = np.array([4.2, 2.0])
    found = _detect(tour, kind, 40.0, mount, goal)
    rows, poses = _rows(found.readings), tour.pose_at(found.captured_s)
    assert set(found.tag) == {1, 2}
    for pose, tag, yaw, row in zip(poses[::9], found.tag[::9], found.turret_yaw_rad[::9], rows[::9], strict=True):
        axis = pose[:2] + Rotation.from_euler("Z", pose[2]).apply([-0.06, 0.03, 0.0])[:2]
        to_goal = goal - axis
        assert np.exp(1j * (pose[2] + yaw)) == pytest.approx(complex(*to_goal) / np.hypot(*to_goal), abs=1e-12)
        expected = np.array(_expected(kind, *_seen(pose, tag, yaw, (-0.06, 0.03))))
        difference = row - expected
        if kind == "tag_pose":
            difference[3] = np.angle(np.exp(1j * difference[3]))
        np.testing.assert_allclose(difference, 0.0, atol=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_readings_have_the_stated_spread(screw, kind):
    """Seen from (2.9, 2.2): 1.63 m away, 47 deg off the tag's normal."""
    still = screw((2.9, 2.2, math.atan2(-1.2, 1.1)), 0.0, 0.0, 0.0)
    found = _detect(still, kind, 80.0, {}, noise=NOISE, field_of_view="5 deg")
    assert set(found.tag) == {1}
    rows = _rows(found.readings)
    line, normal, distance = _seen(still.start, 1, mount=(0, 0, 0), angles=(0, 0, 0))
    growth = 1.0 + 1.5 * 1.2**2 / distance**2
    along = growth * math.hypot(0.010, 0.005 * distance**2)
    across = growth * math.hypot(0.004, 0.007 * distance)
    heading = growth * math.radians(math.hypot(0.5, 0.4 * distance))
    expected = {
        "tag_pose": [along, across, 0.0, heading],
        "range_bearing": [along, across / distance],
        "bearing": [across / distance],
        "range": [along],
    }[kind]
    bound = 6.0 / math.sqrt(2.0 * len(rows))
    np.testing.assert_allclose(np.std(rows, axis=0), expected, rtol=bound, atol=1e-12)
    bias = np.mean(rows, axis=0) - _expected(kind, line, normal, distance)
    assert np.all(np.abs(bias) <= 6.0 * np.array(expected) / math.sqrt(len(rows)) + 1e-12)


def test_a_flipped_tag_pose_keeps_the_place_and_mirrors_the_tilt(tour):
    upright, flipped = _detect(tour, "tag_pose", mount={}), _detect(tour, "tag_pose", mount={}, flips="100 %")
    np.testing.assert_allclose(flipped.readings.place, upright.readings.place, atol=1e-12)
    which = flipped.flipped
    assert np.sum(which) > 100
    behind = np.arctan2(upright.readings.place[:, 1], upright.readings.place[:, 0]) + np.pi
    view = [np.angle(np.exp(1j * (seen.readings.heading_rad - behind))) for seen in (upright, flipped)]
    np.testing.assert_allclose(view[1][which], -view[0][which], atol=1e-9)
    np.testing.assert_allclose(view[1][~which], view[0][~which], atol=1e-9)


@pytest.mark.parametrize("kind", ["range_bearing", "bearing", "range"])
def test_what_does_not_look_at_the_tilt_has_no_flips(tour, kind):
    calm, flips = _detect(tour, kind), _detect(tour, kind, flips="50 %")
    assert not np.any(flips.flipped)
    np.testing.assert_array_equal(_rows(calm.readings), _rows(flips.readings))


def test_no_range_is_negative(screw):
    still = screw((3.4, 1.0, 0.0), 0.0, 0.0, 0.0)
    found = _detect(still, "range", mount={}, noise={"along_floor": "1 m"})
    assert np.min(found.readings.range_m) == pytest.approx(0.001)


@pytest.mark.parametrize("kind", ["robot_pose", *KINDS])
def test_what_is_seen_does_not_depend_on_what_is_reported(tour, kind):
    first = _detect(tour, "robot_pose", dropped="10 %", latency="50 ms", latency_jitter="9 ms", false_ids="5 %")
    other = _detect(tour, kind, dropped="10 %", latency="50 ms", latency_jitter="9 ms", false_ids="5 %")
    np.testing.assert_array_equal(first.captured_s, other.captured_s)
    np.testing.assert_array_equal(first.arrived_s, other.arrived_s)
    np.testing.assert_array_equal(first.tag, other.tag)


def test_a_turret_needs_a_goal(make_bench, round_trip):
    bench = make_bench()
    robot = (bench.folder / "robot.toml").read_text() + 'carried_by = "turret"\n'
    with pytest.raises(ConfigError, match=r"camera\.mount: .* first goal, and the field has none .*Add \[\[goals\]\]"):
        make_bench(robot=robot).record('[camera]\nmount = "front"\n' + round_trip)
