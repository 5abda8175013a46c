"""Cumulative sums: as the loop of the definition, and as long as promised."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naive import naive_cusum

from locbench.statistics import average_run_length, cusum, cusum_limit, one_sided_run_length

# added up without rounding, so that both sums begin at the same step
_EIGHTHS = st.integers(-40, 40).map(lambda number: number / 8.0)


@given(
    st.lists(_EIGHTHS | st.just(float("nan")), min_size=1, max_size=60),
    st.integers(0, 16).map(lambda number: number / 8.0),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=100, deadline=None)
def test_sums_are_those_of_the_definition(values, allowance, seed):
    restart = np.random.default_rng(seed).uniform(size=len(values)) < 0.1
    found = cusum(np.array(values), allowance, restart)
    upper, upper_since = naive_cusum(values, allowance, restart)
    lower, lower_since = naive_cusum([-value for value in values], allowance, restart)
    assert found.upper.tolist() == upper
    assert found.lower.tolist() == lower
    above = found.upper > 0.0
    assert found.upper_since[above].tolist() == np.array(upper_since)[above].tolist()
    below = found.lower > 0.0
    assert found.lower_since[below].tolist() == np.array(lower_since)[below].tolist()


def test_without_restarts_it_runs_through():
    values = np.array([1.0, -3.0, 2.0, 2.0])
    assert cusum(values, 0.5).upper.tolist() == [0.5, 0.0, 1.5, 3.0]


@pytest.mark.parametrize("shift", [0.0, 1.0])
def test_simulated_runs_are_as_long_as_computed(shift):
    rng, runs, longest = np.random.default_rng(8), 2000, 1500
    limit = 3.0
    lengths = []
    for _ in range(runs):
        sums = cusum(rng.normal(shift, 1.0, longest), 0.5)
        beyond = np.flatnonzero((sums.upper > limit) | (sums.lower > limit))
        lengths.append(float(beyond[0] + 1) if len(beyond) else float(longest))
    expected = average_run_length(0.5, limit, shift)
    # six standard errors
    assert np.mean(lengths) == pytest.approx(expected, abs=6.0 * np.std(lengths) / np.sqrt(runs))


@given(st.floats(10.0, 1e7), st.sampled_from([0.25, 0.5, 1.0]))
@settings(max_examples=15, deadline=None)
def test_the_limit_gives_its_run_length(run_length, allowance):
    limit = cusum_limit(allowance, run_length)
    assert average_run_length(allowance, limit) == pytest.approx(run_length, rel=1e-4)


def test_impossible_requests_are_refused():
    with pytest.raises(ValueError, match="positive"):
        one_sided_run_length(0.5, 0.0)
    with pytest.raises(ValueError, match="run length"):
        cusum_limit(0.5, 1.0)
    with pytest.raises(ValueError, match="run length"):
        cusum_limit(0.5, 1e12)
