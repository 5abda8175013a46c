"""Reliability of redundant measurements and run lengths of cumulative sums, against published values.

Level nets are adjusted here by plain weighted least squares; redundancy numbers come from the package. All numbers with
their sources as collected for this project; "computed" ones were computed once more for it by other means.
"""

import numpy as np
import pytest
from scipy.stats import chi2, ncx2

from locbench.statistics import average_run_length, cusum_limit, noncentrality, one_sided_run_length, reliability


@pytest.mark.parametrize(
    ("false_alarm", "power", "freedom", "value", "tolerance"),
    [
        # Baarda 1968, from memory: shift 4.13 sigma, noncentrality 17.075
        (0.001, 0.80, 1, 17.075, 5e-4),
        # from here on computed, not published
        (0.001, 0.80, 1, 17.0746468, 1e-6),
        (0.05, 0.80, 1, 7.848861, 1e-6),
        (0.01, 0.80, 1, 11.678968, 1e-6),
        (0.001, 0.90, 1, 20.903900, 1e-6),
        (0.05, 0.90, 1, 10.507419, 1e-6),
        (0.001, 0.80, 2, 19.662386, 1e-6),
        (0.001, 0.80, 3, 21.545029, 1e-6),
        # one noncentrality in several dimensions (the B-method): what it makes of the false alarms
        (0.0028371, 0.80, 2, 17.0746, 1e-3),
        (0.0055003, 0.80, 3, 17.0746, 1e-3),
    ],
)
def test_noncentralities(false_alarm, power, freedom, value, tolerance):
    assert noncentrality(false_alarm, power, freedom) == pytest.approx(value, abs=tolerance)


def test_the_shift_of_the_usual_test():
    """Baarda 1968: 4.13 standard deviations at 0.1 % and 80 %, from memory; 4.1321480 computed."""
    assert np.sqrt(noncentrality(0.001, 0.80)) == pytest.approx(4.13, abs=0.005)
    assert np.sqrt(noncentrality(0.001, 0.80)) == pytest.approx(4.1321480, abs=1e-7)


@pytest.mark.parametrize(("freedom", "limit"), [(2, 11.729940), (3, 12.633440)])
def test_limits_of_the_b_method(freedom, limit):
    """At their limits, one and the same shift is found with the same power in any dimension (computed)."""
    assert noncentrality(float(chi2.sf(limit, freedom)), 0.80, freedom) == pytest.approx(17.0746, abs=1e-4)
    # with the false alarms of one dimension it would have to be larger: the degrees of freedom count
    assert noncentrality(0.001, 0.80, freedom) > 19.6
    assert 1.0 - ncx2.cdf(limit, freedom, 17.0746) == pytest.approx(0.80, abs=1e-5)


def _adjusted(design, observed, std):
    weight = np.diag(np.square(std) ** -1.0)
    normal = design.T @ weight @ design
    unknown = np.linalg.solve(normal, design.T @ weight @ observed)
    return unknown, np.linalg.inv(normal), observed - design @ unknown


def test_a_level_net_of_eight_differences():
    """A published adjustment output, vrmapper.com/gama/1doutput.html, seen; its standard deviation of 5 mm is inferred.

    Redundancy numbers and least faults are computed, by the formula of Baarda 1968 as quoted in a paper's text, seen.
    """
    # unknown heights 4, 3, 2; height 1a is 1000 m
    design = np.array(
        [[1, 0, 0], [-1, 1, 0], [0, -1, 1], [0, 0, -1], [0, 0, 1], [0, 1, -1], [1, -1, 0], [-1, 0, 0]], dtype=float
    )
    difference = np.array([-1.225, -0.848, 1.342, 0.720, -0.724, -1.335, 0.842, 1.231])
    observed = difference + np.array([1000.0, 0, 0, -1000.0, 1000.0, 0, 0, -1000.0])
    std = np.full(8, 0.005)
    heights, cofactor, rest = _adjusted(design, observed, std)
    assert heights == pytest.approx([998.77513, 997.93325, 999.27487], abs=6e-6)
    # as printed, then with more digits than that (computed)
    assert 1000.0 * np.sqrt(np.diag(cofactor)) == pytest.approx([3.1, 3.5, 3.1], abs=0.05)
    assert 1000.0 * np.sqrt(np.diag(cofactor)) == pytest.approx([3.061862, 3.535534, 3.061862], abs=1e-6)
    assert 1e6 * rest @ rest == pytest.approx(146.625, abs=1e-3)
    assert 1e3 * np.sqrt(rest @ rest / 5.0) == pytest.approx(5.42, abs=0.005)
    assert 1e3 * np.sqrt(rest @ rest / 5.0) == pytest.approx(5.415256, abs=1e-5)
    checks = reliability(design, std)
    assert len(checks.parity) == 5
    assert checks.redundancy == pytest.approx(np.full(8, 0.625), abs=1e-12)
    normalised = np.abs(rest) / (std * np.sqrt(checks.redundancy))
    assert int(np.argmax(normalised)) == 5
    assert float(np.max(normalised)) == pytest.approx(1.68, abs=0.005)
    assert float(np.max(normalised)) == pytest.approx(1.676007, abs=1e-5)
    least = checks.least_detectable(np.sqrt(noncentrality(0.001, 0.80)))
    assert 1000.0 * least == pytest.approx(np.full(8, 26.1337), abs=1e-3)
    # the same residual, through the parity: what is left is what no height explains
    parity = checks.parity @ (observed / std)
    assert 25.0 * parity @ parity == pytest.approx(146.625, abs=1e-3)
    # each normalised residual too is what the parity shows along its measurement
    along = np.abs(checks.parity.T @ parity) / np.sqrt(checks.redundancy)
    assert along == pytest.approx(normalised, abs=1e-6)
    # heights 4 and 2 were measured from the fixed point: what does not show of their errors is their standard deviation
    unseen = 1000.0 * std * np.sqrt(1.0 - checks.redundancy)
    assert unseen[[0, 4]] == pytest.approx([3.1, 3.1], abs=0.05)


def test_a_level_net_with_setups():
    """A textbook chapter's net, jerrymahun.com XV, ch. D and E; seen.

    Weak: its benchmarks are inferred from the printed residuals, and the weights from the printed standard deviation
    (12 over the number of setups). Redundancy numbers are computed.
    """
    a, b, c, d = 806.52, 818.32, 820.12, 824.04
    design = np.array([[1, 0]] * 4 + [[0, 1]] * 3 + [[-1, 1]], dtype=float)
    observed = np.array([a + 8.91, b - 2.92, c - 4.67, d - 8.66, a - 3.56, c - 17.12, d - 21.10, -12.47])
    plain, cofactor, rest = _adjusted(design, observed, np.ones(8))
    sigma = float(np.sqrt(rest @ rest / 6.0))
    assert plain == pytest.approx([815.418, 802.962], abs=0.002)
    assert sigma * np.sqrt(np.diag(cofactor)) == pytest.approx([0.013, 0.014], abs=0.002)
    assert sigma == pytest.approx(0.028, abs=0.002)
    redundancy = reliability(design, np.ones(8)).redundancy
    expected = [0.789474] * 4 + [0.736842] * 3 + [0.631579]
    assert redundancy == pytest.approx(expected, abs=1e-6)
    assert float(np.sum(redundancy)) == pytest.approx(6.0)
    # all of the weight of 12 setups
    std = np.sqrt(np.array([3.0, 2, 1, 3, 3, 4, 2, 3]) / 12.0)
    weighted, cofactor, rest = _adjusted(design, observed, std)
    sigma = float(np.sqrt(np.sum((rest / std) ** 2) / 6.0))
    assert weighted == pytest.approx([815.424, 802.958], abs=0.002)
    assert sigma * np.sqrt(np.diag(cofactor)) == pytest.approx([0.012, 0.016], abs=0.002)
    assert sigma == pytest.approx(0.067, abs=0.002)
    parity = reliability(design, std).parity
    assert np.linalg.norm(parity @ (observed / std)) / np.sqrt(6.0) == pytest.approx(sigma)


def test_a_level_net_between_two_benchmarks():
    """Ghilani, Adjustment Computations, section 12.3, from memory; more digits computed."""
    x, y = 100.00, 107.50
    # unknown A, B, C
    design = np.array([[1, 0, 0], [-1, 0, 0], [0, 0, 1], [0, 0, -1], [-1, 1, 0], [0, 1, 0], [0, -1, 1]], dtype=float)
    observed = np.array([5.10 + x, 2.34 - y, -1.25 + y, -6.13 - x, -0.68, -3.00 + y, 1.70])
    heights, _, rest = _adjusted(design, observed, np.ones(7))
    assert heights == pytest.approx([105.141, 104.483, 106.188], abs=5e-4)
    assert heights == pytest.approx([105.140952, 104.482857, 106.187619], abs=1e-6)
    assert float(np.sqrt(rest @ rest / 4.0)) == pytest.approx(0.05, abs=0.005)
    assert float(np.sqrt(rest @ rest / 4.0)) == pytest.approx(0.050119, abs=1e-6)
    checks = reliability(design, np.ones(7))
    assert float(np.sum(checks.redundancy)) == pytest.approx(4.0)
    assert np.linalg.norm(checks.parity @ observed) / 2.0 == pytest.approx(0.050119, abs=1e-6)


SHIFTS = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0)
# Montgomery & Runger, table 16-9, seen (transtutors 724674); the column of limit 4 also Lucas & Crosier 1982, table 1,
# as quoted in the example of a control-chart package (cran spc xcusum.arl), seen
PRINTED = {
    4.0: ("168", "74.2", "26.6", "13.3", "8.38", "4.75", "3.34", "2.62", "2.19", "1.71"),
    5.0: ("465", "139", "38.0", "17.0", "10.4", "5.75", "4.01", "3.11", "2.57", "2.01"),
}
# by another solution of the integral equation, not published
COMPUTED = {
    4.0: ("167.68", "74.224", "26.630", "13.285", "8.3831", "4.7472", "3.3428", "2.6195", "2.1945", "1.7085"),
    5.0: ("465.44", "139.49", "37.996", "17.048", "10.376", "5.7472", "4.0089", "3.1137", "2.5733", "2.0126"),
}


def _half_a_digit(text):
    return 0.5 * 10.0 ** -len(text.partition(".")[2])


@pytest.mark.parametrize("limit", [4.0, 5.0])
def test_run_lengths_of_both_sums(limit):
    found = [average_run_length(0.5, limit, shift) for shift in SHIFTS]
    for table in (PRINTED, COMPUTED):
        for length, text in zip(found, table[limit], strict=True):
            assert length == pytest.approx(float(text), abs=1.001 * _half_a_digit(text))


@pytest.mark.parametrize(
    ("allowance", "limit", "shift", "value", "tolerance"),
    [
        # Brook & Evans 1972
        (0.5, 3.0, 0.0, 117.59, 0.01),
        (0.5, 3.0, 1.5, 3.75, 0.005),
        # Waldmann 1986
        (0.5, 3.0, -0.5, 1963.0, 0.5),
        (0.5, 3.0, 0.0, 117.4, 0.3),
        (0.5, 3.0, 0.5, 17.35, 0.005),
        # SAS/QC 1999
        (0.25, 8.0, 2.5, 4.1500836225, 2e-7),
        # computed, not published: Markov chain and bounds above are approximations
        (0.5, 3.0, -0.5, 1962.79, 0.005),
        (0.5, 3.0, 0.0, 117.5957, 5e-5),
        (0.5, 3.0, 0.5, 17.3505, 5e-5),
        (0.5, 3.0, 1.5, 3.7491, 5e-5),
        (0.25, 8.0, 2.5, 4.15008373, 5e-9),
    ],
)
def test_run_lengths_of_one_sum(allowance, limit, shift, value, tolerance):
    """As quoted in the example of the same control-chart package, seen."""
    assert one_sided_run_length(allowance, limit, shift) == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize(("limit", "wrong"), [(4.0, 370.4), (5.0, 629.5)])
def test_a_public_table_that_is_wrong_for_this_allowance(limit, wrong):
    """A table passed around under the name of a standards body has these for an allowance of 1/2: they are not."""
    assert average_run_length(0.5, limit) < 0.8 * wrong
    assert cusum_limit(0.5, wrong) > limit + 0.25


@pytest.mark.parametrize(
    ("allowance", "limit"), [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)]
)
def test_limits_that_run_for_370_values(allowance, limit):
    """Hawkins 1993, as quoted in Montgomery, Introduction to Statistical Quality Control.

    From memory, all of it, so the last digit may be off by one.
    """
    assert cusum_limit(allowance, 370.0) == pytest.approx(limit, abs=0.01)


@pytest.mark.parametrize(("limit", "approximation"), [(4.0, 169.05), (5.0, 469.11)])
def test_siegmunds_approximation(limit, approximation):
    """Montgomery, p. 416-417, seen in code: (exp(-2 D b) + 2 D b - 1) / (2 D^2), halved for both sums."""
    drift, boundary = -0.5, limit + 1.166
    one = (np.exp(-2.0 * drift * boundary) + 2.0 * drift * boundary - 1.0) / (2.0 * drift**2)
    assert one / 2.0 == pytest.approx(approximation, abs=0.01)
    assert average_run_length(0.5, limit) == pytest.approx(one / 2.0, rel=0.01)
