"""How measurements check each other: what must hold of any design."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
from scipy.special import chdtri

from locbench.statistics import noncentrality, reliability

# a share of an error that shows beyond rounding
_SHOWS = 1e-6


@st.composite
def designs(draw):
    """A design of 1 to 7 measurements of 0 to 4 unknowns, its rank, and standard deviations.

    Unknowns that others make up, that nothing measures, and measurements that nothing contradicts are among them.
    """
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    rows, columns = draw(st.integers(1, 7)), draw(st.integers(0, 4))
    design = rng.normal(size=(rows, columns))
    if columns > 1 and draw(st.booleans()):
        design[:, -1] = design[:, 0] - 2.0 * design[:, 1] if columns > 2 else 3.0 * design[:, 0]
    if columns and draw(st.booleans()):
        design[:, 0] = 0.0
    if columns and draw(st.booleans()):
        design[1:, 0] = 0.0
    rank = int(np.linalg.matrix_rank(design)) if columns else 0
    return design, rng.uniform(0.1, 3.0, rows), rank


@given(designs())
def test_redundancy_numbers_are_shares_and_sum_up_to_the_redundancy(case):
    design, std, rank = case
    checks = reliability(design, std)
    assert checks.parity.shape == (len(design) - rank, len(design))
    assert np.all(checks.redundancy >= 0.0)
    assert np.all(checks.redundancy <= 1.0 + 1e-12)
    assert float(np.sum(checks.redundancy)) == pytest.approx(len(design) - rank, abs=1e-9)


@given(designs())
def test_parity_is_orthonormal_and_blind_to_the_unknowns(case):
    design, std, _ = case
    parity = reliability(design, std).parity
    assert parity @ (design / std[:, np.newaxis]) == pytest.approx(np.zeros((len(parity), design.shape[1])), abs=1e-9)
    assert parity @ parity.T == pytest.approx(np.eye(len(parity)), abs=1e-12)


@given(designs(), st.sampled_from([1e-12, 1e-3, 1e3, 1e12]), st.sampled_from([1e-12, 1e-3, 1.0, 1e3]))
def test_units_of_unknowns_do_not_matter(case, first, last):
    design, std, _ = case
    assume(design.shape[1] > 0)
    scaled = design.copy()
    scaled[:, 0] *= first
    scaled[:, -1] *= last
    plain, other = reliability(design, std), reliability(scaled, std)
    assert other.redundancy == pytest.approx(plain.redundancy, abs=1e-8)
    assert other.cosine == pytest.approx(plain.cosine, abs=1e-6)


@given(designs(), st.integers(-3, 3))
def test_the_unit_of_a_measurement_only_scales_its_least_fault(case, power):
    design, std, _ = case
    unit = np.ones(len(std))
    unit[0] = 10.0**power
    plain, other = reliability(design, std), reliability(design * unit[:, np.newaxis], std * unit)
    assert other.redundancy == pytest.approx(plain.redundancy, abs=1e-8)
    assert other.least_detectable(4.0) == pytest.approx(unit * plain.least_detectable(4.0), rel=1e-6)


@given(designs(), st.floats(0.01, 100.0))
def test_noisier_measurements_check_each_other_alike_but_find_only_larger_faults(case, factor):
    design, std, _ = case
    plain, other = reliability(design, std), reliability(design, factor * std)
    assert other.redundancy == pytest.approx(plain.redundancy, abs=1e-8)
    assert other.least_detectable(4.0) == pytest.approx(factor * plain.least_detectable(4.0), rel=1e-6)
    assert plain.least_detectable(8.0) == pytest.approx(2.0 * plain.least_detectable(4.0))


@given(designs(), st.randoms(use_true_random=False))
def test_the_order_of_measurements_does_not_matter(case, random):
    design, std, _ = case
    order = random.sample(range(len(std)), len(std))
    plain, other = reliability(design, std), reliability(design[order], std[order])
    assert other.redundancy == pytest.approx(plain.redundancy[order], abs=1e-9)
    assert other.cosine == pytest.approx(plain.cosine[np.ix_(order, order)], abs=1e-7)
    sets = {frozenset(order[one] for one in group) for group in other.alike(0.9)}
    assert sets == {frozenset(group) for group in plain.alike(0.9)}


@given(designs())
def test_a_further_measurement_hides_no_error(case):
    design, std, _ = case
    with_less = reliability(design[:-1], std[:-1]).redundancy
    assert np.all(reliability(design, std).redundancy[:-1] >= with_less - 1e-9)


@given(designs(), st.floats(0.1, 3.0), st.sampled_from([-1.0, 1.0]))
def test_a_measurement_and_its_twin_look_alike(case, std_of_twin, sign):
    """Whatever else there is: one reads what the other does, perhaps with the other sign."""
    design, std, _ = case
    assume(np.any(design[-1] != 0.0))
    twin = len(std)
    checks = reliability(np.vstack([design, sign * design[-1]]), np.append(std, std_of_twin))
    if reliability(design, std).redundancy[-1] < _SHOWS:
        # nothing but the two contradicts either
        assert checks.cosine[twin - 1, twin] == pytest.approx(1.0)
        assert any({twin - 1, twin} <= set(group) for group in checks.alike(0.999))
        # the surer of two shows less of its error in their difference
        shares = np.square([std[-1], std_of_twin])
        assert checks.redundancy[[twin - 1, twin]] == pytest.approx(shares / np.sum(shares))
    # as sure as each other, they cannot be told apart by any third one either
    exact = reliability(np.vstack([design, sign * design[-1]]), np.append(std, std[-1]))
    assert exact.redundancy[twin] == pytest.approx(exact.redundancy[twin - 1])
    others = np.delete(exact.cosine, [twin - 1, twin], axis=0)
    assert others[:, twin] == pytest.approx(others[:, twin - 1], abs=1e-7)


@given(designs(), st.floats(0.0, 1.0))
def test_sets_hold_every_measurement_that_shows_once(case, cosine):
    design, std, _ = case
    checks = reliability(design, std)
    members = [one for group in checks.alike(cosine) for one in group]
    assert sorted(members) == np.flatnonzero(checks.redundancy > _SHOWS).tolist()
    assert set(members) == set(np.flatnonzero(np.isfinite(checks.least_detectable(4.0))).tolist())
    of = {one: number for number, group in enumerate(checks.alike(cosine)) for one in group}
    for one in members:
        for other in members:
            assert checks.cosine[one, other] < cosine or of[one] == of[other]
    for group in checks.alike(cosine):
        # nobody is in a set without a link to one of it
        linked = checks.cosine[np.ix_(group, group)] >= cosine
        assert len(group) == 1 or np.all(np.sum(linked & ~np.eye(len(group), dtype=bool), axis=1) > 0)


@given(designs())
def test_cosines_are_those_of_angles(case):
    design, std, _ = case
    checks = reliability(design, std)
    assert checks.cosine == pytest.approx(checks.cosine.T)
    assert np.all((checks.cosine >= 0.0) & (checks.cosine <= 1.0 + 1e-9))
    shows = checks.redundancy > _SHOWS
    assert np.diag(checks.cosine) == pytest.approx(np.where(shows, 1.0, 0.0))
    assert not np.any(checks.cosine[~shows])


def test_faults_that_look_alike_one_after_the_other_are_one_set():
    """Three directions 20 degrees apart: the outer two are linked by the one in the middle."""
    turn = np.radians([0.0, 20.0, 40.0, 110.0])
    # lengths that leave the rows of the parity at right angles
    length = np.sqrt([1.0, 1.0, 1.0, 1.0 + 2.0 * math.cos(math.radians(40.0))])
    parity = length * np.array([np.cos(turn), np.sin(turn)])
    checks = reliability(np.linalg.svd(parity)[2][2:].T, np.ones(4))
    assert checks.cosine[0, 2] == pytest.approx(math.cos(math.radians(40.0)))
    assert checks.alike(math.cos(math.radians(25.0))) == ((0, 1, 2), (3,))
    assert checks.alike(math.cos(math.radians(15.0))) == ((0,), (1,), (2,), (3,))


def test_what_nothing_contradicts_is_in_no_set():
    design = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    checks = reliability(design, np.ones(3))
    assert checks.alike(0.9) == ((0, 1),)
    assert checks.least_detectable(4.0).tolist()[2] == np.inf
    assert checks.cosine[2, 2] == 0.0


def test_no_measurements_check_nothing():
    checks = reliability(np.zeros((0, 3)), np.zeros(0))
    assert len(checks.parity) == 0
    assert checks.alike(0.9) == ()


_DRAWS = 20_000
# three standard errors of a share of 80 %
_THREE_ERRORS = 3.0 * math.sqrt(0.8 * 0.2 / _DRAWS)
# five measurements of three motions, unlike noise
_DESIGN = np.random.default_rng(4).normal(size=(5, 3))
_STD = np.array([0.5, 1.0, 2.0, 1.0, 0.7])


def _noisy(rng, sensor, fault):
    values = _STD * rng.normal(size=(_DRAWS, 5)) + rng.normal(size=(_DRAWS, 3)) @ _DESIGN.T
    values[:, sensor] += fault
    return values / _STD


@pytest.mark.parametrize("false_alarm", [0.01, 0.05])
def test_the_least_fault_is_found_as_often_as_promised(false_alarm):
    rng, checks = np.random.default_rng(4), reliability(_DESIGN, _STD)
    fault = checks.least_detectable(math.sqrt(noncentrality(false_alarm, 0.8)))
    for one in range(5):
        direction = checks.parity[:, one] / np.sqrt(checks.redundancy[one])
        found = (_noisy(rng, one, fault[one]) @ checks.parity.T @ direction) ** 2 > chdtri(1, false_alarm)
        assert np.mean(found) == pytest.approx(0.8, abs=_THREE_ERRORS)
        alarms = (_noisy(rng, one, 0.0) @ checks.parity.T @ direction) ** 2 > chdtri(1, false_alarm)
        assert np.mean(alarms) == pytest.approx(false_alarm, abs=_THREE_ERRORS)


def test_a_fault_looked_for_in_all_directions_must_be_larger():
    """Whoever does not know which measurement to doubt tests the whole parity, with as many degrees of freedom."""
    rng, checks = np.random.default_rng(5), reliability(_DESIGN, _STD)
    fault = checks.least_detectable(math.sqrt(noncentrality(0.01, 0.8, 2)))
    assert np.all(fault > checks.least_detectable(math.sqrt(noncentrality(0.01, 0.8))))
    for one in range(5):
        squared = np.sum((_noisy(rng, one, fault[one]) @ checks.parity.T) ** 2, axis=1)
        assert np.mean(squared > chdtri(2, 0.01)) == pytest.approx(0.8, abs=_THREE_ERRORS)


@given(st.floats(1e-6, 0.3), st.floats(0.01, 0.99), st.integers(1, 8))
def test_the_noncentrality_has_the_power_asked_for(false_alarm, share, freedom):
    power = false_alarm + share * (1.0 - false_alarm)
    assume(power < 0.9999)
    value = noncentrality(false_alarm, power, freedom)
    assert stats.ncx2.sf(stats.chi2.isf(false_alarm, freedom), freedom, value) == pytest.approx(power, abs=1e-7)
    assert noncentrality(false_alarm, power, freedom + 1) > value
    assert noncentrality(false_alarm / 2.0, power, freedom) > value


@given(st.floats(1e-6, 0.05), st.floats(0.6, 0.999))
def test_in_one_dimension_its_root_is_the_sum_of_two_normal_quantiles(false_alarm, power):
    """Baarda 1968: k_alpha + k_beta; what the further limit adds is little."""
    quantiles = stats.norm.isf(false_alarm / 2.0) + stats.norm.ppf(power)
    assert math.sqrt(noncentrality(false_alarm, power)) == pytest.approx(quantiles, abs=1e-3)


@pytest.mark.parametrize(
    ("design", "std"),
    [
        (np.ones(3), np.ones(3)),
        (np.ones((3, 1)), np.ones(2)),
        (np.ones((3, 1)), np.ones((3, 1))),
        (np.ones((3, 1)), np.zeros(3)),
        (np.ones((3, 1)), np.array([1.0, -1.0, 1.0])),
        (np.ones((3, 1)), np.array([1.0, np.nan, 1.0])),
    ],
)
def test_shapes_and_standard_deviations_that_do_not_fit_are_refused(design, std):
    with pytest.raises(ValueError, match="design must be"):
        reliability(design, std)


@pytest.mark.parametrize("number", [np.nan, np.inf])
def test_a_design_that_is_not_finite_is_refused(number):
    with pytest.raises(ValueError, match="must be finite"):
        reliability(np.array([[1.0], [number]]), np.ones(2))


@pytest.mark.parametrize(("false_alarm", "power"), [(0.0, 0.5), (0.5, 0.5), (0.5, 0.4), (0.1, 1.0), (np.nan, 0.8)])
def test_impossible_probabilities_are_refused(false_alarm, power):
    with pytest.raises(ValueError, match="false alarm"):
        noncentrality(false_alarm, power)


@pytest.mark.parametrize("freedom", [0, -1])
def test_without_degrees_of_freedom_there_is_no_noncentrality(freedom):
    with pytest.raises(ValueError, match="degree of freedom"):
        noncentrality(0.001, 0.8, freedom)
