"""Covariance of dead reckoning against closed forms of the literature."""

import numpy as np
import pytest

from locbench.config import MotionNoise
from locbench.odometry import Motion, dead_reckon, dead_reckon_covariance, interval_noise

NOISE = MotionNoise(
    along_per_metre="10 mm",
    across_per_metre="0 mm",
    heading_per_metre="0.02 rad",
    heading_per_turn="0 deg",
    heading_per_minute="0 deg",
)


@pytest.mark.parametrize(
    ("radius", "angle", "expected"),
    [
        (1.0, np.pi / 2, (3.926991e-4, 2.210176e-4, -1.5e-4, -4e-4, 2.283185e-4, 6.283185e-4)),
        (2.0, np.pi, (1.539380e-2, 5.340708e-3, 6.4e-3, -5.026548e-3, -3.2e-3, 2.513274e-3)),
        (1.5, 2 * np.pi, (1.319469e-2, 4.712389e-3, 0.0, 5.654867e-3, 0.0, 3.769911e-3)),
    ],
)
@pytest.mark.parametrize("pieces", [40, 400])
def test_covariance_along_an_arc(radius, angle, expected, pieces):
    """Chong & Kleeman, ICRA 1997; Kelly, IJRR 23(2) 2004: closed forms re-derived, checked numerically to 1e-8.

    Along-track variance 1e-4 m^2 and heading variance 4e-4 rad^2 per metre, left arc from the origin.
    """
    twist = np.tile([radius * angle / pieces, 0.0, angle / pieces], (pieces + 1, 1))
    motion = Motion.from_increments(np.arange(pieces + 1.0), twist, np.zeros(pieces + 1, dtype=bool))
    poses = dead_reckon(motion, np.zeros(3))
    np.testing.assert_allclose(poses[-1], [radius * np.sin(angle), radius * (1 - np.cos(angle)), angle], atol=1e-9)
    p = dead_reckon_covariance(motion, poses, np.zeros((3, 3)), NOISE)[-1]
    found = (p[0, 0], p[1, 1], p[0, 1], p[0, 2], p[1, 2], p[2, 2])
    np.testing.assert_allclose(found, expected, atol=2e-8, rtol=2e-6)


def test_one_long_straight_step():
    """Straight line of length D: yy = q D^3 / 3, yt = q D^2 / 2, tt = q D, xx = s D (same sources)."""
    noise = interval_noise(np.array([[5.0, 0.0, 0.0]]), np.array([1.0]), NOISE)[0]
    expected = [[5e-4, 0, 0], [0, 4e-4 * 125 / 3, 4e-4 * 12.5], [0, 4e-4 * 12.5, 20e-4]]
    np.testing.assert_allclose(noise, expected, atol=1e-15)
