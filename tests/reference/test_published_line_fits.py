"""Lines with their covariance: GUM H.3 and NIST's Norris data.

JCGM 100:2008, H.3 (data seen in a worked example of a metrology library, published results from memory, full digits
recomputed); NIST Statistical Reference Datasets, "Norris" (data and certified values seen in the tests of general
statistics libraries; the covariance is from one of them, not from NIST).
"""

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.statistics import fit_line

_T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
_B = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
_X = np.loadtxt(
    io.StringIO(
        "0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4\n"
        "0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3\n"
        "0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5\n"
    )
).ravel()
_Y = np.loadtxt(
    io.StringIO(
        "0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3\n"
        "0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3\n"
        "0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2\n"
    )
).ravel()


def test_the_thermometer_of_the_guide():
    line = fit_line(_T, _B, origin=20.0)
    assert line.intercept == pytest.approx(-0.17120379, abs=1e-8)
    assert line.intercept_std == pytest.approx(0.00287760, abs=1e-8)
    assert line.slope == pytest.approx(0.00218270, abs=1e-8)
    assert line.slope_std == pytest.approx(0.00066794, abs=1e-8)
    assert line.residual_std == pytest.approx(0.00349756, abs=1e-8)
    correlation = line.covariance[0, 1] / (line.intercept_std * line.slope_std)
    assert correlation == pytest.approx(-0.93042960, abs=1e-8)


def test_its_correction_at_30_degrees():
    line = fit_line(_T, _B, origin=20.0)
    value, std = line.at(30.0)
    assert value == pytest.approx(-0.14937681, abs=1e-8)
    assert std == pytest.approx(0.00413860, abs=1e-8)
    # what leaving the covariance out would give
    assert np.hypot(line.intercept_std, 10.0 * line.slope_std) == pytest.approx(0.00727, abs=1e-5)


def test_norris():
    line = fit_line(_X, _Y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.intercept_std == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.slope_std == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.residual_std == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.residual_std**2 * line.freedom == pytest.approx(26.6173985294224, rel=1e-9)
    assert line.covariance[0, 1] == pytest.approx(-7.74327536339570e-5, rel=1e-9)


@given(shift=st.floats(-1e4, 1e4), factor=st.floats(0.1, 10.0))
def test_weights_alike_change_nothing_but_the_covariance(shift, factor):
    plain = fit_line(_X, _Y, origin=shift)
    weighed = fit_line(_X, _Y, origin=shift, std=np.full(len(_X), factor))
    assert weighed.slope == pytest.approx(plain.slope, rel=1e-9)
    assert weighed.slope_std * plain.residual_std / factor == pytest.approx(plain.slope_std, rel=1e-9)


@pytest.mark.parametrize("x", [[1.0, 2.0], [1.0, 1.0, 1.0]])
def test_too_little_for_a_line_is_refused(x):
    with pytest.raises(ValueError, match="three points"):
        fit_line(np.array(x), np.zeros(len(x)))
