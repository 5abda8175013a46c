import dataclasses

import numpy as np
import pytest
from builders import START, detections, motion

from locbench.config import MotionNoise
from locbench.fusion import dead_reckoning, onboard, sample_track, tags_only
from locbench.geometry import compose, exponential
from locbench.odometry import dead_reckon
from locbench.session import PoseTrack

NOISE = MotionNoise()
DRIVE = motion(rows=100)
TRUTH = dead_reckon(DRIVE, START.pose)


def test_tags_only_is_the_newest_capture_that_has_arrived_held_for_half_a_second():
    found = detections(DRIVE, TRUTH, count=12, latest_s=0.4)
    track = tags_only(found, DRIVE, NOISE).track
    times = np.linspace(DRIVE.time_s[0], DRIVE.time_s[-1], 500)
    sampled = sample_track(track, DRIVE, NOISE, times)
    for time, pose in zip(times, sampled.pose, strict=True):
        known = np.flatnonzero((found.arrived_s <= time) & (found.captured_s >= DRIVE.time_s[0]))
        newest = known[np.argmax(found.captured_s[known])] if len(known) else None
        if newest is None or time > found.captured_s[newest] + 0.5:
            assert np.all(np.isnan(pose))
        else:
            np.testing.assert_array_equal(pose, found.value[newest])


def test_between_samples_odometry_carries_the_pose_on():
    track = dead_reckoning(DRIVE, START, NOISE).track
    k = 40
    time = 0.3 * DRIVE.time_s[k - 1] + 0.7 * DRIVE.time_s[k]
    sampled = sample_track(track, DRIVE, NOISE, np.array([time]))
    np.testing.assert_allclose(sampled.pose[0], compose(TRUTH[k - 1], exponential(0.7 * DRIVE.twist[k])), atol=1e-12)
    before = sample_track(track, DRIVE, NOISE, DRIVE.time_s[k - 1 : k])
    assert np.linalg.eigvalsh(sampled.covariance[0] - before.covariance[0])[-1] > 0


def test_the_robots_own_pose_is_interpolated_and_has_no_covariance():
    rows = slice(None, None, 3)
    log = PoseTrack(DRIVE.time_s[rows], TRUTH[rows], 0.0, 0.0, np.zeros(len(TRUTH[rows]), dtype=bool))
    estimate = onboard(log, DRIVE, NOISE)
    sampled = sample_track(estimate.track, DRIVE, NOISE, np.array([DRIVE.time_s[3], DRIVE.time_s[0] - 1]))
    np.testing.assert_allclose(sampled.pose[0], TRUTH[3])
    assert np.all(np.isnan(sampled.covariance))
    assert np.all(np.isnan(sampled.pose[1]))


def test_outside_the_log_there_is_no_pose():
    track = dead_reckoning(DRIVE, START, NOISE).track
    times = np.array([DRIVE.time_s[0] - 0.1, DRIVE.time_s[-1] + 0.1, DRIVE.time_s[-1]])
    finite = np.isfinite(sample_track(track, DRIVE, NOISE, times).pose[:, 0])
    assert finite.tolist() == [False, False, True]


def test_tags_only_without_detections_covers_nothing():
    nothing = detections(DRIVE, TRUTH, count=0)
    track = tags_only(nothing, DRIVE, NOISE).track
    assert np.all(np.isnan(sample_track(track, DRIVE, NOISE, DRIVE.time_s).pose))


@pytest.mark.parametrize("missing", ["captured_s", "arrived_s"])
def test_detections_outside_the_stretch_are_not_offered(missing):
    found = detections(DRIVE, TRUTH, count=6)
    away = dataclasses.replace(found, **{missing: getattr(found, missing) + (1e3 if missing == "arrived_s" else -1e3)})
    assert len(tags_only(away, DRIVE, NOISE).track.time_s) == 0
