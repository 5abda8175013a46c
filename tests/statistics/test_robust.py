import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.statistics import standard_error_of_median


def test_it_is_the_scatter_of_medians_of_normal_values():
    rng = np.random.default_rng(5)
    samples = rng.normal(2.0, 0.3, (4000, 60))
    stated = [standard_error_of_median(row, 60) for row in samples]
    assert np.mean(stated) == pytest.approx(np.std(np.median(samples, axis=1)), rel=0.05)


def test_a_few_outliers_hardly_widen_it():
    rng = np.random.default_rng(6)
    values = rng.normal(0.0, 1.0, 500)
    spoilt = np.where(np.arange(500) < 25, 100.0, values)
    assert standard_error_of_median(spoilt, 500) < 1.15 * standard_error_of_median(values, 500)


@given(st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=30), st.floats(0.1, 10.0))
def test_it_scales_with_the_values_and_falls_with_the_root_of_their_number(values, scale):
    array = np.array(values)
    one = standard_error_of_median(array, 4.0)
    assert standard_error_of_median(scale * array, 4.0) == pytest.approx(scale * one, abs=1e-9)
    assert standard_error_of_median(array, 16.0) == pytest.approx(one / 2.0, abs=1e-12)
