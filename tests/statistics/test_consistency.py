import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from locbench.statistics import (
    ConsistencyVerdict,
    RemarkCode,
    band_of_draws,
    judge_consistency,
    measured,
    remark_on_errors,
    remark_on_fixes,
    remark_on_whiteness,
    remarks_on_lockout,
    unavailable,
)

MEAN = measured(1.0, None, 10, "mean")


@pytest.mark.parametrize(
    ("value", "interval", "verdict"),
    [
        (1.0, (0.9, 1.1), ConsistencyVerdict.HONEST),
        (1.5, (1.2, 1.8), ConsistencyVerdict.TOO_SURE),
        (0.5, (0.4, 0.6), ConsistencyVerdict.TOO_CAUTIOUS),
        (1.5, (0.9, 2.2), ConsistencyVerdict.HONEST),
        (1.5, None, ConsistencyVerdict.UNDECIDED),
        (800.0, (700.0, 900.0), ConsistencyVerdict.UNRELATED),
    ],
)
def test_only_an_interval_without_one_decides_on_consistency(value, interval, verdict):
    assert judge_consistency(measured(value, interval, 50, "median")) is verdict


def test_without_innovations_consistency_is_undecided():
    assert judge_consistency(unavailable("no corrections")) is ConsistencyVerdict.UNDECIDED


def test_the_band_of_draws_holds_another_draw_as_often_as_it_says():
    """Wilks 1941: 191 of 201 for the fifth from either end of 200; here 4000 bands of exponential draws."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(4000):
        *draws, one_more = rng.exponential(size=201)
        low, high = band_of_draws(np.array(draws))
        held += low <= one_more <= high
    assert held / 4000 == pytest.approx(191 / 201, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


@given(st.permutations(range(200)), st.floats(0.1, 10.0))
def test_the_band_of_draws_does_not_depend_on_their_order_and_scales(order, scale):
    assert band_of_draws(scale * np.array(order)) == (scale * 4.0, scale * 195.0)


def test_only_a_mean_beyond_every_draw_gets_a_remark():
    draws = np.linspace(0.5, 1.5, 200)
    assert remark_on_errors(MEAN, draws) is None
    assert remark_on_errors(measured(1.5, None, 10, "mean"), draws) is None
    assert remark_on_errors(measured(1.51, None, 10, "mean"), draws).code is RemarkCode.ERRORS_LARGER
    assert remark_on_errors(measured(0.49, None, 10, "mean"), draws).code is RemarkCode.ERRORS_SMALLER
    assert remark_on_errors(unavailable("no reference"), draws) is None


@pytest.mark.parametrize(
    ("above", "count", "code"),
    [
        (50, 100, None),
        (62, 100, None),
        (64, 100, RemarkCode.FIXES_FURTHER),
        (36, 100, RemarkCode.FIXES_CLOSER),
        (5, 5, None),
        (8, 8, RemarkCode.FIXES_FURTHER),
        (0, 8, RemarkCode.FIXES_CLOSER),
        (0, 0, None),
    ],
)
def test_the_sign_test_decides_on_typical_fixes(above, count, code):
    """Against scipy's exact binomial test at 1 %."""
    ratios = np.concatenate([np.full(above, 2.0), np.full(count - above, 0.5)])
    remark = remark_on_fixes(ratios, MEAN)
    assert (remark.code if remark else None) is code
    if count:
        assert (stats.binomtest(above, count).pvalue < 0.01) == (code is not None)


def _series(correlation, count, seed):
    rng = np.random.default_rng(seed)
    values = rng.standard_normal((count, 3))
    for k in range(1, count):
        values[k] = correlation * values[k - 1] + np.sqrt(1 - correlation**2) * values[k]
    return values[:-1], values[1:]


NONE = np.zeros((0, 3)), np.zeros((0, 3))


def test_white_innovations_get_a_remark_once_in_two_hundred_times():
    false = sum(remark_on_whiteness(_series(0.0, 60, seed), NONE) is not None for seed in range(2000))
    assert false / 2000 == pytest.approx(0.005, abs=4 * np.sqrt(0.005 / 2000))


def test_innovations_that_hang_together_get_one_with_the_published_region():
    """Region +-1.96 / sqrt(N): Bar-Shalom, Li & Kirubarajan 2001, section 5.4 (from memory)."""
    remark = remark_on_whiteness(_series(0.5, 400, 1), NONE)
    assert remark.code is RemarkCode.FIXES_HANG_TOGETHER
    assert remark.value.value == pytest.approx(0.5, abs=0.1)
    assert remark.value.n == 3 * 399
    assert remark.honest == pytest.approx((-1.96 / np.sqrt(1197), 1.96 / np.sqrt(1197)), abs=1e-4)


def test_what_all_tags_share_is_no_error_of_one_tag():
    shared = _series(0.5, 400, 1)
    assert remark_on_whiteness(shared, _series(0.5, 400, 2)) is None
    assert remark_on_whiteness(shared, _series(-0.2, 400, 2)) is not None


def test_few_pairs_and_a_slight_correlation_get_no_remark():
    assert remark_on_whiteness(_series(0.9, 8, 1), NONE) is None
    assert remark_on_whiteness(_series(0.05, 20_000, 1), NONE) is None


def test_a_few_wrong_fixes_do_not_make_innovations_hang_together():
    first, second = (values.copy() for values in _series(0.0, 600, 4))
    # one in thirty is far off, one in a hundred twice in a row
    first[::30], first[::100], second[::100] = 40.0, 40.0, 40.0
    assert remark_on_whiteness((first, second), NONE) is None


def _lockouts(refused, tags, period_s=0.1, gate=0.99):
    refused = np.array(refused, dtype=bool)
    tag = np.resize(np.array(tags), len(refused))
    return remarks_on_lockout(10.0 + period_s * np.arange(len(refused)), tag, refused, gate)


def test_a_long_row_of_refusals_of_several_tags_is_a_lockout_with_its_times():
    (remark,) = _lockouts([False] * 10 + [True] * 40 + [False] * 10, [1, 2])
    assert (remark.code, remark.value.value) == (RemarkCode.TRUTH_LOCKED_OUT, 40.0)
    assert (remark.start_s, remark.end_s) == (pytest.approx(11.0), pytest.approx(15.0))


def test_a_lockout_may_last_to_the_end():
    (remark,) = _lockouts([False] * 10 + [True] * 40, [1, 2])
    assert remark.end_s == pytest.approx(14.9)


@pytest.mark.parametrize(
    ("refused", "tags", "period_s"),
    [
        ([True] * 25, [1, 2], 0.1),
        ([True] * 200, [7], 0.1),
        ([True] * 60, [7] * 30 + [1] + [7] * 29, 0.1),
        (([True] * 20 + [False]) * 20, [1, 2], 0.1),
        ([True] * 8, [1, 2], 2.0),
        ([], [1], 0.1),
    ],
    ids=["too short", "one wrong tag", "one wrong tag and a flip", "broken off", "too rare", "nothing"],
)
def test_what_wrong_fixes_can_do_is_no_lockout(refused, tags, period_s):
    assert _lockouts(refused, tags, period_s) == []


def test_a_gate_that_refuses_half_of_all_honest_fixes_needs_a_longer_row():
    rng = np.random.default_rng(5)
    honest = [_lockouts(rng.uniform(size=400) < 0.5, [1, 2, 3], 0.4, gate=0.5) for _ in range(200)]
    assert sum(map(len, honest)) == 0
    assert _lockouts([True] * 12, [1, 2], 0.4, gate=0.99)
    assert not _lockouts([True] * 12, [1, 2], 0.4, gate=0.5)
    assert _lockouts([True] * 20, [1, 2], 0.4, gate=0.5)
