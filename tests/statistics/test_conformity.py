"""The decision rule: pass and fail only beyond the uncertainty, never both, and as often wrong as it says."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.statistics import GUARD, Conformity, judge_conformity

_FINITE = st.floats(-100.0, 100.0)


def test_the_guard_is_the_one_sided_95_percent_point():
    """1.645 of the normal distribution: any table of it."""
    assert pytest.approx(1.644854, abs=1e-6) == GUARD


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(0.0, Conformity.PASS), (0.9, Conformity.UNDECIDED), (1.1, Conformity.UNDECIDED), (1.3, Conformity.FAIL)],
)
def test_around_a_limit(value, verdict):
    assert judge_conformity(value, 0.1, -1.0, 1.0) is verdict
    assert judge_conformity(-value, 0.1, -1.0, 1.0) is verdict


@given(value=_FINITE, std=st.floats(0.0, 10.0), low=_FINITE, width=st.floats(0.0, 50.0))
def test_less_uncertainty_never_turns_a_verdict_round(value, std, low, width):
    sure = judge_conformity(value, 0.0, low, low + width)
    unsure = judge_conformity(value, std, low, low + width)
    assert sure is not Conformity.UNDECIDED
    assert unsure in (sure, Conformity.UNDECIDED)


def test_a_figure_at_its_limit_fails_in_five_percent():
    rng = np.random.default_rng(2)
    verdicts = [judge_conformity(1.0 + 0.2 * error, 0.2, -np.inf, 1.0) for error in rng.standard_normal(4000)]
    share = np.mean([verdict is Conformity.FAIL for verdict in verdicts])
    # six standard errors
    assert share == pytest.approx(0.05, abs=6.0 * np.sqrt(0.05 * 0.95 / 4000))


@pytest.mark.parametrize("bad", [(np.nan, 0.1, 0.0, 1.0), (0.0, -0.1, 0.0, 1.0), (0.0, 0.1, 1.0, 0.0)])
def test_nonsense_is_refused(bad):
    with pytest.raises(ValueError, match="cannot judge"):
        judge_conformity(*bad)
