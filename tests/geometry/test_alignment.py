import numpy as np
import pytest

from locbench.geometry import mirrored_alignment, rigid_alignment, rotation_matrix, similarity_alignment

SOURCE = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
TARGET = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])


def test_umeyama_example_with_scale():
    """Umeyama, IEEE PAMI 13(4) 1991: points seen in a unit test that quotes the paper, results from memory.

    Recomputed exactly: R 0.83205029, 0.55470020; c 0.72111026; t (-0.8, 0.4). The best orthogonal matrix of these
    points is a reflection, which must be refused.
    """
    found = similarity_alignment(SOURCE, TARGET)
    np.testing.assert_allclose(found.rotation, [[0.83205029, 0.55470020], [-0.55470020, 0.83205029]], atol=1e-8)
    assert found.scale == pytest.approx(0.72111026, abs=1e-8)
    np.testing.assert_allclose(found.translation, [-0.8, 0.4], atol=1e-8)
    assert found.mean_squared_residual == pytest.approx(0.53333333, abs=1e-8)


def test_umeyama_example_without_scale():
    found = rigid_alignment(SOURCE, TARGET)
    np.testing.assert_allclose(found.translation, [-0.980484, 0.296867], atol=1e-6)
    assert found.mean_squared_residual == pytest.approx(0.619755, abs=1e-6)
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)


def test_the_mirrored_form_finds_the_reflection():
    found = mirrored_alignment(SOURCE, TARGET)
    assert np.linalg.det(found.rotation) == pytest.approx(-1.0)
    assert found.mean_squared_residual == pytest.approx(0.0, abs=1e-15)
    np.testing.assert_allclose(found.apply(SOURCE), TARGET, atol=1e-12)


def test_a_known_motion_is_recovered():
    rng = np.random.default_rng(5)
    points = rng.normal(size=(30, 2))
    moved = 1.7 * points @ rotation_matrix(np.array(2.5)).T + [3.0, -4.0]
    found = similarity_alignment(points, moved)
    assert found.scale == pytest.approx(1.7)
    np.testing.assert_allclose(found.rotation, rotation_matrix(np.array(2.5)), atol=1e-12)


@pytest.mark.parametrize(
    ("source", "target", "words"),
    [
        (np.zeros((3, 2)), np.zeros((2, 2)), "same shape"),
        (np.zeros((1, 2)), np.zeros((1, 2)), "two points"),
        (np.zeros((3, 3)), np.zeros((3, 3)), "shape"),
    ],
)
def test_unusable_point_sets_are_refused(source, target, words):
    with pytest.raises(ValueError, match=words):
        rigid_alignment(source, target)


def test_coinciding_points_have_no_scale():
    with pytest.raises(ValueError, match="coincide"):
        similarity_alignment(np.ones((3, 2)), SOURCE)
