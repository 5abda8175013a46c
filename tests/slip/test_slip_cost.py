"""What a slip costs, and what the robot did meanwhile."""

import dataclasses

import numpy as np
import pytest
from builders import motion
from detection import LAYOUTS, robot_of

from locbench.odometry import Motion, layout_sensors
from locbench.session import PodTravel
from locbench.shots.landing import landing_offset
from locbench.slip.circumstances import circumstances
from locbench.slip.cost import cost_of

ROBOT = robot_of(next(iter(LAYOUTS.values())))
LAYOUT = layout_sensors(ROBOT, gyro=True)


def _straight(metres=1.0, rows=101):
    """A drive straight ahead in a second."""
    time = np.linspace(0.0, 1.0, rows)
    along = np.linspace(0.0, metres, rows)
    travel = {"left": along, "right": along.copy(), "cross": np.zeros(rows)}
    return PodTravel(time, travel, np.zeros(rows), np.zeros(rows, dtype=bool))


def _cost(log, name, lacks, before=(1.0, 2.0, 0.0)):
    sensor = LAYOUT.name.index(name)
    return cost_of(log, ROBOT, LAYOUT, sensor, lacks, (0.2, 0.6), np.array(before))


def test_a_forward_pod_costs_half_of_what_it_lost():
    """The heading comes from the gyro, so two forward pods share what is between them."""
    cost = _cost(_straight(), "left", 0.02)
    # pods are weighed by their travel, and the one that slipped rolled less
    assert cost.position_m == pytest.approx(0.01, rel=0.05)
    assert cost.heading_rad == 0.0
    assert cost.true[0] - cost.believed[0] == pytest.approx(cost.position_m)


def test_the_cross_pod_costs_all_of_it():
    cost = _cost(_straight(), "cross", 0.03)
    assert cost.position_m == pytest.approx(0.03)
    assert cost.true[1] - cost.believed[1] == pytest.approx(0.03)


def test_a_gyro_costs_its_turn():
    cost = _cost(_straight(), "gyro", 0.1)
    # it believes less turn than there was
    assert cost.heading_rad == pytest.approx(-0.1)
    goal = np.array([4.0, 2.0])
    offset = landing_offset(cost.true[np.newaxis], cost.believed[np.newaxis], goal)
    assert cost.miss_m(goal) == pytest.approx(float(np.linalg.norm(offset)))


def test_costs_grow_in_proportion():
    once, twice = _cost(_straight(), "right", 0.01), _cost(_straight(), "right", 0.02)
    assert twice.position_m == pytest.approx(2.0 * once.position_m, rel=0.05)


def test_a_pod_that_stood_still_lost_it_evenly():
    log = _straight()
    stuck = dataclasses.replace(log, travel_m={**log.travel_m, "cross": np.zeros(len(log.time_s))})
    assert _cost(stuck, "cross", 0.05).position_m == pytest.approx(0.05)


def _motion(twist, period=0.01):
    time = period * np.arange(len(twist))
    return Motion.from_increments(time, np.asarray(twist), np.zeros(len(twist), dtype=bool))


def test_standing_driving_spinning():
    still = _motion(np.zeros((100, 3)))
    assert circumstances(still, 0.3, 0.6).doing == ("standing",)
    ahead = _motion(np.tile([0.01, 0.0, 0.0], (100, 1)))
    did = circumstances(ahead, 0.3, 0.6)
    assert did.doing == ("driving",)
    assert did.speed_m_s == pytest.approx(1.0)
    spin = _motion(np.tile([0.0, 0.0, 0.03], (100, 1)))
    did = circumstances(spin, 0.3, 0.6)
    assert did.doing == ("spinning",)
    assert did.turn_rate_rad_s == pytest.approx(3.0)


@pytest.mark.parametrize(("jump", "doing"), [(0.5, "jerk"), (2.0, "contact")])
def test_hard_braking_and_pushes(jump, doing):
    speed = np.where(np.arange(100) < 50, 0.0, jump)
    did = circumstances(_motion(np.column_stack([0.01 * speed, np.zeros(100), np.zeros(100)])), 0.4, 0.6)
    assert doing in did.doing
    assert did.acceleration_m_s2 == pytest.approx(jump / 0.06, rel=0.1)


def test_an_event_of_no_length_still_has_circumstances():
    drive = motion()
    middle = float(drive.time_s[30])
    assert circumstances(drive, middle, middle).doing
