import numpy as np
import pytest

from locbench.simulation.path import DrivingLimits, Waypoint, plan_path

LIMITS = DrivingLimits(speed_m_s=1.2, acceleration_m_s2=2.0, turn_rate_rad_s=2.5, turn_acceleration_rad_s2=6.0)
STEP_S = 0.001


def _waypoint(x, y, heading_deg, dwell_s=0.0, mark=None):
    return Waypoint(np.array([x, y, np.radians(heading_deg)]), dwell_s, mark)


@pytest.fixture
def path():
    return plan_path(
        [
            _waypoint(0.5, 0.5, 0, 2.0, "A"),
            _waypoint(2.0, 0.6, 100),
            _waypoint(3.0, 1.5, 170),
            _waypoint(3.0, 3.0, -160, 1.2, "B"),
            _waypoint(3.0, 3.0, 90, 1.0),
            _waypoint(1.0, 2.0, -90),
            _waypoint(0.7, 0.7, -80, 1.5, "A"),
        ],
        LIMITS,
    )


def _motion(path):
    times = np.arange(0.0, path.duration_s, STEP_S)
    poses = path.pose_at(times)
    velocity = np.diff(poses, axis=0) / STEP_S
    return times, poses, velocity, np.diff(velocity, axis=0) / STEP_S


def test_no_limit_is_exceeded_and_one_is_reached(path):
    _, _, velocity, acceleration = _motion(path)
    shares = {
        "speed": np.hypot(*velocity[:, :2].T).max() / LIMITS.speed_m_s,
        "acceleration": np.hypot(*acceleration[:, :2].T).max() / LIMITS.acceleration_m_s2,
        "turn rate": np.abs(velocity[:, 2]).max() / LIMITS.turn_rate_rad_s,
        "turn acceleration": np.abs(acceleration[:, 2]).max() / LIMITS.turn_acceleration_rad_s2,
    }
    assert all(share <= 1.0 for share in shares.values()), shares
    assert max(shares.values()) > 0.99


def test_velocity_is_continuous_everywhere(path):
    _, _, velocity, _ = _motion(path)
    jumps = np.abs(np.diff(velocity, axis=0)).max(axis=0)
    assert jumps[:2].max() <= LIMITS.acceleration_m_s2 * STEP_S
    assert jumps[2] <= LIMITS.turn_acceleration_rad_s2 * STEP_S


def test_stands_are_at_rest_where_and_as_long_as_asked(path):
    assert [(stand.mark, round(stand.end_s - stand.begin_s, 9)) for stand in path.stands] == [
        ("A", 2.0),
        ("B", 1.2),
        (None, 1.0),
        ("A", 1.5),
    ]
    for stand in path.stands:
        poses = path.pose_at(np.linspace(stand.begin_s, stand.end_s, 50))
        np.testing.assert_allclose(poses, np.broadcast_to(stand.pose, poses.shape), atol=1e-12)


def test_waypoints_without_dwell_are_passed_without_stopping(path):
    times, poses, velocity, _ = _motion(path)
    for x, y in [(2.0, 0.6), (3.0, 1.5), (1.0, 2.0)]:
        distance = np.hypot(poses[:, 0] - x, poses[:, 1] - y)
        nearest = int(np.argmin(distance))
        assert distance[nearest] < 0.001
        assert np.hypot(*velocity[nearest, :2]) > 0.2, times[nearest]


def test_headings_turn_the_short_way_round(path):
    # 170 deg to -160 deg is 30 deg onwards; -160 deg to 90 deg is 110 deg back
    headings = [np.degrees(stand.pose[2]) for stand in path.stands]
    np.testing.assert_allclose(headings, [0.0, 200.0, 90.0, -80.0], atol=1e-9)


def test_a_turn_on_the_spot_does_not_move_the_robot(path):
    turning = path.pose_at(np.linspace(path.stands[1].end_s, path.stands[2].begin_s, 100))
    np.testing.assert_allclose(turning[:, :2], 3.0, atol=1e-12)


def test_times_of_any_shape_and_outside_the_run_are_answered(path):
    times = np.array([[-1.0, 0.0], [path.duration_s, path.duration_s + 5.0]])
    poses = path.pose_at(times)
    assert poses.shape == (2, 2, 3)
    np.testing.assert_allclose(poses[0], np.broadcast_to(path.stands[0].pose, (2, 3)), atol=1e-12)
    np.testing.assert_allclose(poses[1], np.broadcast_to(path.stands[-1].pose, (2, 3)), atol=1e-12)


def test_times_in_any_order_give_the_same_poses(path):
    times = np.linspace(-1.0, path.duration_s + 1.0, 500)
    mixed = np.random.default_rng(1).permutation(500)
    assert np.array_equal(path.pose_at(times[mixed]), path.pose_at(times)[mixed])
