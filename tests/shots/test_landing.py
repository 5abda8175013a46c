import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.config import ShooterConfig
from locbench.config.shooter import Turret
from locbench.geometry import compose
from locbench.shots import can_aim, landing_offset

GOAL = np.array([3.7, 2.0])


@given(st.floats(-0.3, 0.3), st.floats(-3, 3), st.floats(0.5, 2.5))
def test_a_pure_heading_error_turns_the_shot_about_the_robot(error, heading, x):
    true = np.array([[x, 2.0, heading]])
    distance = 3.7 - x
    offset = landing_offset(true, true + [0, 0, error], GOAL)[0]
    np.testing.assert_allclose(offset, [-distance * np.sin(error), distance * (np.cos(error) - 1)], atol=1e-12)


def test_a_pure_position_error_lands_by_as_much_the_other_way():
    true = np.array([[1.0, 2.0, 0.7]])
    offset = landing_offset(true, true + [0.05, 0.02, 0.0], GOAL)[0]
    np.testing.assert_allclose(offset, [-0.02, -0.05], atol=1e-12)


@given(st.floats(-2, 2), st.floats(-2, 2), st.floats(-3, 3))
def test_moving_and_turning_the_world_changes_no_miss(x, y, angle):
    world = np.array([x, y, angle])
    true, believed = np.array([[1.0, 1.0, 0.4]]), np.array([[1.03, 0.98, 0.42]])
    moved_goal = compose(world, np.array([*GOAL, 0.0]))[:2]
    here = landing_offset(true, believed, GOAL)
    there = landing_offset(compose(world, true), compose(world, believed), moved_goal)
    np.testing.assert_allclose(here, there, atol=1e-12)


@given(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2), st.floats(-0.2, 0.2))
def test_the_shot_is_where_an_exact_launcher_would_send_it(dx, dy, turn):
    """Aim from the believed turret position; fire from the true one: turret offset cancels."""
    true = np.array([1.2, 0.9, 0.5])
    believed = true + [dx, dy, turn]
    turret = np.array([0.1, -0.2, 0.0])
    seen_goal = compose(np.array([0.0, 0.0, -believed[2]]), np.array([*(GOAL - believed[:2]), 0.0]))[:2]
    from_turret = seen_goal - turret[:2]
    landing = compose(true, np.array([*(turret[:2] + from_turret), 0.0]))[:2]
    line = (GOAL - true[:2]) / np.linalg.norm(GOAL - true[:2])
    offset = landing - GOAL
    expected = [line[0] * offset[1] - line[1] * offset[0], line @ offset]
    np.testing.assert_allclose(landing_offset(true[None], believed[None], GOAL)[0], expected, atol=1e-12)


@pytest.mark.parametrize(
    ("heading_deg", "travel", "expected"),
    [
        (0, ("-90 deg", "90 deg"), True),
        (80, ("-90 deg", "90 deg"), True),
        (100, ("-90 deg", "90 deg"), False),
        (180, ("-200 deg", "200 deg"), True),
        (0, ("170 deg", "190 deg"), False),
        (179, ("170 deg", "190 deg"), True),
        (-179, ("170 deg", "190 deg"), True),
    ],
)
def test_a_goal_outside_the_turrets_travel_cannot_be_aimed_at(heading_deg, travel, expected):
    turret = Turret(travel_from=travel[0], travel_to=travel[1])
    pose = np.array([[1.0, 2.0, np.radians(heading_deg)]])
    assert can_aim(pose, GOAL, turret)[0] == expected


def test_a_shooter_needs_no_more_than_its_projectile_and_entry_angle():
    shooter = ShooterConfig.model_validate({"name": "s", "projectile": {"diameter": "70 mm"}, "entry_angle": "50 deg"})
    assert shooter.turret.travel_to == pytest.approx(np.pi)
