"""Asserts that two replays of the same log are the same, as closely as numbers allow."""

import numpy as np

from locbench.fusion import Estimate, sample_track
from locbench.odometry import Motion

__all__ = ["assert_alike"]


def assert_alike(one: Estimate, other: Estimate, drive: Motion, within_m: float = 1e-9) -> None:
    """Positions and headings to 1e-9, covariances to 1e-8 of their sizes, every verdict and every step the same."""
    mine, theirs = one.corrections, other.corrections
    for name in ("row", "tag", "captured_s", "arrived_s", "degrees_of_freedom", "reacquired"):
        np.testing.assert_array_equal(getattr(mine, name), getattr(theirs, name), err_msg=name)
    assert mine.rejected_by == theirs.rejected_by
    np.testing.assert_allclose(
        mine.normalised_innovation_squared, theirs.normalised_innovation_squared, rtol=1e-6, atol=1e-9
    )
    np.testing.assert_allclose(mine.whitened_innovation, theirs.whitened_innovation, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(mine.before, theirs.before, rtol=0, atol=within_m)
    np.testing.assert_allclose(mine.after, theirs.after, rtol=0, atol=within_m)
    _assert_same_steps(one, other)
    times = _times(drive, mine.arrived_s)
    poses, expected = (sample_track(estimate.track, drive, estimate.noise, times) for estimate in (one, other))
    np.testing.assert_allclose(poses.pose, expected.pose, rtol=0, atol=within_m)
    size = np.sqrt(np.diagonal(expected.covariance, axis1=1, axis2=2))
    allowed = 1e-8 * size[:, :, np.newaxis] * size[:, np.newaxis, :]
    np.testing.assert_array_equal(np.isnan(poses.covariance), np.isnan(expected.covariance))
    assert not np.any(np.abs(poses.covariance - expected.covariance) > allowed)


def _times(drive: Motion, arrived_s: np.ndarray) -> np.ndarray:
    """Rows of the odometry, times between them, and arrivals."""
    between = np.random.default_rng(5).uniform(drive.time_s[0], drive.time_s[-1], 200)
    return np.sort(np.concatenate([drive.time_s, between, arrived_s]))


def _assert_same_steps(one: Estimate, other: Estimate) -> None:
    assert one.steps is not None
    assert other.steps is not None
    for name in ("arrived_s", "time_s", "row"):
        np.testing.assert_array_equal(getattr(one.steps, name), getattr(other.steps, name), err_msg=name)
    for name in ("heading_rad", "gain", "slope", "covariance"):
        np.testing.assert_allclose(
            getattr(one.steps, name), getattr(other.steps, name), rtol=1e-6, atol=1e-8, err_msg=name
        )
