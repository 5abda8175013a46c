"""How much faster the compiled replay is than a plain filterpy loop over the samples of the same log.

Run it on a quiet machine:

    pytest -n 0 --benchmark-enable tests/bench/bench_replay.py

Ten minutes at 100 Hz with 4,500 robot poses, 40 ms late. The loop knows no rule, no lateness and keeps nothing; the
replay has every rule compiled in, handles the lateness, and must end on the same pose.
"""

import math

import numpy as np
import pytest
from builders import START, detections, field, fusion, motion, sightings
from filterpy.kalman import ExtendedKalmanFilter

from locbench.config import LatencyMode, MotionNoise
from locbench.fusion import sweep_candidates
from locbench.fusion.compiled import empty_record, replay_candidates
from locbench.fusion.corrections import Rule
from locbench.fusion.planning import given, make_schedule, make_views, tag_ids
from locbench.fusion.settings import TagNoiseFrom, settings_table
from locbench.geometry import exponential
from locbench.odometry import dead_reckon, interval_noise

DETECTIONS, CANDIDATES = 4500, 4096
NOISE = MotionNoise()
DRIVE = motion(rows=60_000, period_s=0.01)
TRUTH = dead_reckon(DRIVE, START.pose)
# limits so wide that every detection is accepted, as the loop does; each of them is looked at
TRUST = {
    "maximum_range": "50 m",
    "maximum_view_angle": "3 rad",
    "maximum_reprojection_ratio": 1.0,
    "minimum_tag_count": 1,
    "maximum_turn_rate": "1000 rad/s",
    "maximum_speed": "100 m/s",
    "gate_probability": "99.9999999999 %",
    "reacquire_after": 5,
}
CONFIG = fusion(trust=TRUST)


def _found():
    """Robot poses on the samples of the odometry, without wrong ones."""
    rows = np.sort(np.random.default_rng(2).choice(np.arange(1, len(DRIVE.time_s) - 10), DETECTIONS, replace=False))
    found = detections(DRIVE, TRUTH, DETECTIONS)
    noise = np.random.default_rng(3).normal(scale=[0.02, 0.02, 0.01], size=(DETECTIONS, 3))
    times = DRIVE.time_s[rows]
    named = {"captured_s": times, "arrived_s": times + 0.04, "value": TRUTH[rows] + noise}
    return rows, type(found)(**{**vars(found), **named})


ROWS, FOUND = _found()


class _PoseFilter(ExtendedKalmanFilter):
    def predict_x(self, u):
        c, s = math.cos(self.x[2]), math.sin(self.x[2])
        self.x = self.x + np.array([c * u[0] - s * u[1], s * u[0] + c * u[1], u[2]])


def _frozen_loop(chords, added, values, covariances):
    """Predict every sample and update at every detection; nothing is recorded."""
    ekf, identity, due = _PoseFilter(3, 3), np.eye(3), 0
    ekf.x, ekf.P = START.pose.copy(), START.covariance.copy()
    for row in range(1, len(chords)):
        c, s, (x, y, _) = math.cos(ekf.x[2]), math.sin(ekf.x[2]), chords[row]
        ekf.F = np.array([[1.0, 0.0, -s * x - c * y], [0.0, 1.0, c * x - s * y], [0.0, 0.0, 1.0]])
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        ekf.Q = turn @ added[row] @ turn.T
        ekf.predict(chords[row])
        if due < len(ROWS) and ROWS[due] == row:
            ekf.update(values[due], lambda _: identity, lambda pose: pose, R=covariances[due], residual=_difference)
            due += 1
    return ekf.x, ekf.P


def _difference(measured, expected):
    off = measured - expected
    off[2] = math.remainder(off[2], 2.0 * math.pi)
    return off


@pytest.fixture(scope="module")
def loop_inputs():
    added = interval_noise(DRIVE.twist, DRIVE.duration_s, NOISE)
    return exponential(DRIVE.twist), added, FOUND.value, sightings(FOUND, CONFIG).covariance


@pytest.fixture(scope="module")
def last_pose(loop_inputs):
    return _frozen_loop(*loop_inputs)[0]


@pytest.fixture(scope="module")
def replay_inputs():
    seen, ids = sightings(FOUND, CONFIG), tag_ids(FOUND)
    schedule = make_schedule(DRIVE, START, FOUND, LatencyMode.REWIND, np.zeros(0), DRIVE.time_s[-1:])
    tags = np.column_stack([seen.tag_position_m, seen.tag_facing_rad])
    views = make_views(schedule, DRIVE, FOUND, tags, ids, given(seen))
    return schedule.plan, views, settings_table([CONFIG], NOISE, ids.tolist(), TagNoiseFrom.GIVEN)


@pytest.fixture(autouse=True)
def _sizes(benchmark):
    """What the summary counts by."""
    benchmark.extra_info.update(detections=DETECTIONS, candidates=CANDIDATES)


def test_frozen_loop(benchmark, loop_inputs):
    benchmark.pedantic(_frozen_loop, loop_inputs, rounds=5)


def test_one_replay(benchmark, replay_inputs, last_pose):
    counts, published = np.zeros((1, len(Rule) + 1), dtype=np.int64), np.empty((1, 1, 3))
    arguments = (*replay_inputs, empty_record(0, 0), counts, published)
    benchmark.pedantic(replay_candidates, arguments, rounds=200, warmup_rounds=1)
    assert counts[0, 0] == DETECTIONS
    np.testing.assert_allclose(published[0, 0], last_pose, rtol=0, atol=1e-9)


def test_sweep(benchmark, last_pose):
    """From fusion files to poses, the first candidate being the one of the loop."""
    floors = np.linspace(20.0, 80.0, CANDIDATES)
    candidates = [CONFIG, *(fusion(trust=TRUST, tag_noise={"along_floor": f"{floor} mm"}) for floor in floors[1:])]
    arguments = (DRIVE, START, FOUND, field(), candidates, NOISE, np.zeros(0), DRIVE.time_s[-1:])
    result = benchmark.pedantic(sweep_candidates, arguments, rounds=8, warmup_rounds=1)
    assert np.all(result.accepted == DETECTIONS)
    np.testing.assert_allclose(result.published[0, 0], last_pose, rtol=0, atol=1e-9)
