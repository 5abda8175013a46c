"""Fixes that agree with each other, against a belief that is wrong."""

import dataclasses

import numpy as np
import pytest
from builders import START, camera_detections, detections, fusion, motion, sightings
from hypothesis import given, settings
from hypothesis import strategies as st
from naive import naive_misfit
from textbook_twin import assert_as_starting_over

from locbench.config import MotionNoise
from locbench.fusion import Rule, fuse, sample_track
from locbench.fusion.engines import Belief
from locbench.fusion.reacquiring import AgreeingFixes
from locbench.geometry import wrap_angle
from locbench.odometry import dead_reckon
from locbench.session import StartPose, TagKind

NOISE = MotionNoise()
DRIVE = motion(rows=40)
TRUTH = dead_reckon(DRIVE, START.pose)
ASTRAY = StartPose(START.pose + [1.0, 0.2, 0.3], START.covariance)
REGAINING = {"gate_probability": "99 %", "reacquire_after": 3}


def _timely(count=12, late_s=0.0):
    """Exact poses one after the other, each arriving that much later."""
    found = detections(DRIVE, TRUTH, count=count)
    captured = np.linspace(DRIVE.time_s[0] + 0.05, DRIVE.time_s[-1] - 0.3, count)
    value = np.column_stack([np.interp(captured, DRIVE.time_s, TRUTH[:, i]) for i in range(3)])
    return dataclasses.replace(found, captured_s=captured, arrived_s=captured + late_s, value=value)


def _corrections(found, start=ASTRAY, requests_s=(), **more):
    config = fusion(**({"trust": REGAINING} | more))
    return fuse(DRIVE, start, sightings(found, config), config, NOISE, np.array(requests_s)).corrections


def test_a_lock_out_is_cured():
    """From a start pose a metre off the gate refuses every right fix; with the rule the third one is believed."""
    found = _timely()
    locked = _corrections(found, trust={"gate_probability": "99 %"})
    assert set(locked.rejected_by) == {Rule.GATE}
    config = fusion(trust=REGAINING)
    cured = fuse(DRIVE, ASTRAY, sightings(found, config), config, NOISE)
    assert cured.corrections.rejected_by == (Rule.GATE, Rule.GATE, *[None] * 10)
    np.testing.assert_array_equal(np.flatnonzero(cured.corrections.reacquired), [2])
    at_last = sample_track(cured.track, DRIVE, NOISE, DRIVE.time_s[-1:]).pose[0]
    np.testing.assert_allclose(at_last[:2], TRUTH[-1, :2], atol=0.02)
    assert abs(wrap_angle(at_last[2] - TRUTH[-1, 2])) < 0.01


@pytest.mark.parametrize("mode", ["kalman", "fixed_gain", "replace"])
def test_the_belief_becomes_the_fix_in_any_mode(mode):
    found = _timely(count=3)
    config = fusion(trust=REGAINING, correction={"mode": mode})
    prepared = sightings(found, config)
    estimate = fuse(DRIVE, ASTRAY, prepared, config, NOISE)
    entry = int(np.searchsorted(estimate.track.time_s, found.arrived_s[2], side="right")) - 1
    np.testing.assert_allclose(estimate.track.pose[entry], found.value[2], atol=1e-12)
    np.testing.assert_allclose(estimate.track.covariance[entry], prepared.fix_covariance[2], atol=1e-15)
    assert len(estimate.steps) == 1
    np.testing.assert_array_equal(estimate.steps.gain[0], np.eye(3))
    np.testing.assert_array_equal(estimate.steps.slope[0], np.eye(3))
    np.testing.assert_allclose(estimate.steps.covariance[0], prepared.fix_covariance[2], rtol=1e-12)


def test_fixes_that_disagree_never_do():
    """Each is far off, but elsewhere: as often as one may see a flip."""
    found = _timely()
    wild = found.value + np.array([2.0, -2.0, 0.0]) * np.where(np.arange(12) % 2, 1.0, -1.0)[:, np.newaxis]
    corrections = _corrections(dataclasses.replace(found, value=wild), start=START)
    assert set(corrections.rejected_by) == {Rule.GATE}
    assert not np.any(corrections.reacquired)


def test_a_fix_that_passes_the_gate_begins_the_count_anew():
    found = _timely(count=6)
    wrong = found.value.copy()
    wrong[[0, 1, 3, 4], :2] += 1.0
    corrections = _corrections(dataclasses.replace(found, value=wrong), start=START)
    assert corrections.rejected_by == (Rule.GATE, Rule.GATE, None, Rule.GATE, Rule.GATE, None)


def test_a_fix_that_a_rule_of_the_log_refuses_neither_counts_nor_interrupts():
    found = _timely(count=4)
    far = dataclasses.replace(found, range_m=np.array([1.0, 1.0, 9.0, 1.0]))
    corrections = _corrections(far, trust=REGAINING | {"maximum_range": "5 m"})
    assert corrections.rejected_by == (Rule.GATE, Rule.GATE, Rule.RANGE, None)
    assert corrections.reacquired.tolist() == [False, False, False, True]


def test_without_a_request_the_belief_stays_and_the_count_too():
    found = _timely(count=6)
    trust = REGAINING | {"only_on_request": True}
    corrections = _corrections(found, trust=trust, requests_s=[found.arrived_s[4]])
    unasked = [Rule.NOT_REQUESTED] * 2
    assert corrections.rejected_by == (Rule.GATE, Rule.GATE, *unasked, None, Rule.NOT_REQUESTED)
    np.testing.assert_array_equal(np.flatnonzero(corrections.reacquired), [4])


def test_a_pass_of_the_gate_begins_anew_even_unasked():
    found = _timely(count=4)
    wrong = found.value.copy()
    wrong[[0, 1, 3], :2] += 1.0
    trust = REGAINING | {"only_on_request": True}
    corrections = _corrections(dataclasses.replace(found, value=wrong), start=START, trust=trust)
    assert corrections.rejected_by == (Rule.GATE, Rule.GATE, Rule.NOT_REQUESTED, Rule.GATE)


@pytest.mark.parametrize("mode", ["kalman", "fixed_gain"])
def test_the_belief_is_given_up_again_when_an_earlier_capture_arrives_later(mode):
    """It agrees with the wrong belief, so its gate lets it pass; what came after it in time is run again."""
    found = _timely(count=6)
    arrived, value = found.arrived_s.copy(), found.value.copy()
    arrived[0] = found.captured_s[3] + 0.01
    step = ASTRAY.pose - START.pose
    turn = np.array([[np.cos(step[2]), -np.sin(step[2])], [np.sin(step[2]), np.cos(step[2])]])
    value[0, :2] = ASTRAY.pose[:2] + turn @ (value[0, :2] - START.pose[:2])
    value[0, 2] += step[2]
    config = fusion(trust=REGAINING, correction={"mode": mode}, latency={"history": "2 s"})
    late = sightings(dataclasses.replace(found, arrived_s=arrived, value=value), config)
    corrections, _ = assert_as_starting_over(late, config, 1e-9, DRIVE, ASTRAY)
    assert corrections.row.tolist() == [2, 3, 4, 1, 5, 6]
    assert corrections.rejected_by == (Rule.GATE, Rule.GATE, None, None, None, None)
    assert corrections.reacquired.tolist() == [False, False, True, False, False, False]


@given(st.integers(0, 10_000))
@settings(max_examples=20)
def test_how_far_two_fixes_disagree_is_what_small_steps_give(seed):
    """Either may act first and either may lack its heading; beliefs and noises at random."""
    rng = np.random.default_rng(seed)
    noise = MotionNoise(along_per_metre="0.1 m", across_per_metre="0.05 m", heading_per_turn="20 deg")
    drive = motion(rows=20, seed=seed)
    config = fusion(trust=REGAINING)
    found = detections(drive, dead_reckon(drive, START.pose), count=2, seed=seed)
    value = np.where(rng.uniform(size=(2, 1)) < 0.5, found.value, found.value * [1.0, 1.0, np.nan])
    prepared = sightings(dataclasses.replace(found, value=value), config)
    root = rng.normal(size=(3, 3))
    believed = Belief(rng.normal(size=3), 0.01 * root @ root.T)
    applied_s = found.captured_s
    misfit = AgreeingFixes(prepared, applied_s, drive, noise, config, 3, 1, last=0).misfit(1, believed)
    keys = [(applied_s[i], found.row[i], i) for i in (1, 0)]
    squared, size = naive_misfit(drive, prepared, config, noise, *keys, (believed.mean, believed.covariance))
    assert len(misfit.residual) == size
    assert misfit.normalised_squared == pytest.approx(squared, rel=1e-4)


CASES = {
    "kalman": {},
    "two_are_enough": {"trust": REGAINING | {"reacquire_after": 2}},
    "position_only": {"correction": {"use_heading": False}},
    "fixed_gain": {"correction": {"mode": "fixed_gain"}},
    "replace": {"correction": {"mode": "replace"}},
    "ignore_latency": {"latency": {"mode": "ignore"}},
    "on_request": {"trust": REGAINING | {"only_on_request": True, "request_window": "200 ms"}},
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("start", [START, ASTRAY], ids=["right", "astray"])
def test_late_shuffled_and_wild_fixes_do_what_starting_over_gives(case, start):
    config = fusion(**({"trust": REGAINING} | CASES[case]))
    found = sightings(detections(DRIVE, TRUTH, count=16), config)
    corrections, _ = assert_as_starting_over(found, config, 1e-9, DRIVE, start, DRIVE.time_s[3::6].tolist())
    assert np.any(corrections.reacquired) == (start is ASTRAY)


def test_some_fixes_without_heading_do_too():
    config = fusion(trust=REGAINING)
    found = detections(DRIVE, TRUTH, count=16)
    value = found.value.copy()
    value[::2, 2] = np.nan
    corrections, _ = assert_as_starting_over(
        sightings(dataclasses.replace(found, value=value), config), config, 1e-9, DRIVE, ASTRAY
    )
    assert np.any(corrections.reacquired)


@pytest.mark.parametrize("case", ["kalman", "position_only", "replace"])
def test_tag_poses_do_too(case):
    config = fusion(**({"trust": REGAINING} | CASES[case]))
    found = sightings(camera_detections(TagKind.TAG_POSE, DRIVE, TRUTH, count=12), config)
    corrections, _ = assert_as_starting_over(found, config, 1e-7, DRIVE, ASTRAY)
    assert np.any(corrections.reacquired)


@given(st.integers(0, 10_000))
@settings(max_examples=6)
def test_any_run_does(seed):
    """Starts, fixes and delays at random; a short history makes some too old."""
    rng = np.random.default_rng(seed)
    drive = motion(rows=20, seed=seed)
    start = StartPose(START.pose + rng.normal(scale=[0.3, 0.3, 0.2]), START.covariance)
    trust = {"gate_probability": "95 %", "reacquire_after": int(rng.integers(2, 4)), "maximum_speed": "0.9 m/s"}
    config = fusion(
        trust=trust,
        correction={"mode": ["kalman", "replace", "fixed_gain"][seed % 3], "use_heading": bool(rng.integers(2))},
        latency={"mode": ["rewind", "ignore"][int(rng.integers(2))], "history": "250 ms"},
    )
    found = detections(drive, dead_reckon(drive, START.pose), count=10, seed=seed)
    assert_as_starting_over(sightings(found, config), config, 1e-9, drive, start)


def test_the_unscented_engine_regains_the_same_way():
    found = detections(DRIVE, TRUTH, count=16)
    extended, unscented = (_corrections(found, engine=engine) for engine in ("textbook", "unscented"))
    assert extended.rejected_by == unscented.rejected_by
    np.testing.assert_array_equal(extended.reacquired, unscented.reacquired)
    assert np.any(extended.reacquired)
