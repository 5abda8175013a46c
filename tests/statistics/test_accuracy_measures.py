import math

import numpy as np
import pytest

from locbench.statistics import (
    circular_error_probable,
    effective_sample_size,
    largest,
    mean_of_sessions,
    mean_with_interval,
    radius95,
    root_mean_square,
    root_mean_square_of_sessions,
)


def test_below_six_independent_errors_there_is_a_value_but_no_interval():
    number = root_mean_square(np.ones((5, 2)), 5.0)
    assert number.value == pytest.approx(math.sqrt(2))
    assert number.ci95 is None
    assert "6 are needed" in number.why


def test_the_marks_own_uncertainty_widens_the_lower_end():
    errors = np.random.default_rng(4).normal(scale=0.01, size=(12, 2))
    plain = root_mean_square(errors, 12.0)
    aware = root_mean_square(errors, 12.0, reference_variance=2 * 0.005**2)
    assert aware.value == plain.value
    assert aware.ci95[0] < plain.ci95[0]
    assert aware.ci95[1] == plain.ci95[1]


def test_a_radius_of_95_percent_needs_twenty_independent_errors():
    assert radius95(np.arange(19.0), 19.0).value is None
    assert "20" in radius95(np.arange(19.0), 19.0).why
    assert radius95(np.arange(20.0), 20.0).value is not None


@pytest.mark.parametrize("measure", [circular_error_probable, mean_with_interval])
def test_nothing_compared_is_unavailable(measure):
    assert measure(np.array([]), 0.0).value is None
    assert largest(np.array([])).value is None
    assert root_mean_square(np.zeros((0, 2)), 0.0).value is None


def _correlated(rng, count, correlation):
    noise = rng.normal(size=(count, 2))
    series = np.empty((count, 2))
    series[0] = noise[0]
    for i in range(1, count):
        series[i] = correlation * series[i - 1] + math.sqrt(1 - correlation**2) * noise[i]
    return series


@pytest.mark.parametrize(("count", "correlation"), [(12, 0.0), (20, 0.0), (20, 0.7), (200, 0.9), (1000, 0.99)])
def test_intervals_of_correlated_errors_cover(count, correlation):
    """400 seeded runs through the effective sample size: of the intervals given, at least 0.92 hold the true value."""
    rng, held_rms, held_mean = np.random.default_rng(count), [], []
    for _ in range(400):
        errors = _correlated(rng, count, correlation)
        independent = effective_sample_size(errors)
        rms = root_mean_square(errors, independent)
        mean = mean_with_interval(np.linalg.norm(errors, axis=1), independent)
        if rms.ci95:
            held_rms.append(rms.ci95[0] <= math.sqrt(2) <= rms.ci95[1])
        if mean.ci95:
            held_mean.append(mean.ci95[0] <= math.sqrt(math.pi / 2) <= mean.ci95[1])
    assert len(held_rms) > 200
    assert np.mean(held_rms) >= 0.92
    assert np.mean(held_mean) >= 0.90


@pytest.mark.parametrize(("share", "count"), [(0.05, 200), (0.1, 2000)])
def test_intervals_of_errors_with_flips_cover(share, count):
    """Small noise and a share of errors fifty times as large: scatter widens the interval, or there is none."""
    rng, held = np.random.default_rng(5), []
    truth = math.sqrt(2 * 0.03**2 + share * 1.5**2)
    for _ in range(300):
        errors = 0.03 * rng.normal(size=(count, 2))
        errors[rng.uniform(size=count) < share, 0] += 1.5
        rms = root_mean_square(errors, effective_sample_size(errors))
        if rms.ci95:
            held.append(rms.ci95[0] <= truth <= rms.ci95[1])
    assert np.mean(held) >= 0.92


def test_a_figure_carried_by_one_large_error_has_no_interval():
    errors = np.full((40, 2), 0.01) * np.where(np.arange(40) % 2, 1, -1)[:, None]
    errors[7] = [2.0, 0.0]
    number = root_mean_square(errors, 40.0)
    assert number.ci95 is None
    assert "a few large errors" in number.why


def test_sessions_count_once_each_however_long_they_are():
    rng = np.random.default_rng(6)
    sessions = [rng.normal(size=(500, 2)) for _ in range(8)]
    number = root_mean_square_of_sessions(sessions)
    assert number.value == pytest.approx(math.sqrt(np.mean(np.sum(np.concatenate(sessions) ** 2, axis=1))))
    assert number.independent == pytest.approx(8.0)
    assert number.ci95[1] / number.value > 1.5
    assert mean_of_sessions([np.linalg.norm(one, axis=1) for one in sessions]).independent == pytest.approx(8.0)


def test_long_sessions_among_short_ones_leave_fewer_degrees_of_freedom():
    rng = np.random.default_rng(6)
    uneven = root_mean_square_of_sessions([rng.normal(size=(n, 2)) for n in (1000, 1000, 10, 10, 10, 10)])
    assert uneven.independent < 2.1
    assert uneven.ci95 is None
    assert "a few sessions carry the figure" in uneven.why


def test_sessions_without_error_and_the_references_share():
    exact = root_mean_square_of_sessions([np.zeros((4, 2))] * 6)
    assert (exact.value, exact.ci95) == (0.0, (0.0, 0.0))
    errors = [np.full((4, 2), 0.01)] * 6
    aware = root_mean_square_of_sessions(errors, reference_variance=2 * 0.005**2)
    assert aware.ci95[0] < root_mean_square_of_sessions(errors).ci95[0]


def test_where_sessions_are_the_unit_they_bound_the_interval_of_a_radius():
    radii = np.linalg.norm(np.random.default_rng(2).normal(size=(400, 2)), axis=1)
    assert radius95(radii, 400.0).ci95 is not None
    bounded = radius95(radii, 400.0, 8)
    assert bounded.value is not None
    assert bounded.ci95 is None
