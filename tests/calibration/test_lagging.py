"""What a gyro will have turned a little later: right where the robot turns, silent where it is only noise."""

from dataclasses import replace

import numpy as np
import pytest
from calibration.drives import CONSTANTS, wheels
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from locbench.calibration.lagging import turned_later
from locbench.calibration.wheels import whiles

PERIOD_S = 0.02
TIME_S = PERIOD_S * np.arange(1500)


def _heading(time_s):
    """Turns of up to 140 deg/s, back and forth."""
    return 2.0 * np.sin(1.2 * time_s)


@given(lag=st.floats(-0.04, 0.04))
def test_where_the_robot_turns_it_is_the_motion(lag):
    time_s = TIME_S + np.random.default_rng(1).uniform(-0.004, 0.004, len(TIME_S))
    later = turned_later(time_s, _heading(time_s), lag)
    inside = slice(10, -10)
    turning = np.abs(1.2 * 2.0 * np.cos(1.2 * time_s)) > np.radians(6.0)
    expected = _heading(time_s + lag) - _heading(time_s)
    np.testing.assert_allclose(later[inside][turning[inside]], expected[inside][turning[inside]], atol=3e-4)


def test_noise_at_rest_has_no_lag():
    heading = np.cumsum(1e-4 * np.random.default_rng(2).standard_normal(len(TIME_S)))
    np.testing.assert_array_equal(turned_later(TIME_S, heading, 0.01), 0.0)


def test_no_lag_is_nothing():
    np.testing.assert_allclose(turned_later(TIME_S, _heading(TIME_S), 0.0), 0.0, atol=1e-12)


@pytest.mark.parametrize("lag_s", [0.0, 0.004, 0.013])
def test_a_lag_that_few_turns_show_is_not_drawn_to_half_a_period(lag_s):
    """A noisy gyro on a robot that stands, drives and turns twice: contradictions are least at the lag, on average."""
    count = 3000
    twist = np.zeros((count, 3))
    twist[500:1500, 0] = 0.02
    for start, sense in ((1700, 1.0), (2300, -1.0)):
        ramp = np.minimum(np.minimum(np.arange(100), np.arange(100)[::-1]) / 20.0, 1.0)
        twist[start : start + 100, 2] = sense * ramp * np.radians(120.0) * PERIOD_S
    made = wheels(twist)
    rng = np.random.default_rng(5)
    found = []
    for _ in range(24):
        turned = np.interp(made.time_s - lag_s, made.time_s, made.heading_rad)
        noise = np.cumsum(3e-4 * rng.standard_normal(count + 1))
        noisy = replace(made, heading_rad=turned + noise, turn_variance=np.full(count, 9e-8))
        travel = noisy.travel_m + np.cumsum(2e-5 * rng.standard_normal((count + 1, 3)), axis=0)
        found.append(_likeliest_lag(replace(noisy, travel_m=travel)))
    error = np.mean(found) - lag_s
    # of one run; the mean of 24 may be off by four standard errors
    spread = np.std(found)
    assert spread < 0.004
    assert abs(error) < 4.0 * spread / np.sqrt(len(found)) + 2e-4


def _likeliest_lag(noisy):
    first = whiles(noisy.time_s)

    def cost(lag):
        rolled = noisy.rolled(CONSTANTS, np.array([*np.zeros(10), lag]), 0.0)
        total = np.add.reduceat(rolled.parity, first, axis=0)
        variance = np.add.reduceat(rolled.parity_variance, first, axis=0) + rolled.parity_rounding
        return float(np.sum(total**2 / variance))

    grid = np.arange(-0.03, 0.0301, 0.002)
    best = grid[int(np.argmin([cost(lag) for lag in grid]))]
    return optimize.minimize_scalar(cost, bounds=(best - 0.002, best + 0.002), method="bounded").x
