"""SE(2): group axioms, and values against scipy's matrix exponential as an independent source."""

import numpy as np
import pytest
from hypothesis import given
from scipy.linalg import expm
from strategies import angles, poses, twists

from locbench.geometry import (
    adjoint,
    between,
    circular_mean,
    compose,
    exponential,
    interpolate_poses,
    inverse,
    left_jacobian,
    logarithm,
    right_jacobian,
    transform_points,
    wrap_angle,
)


def _matrix(pose):
    c, s = np.cos(pose[2]), np.sin(pose[2])
    return np.array([[c, -s, pose[0]], [s, c, pose[1]], [0, 0, 1]])


def _algebra(twist):
    return np.array([[0, -twist[2], twist[0]], [twist[2], 0, twist[1]], [0, 0, 0]])


def check_close(first, second, atol=1e-9):
    first, second = np.asarray(first), np.asarray(second)
    assert np.all(np.isfinite(first))
    assert np.all(np.isfinite(second))
    np.testing.assert_allclose(first[..., :2], second[..., :2], atol=atol, rtol=1e-11)
    np.testing.assert_allclose(wrap_angle(first[..., 2] - second[..., 2]), 0.0, atol=atol)


@given(poses(), poses(), poses())
def test_composition_is_associative(a, b, c):
    check_close(compose(compose(a, b), c), compose(a, compose(b, c)))


@given(poses())
def test_inverse_undoes(a):
    check_close(compose(a, inverse(a)), np.zeros(3))
    check_close(compose(inverse(a), a), np.zeros(3))


@given(poses(), poses())
def test_composition_is_the_matrix_product(a, b):
    np.testing.assert_allclose(_matrix(compose(a, b)), _matrix(a) @ _matrix(b), atol=1e-9)


@given(poses(), poses())
def test_between_leads_from_one_to_the_other(a, b):
    check_close(compose(a, between(a, b)), b)


@given(twists())
def test_exponential_is_the_matrix_exponential(twist):
    np.testing.assert_allclose(_matrix(exponential(twist)), expm(_algebra(twist)), atol=1e-10, rtol=1e-12)


@given(twists())
def test_logarithm_undoes_exponential(twist):
    again = exponential(logarithm(exponential(twist)))
    check_close(again, exponential(twist))


@given(poses(), twists())
def test_adjoint_moves_a_twist_to_the_other_side(pose, twist):
    small = 1e-3 * twist
    check_close(compose(pose, exponential(small)), compose(exponential(adjoint(pose) @ small), pose), atol=1e-8)


def _differences(function, twist, step=1e-6):
    columns = []
    for i in range(3):
        offset = step * np.eye(3)[i]
        columns.append((function(twist + offset) - function(twist - offset)) / (2 * step))
    return np.column_stack(columns)


@given(twists())
def test_right_jacobian_against_finite_differences(twist):
    base = inverse(exponential(twist))
    numeric = _differences(lambda t: logarithm(compose(base, exponential(t))), twist)
    np.testing.assert_allclose(right_jacobian(twist), numeric, atol=2e-6 * (1 + np.abs(twist).max()))


@given(twists())
def test_left_jacobian_is_the_adjoint_of_the_right_one(twist):
    expected = adjoint(exponential(twist)) @ right_jacobian(twist)
    np.testing.assert_allclose(left_jacobian(twist), expected, atol=1e-9)


@given(angles())
def test_wrapped_angles_lie_in_the_half_open_turn(angle):
    wrapped = wrap_angle(angle + 6 * np.pi)
    assert -np.pi <= wrapped < np.pi
    assert np.cos(wrapped) == pytest.approx(np.cos(angle), abs=1e-12)


def test_wrap_keeps_missing_values_missing():
    assert np.isnan(wrap_angle(np.array([np.nan]))[0])


def test_values_worked_out_beforehand():
    """tau = (1, 2, 0.5): computed beforehand from the closed forms and checked with a matrix exponential."""
    twist = np.array([1.0, 2.0, 0.5])
    np.testing.assert_allclose(exponential(twist)[:2], [0.46918132, 2.16253703], atol=1e-8)
    right, left = right_jacobian(twist), left_jacobian(twist)
    np.testing.assert_allclose(right[:, 2], [-0.89704166, 0.65426544, 1.0], atol=1e-8)
    np.testing.assert_allclose(right[0, :2], [0.95885108, 0.24483488], atol=1e-8)
    np.testing.assert_allclose(left[:, 2], [1.06163735, -0.32507406, 1.0], atol=1e-8)
    np.testing.assert_allclose(adjoint(exponential(twist))[:2, 2], [2.16253703, -0.46918132], atol=1e-8)


def test_functions_work_over_leading_axes():
    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(4, 5, 3)), rng.normal(size=(4, 5, 3))
    for i in range(4):
        for j in range(5):
            np.testing.assert_array_equal(compose(a, b)[i, j], compose(a[i, j], b[i, j]))
            np.testing.assert_array_equal(right_jacobian(a)[i, j], right_jacobian(a[i, j]))


def test_circular_mean_crosses_the_seam():
    assert abs(circular_mean(np.radians([179.0, -179.0]))) == pytest.approx(np.pi)


def test_interpolation_takes_the_short_way_round_and_does_not_extrapolate():
    times = np.array([0.0, 1.0])
    poses_ = np.array([[0.0, 0.0, np.radians(170)], [1.0, 2.0, np.radians(-170)]])
    no_gap = np.zeros(2, dtype=bool)
    middle = interpolate_poses(times, poses_, no_gap, np.array([0.5, 1.5]))
    np.testing.assert_allclose(middle[0], [0.5, 1.0, np.pi])
    assert np.all(np.isnan(middle[1]))


def test_nothing_is_invented_inside_a_gap():
    times, poses_ = np.array([0.0, 1.0, 5.0, 6.0]), np.zeros((4, 3))
    gap_before = np.array([False, False, True, False])
    found = interpolate_poses(times, poses_, gap_before, np.array([0.5, 1.0, 3.0, 5.0, 5.5]))
    assert np.isfinite(found[:, 0]).tolist() == [True, True, False, True, True]


def test_points_follow_their_frame():
    np.testing.assert_allclose(transform_points(np.array([1.0, 2.0, np.pi / 2]), np.array([1.0, 0.0])), [1.0, 3.0])
