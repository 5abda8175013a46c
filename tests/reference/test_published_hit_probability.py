"""The probability that a shot with a Gaussian landing point enters an offset circle: the Rice distribution.

P = 1 - Q1(offset / sigma, R / sigma) with the Marcum function Q1.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_hit_probability
from scipy import stats
from strategies import angles

from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.shots import clean_entry, hit_probability, landing_covariance, landing_offset

SIGMA_M = 0.1
LINE = np.array([[1.0, 0.0]])


def _goal(radius_m):
    opening = {"kind": "horizontal", "radius": f"{radius_m} m"}
    return Goal.model_validate({"name": "bin", "x": "0 m", "y": "0 m", "height": "1 m", "opening": opening})


def _shooter(diameter_m, entry_deg):
    projectile = {"diameter": f"{diameter_m} m"}
    return ShooterConfig.model_validate({"name": "s", "projectile": projectile, "entry_angle": f"{entry_deg} deg"})


STRAIGHT_DOWN = _shooter(1e-9, 89.999)


def _probability(offset, ratio):
    covariance = SIGMA_M**2 * np.eye(2)[np.newaxis]
    centre = np.array([[offset * SIGMA_M, 0.0]])
    return float(hit_probability(centre, covariance, LINE, _goal(ratio * SIGMA_M), STRAIGHT_DOWN)[0])


@pytest.mark.parametrize(
    ("offset", "ratio", "marcum"),
    [(0.2, 0.6, 0.838249985438908), (1.2, 1.6, 0.501536568390858), (2.2, 2.6, 0.426794627821735)],
)
def test_published_values_of_the_marcum_function(offset, ratio, marcum):
    """Seen, secondary: Acta Univ. Sapientiae Math. 3,1 (2011) 60-76, quoted in a public test suite."""
    assert stats.ncx2.sf(ratio**2, 2, offset**2) == pytest.approx(marcum, abs=1e-12)
    assert _probability(offset, ratio) == pytest.approx(1.0 - marcum, abs=0.004)


TABLE = {
    0.0: [0.117503, 0.393469, 0.675348, 0.864665, 0.956063, 0.988891],
    0.5: [0.104491, 0.357286, 0.630931, 0.830859, 0.938319, 0.982156],
    1.0: [0.073473, 0.267120, 0.511960, 0.730988, 0.879146, 0.956284],
    1.5: [0.040836, 0.163781, 0.356284, 0.576321, 0.767874, 0.896173],
    2.0: [0.017931, 0.081892, 0.209232, 0.396499, 0.605896, 0.785638],
    3.0: [0.001700, 0.010829, 0.040780, 0.113279, 0.246102, 0.432520],
}


@pytest.mark.parametrize("offset", TABLE)
def test_table_of_the_offset_circle(offset):
    """Computed, six digits; by scipy's noncentral chi-square and by the draws."""
    for ratio, expected in zip([0.5, 1.0, 1.5, 2.0, 2.5, 3.0], TABLE[offset], strict=True):
        assert stats.ncx2.cdf(ratio**2, 2, offset**2) == pytest.approx(expected, abs=1e-6)
        assert _probability(offset, ratio) == pytest.approx(expected, abs=0.004)


@pytest.mark.parametrize(("major", "minor", "tilt"), [(0.15, 0.05, 0.4), (0.08, 0.08, 0.0), (0.3, 0.02, 1.5)])
def test_any_covariance_and_slanted_entry_against_a_fine_grid(major, minor, tilt):
    goal, shooter = _goal(0.18), _shooter(0.07, 50)
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])
    covariance = turn @ np.diag([major**2, minor**2]) @ turn.T
    centre = np.array([0.03, -0.02])

    def enters(points):
        return clean_entry(points, np.repeat(LINE, len(points), axis=0), goal, shooter)

    found = hit_probability(centre[np.newaxis], covariance[np.newaxis], LINE, goal, shooter)[0]
    assert found == pytest.approx(naive_hit_probability(centre, covariance, enters), abs=0.004)


def test_without_spread_a_shot_enters_or_not():
    goal, shooter = _goal(0.18), _shooter(0.07, 50)
    centres = np.array([[0.0, 0.0], [0.3, 0.0]])
    found = hit_probability(centres, np.zeros((2, 2, 2)), np.repeat(LINE, 2, axis=0), goal, shooter)
    assert found.tolist() == [1.0, 0.0]


@given(angles(), st.floats(0.3, 5.0), angles())
def test_the_covariance_at_the_goal_is_that_of_the_derivative(bearing, distance, heading):
    """Of the landing point by the error of the believed pose, by central differences."""
    goal = np.array([1.0, -2.0])
    pose = np.array([[*(goal - distance * np.array([np.cos(bearing), np.sin(bearing)])), heading]])
    step = 1e-6
    columns = [
        (landing_offset(pose, pose + step * axis, goal) - landing_offset(pose, pose - step * axis, goal))[0]
        / (2 * step)
        for axis in np.eye(3)
    ]
    jacobian = np.column_stack(columns)
    covariance = np.array([[4e-4, 1e-4, 2e-5], [1e-4, 3e-4, -1e-5], [2e-5, -1e-5, 5e-4]])
    found = landing_covariance(pose, covariance[np.newaxis], goal)[0]
    np.testing.assert_allclose(found, jacobian @ covariance @ jacobian.T, rtol=1e-6, atol=1e-12)
