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
from locbench.session import NO_TAG, StartPose, TagKind, read_session
from locbench.vision import prepare_sightings

NOISE = MotionNoise(doubted_factor=3.0)
DRIVE = motion(rows=300)
DOUBTFUL = doubtful(DRIVE)
EDGES = dataclasses.replace(DRIVE, suspect=np.isin(np.arange(300), [1, 299]))
SHORT = DRIVE.within(DRIVE.time_s[0], DRIVE.time_s[3])
TRUTH = dead_reckon(DRIVE, START.pose)
REQUESTS = DRIVE.time_s[0] + np.array([0.5, 2.0, 2.0, 2.2, 6.0])
POSES = (TagKind.ROBOT_POSE, TagKind.TAG_POSE)
DEMOS = sorted(path.parent for path in Path("logs_demo").glob("*/session.toml"))


def _found(kind, seed=3, count=60, latest_s=0.3):
    """Detections that report everything now and then, some from several tags, with the log's own spread for some."""
    if kind is TagKind.ROBOT_POSE:
        found = detections(DRIVE, TRUTH, count, seed, latest_s)
    else:
        found = camera_detections(kind, DRIVE, TRUTH, max(count, 1), seed).chosen(np.arange(count))
    rng = np.random.default_rng(seed)
    size = found.value.shape[1]
    own = np.eye(size) * rng.uniform(0.01, 0.1, size=(count, 1, 1)) ** 2
    own[rng.uniform(size=count) < 0.4] = np.nan
    others = np.where(rng.uniform(size=(count, 2)) < 0.8, NO_TAG, rng.integers(1, 5, size=(count, 2)))
    several = kind is TagKind.ROBOT_POSE
    return dataclasses.replace(
        found,
        own_covariance=own,
        reprojection_ratio=np.where(rng.uniform(size=count) < 0.3, np.nan, rng.uniform(size=count)),
        other_tags=others if several else found.other_tags,
        tag_count=rng.integers(3, 6, size=count) - rng.integers(0, 3, size=count) * several,
    )


def _tied(found):
    """The same detections on a coarse clock, some of them from before the log and some arriving after it."""
    captured = np.round(found.captured_s - 0.15, 1)
    late = np.where(np.arange(len(found)) % 7 == 0, 8.0, 0.0)
    return dataclasses.replace(found, captured_s=captured, arrived_s=np.round(captured + 0.1, 1) + late)


def _both(drive, start, seen, config, requests_s=REQUESTS, noise=NOISE):
    """The same settings by both engines."""
    engines = (config, config.model_copy(update={"engine": Engine.TEXTBOOK}))
    assert config.engine is Engine.KERNEL
    believed = config.motion_noise.applied_to(noise)
    return tuple(fuse(drive, start, seen, one, believed, requests_s) for one in engines)


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
def candidates(draw, kind):
    """Settings that go with a kind of detection."""
    trust = draw(trusts)
    mode = draw(st.sampled_from(["kalman", "none", "replace", "fixed_gain"] if kind in POSES else ["kalman", "none"]))
    if mode == "none" or "gate_probability" not in trust or kind not in POSES:
        trust.pop("reacquire_after", None)
    log = draw(st.sampled_from([{}, {"source": "log"}, {"source": "log", "scale": 2.5}]))
    growth, share = draw(st.sampled_from([0.0, 1.5])), draw(st.sampled_from(["100 %", "40 %"]))
    return fusion(
        trust=trust,
        correction={"mode": mode, "use_heading": draw(st.booleans())},
        latency=draw(st.sampled_from([{}, {"mode": "ignore"}, {"history": "90 ms"}])),
        tag_noise={"view_angle_growth": growth, "correlation_between_tags": share, **log},
        motion_noise=draw(st.sampled_from([{}, {"along_per_metre": "40 mm"}, {"doubted_factor": 5.0}])),
    )


@st.composite
def cases(draw):
    """A kind of detection, settings that go with it, and how the detections come in."""
    kind = draw(st.sampled_from(list(TagKind)))
    seed, count = draw(st.integers(0, 10_000)), draw(st.integers(0, 40))
    found = _found(kind, seed, count, draw(st.sampled_from([0.0, 0.05, 0.6])))
    if kind is TagKind.ROBOT_POSE and draw(st.booleans()):
        found.value[::3, 2] = np.nan
    found = _tied(found) if draw(st.booleans()) else found
    return draw(candidates(kind)), found, draw(st.sampled_from([DRIVE, DOUBTFUL, EDGES, SHORT]))


@given(cases())
@settings(max_examples=50)
def test_it_gives_what_the_textbook_gives(case):
    config, found, drive = case
    assert_alike(*_both(drive, START, sightings(found, config), config), drive)


def test_every_rule_and_resets_applied_again_after_a_late_arrival():
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
    # the textbook takes its time: two shoves of the shoved one are over by then
    drive = measure_motion(session.odometry, session.robot).within(0.0, 35.0)
    # where nothing is doubted the slip-aware file says what gated_kalman does
    aware = [Path("configs/fusion_slip_aware.toml")] if drive.doubted.any() else []
    for path in (*session.fusion_files, *aware):
        config = load_config(path, FusionConfig)
        noise = session.robot.motion_noise
        seen = prepare_sightings(session.detections, session.field, config)
        assert_alike(*_both(drive, session.stretches[0].start, seen, config, noise=noise), drive)


@pytest.mark.parametrize("number", [1, 2])
def test_both_plaza_sessions(tmp_path, number):
    session = read_session(write_plaza(tmp_path, number, "increments", 1.070).folder)
    drive = measure_motion(session.odometry, session.robot)
    start_s = session.stretches[0].start_s
    drive = drive.within(start_s, start_s + 500.0)
    config = fusion(tag_noise={"range_floor": "0.52 m"})
    seen = prepare_sightings(session.detections, session.field, config)
    one, other = _both(drive, session.stretches[0].start, seen, config, noise=session.robot.motion_noise)
    assert_alike(one, other, drive)
    assert len(one.corrections) > 500


@pytest.mark.parametrize("kind", list(TagKind))
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


@pytest.mark.parametrize("kind", list(TagKind))
@pytest.mark.parametrize("gate", [{}, {"gate_probability": "99 %"}])
def test_a_state_that_has_broken_down_refuses_everything(kind, gate):
    config = fusion(trust=gate)
    broken = StartPose(START.pose, np.full((3, 3), np.nan))
    one, other = _both(DRIVE, broken, sightings(_found(kind), config), config)
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
@settings(max_examples=20)
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


@pytest.mark.parametrize("kind", list(TagKind))
@given(st.data())
@settings(max_examples=1)
def test_a_sweep_is_each_candidate_alone(kind, data):
    """Many more candidates than there is room for at once, so that one runs where another has run before.

    The sweep makes its own tag noise; alone, a candidate takes it from `prepare_sightings`.
    """
    several = data.draw(st.lists(candidates(kind), min_size=80, max_size=80))
    found, times = _found(kind, count=30), np.linspace(DRIVE.time_s[0], DRIVE.time_s[-1], 20)
    result = sweep_candidates(DOUBTFUL, START, found, field(), several, NOISE, REQUESTS, times)
    for row, config in enumerate(several):
        believed = config.motion_noise.applied_to(NOISE)
        alone = fuse(DOUBTFUL, START, sightings(found, config), config, believed, REQUESTS)
        rules = alone.corrections.rejected_by
        assert result.accepted[row] == rules.count(None)
        assert result.rejected[row].tolist() == [rules.count(rule) for rule in Rule]
        np.testing.assert_allclose(
            result.published[row], sample_track(alone.track, DOUBTFUL, believed, times).pose, rtol=0, atol=1e-9
        )


def test_a_sweep_of_nobody_is_empty():
    found, times = _found(TagKind.RANGE), DRIVE.time_s[:3]
    result = sweep_candidates(DRIVE, START, found, field(), [], NOISE, REQUESTS, times)
    assert result.published.shape == (0, 3, 3)
    assert result.rejected.shape == (0, len(Rule))
