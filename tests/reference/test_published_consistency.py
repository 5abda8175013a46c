"""Regions printed in Bar-Shalom, Li & Kirubarajan 2001, section 5.4, and a public table of chi-square points."""

import pytest

from locbench.statistics import chi_square_mean_band, chi_square_quantile


@pytest.mark.parametrize(
    ("components", "runs", "exact", "printed", "tolerance"),
    [
        # NEES of 50 runs, two components: from memory
        (2, 50, (1.484439, 2.591224), (1.5, 2.6), 0.05),
        # NIS of 50 runs: pair seen for chi-square 50 over 50, as NIS from memory
        (1, 50, (0.647147, 1.428404), (0.65, 1.43), 0.01),
        # a single run, two components: from memory
        (2, 1, (0.050636, 7.377759), (0.05, 7.38), 0.01),
        # time-average NIS over 100 steps: from memory
        (1, 100, (0.742219, 1.295612), (0.74, 1.30), 0.01),
        # NEES of 50 runs, three components: Bailey et al., IROS 2006; seen, secondary (an orbit filter's test)
        (3, 50, (2.359690, 3.716009), (2.36, 3.72), 0.01),
    ],
)
def test_two_sided_regions(components, runs, exact, printed, tolerance):
    band = chi_square_mean_band(components, runs)
    assert band == pytest.approx(exact, abs=1e-5)
    assert band == pytest.approx(printed, abs=tolerance)


def test_one_sided_points():
    """Upper 5 % points, 1 to 9 degrees of freedom: a public table (seen, secondary); NIST/SEMATECH 1.3.6.7.4 agrees."""
    points = [3.8415, 5.9915, 7.8147, 9.4877, 11.0705, 12.5916, 14.0671, 15.5073, 16.919]
    for freedom, point in enumerate(points, start=1):
        assert chi_square_quantile(0.95, freedom) == pytest.approx(point, abs=1e-3)
