import dataclasses

import numpy as np
import pytest
from builders import START, camera_detections, detections, doubtful, field, fusion, motion, range_detections, sightings
from hypothesis import given, settings
from hypothesis import strategies as st
from textbook_twin import assert_as_starting_over, published_at_samples

from locbench.config import MotionNoise
from locbench.fusion import Rule, fuse, sample_track
from locbench.geometry import compose, wrap_angle
from locbench.odometry import Motion, dead_reckon, dead_reckon_covariance
from locbench.odometry.reckoning import rotated
from locbench.session import StartPose, TagKind

NOISE = MotionNoise()
WARY = MotionNoise(doubted_factor=4.0)
DRIVE = motion(rows=40)
DOUBTFUL = doubtful(DRIVE)
TRUTH = dead_reckon(DRIVE, START.pose)
TAGS = {tag.id: (tag.x, tag.y, tag.z, tag.facing) for tag in field().tags}
SEEN = [TagKind.TAG_POSE, TagKind.RANGE_BEARING, TagKind.BEARING, TagKind.RANGE]

CASES = {
    "kalman": {},
    "position_only": {"correction": {"use_heading": False}},
    "no_gate": {"trust": {}},
    "replace": {"correction": {"mode": "replace"}},
    "fixed_gain": {"correction": {"mode": "fixed_gain"}},
    "none": {"correction": {"mode": "none"}},
    "ignore_latency": {"latency": {"mode": "ignore"}},
    "short_history": {"latency": {"history": "120 ms"}},
    "more_rules": {
        "trust": {
            "gate_probability": "99 %",
            "maximum_reprojection_ratio": 0.8,
            "minimum_tag_count": 2,
            "maximum_turn_rate": "1 rad/s",
            "maximum_speed": "0.8 m/s",
        }
    },
    "rates_on_arrival": {
        "latency": {"mode": "ignore"},
        "trust": {"maximum_turn_rate": "0.5 rad/s", "maximum_speed": "0.6 m/s"},
    },
    "rules": {
        "trust": {
            "gate_probability": "99 %",
            "excluded_tags": [2],
            "maximum_range": "3 m",
            "maximum_view_angle": "50 deg",
        }
    },
}


@pytest.mark.parametrize("case", CASES)
def test_it_publishes_what_starting_over_each_time_gives(case):
    config = fusion(**CASES[case])
    assert_as_starting_over(sightings(detections(DRIVE, TRUTH), config), config, 1e-9, DRIVE)


def test_doubted_odometry_counts_less():
    config = fusion()
    assert_as_starting_over(sightings(detections(DOUBTFUL, TRUTH), config), config, 1e-9, DOUBTFUL, noise=WARY)


@pytest.mark.parametrize("case", ["kalman", "ignore_latency"])
def test_ranges_too(case):
    config = fusion(**CASES[case])
    assert_as_starting_over(sightings(range_detections(DRIVE, TRUTH), config), config, 1e-7, DRIVE)


@pytest.mark.parametrize(
    ("kind", "case"),
    [
        *((kind, "no_gate") for kind in SEEN),
        (TagKind.TAG_POSE, "position_only"),
        (TagKind.TAG_POSE, "rules"),
        (TagKind.RANGE_BEARING, "kalman"),
        (TagKind.BEARING, "ignore_latency"),
    ],
)
def test_what_a_turning_tilted_camera_sees_too(kind, case):
    config = fusion(**CASES[case])
    drive = motion(rows=30)
    truth = dead_reckon(drive, START.pose)
    found = sightings(camera_detections(kind, drive, truth, count=12), config)
    _, rules = assert_as_starting_over(found, config, 1e-7, drive)
    assert len(set(rules)) == {"no_gate": 1, "rules": 5}.get(case, 2)


def _assert_near(one, other, within_m, within_m2):
    """At the samples: the compiled replay publishes anew only at arrivals, filterpy's at every sample."""
    (pose, covariance), (expected, spread) = (published_at_samples(estimate, DRIVE) for estimate in (one, other))
    np.testing.assert_allclose(pose, expected, atol=within_m)
    np.testing.assert_allclose(covariance, spread, atol=within_m2)


@pytest.mark.parametrize("kind", SEEN)
def test_both_engines_agree_on_every_kind(kind):
    """Small spreads keep the models nearly linear; bearings lie all around, so their mean must be taken round."""
    found = camera_detections(kind, DRIVE, TRUTH)
    extended, unscented = (
        fuse(DRIVE, START, sightings(found, c), c, NOISE) for c in (fusion(), fusion(engine="unscented"))
    )
    assert extended.corrections.rejected_by == unscented.corrections.rejected_by
    assert np.sum(extended.corrections.accepted) > 15
    _assert_near(extended, unscented, 1e-3, 1e-5)


@pytest.mark.parametrize("mode", ["replace", "fixed_gain"])
def test_tag_poses_replace_the_belief_as_the_robot_poses_they_mean(mode):
    config = fusion(correction={"mode": mode}, trust={})
    seen = camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH)
    estimate = fuse(DRIVE, START, sightings(seen, config), config, NOISE)
    meant = detections(DRIVE, TRUTH, seed=6)
    found = sightings(meant, config)
    same = dataclasses.replace(found, covariance=sightings(seen, config).covariance)
    expected = fuse(DRIVE, START, same, config, NOISE)
    np.testing.assert_allclose(wrap_angle(estimate.track.pose - expected.track.pose), 0.0, atol=1e-9)
    np.testing.assert_allclose(estimate.track.covariance, expected.track.covariance, rtol=1e-9, atol=1e-15)


def test_a_fix_from_several_tags_is_refused_for_one_of_them():
    config = fusion(trust={"excluded_tags": [2]})
    found = detections(DRIVE, TRUTH)
    others = np.where(np.arange(25) % 3 == 0, 2, -1)[:, np.newaxis]
    both = dataclasses.replace(found, other_tags=others, tag_count=np.where(others[:, 0] == 2, 2, 1))
    corrections = fuse(DRIVE, START, sightings(both, config), config, NOISE).corrections
    by_row = dict(zip(corrections.row.tolist(), corrections.rejected_by, strict=True))
    expected = (found.tag == 2) | (others[:, 0] == 2)
    assert [by_row[int(row)] is Rule.EXCLUDED_TAG for row in found.row] == expected.tolist()
    assert 5 < np.sum(expected) < 20


def test_nothing_is_published_from_a_detection_before_it_arrives():
    config = fusion(trust={})
    found = detections(DRIVE, TRUTH)
    late = int(np.argmax(found.arrived_s))
    shifted = found.value.copy()
    shifted[late] += [0.5, -0.5, 0.2]
    changed = dataclasses.replace(found, value=shifted)
    arrival = found.arrived_s[late]
    times = np.sort(np.concatenate([DRIVE.time_s, found.arrived_s, [arrival - 1e-9, arrival]]))
    first = fuse(DRIVE, START, sightings(found, config), config, NOISE)
    second = fuse(DRIVE, START, sightings(changed, config), config, NOISE)
    poses = [sample_track(e.track, DRIVE, NOISE, times).pose for e in (first, second)]
    before = times < arrival
    np.testing.assert_array_equal(poses[0][before], poses[1][before])
    assert np.linalg.norm(poses[0][~before] - poses[1][~before], axis=1).min() > 0.02


def test_verdicts_are_frozen_at_arrival():
    """An earlier capture that arrives later changes the state, not the verdicts already taken."""
    config = fusion()
    found = detections(DRIVE, TRUTH)
    keep = found.arrived_s < np.median(found.arrived_s)
    early = found.chosen(keep)
    few = fuse(DRIVE, START, sightings(early, config), config, NOISE).corrections
    many = fuse(DRIVE, START, sightings(found, config), config, NOISE).corrections
    assert many.rejected_by[: len(few)] == few.rejected_by
    np.testing.assert_array_equal(many.row[: len(few)], few.row)


def test_every_rule_is_counted_once_in_order():
    config = fusion(
        trust={
            "gate_probability": "99 %",
            "excluded_tags": [2],
            "maximum_range": "3.5 m",
            "maximum_view_angle": "60 deg",
            "maximum_reprojection_ratio": 0.9,
            "minimum_tag_count": 2,
            "maximum_turn_rate": "1 rad/s",
            "maximum_speed": "0.8 m/s",
            "only_on_request": True,
        },
        latency={"history": "200 ms"},
    )
    # long enough that every rule has something to do
    drive = motion()
    found = sightings(detections(drive, dead_reckon(drive, START.pose), count=200), config)
    corrections = fuse(drive, START, found, config, NOISE, drive.time_s[::10]).corrections
    assert len(corrections) == 200
    assert set(corrections.rejected_by) == {None, *Rule}
    age = corrections.arrived_s - corrections.captured_s
    too_old = np.array([rule is Rule.TOO_OLD for rule in corrections.rejected_by])
    np.testing.assert_array_equal(too_old, age > 0.2)


def test_jumps_are_what_was_published_across_the_arrival():
    config = fusion()
    corrections = fuse(DRIVE, START, sightings(detections(DRIVE, TRUTH), config), config, NOISE).corrections
    assert np.all(corrections.jump_m[corrections.accepted] > 0)
    assert np.all(corrections.jump_m[~corrections.accepted] == 0)


def test_without_detections_it_is_dead_reckoning():
    config = fusion()
    nothing = detections(DRIVE, TRUTH, count=0)
    estimate = fuse(DRIVE, START, sightings(nothing, config), config, NOISE)
    pose, covariance = published_at_samples(estimate, DRIVE)
    np.testing.assert_allclose(pose, TRUTH, atol=1e-11)
    expected = dead_reckon_covariance(DRIVE, TRUTH, START.covariance, NOISE)
    np.testing.assert_allclose(covariance, expected, rtol=1e-9, atol=1e-15)


def test_the_unscented_engine_agrees_where_the_model_is_nearly_linear():
    found = detections(DRIVE, TRUTH)
    extended, unscented = (
        fuse(DRIVE, START, sightings(found, c), c, NOISE) for c in (fusion(), fusion(engine="unscented"))
    )
    assert extended.corrections.rejected_by == unscented.corrections.rejected_by
    _assert_near(extended, unscented, 1e-4, 2e-6)


def _split(drive, fractions):
    """Every interval cut in two, increments and time in proportion."""
    times, twists, rows = [drive.time_s[0]], [np.zeros(3)], [0]
    for k in range(1, len(drive.time_s)):
        fraction = fractions[k % len(fractions)]
        times += [drive.time_s[k - 1] + fraction * (drive.time_s[k] - drive.time_s[k - 1]), drive.time_s[k]]
        twists += [fraction * drive.twist[k], (1 - fraction) * drive.twist[k]]
        rows += [k, k]
    return Motion(np.array(times), np.array(twists), drive.flagged[rows], drive.suspect[rows])


@given(st.lists(st.floats(0.05, 0.95), min_size=1, max_size=5))
@settings(max_examples=5)
def test_splitting_a_sample_changes_nothing(fractions):
    config = fusion()
    found = sightings(detections(DRIVE, TRUTH), config)
    cuts = _split(DOUBTFUL, fractions)
    whole, cut = (fuse(drive, START, found, config, WARY) for drive in (DOUBTFUL, cuts))
    assert whole.corrections.rejected_by == cut.corrections.rejected_by
    first = sample_track(whole.track, DOUBTFUL, WARY, DRIVE.time_s)
    second = sample_track(cut.track, cuts, WARY, DRIVE.time_s)
    np.testing.assert_allclose(first.pose, second.pose, atol=1e-9)
    np.testing.assert_allclose(first.covariance, second.covariance, rtol=1e-8, atol=1e-13)


@given(st.floats(-20, 20), st.floats(-20, 20), st.floats(-3, 3))
@settings(max_examples=5)
def test_moving_and_turning_the_world_moves_the_answer_with_it(x, y, angle):
    """Poses, tags and start are all carried along; the answer must be carried along too."""
    world = np.array([x, y, angle])
    config = fusion()
    found = sightings(detections(DRIVE, TRUTH), config)
    here = fuse(DRIVE, START, found, config, NOISE)
    turn = np.array(angle)
    moved = dataclasses.replace(
        found,
        detections=dataclasses.replace(found.detections, value=compose(world, found.detections.value)),
        covariance=rotated(found.covariance, turn),
    )
    start = StartPose(compose(world, START.pose), rotated(START.covariance, turn))
    there = fuse(DRIVE, start, moved, config, NOISE)
    assert here.corrections.rejected_by == there.corrections.rejected_by
    expected = compose(world, here.track.pose)
    np.testing.assert_allclose(there.track.pose[:, :2], expected[:, :2], atol=1e-9)
    np.testing.assert_allclose(wrap_angle(there.track.pose[:, 2] - expected[:, 2]), 0.0, atol=1e-10)
    np.testing.assert_allclose(there.track.covariance, rotated(here.track.covariance, turn), rtol=1e-8, atol=1e-13)


@given(st.integers(0, 10_000))
@settings(max_examples=5)
def test_covariances_stay_symmetric_and_positive(seed):
    config = fusion(correction={"mode": ["kalman", "replace", "fixed_gain"][seed % 3]})
    drive = motion(seed=seed)
    found = sightings(detections(drive, dead_reckon(drive, START.pose), seed=seed), config)
    covariance = fuse(drive, START, found, config, NOISE).track.covariance
    np.testing.assert_allclose(covariance, np.swapaxes(covariance, 1, 2), atol=1e-15)
    assert np.linalg.eigvalsh(covariance).min() > -1e-15
