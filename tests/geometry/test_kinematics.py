import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.geometry import exponential, rolling_row, transform_points, unseen_motion

LEFT, RIGHT = rolling_row(0.0, 0.15, 0.0), rolling_row(0.0, -0.15, 0.0)
CROSS = rolling_row(-0.1, 0.0, np.pi / 2)
GYRO = np.array([0.0, 0.0, 1.0])


@given(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(-3.0, 3.0))
def test_the_row_is_the_contact_points_displacement_along_its_rolling_direction(x, y, direction):
    twist = 1e-6 * np.array([0.7, -0.4, 1.3])
    contact = np.array([x, y])
    displacement = transform_points(exponential(twist), contact) - contact
    expected = displacement @ [np.cos(direction), np.sin(direction)]
    assert rolling_row(x, y, direction) @ twist == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize(
    ("rows", "hidden"),
    [
        ([LEFT, RIGHT, CROSS], []),
        ([LEFT, CROSS, GYRO], []),
        ([LEFT, RIGHT], ["sideways motion"]),
        ([LEFT, RIGHT, GYRO], ["sideways motion"]),
        ([CROSS, GYRO], ["forward motion"]),
        ([LEFT, CROSS], ["turning about the point x = -100 mm, y = 150 mm"]),
        ([rolling_row(0, 0, 0), rolling_row(0, 0, np.pi / 2)], ["turning on the spot"]),
        ([rolling_row(0, 0, np.pi / 4), GYRO], ["motion along 135 deg"]),
        ([], ["forward motion", "sideways motion", "turning"]),
        ([rolling_row(0, 0, 0)], ["sideways motion", "turning on the spot"]),
    ],
)
def test_what_a_layout_cannot_see_is_said_in_words(rows, hidden):
    assert unseen_motion(np.array(rows).reshape(-1, 3)) == hidden
