"""The compiled replay against the textbook one, which is proven against the slow twin: the same numbers everywhere."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from builders import START, camera_detections, detections, doubtful, field, fusion, motion, sightings
from engines_alike import assert_alike
from hypothesis import given, settings
from hypothesis import strategies as st
from plaza import write_plaza

from locbench.config import Engine, FusionConfig, MotionNoise, load_config
from locbench.fusion import Rule, fuse, sample_track, sweep_candidates
from locbench.geometry import compose
from locbench.odometry import dead_reckon, measure_motion
from locbench.odometry.reckoning import rotated
from locbench.session import StartPose, TagKind, read_session
from locbench.vision import prepare_sightings

NOISE = MotionNoise(doubted_factor=3.0)
DRIVE = motion(rows=300)
DOUBTFUL = doubtful(DRIVE)
TRUTH = dead_reckon(DRIVE, START.pose)
REQUESTS = DRIVE.time_s[0] + np.array([0.5, 2.0, 2.0, 2.2, 6.0])
POSES = (TagKind.ROBOT_POSE, TagKind.TAG_POSE)
DEMOS = sorted(path.parent for path in Path("logs_demo").glob("*/session.toml"))


def _found(kind, seed=3, count=60, latest_s=0.3):
    if kind is TagKind.ROBOT_POSE:
        found = detections(DRIVE, TRUTH, count, seed, latest_s)
    else:
        found = camera_detections(kind, DRIVE, TRUTH, max(count, 1), seed).chosen(np.arange(count))
    rng = np.random.default_rng(seed)
    return dataclasses.replace(
        found,
        reprojection_ratio=np.where(rng.uniform(size=count) < 0.3, np.nan, rng.uniform(size=count)),
        tag_count=rng.integers(1, 4, size=count) if kind is TagKind.ROBOT_POSE else found.tag_count,
    )


def _both(drive, start, seen, config, requests_s=REQUESTS, noise=NOISE):
    """The same settings by both engines."""
    engines = (config, config.model_copy(update={"engine": Engine.TEXTBOOK}))
    assert config.engine is Engine.KERNEL
    return tuple(fuse(drive, start, seen, one, noise, requests_s) for one in engines)


trusts = st.fixed_dictionaries(
    {},
    optional={
        "excluded_tags": st.lists(st.integers(1, 4), max_size=2, unique=True),
        "maximum_range": st.sampled_from(["2 m", "3 m"]),
        "maximum_view_angle": st.sampled_from(["30 deg", "50 deg"]),
        "maximum_reprojection_ratio": st.sampled_from([0.5, 0.8]),
        "minimum_tag_count": st.just(2),
        "maximum_turn_rate": st.sampled_from(["30 deg/s", "60 deg/s"]),
        "maximum_speed": st.sampled_from(["0.5 m/s", "0.8 m/s"]),
        "gate_probability": st.sampled_from(["80 %", "99 %"]),
        "only_on_request": st.booleans(),
        "reacquire_after": st.integers(2, 4),
    },
)


@st.composite
def cases(draw):
    """A kind of detection, settings that go with it, and how the detections come in."""
    kind = draw(st.sampled_from(list(TagKind)))
    trust = draw(trusts)
    mode = draw(st.sampled_from(["kalman", "none", "replace", "fixed_gain"] if kind in POSES else ["kalman", "none"]))
    if mode == "none" or "gate_probability" not in trust or kind not in POSES:
        trust.pop("reacquire_after", None)
    config = fusion(
        trust=trust,
        correction={"mode": mode, "use_heading": draw(st.booleans())},
        latency={
            "mode": draw(st.sampled_from(["rewind", "ignore"])),
            "history": draw(st.sampled_from(["1 s", "90 ms"])),
        },
        tag_noise={"view_angle_growth": draw(st.sampled_from([0.0, 1.5]))},
    )
    seed, count = draw(st.integers(0, 10_000)), draw(st.integers(0, 40))
    latest_s = draw(st.sampled_from([0.0, 0.05, 0.6]))
    found = _found(kind, seed, count, latest_s)
    if kind is TagKind.ROBOT_POSE and draw(st.booleans()):
        found.value[::3, 2] = np.nan
    return config, found, draw(st.booleans())


@given(cases())
@settings(max_examples=150)
def test_it_gives_what_the_textbook_gives(case):
    config, found, doubted = case
    drive = DOUBTFUL if doubted else DRIVE
    assert_alike(*_both(drive, START, sightings(found, config), config), drive)


def test_hypothesis_reaches_every_rule_and_resets():
    """The cases above are worth what they meet: all rules, and resets applied again after a late arrival."""
    trust = {
        "excluded_tags": [4],
        "maximum_range": "3.5 m",
        "maximum_view_angle": "60 deg",
        "maximum_reprojection_ratio": 0.9,
        "minimum_tag_count": 2,
        "maximum_turn_rate": "70 deg/s",
        "maximum_speed": "0.95 m/s",
        "gate_probability": "90 %",
        "only_on_request": True,
        "request_window": "2 s",
    }
    config = fusion(trust=trust, latency={"history": "280 ms"})
    presses = np.arange(DRIVE.time_s[0], DRIVE.time_s[-1], 0.4)
    found = sightings(_found(TagKind.ROBOT_POSE, count=400), config)
    one, other = _both(DRIVE, START, found, config, presses)
    assert_alike(one, other, DRIVE)
    assert set(one.corrections.rejected_by) == {None, *Rule}
    again = fusion(trust={"gate_probability": "50 %", "reacquire_after": 2})
    one, other = _both(DRIVE, START, sightings(_found(TagKind.ROBOT_POSE, count=200), again), again)
    assert_alike(one, other, DRIVE)
    assert np.sum(one.corrections.reacquired) > 3
    assert len(one.steps) > np.sum(one.corrections.accepted)


@pytest.mark.parametrize("folder", DEMOS, ids=lambda folder: folder.name)
def test_every_demo(folder):
    session = read_session(folder)
    drive = measure_motion(session.odometry, session.robot)
    for path in session.fusion_files:
        config = load_config(path, FusionConfig)
        noise = config.motion_noise.applied_to(session.robot.motion_noise)
        seen = prepare_sightings(session.detections, session.field, config)
        assert_alike(*_both(drive, session.stretches[0].start, seen, config, noise=noise), drive)


@pytest.mark.parametrize("number", [1, 2])
def test_both_plaza_sessions(tmp_path, number):
    session = read_session(write_plaza(tmp_path, number, "increments", 1.070).folder)
    drive = measure_motion(session.odometry, session.robot)
    drive = drive.within(session.stretches[0].start_s, session.stretches[0].end_s)
    config = fusion(tag_noise={"range_floor": "0.52 m"})
    seen = prepare_sightings(session.detections, session.field, config)
    one, other = _both(drive, session.stretches[0].start, seen, config, noise=session.robot.motion_noise)
    assert_alike(one, other, drive)
    assert len(one.corrections) > 1000


@pytest.mark.parametrize("kind", POSES)
def test_a_log_far_from_the_origin(kind):
    world, config = np.array([70.0, -90.0, 2.0]), fusion()
    start = StartPose(compose(world, START.pose), rotated(START.covariance, np.array(2.0)))
    seen = sightings(_found(kind), config)
    tags = compose(world, np.column_stack([seen.tag_position_m[:, :2], seen.tag_facing_rad]))
    far = dataclasses.replace(
        seen, tag_position_m=np.column_stack([tags[:, :2], seen.tag_position_m[:, 2]]), tag_facing_rad=tags[:, 2]
    )
    if kind is TagKind.ROBOT_POSE:
        value = compose(world, seen.detections.value)
        far = dataclasses.replace(
            far,
            detections=dataclasses.replace(seen.detections, value=value),
            covariance=rotated(seen.covariance, np.array(2.0)),
            fix=value,
        )
    one, other = _both(DRIVE, start, far, config)
    assert_alike(one, other, DRIVE)
    assert np.hypot(*one.track.pose[-1, :2]) > 100.0
    assert np.sum(one.corrections.accepted) > 40


@pytest.mark.parametrize("gate", [{}, {"gate_probability": "99 %"}])
def test_a_state_that_has_broken_down_refuses_everything(gate):
    config = fusion(trust=gate)
    broken = StartPose(START.pose, np.full((3, 3), np.nan))
    one, other = _both(DRIVE, broken, sightings(_found(TagKind.ROBOT_POSE), config), config)
    assert_alike(one, other, DRIVE)
    assert set(one.corrections.rejected_by) == {Rule.GATE}


@pytest.mark.parametrize("kind", list(TagKind))
def test_without_detections(kind):
    config = fusion()
    one, other = _both(DRIVE, START, sightings(_found(kind, count=0), config), config)
    assert_alike(one, other, DRIVE)
    assert len(one.corrections) == 0
    assert len(one.track.time_s) == 1


@given(cases(), st.integers(0, 100))
@settings(max_examples=40)
def test_nothing_known_later_is_seen_before(case, which):
    """A detection that says something else changes nothing that was published before it arrived."""
    config, found, _ = case
    if not len(found):
        return
    late = which % len(found)
    changed = found.value.copy()
    changed[late] += 0.3
    other = dataclasses.replace(found, value=changed)
    before = DRIVE.time_s[DRIVE.time_s < found.arrived_s[late]]
    poses = [
        sample_track(fuse(DRIVE, START, sightings(one, config), config, NOISE, REQUESTS).track, DRIVE, NOISE, before)
        for one in (found, other)
    ]
    np.testing.assert_array_equal(poses[0].pose, poses[1].pose)
    np.testing.assert_array_equal(poses[0].covariance, poses[1].covariance)


@given(st.lists(cases(), min_size=1, max_size=4), st.sampled_from(list(TagKind)))
@settings(max_examples=40)
def test_a_sweep_is_each_candidate_alone(drawn, kind):
    """The sweep makes its own tag noise; alone, a candidate takes it from `prepare_sightings`."""
    candidates = [config for config, found, _ in drawn if kind in POSES or found.kind not in POSES]
    candidates = [one for one in candidates if kind in POSES or one.correction.mode not in ("replace", "fixed_gain")]
    if not candidates:
        return
    found = _found(kind, count=30)
    times = np.linspace(DRIVE.time_s[0], DRIVE.time_s[-1], 50)
    result = sweep_candidates(DOUBTFUL, START, found, field(), candidates, NOISE, REQUESTS, times)
    for row, config in enumerate(candidates):
        believed = config.motion_noise.applied_to(NOISE)
        alone = fuse(DOUBTFUL, START, sightings(found, config), config, believed, REQUESTS)
        rules = alone.corrections.rejected_by
        assert result.accepted[row] == rules.count(None)
        assert result.rejected[row].tolist() == [rules.count(rule) for rule in Rule]
        np.testing.assert_allclose(
            result.published[row], sample_track(alone.track, DOUBTFUL, believed, times).pose, rtol=0, atol=1e-9
        )
