import math

import numpy as np
import pytest
from scipy import stats

from locbench.statistics import (
    chi_square_mean_band,
    chi_square_quantile,
    effective_sample_size,
    order_statistic_interval,
    proportion_interval,
    quantile_interval,
    rms_interval,
    wilson_interval,
)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4.5, 100])
@pytest.mark.parametrize("probability", [0.025, 0.5, 0.95, 0.999])
def test_chi_square_quantiles_are_scipys(degrees, probability):
    assert chi_square_quantile(probability, degrees) == pytest.approx(stats.chi2.ppf(probability, degrees), rel=1e-12)


@pytest.mark.parametrize(("successes", "trials"), [(0, 5), (4, 12), (12, 12), (50, 200)])
def test_wilson_interval_is_scipys(successes, trials):
    expected = stats.binomtest(successes, trials).proportion_ci(0.95, method="wilson")
    assert wilson_interval(successes, trials) == pytest.approx((expected.low, expected.high), abs=1e-12)


def test_one_sided_chi_square_table():
    """NIST/SEMATECH e-Handbook 1.3.6.7.4 (seen in a public copy of the table): 95 %, 1 to 9 degrees of freedom."""
    printed = [3.8415, 5.9915, 7.8147, 9.4877, 11.0705, 12.5916, 14.0671, 15.5073, 16.919]
    assert [chi_square_quantile(0.95, n) for n in range(1, 10)] == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(
    ("degrees", "runs", "low", "high", "printed"),
    [
        (2, 50, 1.484439, 2.591224, (1.5, 2.6)),
        (1, 50, 0.647147, 1.428404, (0.65, 1.43)),
        (2, 1, 0.050636, 7.377759, (0.05, 7.38)),
        (1, 100, 0.742219, 1.295612, (0.74, 1.30)),
        (3, 50, 2.359690, 3.716009, (2.36, 3.72)),
    ],
)
def test_consistency_bands_of_the_tracking_textbook(degrees, runs, low, high, printed):
    """Bar-Shalom, Li & Kirubarajan (2001) 5.4; last row Bailey et al., IROS 2006. Printed values from memory."""
    band = chi_square_mean_band(degrees, runs)
    assert band == pytest.approx((low, high), abs=1e-5)
    assert band == pytest.approx(printed, abs=0.05)


@pytest.mark.parametrize("correlation", [0.0, 0.5, 0.9])
def test_effective_sample_size_of_a_first_order_series(correlation):
    """For rho_k = phi^k the sum is closed: n (1 - phi^2) / (1 + phi^2) (Bayley & Hammersley 1946)."""
    rng = np.random.default_rng(7)
    count, sizes = 2000, []
    for _ in range(40):
        noise = rng.normal(size=count) * math.sqrt(1 - correlation**2)
        series = np.empty(count)
        series[0] = rng.normal()
        for i in range(1, count):
            series[i] = correlation * series[i - 1] + noise[i]
        sizes.append(effective_sample_size(series))
    expected = count * (1 - correlation**2) / (1 + correlation**2)
    assert np.mean(sizes) == pytest.approx(expected, rel=0.12)


def test_a_constant_offset_is_worth_about_one_observation():
    assert effective_sample_size(np.full((500, 2), 0.3)) < 3.0


def test_a_random_walk_is_worth_few_observations():
    walk = np.cumsum(np.random.default_rng(3).normal(size=(20, 40, 2)), axis=1)
    assert max(effective_sample_size(one) for one in walk) < 12
    assert np.median([effective_sample_size(one) for one in walk]) < 6


@pytest.mark.parametrize("errors", [np.zeros((0, 2)), np.zeros((1, 2)), np.zeros((5, 2))])
def test_effective_sample_size_of_nothing_to_correlate(errors):
    assert effective_sample_size(errors) == len(errors)


@pytest.mark.parametrize("count", [6, 8, 12, 20])
def test_the_interval_of_a_root_mean_square_covers(count):
    """1,000 seeded runs of independent circular errors: at least 0.92 of the intervals hold the true value."""
    errors = np.random.default_rng(count).normal(size=(1000, count, 2))
    sizes = np.sqrt(np.mean(np.sum(errors**2, axis=2), axis=1))
    bounds = np.array([rms_interval(size, count) for size in sizes])
    assert np.mean((bounds[:, 0] <= math.sqrt(2)) & (math.sqrt(2) <= bounds[:, 1])) >= 0.92


@pytest.mark.parametrize(("count", "quantile"), [(8, 0.5), (20, 0.5), (100, 0.95), (200, 0.9)])
def test_the_interval_of_a_quantile_covers(count, quantile):
    draws = np.random.default_rng(11).normal(size=(1000, count))
    truth = stats.norm.ppf(quantile)
    bounds = np.array([order_statistic_interval(draw, quantile) for draw in draws])
    assert np.mean((bounds[:, 0] <= truth) & (truth <= bounds[:, 1])) >= 0.94


def test_too_few_values_have_no_quantile_interval():
    assert order_statistic_interval(np.arange(5.0), 0.5) is None
    assert order_statistic_interval(np.arange(30.0), 0.95) is None
    assert order_statistic_interval(np.array([]), 0.5) is None


def test_values_worth_fewer_take_the_ranks_of_those_few():
    """Every value five times over is worth a fifth: the interval is that of the values once."""
    values = np.random.default_rng(5).normal(size=20)
    once = order_statistic_interval(values, 0.5)
    assert quantile_interval(np.repeat(values, 5), 0.5, 20.0) == once
    assert quantile_interval(np.repeat(values, 5), 0.5, 20.9) == once
    assert quantile_interval(np.repeat(values, 5), 0.5, 5.0) is None
    assert quantile_interval(values, 0.5, 0.4) is None


@pytest.mark.parametrize("count", range(7, 120))
def test_the_last_of_few_ranks_is_the_largest_of_all_values(count):
    # P(B <= 0) = 0.8 %, P(B <= 5) = 93.8 % for B of 7 trials: the interval of a median runs from first to last
    assert quantile_interval(np.arange(float(count)), 0.5, 7.0) == (0.0, count - 1.0)


@pytest.mark.parametrize(("successes", "trials"), [(0.0, 6.0), (1.0, 6.0), (3.0, 8.0), (7.2, 7.2), (19.0, 20.0)])
def test_the_interval_of_a_share_is_wilsons_or_wider(successes, trials):
    plain, safe = wilson_interval(successes, trials), proportion_interval(successes, trials)
    assert 0.0 <= safe[0] <= plain[0]
    assert plain[1] <= safe[1] <= 1.0
    swapped = proportion_interval(trials - successes, trials)
    assert swapped == pytest.approx((1.0 - safe[1], 1.0 - safe[0]))
