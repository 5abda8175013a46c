import numpy as np
import pytest
from builders import START, doubtful, motion
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import MotionNoise
from locbench.geometry import compose, exponential
from locbench.odometry import Motion, doubted_noise, transition
from locbench.odometry.moments import interval_moments, noise_bases, packed_noise
from locbench.odometry.reckoning import rotated

NOISE = MotionNoise(doubted_factor=3.0)
# blocks have 64 intervals: one, two, exactly a block, one more, two blocks, and runs of many
LENGTHS = [2, 3, 65, 66, 129, 1400]
DRIVES = {rows: motion(rows=rows) for rows in LENGTHS} | {-rows: doubtful(motion(rows=rows)) for rows in LENGTHS}


def _one_interval_after_the_other(drive: Motion, begin: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    """Pose and covariance from the identity: the filter's own prediction, interval by interval."""
    pose, covariance = np.zeros(3), np.zeros((3, 3))
    for k in range(1, len(drive.time_s)):
        low, high = max(begin, drive.time_s[k - 1]), min(end, drive.time_s[k])
        if high <= low:
            continue
        twist = (high - low) / (drive.time_s[k] - drive.time_s[k - 1]) * drive.twist[k]
        added = doubted_noise(twist[np.newaxis], np.array([high - low]), drive.doubted[k : k + 1], NOISE)[0]
        moved = compose(pose, exponential(twist))
        carry = transition(moved[:2] - pose[:2])
        covariance = carry @ covariance @ carry.T + rotated(added, pose[2])
        pose = moved
    return pose, covariance


def _assert_alike(covariance: np.ndarray, expected: np.ndarray) -> None:
    size = np.sqrt(np.diagonal(expected, axis1=-2, axis2=-1))
    allowed = 1e-8 * size[..., :, np.newaxis] * size[..., np.newaxis, :]
    assert np.all(np.abs(covariance - expected) <= allowed + 1e-30)


@given(st.sampled_from(sorted(DRIVES)), st.floats(0, 1), st.floats(0, 1), st.booleans(), st.booleans())
def test_a_leg_is_its_intervals_one_after_the_other(rows, a, b, on_row, to_row):
    drive = DRIVES[rows]
    first, last = drive.time_s[0], drive.time_s[-1]
    begin, end = sorted((first + a * (last - first), first + b * (last - first)))
    if on_row:
        begin = drive.time_s[np.searchsorted(drive.time_s, begin, side="right") - 1]
    if to_row:
        end = max(begin, drive.time_s[np.searchsorted(drive.time_s, end, side="right") - 1])
    leg = drive.lookup.legs(np.array([begin]), np.array([end]))
    pose, covariance = _one_interval_after_the_other(drive, begin, end)
    np.testing.assert_allclose(leg.displacement[0], pose, atol=1e-11)
    _assert_alike(leg.covariance(NOISE)[0], covariance)


@given(st.sampled_from(sorted(DRIVES)), st.lists(st.floats(0, 1), min_size=3, max_size=3))
def test_legs_compose(rows, shares):
    drive = DRIVES[rows]
    a, b, c = np.sort(drive.time_s[0] + (drive.time_s[-1] - drive.time_s[0]) * np.array(shares))
    legs = drive.lookup.legs(np.array([a, b, a]), np.array([b, c, c]))
    joined = legs[[0]].then(legs[[1]])
    np.testing.assert_allclose(joined.displacement[0], legs.displacement[2], atol=1e-12)
    _assert_alike(joined.covariance(NOISE)[0], legs.covariance(NOISE)[2])
    rest = legs[[2]].without(legs[[0]])
    np.testing.assert_allclose(rest.displacement[0], legs.displacement[1], atol=1e-11)


@pytest.mark.parametrize("rows", [65, 1400])
def test_many_queries_in_any_order_are_as_good_as_one(rows):
    drive = DRIVES[rows]
    rng = np.random.default_rng(1)
    times = np.sort(rng.uniform(drive.time_s[0], drive.time_s[-1], (40_000, 2)), axis=1)
    many = drive.lookup.legs(times[:, 0], times[:, 1])
    some = rng.integers(0, len(times), 50)
    one = [drive.lookup.legs(times[i : i + 1, 0], times[i : i + 1, 1]) for i in some]
    np.testing.assert_array_equal(many.displacement[some], np.concatenate([leg.displacement for leg in one]))
    np.testing.assert_array_equal(many.moments[some], np.concatenate([leg.moments for leg in one]))


def test_no_time_is_no_way():
    drive = DRIVES[129]
    times = np.array([drive.time_s[0], drive.time_s[100], drive.time_s[100] + 1e-3, drive.time_s[-1]])
    legs = drive.lookup.legs(times, times)
    np.testing.assert_array_equal(legs.displacement, 0.0)
    np.testing.assert_array_equal(legs.covariance(NOISE), 0.0)


def test_a_long_way_loses_no_digits_of_a_short_leg():
    """Two hours at 200 Hz: sums over the whole log would be left with 5e-6 of a short leg's covariance."""
    rows = 200_000
    steps = np.tile([[0.006, 0.0, 0.0002]], (rows, 1))
    drive = Motion.from_increments(0.005 * np.arange(rows), steps, np.zeros(rows, dtype=bool))
    alone = Motion.from_increments(0.005 * np.arange(41), steps[:41], np.zeros(41, dtype=bool))
    late = drive.lookup.legs(drive.time_s[[-41]], drive.time_s[[-1]])
    early = alone.lookup.legs(alone.time_s[[0]], alone.time_s[[-1]])
    np.testing.assert_allclose(late.displacement, early.displacement, atol=1e-12)
    _assert_alike(late.covariance(NOISE)[0], early.covariance(NOISE)[0])


@given(st.lists(st.floats(-2, 2), min_size=3, max_size=3), st.floats(1e-3, 2.0), st.integers(0, 4))
def test_bases_are_the_covariance_of_each_noise_alone(twist, duration, which):
    """One unit of one kind of noise, against the quadrature of the noise itself."""
    keys = ("along_per_metre", "across_per_metre", "heading_per_metre", "heading_per_turn", "heading_per_minute")
    alone = MotionNoise().model_copy(update=dict.fromkeys(keys, 0.0) | {keys[which]: 1.0})
    twists, durations = np.array([twist]), np.array([duration])
    packed = packed_noise(noise_bases(exponential(twists), interval_moments(twists, durations)), alone)[0]
    added = doubted_noise(twists, durations, np.zeros(1, dtype=bool), alone)[0]
    np.testing.assert_allclose(packed, added[[0, 0, 1, 0, 1, 2], [0, 1, 1, 2, 2, 2]], rtol=1e-12, atol=1e-13)


def test_dead_reckoning_starts_where_it_is_told():
    drive = DRIVES[129]
    leg = drive.lookup.legs(drive.time_s[[0]], drive.time_s[[-1]])
    pose, _ = _one_interval_after_the_other(drive, drive.time_s[0], drive.time_s[-1])
    np.testing.assert_allclose(compose(START.pose, leg.displacement[0]), compose(START.pose, pose), atol=1e-11)
