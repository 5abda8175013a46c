import numpy as np
from builders import motion
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_rates

from locbench.odometry import Motion, rates_at


def _steady(count: int = 101) -> Motion:
    """Ten seconds at 0.5 m/s, sideways and forward, turning right at 2 rad/s, a row every 100 ms."""
    steps = np.tile([0.03, 0.04, -0.2], (count, 1))
    return Motion.from_increments(np.linspace(0.0, 10.0, count), steps, np.zeros(count, dtype=bool))


def test_a_steady_drive_has_its_rates_at_every_time():
    rates = rates_at(_steady(), np.array([0.01, 0.1, 3.217, 10.0]))
    np.testing.assert_allclose(rates.speed_m_s, 0.5)
    np.testing.assert_allclose(rates.turn_rate_rad_s, 2.0)


def test_nothing_is_told_outside_the_motion_and_at_its_first_time():
    rates = rates_at(_steady(), np.array([-0.1, 0.0, 10.001, np.nan]))
    assert np.all(np.isnan(rates.speed_m_s))
    assert np.all(np.isnan(rates.turn_rate_rad_s))


def test_turns_to_and_fro_cancel_and_ways_do_not():
    times = np.array([0.0, 0.05, 0.1])
    twist = np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.3], [-0.1, 0.0, -0.3]])
    rates = rates_at(Motion.from_increments(times, twist, np.zeros(3, dtype=bool)), np.array([0.1]))
    np.testing.assert_allclose(rates.speed_m_s, 2.0)
    np.testing.assert_allclose(rates.turn_rate_rad_s, 0.0, atol=1e-12)


@given(st.integers(0, 1000), st.lists(st.floats(9.9, 13.5), min_size=1, max_size=20))
def test_they_are_what_adding_up_pieces_of_rows_gives(seed, times):
    drive = motion(seed=seed)
    rates = rates_at(drive, np.array(times))
    expected = np.array([naive_rates(drive, time) for time in times])
    np.testing.assert_allclose(rates.turn_rate_rad_s, expected[:, 0], rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(rates.speed_m_s, expected[:, 1], rtol=1e-7, atol=1e-7)
