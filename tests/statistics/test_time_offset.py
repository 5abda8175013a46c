"""Delays by cross-correlation: a computed value to a fraction of the period, and refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from locbench.statistics import time_offset

_PERIOD_S = 0.02
_T = np.arange(0.0, 20.0, _PERIOD_S)


def _rate(t: np.ndarray) -> np.ndarray:
    return np.sin(1.3 * t) + 0.6 * np.sin(2.9 * t + 0.4) + 0.3 * np.sin(4.7 * t + 1.1)


def test_the_computed_example():
    """Delay 0.073 s at 50 Hz over 20 s: 0.07298 s, computed, no publication claimed."""
    assert time_offset(_rate(_T), _rate(_T - 0.073), _PERIOD_S, 0.5) == pytest.approx(0.07298, abs=2e-4)


@given(delay=st.floats(-0.3, 0.3))
@settings(max_examples=30)
def test_any_delay_is_found_to_a_fraction_of_the_period(delay):
    assert time_offset(_rate(_T), _rate(_T - delay), _PERIOD_S, 0.5) == pytest.approx(delay, abs=0.1 * _PERIOD_S)


def test_exchanging_the_signals_turns_the_sign():
    first, second = _rate(_T), _rate(_T - 0.11)
    forth, back = time_offset(first, second, _PERIOD_S, 0.5), time_offset(second, first, _PERIOD_S, 0.5)
    assert forth == pytest.approx(-back, abs=1e-9)


@pytest.mark.parametrize(
    "other", [np.zeros(len(_T)), np.random.default_rng(1).standard_normal(len(_T)), _rate(_T - 0.9)]
)
def test_nothing_clear_is_no_delay(other):
    assert time_offset(_rate(_T), other, _PERIOD_S, 0.3) is None
