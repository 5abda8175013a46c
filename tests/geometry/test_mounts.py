import numpy as np
from hypothesis import given
from scipy.spatial.transform import Rotation
from strategies import angles

from locbench.geometry import mount_rotation


@given(angles(), angles(), angles())
def test_it_is_the_intrinsic_z_y_x_rotation(yaw, pitch, roll):
    expected = Rotation.from_euler("ZYX", [yaw, pitch, roll]).as_matrix()
    np.testing.assert_allclose(mount_rotation(yaw, pitch, roll), expected, atol=1e-15)


def test_it_works_over_leading_axes():
    angle = np.linspace(-3.0, 3.0, 6).reshape(2, 3)
    turns = mount_rotation(angle, 2 * angle, -angle)
    assert turns.shape == (2, 3, 3, 3)
    np.testing.assert_allclose(turns[1, 2], mount_rotation(angle[1, 2], 2 * angle[1, 2], -angle[1, 2]))


def test_a_positive_pitch_looks_down_and_a_positive_roll_lifts_the_left():
    assert (mount_rotation(0.0, 0.1, 0.0) @ [1, 0, 0])[2] < 0
    assert (mount_rotation(0.0, 0.0, 0.1) @ [0, 1, 0])[2] > 0
