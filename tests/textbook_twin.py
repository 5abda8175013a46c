"""Compares a replay with its slow twin in everything it gives."""

import numpy as np
import pytest
from builders import START, field
from naive import naive_fuse

from locbench.config import Engine, MotionNoise
from locbench.fusion import fuse, sample_track

__all__ = ["assert_as_starting_over", "published_at_samples"]

NOISE = MotionNoise()
TAGS = {tag.id: (tag.x, tag.y, tag.z, tag.facing) for tag in field().tags}


def published_at_samples(estimate, drive):
    sampled = sample_track(estimate.track, drive, estimate.noise, drive.time_s)
    return sampled.pose, sampled.covariance


def assert_as_starting_over(found, config, within_m, drive, start=START, requests_s=(), noise=NOISE):
    """Return the corrections and their rules in words, after comparing both engines' everything with the slow twin."""
    states, verdicts, squared, resets = naive_fuse(drive, start, found, config, noise, TAGS, requests_s)
    by_row = {int(found.detections.row[i]): value for i, value in squared.items()}
    for engine in (Engine.TEXTBOOK, Engine.KERNEL):
        chosen = config.model_copy(update={"engine": engine})
        estimate = fuse(drive, start, found, chosen, noise, np.array(requests_s, dtype=float))
        pose, covariance = published_at_samples(estimate, drive)
        np.testing.assert_allclose(pose, [x for x, _ in states], atol=within_m)
        np.testing.assert_allclose(covariance, [p for _, p in states], rtol=2e-5, atol=1e-10)
        corrections = estimate.corrections
        rules = [None if rule is None else str(rule) for rule in corrections.rejected_by]
        assert list(zip(corrections.row.tolist(), rules, strict=True)) == verdicts
        assert set(corrections.row[corrections.reacquired].tolist()) == resets
        for row, value in zip(corrections.row, corrections.normalised_innovation_squared, strict=True):
            assert (int(row) in by_row) == np.isfinite(value)
            if int(row) in by_row:
                assert value == pytest.approx(by_row[int(row)], rel=1e-4, abs=1e-9)
    return corrections, rules
