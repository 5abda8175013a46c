import numpy as np
import pytest

from locbench.errors import ConfigError
from locbench.simulation import build_world

SHOVE = """
[[shoves]]
start = "2.5 s"
contact = "300 ms"
recovery = "700 ms"
dx = "100 mm"
dy = "-150 mm"
turn = "20 deg"
pods_lose = { left = "50 %" }
gyro_loses = "25 %"
"""


def _world(bench, text, seed=0):
    return build_world(bench.scenario(text), bench.field, np.random.default_rng(seed), "scenario.toml")


def test_stands_on_marks_are_exact_when_placing_is(bench, round_trip):
    world = _world(bench, round_trip)
    assert [stand.mark for stand in world.stands] == ["A", "B", "C", "A"]
    for stand in world.stands:
        mark = bench.field.mark(stand.mark)
        poses = world.pose_at(np.linspace(stand.begin_s, stand.end_s, 20))
        expected = np.broadcast_to([mark.x, mark.y, mark.heading], poses.shape)
        np.testing.assert_allclose(poses, expected, atol=1e-12)


def test_placing_scatters_stands_by_the_stated_spread(bench, round_trip):
    text = '[placing]\nposition_std = "4 mm"\nheading_std = "0.5 deg"\n' + round_trip
    offsets = []
    for seed in range(150):
        for stand in _world(bench, text, seed).stands:
            mark = bench.field.mark(stand.mark)
            offsets.append(stand.pose - [mark.x, mark.y, mark.heading])
    spread = np.std(offsets, axis=0)
    bound = 6.0 / np.sqrt(2.0 * len(offsets))
    np.testing.assert_allclose(spread, [0.004, 0.004, np.radians(0.5)], rtol=bound)


def test_a_shove_displaces_the_robot_smoothly_and_the_driver_recovers(bench, round_trip):
    calm, shoved = _world(bench, round_trip), _world(bench, SHOVE + round_trip)
    times = np.arange(0.0, calm.duration_s, 0.001)
    offset = shoved.pose_at(times) - calm.pose_at(times)
    full = np.array([0.100, -0.150, np.radians(20.0)])
    np.testing.assert_array_equal(offset[times <= 2.5], 0.0)
    np.testing.assert_allclose(offset[2800], full, atol=1e-9)
    np.testing.assert_allclose(offset[times >= 3.5], 0.0, atol=1e-12)
    during = (times >= 2.5) & (times <= 2.8)
    assert np.all(np.diff(offset[during, 0]) >= -1e-12)
    # a minimum-jerk rise peaks at 15/8 of its mean rate
    assert np.abs(np.diff(offset[:, 1])).max() / 0.001 == pytest.approx(1.875 * 0.150 / 0.3, rel=1e-3)
    assert shoved.path_length_m > calm.path_length_m + 0.05


def test_while_shoved_pods_and_gyro_miss_their_share(bench, round_trip):
    losing = SHOVE + round_trip
    gripping = losing.replace('pods_lose = { left = "50 %" }\ngyro_loses = "25 %"', "")
    lost, kept = bench.record(losing), bench.record(gripping)
    rows = lost.record.odometry.time_s
    before, after = np.searchsorted(rows, [2.5, 2.8])
    left = [run.record.odometry.counts["left"] for run in (lost, kept)]
    seen = [counts[after] - counts[before] for counts in left]
    assert abs(seen[0] - 0.5 * seen[1]) <= 1.5
    assert abs((left[0][-1] - left[0][after]) - (left[1][-1] - left[1][after])) <= 1
    np.testing.assert_array_equal(lost.record.odometry.counts["right"], kept.record.odometry.counts["right"])
    turns = [run.record.odometry.heading_rad for run in (lost, kept)]
    assert turns[0][after] - turns[0][before] == pytest.approx(0.75 * (turns[1][after] - turns[1][before]), abs=1e-6)


def test_truth_shows_the_shove(bench, round_trip):
    truth = bench.record(SHOVE + round_trip).record.truth
    calm = _world(bench, round_trip).pose_at(truth.time_s)
    offset = np.hypot(*(truth.pose - calm)[:, :2].T)
    assert offset.max() == pytest.approx(np.hypot(0.100, 0.150), abs=1e-3)
    assert offset[-1] == 0.0


@pytest.mark.parametrize("start", ["1.5 s", "5 s", "500 s"])
def test_a_shove_without_room_before_the_next_stand_is_refused(bench, round_trip, start):
    with pytest.raises(ConfigError, match=r"scenario\.toml: shoves\[1\]\.start: .* drives: 2\.0-") as caught:
        _world(bench, SHOVE.replace("2.5 s", start) + round_trip)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ('[[waypoints]]\nx = "4.5 m"\ny = "2 m"\nheading = "0 deg"\n', "waypoints: the robot leaves the floor"),
        ('[[waypoints]]\nmark = "A"\n', r"waypoints\[1\]: the robot is there already"),
        (
            '[[waypoints]]\nmark = "B"\n[[waypoints]]\nx = "3 m"\ny = "1 m"\nheading = "360 deg"\n',
            r"waypoints\[2\]: the robot is there already",
        ),
        ('[[waypoints]]\nmark = "B"\ndwell = "3 s"\n[driving]\nspeed = "0.1 mm/s"\n', "the run would last"),
    ],
)
def test_an_impossible_way_is_refused(bench, text, problem):
    with pytest.raises(ConfigError, match=problem):
        _world(bench, text)
