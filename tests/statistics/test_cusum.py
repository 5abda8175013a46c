"""Cumulative sums: as the loop of the definition, and as long as promised."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naive import naive_cusum

from locbench.statistics import average_run_length, cusum, cusum_limit, one_sided_run_length

# added up without rounding, so that both sums begin at the same step
_EIGHTHS = st.integers(-40, 40).map(lambda number: number / 8.0)
_ALLOWANCES = st.integers(0, 16).map(lambda number: number / 8.0)


@st.composite
def series(draw):
    """Values, some of them missing, an allowance, and steps at which the sums begin again."""
    values = draw(st.lists(st.tuples(_EIGHTHS | st.just(math.nan), st.integers(0, 9)), min_size=1, max_size=60))
    return (
        np.array([value for value, _ in values]),
        draw(_ALLOWANCES),
        np.array([again == 0 for _, again in values]),
    )


@given(series())
@settings(max_examples=100)
def test_sums_are_those_of_the_definition(case):
    values, allowance, restart = case
    found = cusum(values, allowance, restart)
    for sums, since, signed in [
        (found.upper, found.upper_since, values),
        (found.lower, found.lower_since, -values),
    ]:
        expected, begin = naive_cusum(signed, allowance, restart)
        assert sums.tolist() == expected
        above = sums > 0.0
        assert since[above].tolist() == np.array(begin)[above].tolist()


@given(series())
@settings(max_examples=100)
def test_since_is_the_first_step_of_the_present_rise(case):
    values, allowance, restart = case
    found = cusum(values, allowance, restart)
    counted = np.where(np.isnan(values), 0.0, values)
    for sums, since, steps in [
        (found.upper, found.upper_since, counted - allowance),
        (found.lower, found.lower_since, -counted - allowance),
    ]:
        for now, first in enumerate(since.tolist()):
            if sums[now] == 0.0:
                assert first == now + 1
                continue
            assert np.all(sums[first : now + 1] > 0.0)
            assert not np.any(restart[first + 1 : now + 1])
            assert first == 0 or restart[first] or sums[first - 1] == 0.0
            # all of the sum was added up from there on
            assert sums[now] == np.sum(steps[first : now + 1])


@given(series(), series())
def test_after_a_restart_nothing_is_left_of_what_was_before(first, second):
    begin = len(first[0])
    joint = np.arange(begin + len(second[0])) == begin
    both = cusum(np.concatenate([first[0], second[0]]), first[1], joint)
    one, other = cusum(first[0], first[1]), cusum(second[0], first[1])
    assert both.upper.tolist() == [*one.upper, *other.upper]
    assert both.lower.tolist() == [*one.lower, *other.lower]
    assert both.upper_since.tolist() == [*one.upper_since, *(other.upper_since + begin)]
    assert both.lower_since.tolist() == [*one.lower_since, *(other.lower_since + begin)]


@given(st.lists(st.floats(-8.0, 8.0), max_size=80), st.floats(0.0, 2.0))
def test_the_lower_sum_is_the_upper_one_of_the_values_turned_over(values, allowance):
    found, turned = cusum(np.array(values), allowance), cusum(-np.array(values), allowance)
    assert found.lower.tolist() == turned.upper.tolist()
    assert found.lower_since.tolist() == turned.upper_since.tolist()


def test_without_restarts_it_runs_through():
    values = np.array([1.0, -3.0, 2.0, 2.0])
    assert cusum(values, 0.5).upper.tolist() == [0.5, 0.0, 1.5, 3.0]


def test_missing_values_let_the_sums_fall():
    assert cusum(np.array([3.0, np.nan, np.nan]), 0.5).upper.tolist() == [2.5, 2.0, 1.5]


def test_a_long_log_is_summed_up_as_exactly_as_a_short_one():
    values = np.random.default_rng(3).normal(0.1, 1.0, 100_000)
    expected, _ = naive_cusum(values, 0.5, np.zeros(len(values), dtype=bool))
    assert cusum(values, 0.5).upper == pytest.approx(np.array(expected), abs=1e-9)


def _simulated(shift, runs, longest, beyond):
    """Mean run length and its standard error, one run after the other."""
    rng, lengths = np.random.default_rng(8), []
    for _ in range(runs):
        reached = np.flatnonzero(beyond(cusum(rng.normal(shift, 1.0, longest), 0.5)))
        lengths.append(int(reached[0]) + 1)
    return np.mean(lengths), np.std(lengths) / math.sqrt(runs)


# Runs of these many values always ended in time; three standard errors.
@pytest.mark.parametrize(("shift", "longest"), [(0.0, 900), (0.5, 200), (1.0, 60)])
def test_simulated_runs_of_both_sums_are_as_long_as_computed(shift, longest):
    mean, error = _simulated(shift, 3000, longest, lambda sums: np.maximum(sums.upper, sums.lower) > 3.0)
    assert mean == pytest.approx(average_run_length(0.5, 3.0, shift), abs=3.0 * error)


def test_simulated_runs_of_one_sum_are_as_long_as_computed():
    mean, error = _simulated(0.25, 3000, 500, lambda sums: sums.upper > 3.0)
    assert mean == pytest.approx(one_sided_run_length(0.5, 3.0, 0.25), abs=3.0 * error)
    mean, error = _simulated(-0.5, 3000, 300, lambda sums: sums.lower > 3.0)
    assert mean == pytest.approx(one_sided_run_length(0.5, 3.0, 0.5), abs=3.0 * error)


@given(st.floats(0.1, 1.5), st.floats(0.2, 8.0), st.floats(-2.0, 2.0), st.floats(0.01, 1.0))
def test_runs_grow_with_limit_and_allowance_and_shrink_with_the_shift(allowance, limit, shift, more):
    length = one_sided_run_length(allowance, limit, shift)
    assert length >= 1.0
    assert one_sided_run_length(allowance, limit + more, shift) > length
    assert one_sided_run_length(allowance + more, limit, shift) > length
    # of one sum only their difference matters
    assert one_sided_run_length(allowance + more, limit, shift + more) == pytest.approx(length, rel=1e-9)


@given(st.floats(0.1, 1.0), st.floats(0.5, 5.0), st.floats(0.0, 3.0))
def test_both_sums_run_less_long_than_either_and_alike_to_either_side(allowance, limit, shift):
    both = average_run_length(allowance, limit, shift)
    assert both < one_sided_run_length(allowance, limit, shift)
    assert both == pytest.approx(average_run_length(allowance, limit, -shift), rel=1e-12)


@pytest.mark.parametrize(
    ("allowance", "limit"), [(0.0, 100.0), (0.0, 200.0), (0.05, 100.0), (0.05, 200.0), (0.1, 150.0), (0.25, 40.0)]
)
def test_wide_limits_and_long_runs_are_solved_too(allowance, limit):
    """Siegmund's approximation, source beside its check in tests/reference: 1 % off here, at most."""
    boundary = limit + 1.166
    expected = boundary**2
    if allowance > 0.0:
        twice = 2.0 * allowance
        expected = (math.exp(twice * boundary) - twice * boundary - 1.0) / (2.0 * allowance**2)
    assert one_sided_run_length(allowance, limit) == pytest.approx(expected, rel=0.01)


def test_a_sum_that_never_ends_runs_for_ever():
    assert one_sided_run_length(2.0, 200.0) == math.inf
    assert average_run_length(2.0, 200.0) == math.inf
    # the other sum ends at once
    assert average_run_length(0.5, 3.0, 60.0) == pytest.approx(1.0)


@given(st.floats(1.0, 15.0), st.sampled_from([0.25, 0.5, 1.0]))
@settings(max_examples=12)
def test_the_limit_gives_its_run_length(decades, allowance):
    limit = cusum_limit(allowance, 10.0**decades)
    assert average_run_length(allowance, limit) == pytest.approx(10.0**decades, rel=1e-7)


def test_the_least_limit_is_given_for_its_own_run_length():
    assert cusum_limit(0.5, average_run_length(0.5, 0.1)) == pytest.approx(0.1)


@pytest.mark.parametrize("limit", [0.0, -1.0, math.nan, math.inf, 200.1])
def test_impossible_limits_are_refused(limit):
    with pytest.raises(ValueError, match="positive and at most 200"):
        one_sided_run_length(0.5, limit)
    with pytest.raises(ValueError, match="positive and at most 200"):
        average_run_length(0.5, limit)


@pytest.mark.parametrize(
    ("allowance", "run_length"), [(0.5, 1.0), (0.5, 0.0), (0.5, -5.0), (0.5, math.nan), (0.5, math.inf), (0.0, 1e6)]
)
def test_impossible_run_lengths_are_refused(allowance, run_length):
    with pytest.raises(ValueError, match="gives a run length of"):
        cusum_limit(allowance, run_length)
