"""Coverage of every interval by simulation: of those given, at least 0.92 hold the true value.

1,000 seeded runs (or sets of sessions) at 6, 8, 12 and 20 observations. An interval may be refused, so each test also
says how many must be given.
"""

import math

import numpy as np
import pytest
from scipy import stats

from locbench.statistics import (
    ComparisonVerdict,
    bias_with_interval,
    circular_error_probable,
    difference_between_sessions,
    difference_within_runs,
    effective_sample_size,
    judge_comparison,
    mean_of_sessions,
    mean_with_interval,
    order_statistic_interval,
    proportion_interval,
    radius95,
    root_mean_square,
    root_mean_square_of_sessions,
)

COUNTS = [6, 8, 12, 20]
RUNS = 1000
LEAST = 0.92
RAYLEIGH_MEAN, RAYLEIGH_MEDIAN = math.sqrt(math.pi / 2), math.sqrt(2 * math.log(2))


def _share_held(numbers, truth, given_at_least):
    intervals = np.array([number.ci95 for number in numbers if number.ci95 is not None])
    assert len(intervals) >= given_at_least * len(numbers)
    return np.mean((intervals[:, 0] <= truth) & (truth <= intervals[:, 1]))


def _circular(count, seed=0):
    return np.random.default_rng([seed, count]).normal(size=(RUNS, count, 2))


def _correlated(count, correlation):
    """Circular errors of unit variance whose neighbours are correlated, (RUNS, count, 2)."""
    noise = _circular(count, 1)
    series = noise.copy()
    for i in range(1, count):
        series[:, i] = correlation * series[:, i - 1] + math.sqrt(1 - correlation**2) * noise[:, i]
    return series


@pytest.mark.parametrize("count", COUNTS)
def test_root_mean_square_of_independent_errors(count):
    found = [root_mean_square(errors, float(count)) for errors in _circular(count)]
    assert _share_held(found, math.sqrt(2), 0.9) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("correlation", [0.0, 0.6])
def test_root_mean_square_of_a_run(count, correlation):
    """Through the effective sample size, as runs are scored: few of the shortest get an interval."""
    found = [root_mean_square(errors, effective_sample_size(errors)) for errors in _correlated(count, correlation)]
    assert _share_held(found, math.sqrt(2), {6: 0.01, 8: 0.05, 12: 0.1, 20: 0.6}[count]) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("correlation", [0.0, 0.6])
def test_mean_of_a_run(count, correlation):
    radii = np.linalg.norm(_correlated(count, correlation), axis=2)
    found = [mean_with_interval(run, effective_sample_size(run)) for run in radii]
    given = [number for number in found if number.ci95 is not None]
    if given:
        assert _share_held(given, RAYLEIGH_MEAN, 1.0) >= LEAST
    independent = [mean_with_interval(run, float(count)) for run in np.linalg.norm(_circular(count), axis=2)]
    assert _share_held(independent, RAYLEIGH_MEAN, 0.2) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
def test_bias(count):
    found = [bias_with_interval(errors[:, 0] + 0.3, float(count)) for errors in _circular(count)]
    assert _share_held(found, 0.3, 0.5) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
def test_half_radius(count):
    radii = np.linalg.norm(_circular(count), axis=2)
    found = [circular_error_probable(run, float(count)) for run in radii]
    assert _share_held(found, RAYLEIGH_MEDIAN, 1.0) >= LEAST


@pytest.mark.parametrize("count", [40, 200])
@pytest.mark.parametrize("correlation", [0.6, 0.9])
def test_half_radius_of_correlated_errors(count, correlation):
    found = [
        circular_error_probable(np.linalg.norm(errors, axis=1), effective_sample_size(errors))
        for errors in _correlated(count, correlation)
    ]
    assert _share_held(found, RAYLEIGH_MEDIAN, 0.1) >= LEAST


@pytest.mark.parametrize(("count", "given"), [(20, 0.0), (80, 0.99), (200, 0.99)])
def test_radius_of_95_percent(count, given):
    radii = np.linalg.norm(_circular(count), axis=2)
    found = [radius95(run, float(count)) for run in radii]
    if given == 0.0:
        assert all(number.value is not None and number.ci95 is None for number in found)
    else:
        assert _share_held(found, math.sqrt(2 * math.log(20)), given) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("degrees", [2, 3])
def test_typical_innovation_of_an_honest_filter(count, degrees):
    draws = np.random.default_rng([2, count]).chisquare(degrees, size=(RUNS, count)) / stats.chi2.median(degrees)
    bounds = np.array([order_statistic_interval(draw, 0.5) for draw in draws])
    assert np.mean((bounds[:, 0] <= 1.0) & (bounds[:, 1] >= 1.0)) >= LEAST


@pytest.mark.parametrize("count", [4, *COUNTS, 60, 100])
def test_share_of_hits_at_every_true_share(count):
    """Exact: the binomial probability of the counts whose interval holds the share. Wilson's alone fails here."""
    shares = np.linspace(0.001, 0.999, 999)
    counts = np.arange(count + 1)
    bounds = np.array([proportion_interval(float(hits), float(count)) for hits in counts])
    held = (bounds[:, :1] <= shares) & (shares <= bounds[:, 1:])
    coverage = np.sum(stats.binom.pmf(counts[:, np.newaxis], count, shares) * held, axis=0)
    assert coverage.min() >= 0.93


# Scale of a session's errors: one Gaussian (a gyro's drift), a random walk's, a filter's, and one that fails rarely.
SCALES = {
    "one drift": (lambda rng, n: np.abs(rng.normal(size=n)), 1.0),
    "circular": (lambda rng, n: np.sqrt(rng.exponential(size=n)), 1.0),
    "filter": (lambda rng, n: np.exp(0.2 * rng.normal(size=n)), math.exp(2 * 0.2**2)),
    "rare failure": (lambda rng, n: np.where(rng.uniform(size=n) < 0.1, 3.0, 1.0), 1.8),
}


def _sessions(kind, count):
    """RUNS sets of sessions with five circular errors each; their true mean square."""
    rng = np.random.default_rng([3, count])
    scale, mean_square = SCALES[kind]
    return scale(rng, (RUNS, count))[..., np.newaxis, np.newaxis] * rng.normal(size=(RUNS, count, 5, 2)), mean_square


@pytest.mark.parametrize("kind", SCALES)
@pytest.mark.parametrize("count", COUNTS)
def test_root_mean_square_over_sessions(kind, count):
    errors, mean_square = _sessions(kind, count)
    found = [root_mean_square_of_sessions(list(one)) for one in errors]
    assert _share_held(found, math.sqrt(2 * mean_square), 0.6) >= LEAST


@pytest.mark.parametrize("kind", SCALES)
@pytest.mark.parametrize("count", COUNTS)
def test_mean_over_sessions(kind, count):
    errors, _ = _sessions(kind, count)
    scale = SCALES[kind][0](np.random.default_rng(9), 2_000_000).mean()
    found = [mean_of_sessions(list(np.linalg.norm(one, axis=2))) for one in errors]
    assert _share_held(found, scale * RAYLEIGH_MEAN, 0.6) >= LEAST


@pytest.mark.parametrize("kind", SCALES)
@pytest.mark.parametrize("count", COUNTS)
def test_half_radius_over_sessions(kind, count):
    errors, _ = _sessions(kind, count)
    rng = np.random.default_rng(9)
    many = SCALES[kind][0](rng, 1_000_000) * np.linalg.norm(rng.normal(size=(1_000_000, 2)), axis=1)
    found = [circular_error_probable(np.linalg.norm(one, axis=2).ravel(), float(count)) for one in errors]
    assert _share_held(found, np.median(many), 1.0) >= LEAST


@pytest.mark.parametrize("count", COUNTS)
@pytest.mark.parametrize("kind", ["one drift", "circular", "filter"])
def test_paired_difference_between_sessions(count, kind):
    rng = np.random.default_rng([4, count])
    scale = SCALES[kind][0]
    truth = scale(np.random.default_rng(9), 2_000_000).mean() - 0.5
    differences = scale(rng, (RUNS, count)) - 0.5 * (1.0 + 0.2 * rng.normal(size=(RUNS, count)))
    found = [difference_between_sessions(one) for one in differences]
    assert _share_held(found, truth, 1.0) >= LEAST


@pytest.mark.parametrize("share", [0.0, 0.8])
@pytest.mark.parametrize("correlation", [0.0, 0.6])
@pytest.mark.parametrize("count", COUNTS)
def test_paired_difference_within_a_run(count, correlation, share):
    """Both errors through the effective sample size; of the second one a share is the first one's."""
    first, other = _correlated(count, correlation), np.roll(_correlated(count, correlation), 1, axis=0)
    second = 0.5 * (share * first + math.sqrt(1 - share**2) * other)
    numbers = []
    for ours, theirs in zip(first, second, strict=True):
        pair = [root_mean_square(errors, effective_sample_size(errors)) for errors in (ours, theirs)]
        squares = [np.sum(errors**2, axis=1) for errors in (ours, theirs)]
        numbers.append(difference_within_runs(*pair, max(0.0, float(np.corrcoef(*squares)[0, 1]))))
    assert all(number.why for number in numbers if number.ci95 is None)
    given = [number for number in numbers if number.ci95 is not None]
    assert len(given) > {6: 1, 8: 50, 12: 300, 20: 600}[count]
    assert _share_held(given, 0.5 * math.sqrt(2), 1.0) >= LEAST


@pytest.mark.parametrize("count", [6, 8])
@pytest.mark.parametrize("kind", SCALES)
def test_without_a_difference_better_or_worse_is_said_in_one_of_twenty_at_most(count, kind):
    """Exact: over every pattern of signs that sessions without a real difference may have, for 20 sets of sizes."""
    sizes = SCALES[kind][0](np.random.default_rng([6, count]), (20, count))
    signs = 2.0 * (np.arange(1 << count)[:, np.newaxis] >> np.arange(count) & 1) - 1.0
    for one in sizes * np.random.default_rng(1).uniform(0.1, 1.0, size=sizes.shape):
        said = _verdicts(signs * one)
        assert np.mean([verdict is not ComparisonVerdict.NO_CLEAR_GAIN for verdict in said]) <= 0.05


@pytest.mark.parametrize("count", [6, 8])
def test_of_1000_comparisons_without_a_difference_few_are_called(count):
    ours, theirs = np.abs(np.random.default_rng([8, count]).normal(size=(2, RUNS, count)))
    said = _verdicts(ours - theirs)
    assert np.mean([verdict is not ComparisonVerdict.NO_CLEAR_GAIN for verdict in said]) <= 0.05
    assert {ComparisonVerdict.BETTER_HERE, ComparisonVerdict.WORSE_HERE}.isdisjoint(said)


@pytest.mark.parametrize("count", [6, 8])
def test_a_clear_difference_is_said(count):
    gain = 0.5 + 0.2 * np.random.default_rng([7, count]).normal(size=(RUNS, count))
    assert np.mean([verdict is ComparisonVerdict.BETTER for verdict in _verdicts(-gain)]) >= 0.9
    assert np.mean([verdict is ComparisonVerdict.WORSE for verdict in _verdicts(gain)]) >= 0.9


def _verdicts(differences):
    return [judge_comparison(one, np.zeros(0)) for one in differences]
