import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_sign_flip
from scipy import stats

from locbench.statistics import (
    ComparisonVerdict,
    difference_between_sessions,
    difference_within_runs,
    judge_comparison,
    measured,
    sign_flip_probability,
    unavailable,
)

NONE = np.zeros(0)


@given(st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=7))
def test_sign_flips_are_those_of_every_pattern(differences):
    assert sign_flip_probability(np.array(differences)) == pytest.approx(naive_sign_flip(differences))


def test_sign_flips_are_scipys():
    differences = np.random.default_rng(1).normal(0.4, 1.0, size=9)
    found = stats.permutation_test(
        (differences,), np.mean, permutation_type="samples", n_resamples=np.inf, alternative="two-sided"
    )
    assert sign_flip_probability(differences) == pytest.approx(found.pvalue)


def test_many_sessions_are_judged_by_a_fixed_sample_of_patterns():
    rng = np.random.default_rng(2)
    differences = rng.normal(0.5, 1.0, size=24)
    found = sign_flip_probability(differences)
    assert found == sign_flip_probability(differences)
    # as good as the normal distribution of the sum under random signs
    z = abs(differences.sum()) / np.sqrt(np.sum(differences**2))
    assert found == pytest.approx(2.0 * stats.norm.sf(z), abs=0.012)


@pytest.mark.parametrize("count", [6, 7, 8, 12, 19])
def test_six_sessions_of_one_sign_decide(count):
    assert judge_comparison(np.full(count, -0.01), NONE) is ComparisonVerdict.BETTER
    assert judge_comparison(np.full(count, 0.01), NONE) is ComparisonVerdict.WORSE


@pytest.mark.parametrize("count", [0, 1, 5])
def test_fewer_sessions_speak_for_themselves_only(count):
    parts = np.full(14, -0.01)
    assert judge_comparison(np.full(count, -0.01), parts) is ComparisonVerdict.BETTER_HERE
    assert judge_comparison(np.full(count, 0.01), -parts) is ComparisonVerdict.WORSE_HERE
    assert judge_comparison(np.full(count, -0.01), parts[:5]) is ComparisonVerdict.NO_CLEAR_GAIN


def test_parts_of_the_way_do_not_overrule_six_sessions():
    mixed = np.array([0.1, -0.1, 0.1, -0.1, 0.1, -0.1])
    assert judge_comparison(mixed, np.full(100, -1.0)) is ComparisonVerdict.NO_CLEAR_GAIN


def test_no_difference_is_no_gain():
    assert judge_comparison(np.zeros(8), NONE) is ComparisonVerdict.NO_CLEAR_GAIN
    assert sign_flip_probability(NONE) == 1.0


def test_the_interval_of_the_paired_difference_is_students():
    differences = np.array([0.01, 0.03, 0.02, 0.05, -0.01, 0.02, 0.04])
    found = difference_between_sessions(differences)
    expected = stats.ttest_1samp(differences, 0.0).confidence_interval(0.95)
    assert found.ci95 == pytest.approx((expected.low, expected.high))
    assert found.value == pytest.approx(differences.mean())


def test_within_runs_what_both_share_cancels():
    ours, theirs = (measured(value, (0.8 * value, 1.3 * value), 40, "rms") for value in (0.10, 0.08))
    apart, together = (difference_within_runs(ours, theirs, share) for share in (0.0, 0.9))
    assert apart.value == together.value == pytest.approx(0.02)
    assert apart.ci95[0] < together.ci95[0] < 0.02 < together.ci95[1] < apart.ci95[1]
    # each bound combines the distances to the bounds that lie in its direction
    assert apart.ci95[0] == pytest.approx(0.02 - np.hypot(0.02, 0.024))
    assert apart.ci95[1] == pytest.approx(0.02 + np.hypot(0.03, 0.016))


def test_within_runs_no_interval_without_those_of_both():
    ours, theirs = measured(0.1, (0.08, 0.13), 40, "rms"), measured(0.3, None, 40, "rms", "worth 1.0", 1.0)
    found = difference_within_runs(ours, theirs, 0.0)
    assert found.value == pytest.approx(-0.2)
    assert (found.ci95, found.why, found.independent) == (None, "worth 1.0", 1.0)
    assert difference_within_runs(ours, unavailable("nothing"), 0.0).value is None
