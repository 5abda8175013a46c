"""Published figures of horizontal accuracy, pose repeatability and propagated uncertainty."""

import math

import numpy as np
import pytest
from scipy import special

from locbench.statistics import (
    circular_error_probable,
    heading_repeatability,
    position_repeatability,
    propagated_covariance,
    radius95,
    root_mean_square,
)

# A sample without chance: the radii of a circular normal distribution at evenly spread probabilities.
PROBABILITY = (np.arange(20_000) + 0.5) / 20_000
RADII = np.sqrt(-2.0 * np.log1p(-PROBABILITY))


def test_conversions_between_measures_of_circular_errors():
    """Seen, secondary: van Diggelen, GPS World, January 1998 (table), printed to one digit; exact ones computed."""
    half = circular_error_probable(RADII, len(RADII)).value
    rms = root_mean_square(RADII, len(RADII)).value
    outer = radius95(RADII, len(RADII)).value
    twice = 2.0 * rms
    for ratio, printed, exact in [
        (rms / half, 1.2, 1.201122),
        (outer / half, 2.1, 2.078925),
        (twice / half, 2.4, 2.402245),
        (outer / rms, 1.7, 1.730818),
        (twice / rms, 2.0, 2.0),
        (twice / outer, 1.2, 1.155523),
    ]:
        assert ratio == pytest.approx(printed, abs=0.05)
        assert ratio == pytest.approx(exact, abs=2e-4)


@pytest.mark.parametrize(
    ("share", "radius"), [(0.393469, 1.0), (0.50, 1.17741), (0.75, 1.665109), (0.90, 2.145966), (0.999, 3.716922)]
)
def test_radii_of_the_circular_normal_distribution(share, radius):
    """Seen, secondary: Bowditch 1977, table Q6c: 39.35 % at 1 sigma; 1.177, 1.67, 2.15 and 3.72 sigma."""
    assert np.quantile(RADII, share) == pytest.approx(radius, abs=1e-2)


def test_share_within_twice_the_distance_rms():
    """Seen: NAS report 1995 (nationalacademies.org/read/4920, appendix): 98 % circular, 95.5 % degenerate."""
    twice = 2.0 * root_mean_square(RADII, len(RADII)).value
    assert np.mean(twice >= RADII) == pytest.approx(0.98168, abs=2e-4)
    line = special.ndtri(PROBABILITY)
    assert np.mean(np.abs(line) < 2.0 * root_mean_square(line, len(line)).value) == pytest.approx(0.9545, abs=5e-4)


def test_worked_example_of_positional_accuracy():
    """From memory: ASPRS Positional Accuracy Standards, ed. 1 v 1.0 (2014), annex D; each printed value reproduces."""
    residuals = np.array(
        [
            [-0.140, -0.070, -0.071],
            [-0.100, -0.100, 0.010],
            [0.017, -0.070, 0.102],
            [-0.070, 0.150, -0.100],
            [0.130, 0.120, 0.087],
        ]
    )
    sizes = [root_mean_square(residuals[:, i], 5.0).value for i in range(3)]
    radial = root_mean_square(residuals[:, :2], 5.0).value
    np.testing.assert_allclose(sizes, [0.102, 0.106, 0.081], atol=5e-4)
    np.testing.assert_allclose(sizes, [0.101675, 0.106489, 0.081381], atol=1e-6)
    assert radial == pytest.approx(0.147, abs=5e-4)
    assert radial == pytest.approx(0.147234, abs=1e-6)
    # accuracy at 95 % by the standard's factors, 1.7308 of the radial and 1.96 of the vertical RMS (from memory)
    assert radial * math.sqrt(math.log(20.0)) == pytest.approx(0.255, abs=5e-4)
    assert sizes[2] * special.ndtri(0.975) == pytest.approx(0.160, abs=5e-4)


def test_pose_accuracy_and_repeatability():
    """Formulas of ISO 9283:1998 (from memory); the case is computed, no published one was found."""
    points = np.array([[10.2, 20.1], [9.9, 19.8], [10.4, 20.3], [10.1, 19.7], [9.9, 20.1], [10.3, 19.9]])
    found = position_repeatability(points - [10.0, 20.0])
    np.testing.assert_allclose(found.bias, [0.133333333, -0.016666667], atol=1e-8)
    assert found.accuracy == pytest.approx(0.13437096, abs=1e-8)
    assert found.mean_distance == pytest.approx(0.26293415, abs=1e-8)
    assert found.distance_std == pytest.approx(0.09680956, abs=1e-8)
    assert found.repeatability == pytest.approx(0.55336284, abs=1e-8)


def test_repeatability_of_many_circular_normal_errors():
    """Computed: sqrt(pi/2) + 3 sqrt(2 - pi/2) = 3.218723 standard deviations, which hold 99.437 %."""
    errors = np.random.default_rng(3).normal(size=(400_000, 2))
    found = position_repeatability(errors)
    assert found.repeatability == pytest.approx(3.218723, abs=0.01)
    assert np.mean(np.linalg.norm(errors, axis=1) < found.repeatability) == pytest.approx(0.99437, abs=5e-4)


def test_heading_repeatability_is_three_standard_deviations():
    found = heading_repeatability(np.array([0.01, 0.03, 0.02]))
    assert found.accuracy == pytest.approx(0.02)
    assert found.repeatability == pytest.approx(0.03)


def test_one_visit_has_no_repeatability():
    with pytest.raises(ValueError, match="two visits, got 1"):
        position_repeatability(np.zeros((1, 2)))


VOLT = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
AMPERE = 1e-3 * np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def _correlation(covariance, first, second):
    return covariance[first, second] / math.sqrt(covariance[first, first] * covariance[second, second])


def test_resistance_reactance_and_impedance():
    """JCGM 100:2008 H.2: data, means, uncertainties and correlations seen; r(R, X) and u(R, X, Z) from memory.

    The GUM prints u(X) = 0.295, a rounding short of 0.2956.
    """
    inputs = np.stack([VOLT, AMPERE, PHASE])
    volt, ampere, phase = inputs.mean(axis=1)
    covariance = np.cov(inputs) / 5.0
    assert (volt, 1e3 * ampere, phase) == pytest.approx((4.9990, 19.6610, 1.04446), abs=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), [0.0032, 0.0095e-3, 0.00075], rtol=0.02)
    pairs = [(0, 1, -0.3553), (0, 2, 0.8576), (1, 2, -0.6451)]
    for first, second, printed in pairs:
        assert _correlation(covariance, first, second) == pytest.approx(printed, abs=5e-5)
    cosine, sine, impedance = math.cos(phase), math.sin(phase), volt / ampere
    values = impedance * np.array([cosine, sine, 1.0])
    np.testing.assert_allclose(values, [127.732170, 219.846512, 254.259702], atol=1e-6)
    jacobian = np.column_stack([values / volt, -values / ampere, impedance * np.array([-sine, cosine, 0.0])])
    found = propagated_covariance(jacobian, covariance)
    np.testing.assert_allclose(np.sqrt(np.diag(found)), [0.0710714, 0.2955817, 0.2363361], atol=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(found)), [0.071, 0.295, 0.236], atol=1e-3)
    for first, second, exact in [(0, 1, -0.5884298), (0, 2, -0.4852592), (1, 2, 0.9925116)]:
        assert _correlation(found, first, second) == pytest.approx(exact, abs=1e-6)
    # the other way of the GUM, each observation taken through, agrees where the inputs vary little
    each = np.stack([VOLT * np.cos(PHASE) / AMPERE, VOLT * np.sin(PHASE) / AMPERE, VOLT / AMPERE])
    np.testing.assert_allclose(each.mean(axis=1), [127.731630, 219.846895, 254.260050], atol=1e-6)
    np.testing.assert_allclose(np.std(each, axis=1, ddof=1) / math.sqrt(5), np.sqrt(np.diag(found)), rtol=0.01)


def test_correlations_of_the_inputs_count():
    """Left out, they would give other uncertainties: the check of the example is a check of the covariances."""
    inputs = np.stack([VOLT, AMPERE, PHASE])
    covariance = np.cov(inputs) / 5.0
    jacobian = np.array([[1.0 / AMPERE.mean(), -VOLT.mean() / AMPERE.mean() ** 2, 0.0]])
    alone = propagated_covariance(jacobian, np.diag(np.diag(covariance)))
    assert math.sqrt(alone[0, 0]) < 0.9 * 0.2363361


def test_many_covariances_are_propagated_at_once():
    rng = np.random.default_rng(5)
    jacobian, root = rng.normal(size=(7, 2, 3)), rng.normal(size=(7, 3, 3))
    covariance = root @ np.swapaxes(root, 1, 2)
    found = propagated_covariance(jacobian, covariance)
    for i in range(7):
        np.testing.assert_allclose(found[i], jacobian[i] @ covariance[i] @ jacobian[i].T)
