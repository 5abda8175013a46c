import math

import numpy as np
import pytest

from locbench.simulation.losses import Loss
from locbench.simulation.pods import TruePod, count_pods, roll_pods, true_pods

PODS = {
    "left": TruePod(0.01, 0.12, 0.0, math.pi * 0.050 / 4096),
    "right": TruePod(-0.02, -0.13, 0.0, -math.pi * 0.040 / 2000),
    "cross": TruePod(-0.10, 0.015, math.radians(80.0), math.pi * 0.050 / 4096),
    "askew": TruePod(0.05, -0.07, math.radians(-30.0), math.pi * 0.060 / 1000),
}
ROWS_S = np.arange(0.0, 4.0001, 0.01)


def _generators(seed=3, pods=PODS):
    return {name: np.random.default_rng([seed, place]) for place, name in enumerate(pods)}


def _assert_within_one_count(counts, expected_m):
    for name, pod in PODS.items():
        travelled = counts[name] * pod.metres_per_count
        error = np.abs(travelled - expected_m[name])
        assert error.max() <= abs(pod.metres_per_count) * (1.0 + 1e-6), name


def test_straight_drive_counts_the_part_along_the_rolling_direction(screw):
    motion = screw(start=(1.0, 2.0, 0.7), forward_m_s=0.8, left_m_s=-0.3, turn_rate_rad_s=0.0)
    counts = count_pods(motion, PODS, ROWS_S, _generators())
    speed, towards = math.hypot(0.8, 0.3), math.atan2(-0.3, 0.8)
    expected = {name: speed * ROWS_S * math.cos(pod.direction_rad - towards) for name, pod in PODS.items()}
    _assert_within_one_count(counts, expected)


@pytest.mark.parametrize("forward_m_s", [0.0, 0.9], ids=["spin in place", "circle"])
@pytest.mark.parametrize("turn_rate_rad_s", [2.0, -1.3])
def test_turning_counts_the_arc_of_the_contact_point(screw, forward_m_s, turn_rate_rad_s):
    motion = screw((1.0, 2.0, -2.0), forward_m_s, 0.0, turn_rate_rad_s)
    counts = count_pods(motion, PODS, ROWS_S, _generators())
    centre_y = forward_m_s / turn_rate_rad_s
    expected = {}
    for name, pod in PODS.items():
        # the contact point runs on a circle about the centre of turning; its arc leads at right angles to the spoke
        spoke = math.hypot(pod.x_m, pod.y_m - centre_y)
        leads = math.atan2(pod.y_m - centre_y, pod.x_m) + math.pi / 2.0
        arc = spoke * turn_rate_rad_s * ROWS_S
        expected[name] = arc * math.cos(pod.direction_rad - leads)
    _assert_within_one_count(counts, expected)


def test_long_rows_are_followed_as_finely_as_short_ones(screw):
    motion = screw((0.0, 0.0, 0.0), 0.5, 0.2, 3.0)
    fine = roll_pods(motion, PODS, np.arange(0.0, 4.0001, 0.01))
    coarse = roll_pods(motion, PODS, np.arange(0.0, 4.0001, 0.5))
    for name in PODS:
        assert coarse[name].travel_m[-1] == pytest.approx(fine[name].travel_m[-1], abs=1e-9)


def test_blocks_of_rows_join_without_a_gap(screw):
    motion = screw((0.0, 0.0, 0.0), 0.5, 0.0, 0.0)
    rows = np.arange(0.0, 50.0, 0.005)
    travel = roll_pods(motion, {"left": PODS["left"]}, rows)["left"].travel_m
    np.testing.assert_allclose(travel, 0.5 * rows, atol=1e-9)


def test_a_slip_loses_the_stated_share_and_only_then(screw):
    motion = screw((0.0, 0.0, 0.0), 1.0, 0.0, 0.0)
    slipping = TruePod(0.0, 0.1, 0.0, 1e-5, losses=(Loss(1.0, 1.5, 0.3), Loss(1.25, 2.0, 0.5)))
    travel = roll_pods(motion, {"pod": slipping}, ROWS_S)["pod"].travel_m

    def at(time_s):
        return travel[round(time_s / 0.01)]

    assert at(1.0) == pytest.approx(1.0, abs=1e-9)
    assert at(1.25) - at(1.0) == pytest.approx(0.25 * 0.7, abs=1e-9)
    assert at(1.5) - at(1.25) == pytest.approx(0.25 * 0.7 * 0.5, abs=1e-9)
    assert at(2.0) - at(1.5) == pytest.approx(0.5 * 0.5, abs=1e-9)
    assert at(4.0) - at(2.0) == pytest.approx(2.0, abs=1e-9)


def test_noise_variance_grows_with_the_length_rolled(screw):
    # there and back: the travel cancels, the noise does not
    there = screw((0.0, 0.0, 0.0), 1.0, 0.0, 0.0)
    back = screw((0.0, 0.0, math.pi), 1.0, 0.0, 0.0)
    pod = TruePod(0.0, 0.0, 0.0, 1e-7, along_per_metre_m=0.002)
    rows = np.arange(0.0, 2.0001, 0.02)
    runs = 400
    for motion in (there, back):
        ends = [count_pods(motion, {"p": pod}, rows, _generators(seed, ["p"]))["p"][-1] * 1e-7 for seed in range(runs)]
        assert np.mean(ends) == pytest.approx(2.0, abs=6.0 * 0.002 * math.sqrt(2.0 / runs))
        assert np.std(ends, ddof=1) == pytest.approx(0.002 * math.sqrt(2.0), rel=6.0 / math.sqrt(2.0 * runs))


def test_a_wheel_at_rest_counts_nothing_however_noisy(screw):
    pod = TruePod(0.0, 0.1, 0.0, 1e-5, along_per_metre_m=0.01)
    counts = count_pods(screw((0.0, 0.0, 0.0), 0.0, 0.0, 0.0), {"p": pod}, ROWS_S, _generators(1, ["p"]))
    assert not np.any(counts["p"])


def test_true_geometry_replaces_the_nominal_one_key_by_key(bench):
    scenario = bench.scenario("""
[[waypoints]]
mark = "B"
[pods]
along_per_metre = "3 mm"
[truth.pods.right]
x = "-25 mm"
wheel_diameter = "41 mm"
[truth.pods.cross]
rolling_direction = "91 deg"
""")
    pods = true_pods(scenario, bench.robot)
    assert (pods["left"].x_m, pods["left"].y_m) == (0.010, 0.120)
    assert (pods["right"].x_m, pods["right"].y_m) == pytest.approx((-0.025, -0.130))
    assert pods["right"].metres_per_count == pytest.approx(-math.pi * 0.041 / 2000)
    assert pods["cross"].direction_rad == pytest.approx(math.radians(91.0))
    assert {pod.along_per_metre_m for pod in pods.values()} == {0.003}
