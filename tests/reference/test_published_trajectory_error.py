"""Absolute and relative trajectory error: the exact case, and the definitions of Sturm et al., IROS 2012."""

import numpy as np
import pytest
from builders import comparison

from locbench.accuracy import drift_numbers, drift_segments, summarise
from locbench.geometry import rigid_alignment, similarity_alignment

TRUTH = np.column_stack([np.arange(11.0), np.zeros(11), np.zeros(11)])
ESTIMATE = TRUTH * [1.01, 1.0, 1.0]


def test_exact_case_of_one_percent_scale():
    """Truth x = 0..10, estimate 1.01 x: RPE 0.01, ATE unaligned 0.01 sqrt 35, aligned 0.01 sqrt 10, scaled 0."""
    found = comparison(ESTIMATE, TRUTH)
    assert summarise([found]).position_rms_m.value == pytest.approx(0.01 * np.sqrt(35.0), abs=1e-12)
    segments = drift_segments(found)
    np.testing.assert_allclose(np.linalg.norm(segments.error[:, :2], axis=1), 0.01, atol=1e-12)
    assert drift_numbers(segments).position_per_metre.value == pytest.approx(0.01)
    rigid = rigid_alignment(ESTIMATE[:, :2], TRUTH[:, :2])
    assert np.sqrt(rigid.mean_squared_residual) == pytest.approx(0.01 * np.sqrt(10.0), abs=1e-12)
    assert similarity_alignment(ESTIMATE[:, :2], TRUTH[:, :2]).mean_squared_residual == pytest.approx(0.0, abs=1e-15)


def test_relative_error_is_that_of_the_definition():
    """E_i = (Q_i^-1 Q_j)^-1 (P_i^-1 P_j), by homogeneous matrices."""
    rng = np.random.default_rng(6)
    reference = rng.normal(size=(8, 3))
    believed = reference + 0.05 * rng.normal(size=(8, 3))

    def matrix(pose):
        c, s = np.cos(pose[2]), np.sin(pose[2])
        return np.array([[c, -s, pose[0]], [s, c, pose[1]], [0, 0, 1]])

    segments = drift_segments(comparison(believed, reference))
    for i in range(7):
        q = np.linalg.inv(matrix(reference[i])) @ matrix(reference[i + 1])
        p = np.linalg.inv(matrix(believed[i])) @ matrix(believed[i + 1])
        expected = np.linalg.inv(q) @ p
        np.testing.assert_allclose(segments.error[i, :2], expected[:2, 2], atol=1e-12)
        assert segments.error[i, 2] == pytest.approx(np.arctan2(expected[1, 0], expected[0, 0]), abs=1e-12)
