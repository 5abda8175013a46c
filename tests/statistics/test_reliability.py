"""How measurements check each other: what must hold of any design."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import chdtri

from locbench.statistics import noncentrality, reliability


@st.composite
def designs(draw):
    """A design of 4 to 7 measurements of 1 to 3 unknowns, perhaps of lower rank, and standard deviations."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    rows, columns = draw(st.integers(4, 7)), draw(st.integers(1, 3))
    design = rng.normal(size=(rows, columns))
    if columns == 3 and draw(st.booleans()):
        design[:, 2] = design[:, 0] - 2.0 * design[:, 1]
    return design, rng.uniform(0.1, 3.0, rows)


@given(designs())
@settings(max_examples=60, deadline=None)
def test_redundancy_numbers_sum_up_to_the_redundancy(case):
    design, std = case
    checks = reliability(design, std)
    assert np.all(checks.redundancy >= -1e-12)
    assert np.all(checks.redundancy <= 1.0 + 1e-12)
    assert float(np.sum(checks.redundancy)) == pytest.approx(len(design) - np.linalg.matrix_rank(design))
    assert checks.parity @ (design / std[:, np.newaxis]) == pytest.approx(0.0, abs=1e-9)
    assert checks.parity @ checks.parity.T == pytest.approx(np.eye(len(checks.parity)), abs=1e-9)


@given(designs(), st.floats(1e-3, 1e3), st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_units_of_unknowns_and_order_of_measurements_do_not_matter(case, factor, seed):
    design, std = case
    order = np.random.default_rng(seed).permutation(len(design))
    scaled = design * np.array([factor, 1.0, 1.0])[: design.shape[1]]
    plain, other = reliability(design, std), reliability(scaled[order], std[order])
    assert other.redundancy == pytest.approx(plain.redundancy[order], abs=1e-8)
    assert other.cosine == pytest.approx(plain.cosine[np.ix_(order, order)], abs=1e-6)


def test_a_measurement_and_its_twin_look_alike():
    design = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.0, 1.0], [0.0, 1.0]])
    checks = reliability(design, np.array([1.0, 2.0, 1.0, 1.0, 1.0]))
    assert checks.alike(0.9) == ((0, 1), (2,), (3,), (4,))
    # the surer of two shows less of its error in their difference
    assert checks.redundancy[:2] == pytest.approx([0.2, 0.8])


def test_what_nothing_contradicts_is_in_no_set():
    design = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    checks = reliability(design, np.ones(3))
    assert checks.alike(0.9) == ((0, 1),)
    assert checks.least_detectable(4.0).tolist()[2] == np.inf
    assert checks.cosine[2, 2] == 0.0


def test_the_least_fault_is_found_as_often_as_promised():
    rng = np.random.default_rng(4)
    design, std = rng.normal(size=(5, 3)), np.array([0.5, 1.0, 2.0, 1.0, 0.7])
    checks = reliability(design, std)
    fault = checks.least_detectable(np.sqrt(noncentrality(0.01, 0.8)))
    draws = 4000
    direction = checks.parity / std
    for one in range(5):
        values = std * rng.normal(size=(draws, 5))
        values[:, one] += fault[one]
        along = (values / std) @ checks.parity.T @ direction[:, one] / np.linalg.norm(direction[:, one])
        share = np.mean(along**2 > chdtri(1, 0.01))
        # six standard errors
        assert share == pytest.approx(0.8, abs=6.0 * np.sqrt(0.8 * 0.2 / draws))


def test_no_measurements_check_nothing():
    checks = reliability(np.zeros((0, 3)), np.zeros(0))
    assert len(checks.parity) == 0
    assert checks.alike(0.9) == ()


@pytest.mark.parametrize(
    ("design", "std"), [(np.ones(3), np.ones(3)), (np.ones((3, 1)), np.ones(2)), (np.ones((3, 1)), np.zeros(3))]
)
def test_impossible_input_is_refused(design, std):
    with pytest.raises(ValueError, match="design must be"):
        reliability(design, std)


@pytest.mark.parametrize(("false_alarm", "power"), [(0.0, 0.5), (0.5, 0.5), (0.1, 1.0)])
def test_impossible_probabilities_are_refused(false_alarm, power):
    with pytest.raises(ValueError, match="false alarm"):
        noncentrality(false_alarm, power)
