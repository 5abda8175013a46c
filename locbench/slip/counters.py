"""Counters that fail electrically: stuck, jumping, or counting the wrong way round for a while.

No wheel on rubber stops, turns round or leaps within two or three rows while the robot rolls on: friction would have
to be several times that of rubber. So a counter's own readings tell, the others being witnesses that the robot rolled.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, runs_of
from locbench.odometry import Motion, MotionSensors
from locbench.slip.kinds import SlipFault

__all__ = ["CounterFault", "counter_faults"]

# Speeds are means over this time. Common practice, no source, as all numbers here.
_SPEED_S = 0.03
# a wheel at this speed needs longer than that to stop, even at 1.2 g
_ROLLING_M_PER_S = 0.3
# how long a reading stays the same, after rolling, and in any case
_STOPPED_S, _SAME_S = 0.15, 1.0
_MISSED_M = 0.020
# A step this much longer than the steps around it, which are alike within that speed.
_LEAP_M, _ALIKE_M_PER_S = 0.015, 0.3
_LEAP_SCATTERS = 10.0
# speeds before and after counting turns round are opposite within this share
_MIRRORED = 0.3
_SHORTEST_REVERSED_S = 0.06
_RESTING_M_PER_S = 0.02
# counts are not finer than that
_LEAST_STD_M = 1e-4
_GAP_PERIODS = 5.0


@dataclass(frozen=True)
class CounterFault:
    """A counter failed from `first_s` to `last_s` and lacks that travel (negative: has too much), in metres."""

    sensor: int
    fault: SlipFault
    first_s: float
    last_s: float
    lacks: float
    std: float


def counter_faults(motion: Motion, sensors: MotionSensors) -> list[CounterFault]:
    """Return what the counters of a motion show, in order of time; gyros are not looked at."""
    steps = _Steps.of(motion, sensors)
    found: list[CounterFault] = []
    for sensor in np.flatnonzero(~sensors.layout.turns):
        found += _leaps(int(sensor), steps)
        found += _stuck(int(sensor), steps)
        found += _reversed(int(sensor), steps)
    return sorted(found, key=lambda fault: fault.first_s)


@dataclass(frozen=True)
class _Steps:
    """Steps between rows (N - 1, K), what the other sensors say each should be, and whether they see all of it (K,).

    `speed` (N - 1, K) is the mean over a few rows up to each step, `ahead` that over a few rows from it on.
    """

    time_s: FloatArray
    step: FloatArray
    expected: FloatArray
    seen: BoolArray
    is_gap: BoolArray
    speed: FloatArray
    ahead: FloatArray
    moved: FloatArray

    @classmethod
    def of(cls, motion: Motion, sensors: MotionSensors) -> "_Steps":
        step, layout = np.diff(sensors.reading, axis=0), sensors.layout
        expected, seen = np.zeros_like(step), np.zeros(len(layout), dtype=bool)
        for one in range(len(layout)):
            others = np.delete(np.arange(len(layout)), one)
            weights = layout.row[one] @ np.linalg.pinv(layout.row[others])
            seen[one] = np.linalg.norm(layout.row[one] - weights @ layout.row[others]) < 1e-6
            expected[:, one] = step[:, others] @ weights
        duration = np.diff(motion.time_s)
        period = float(np.median(duration))
        rows = max(1, round(_SPEED_S / period))
        behind = _mean_behind(step, duration, rows)
        ahead = np.vstack([behind[rows - 1 :], np.repeat(behind[-1:], rows - 1, axis=0)])
        return cls(
            time_s=motion.time_s,
            step=step,
            expected=expected,
            seen=seen,
            is_gap=np.asarray(duration > _GAP_PERIODS * period),
            speed=behind,
            ahead=ahead,
            moved=np.concatenate([[0.0], np.cumsum(_rolled(step, layout.turns))]),
        )


def _rolled(step: FloatArray, turns: BoolArray) -> FloatArray:
    """Return (N - 1,) how far the second fastest pod rolled: one that fails must not be its own witness."""
    pods = np.sort(np.abs(step[:, ~turns]), axis=1)
    return np.asarray(pods[:, -2] if pods.shape[1] > 1 else np.zeros(len(step)))


def _mean_behind(step: FloatArray, duration: FloatArray, rows: int) -> FloatArray:
    travel = np.vstack([np.zeros((1, step.shape[1])), np.cumsum(step, axis=0)])
    time = np.concatenate([[0.0], np.cumsum(duration)])
    end = np.arange(1, len(travel))
    begin = np.maximum(end - rows, 0)
    return np.asarray((travel[end] - travel[begin]) / np.maximum(time[end] - time[begin], 1e-9)[:, np.newaxis])


def _leaps(sensor: int, steps: _Steps) -> Iterator[CounterFault]:
    step = steps.step[:, sensor]
    padded = np.pad(step, 2, mode="edge")
    around = np.stack([padded[:-4], padded[1:-3], padded[3:-1], padded[4:]], axis=1)
    usual = np.median(around, axis=1)
    scatter = float(np.median(np.abs(step - usual)))
    limit = max(_LEAP_M, _LEAP_SCATTERS * scatter)
    duration = np.diff(steps.time_s)
    calm = np.ptp(around, axis=1) < _ALIKE_M_PER_S * duration
    beyond = (np.abs(step - usual) > limit) & calm & ~steps.is_gap
    # a logger that skips a row makes all counters leap together
    others = np.delete(np.arange(steps.step.shape[1]), sensor)
    for row in np.flatnonzero(beyond):
        window = steps.step[max(0, row - 2) : row + 3][:, others]
        alone = np.all(np.abs(steps.step[row, others] - np.median(window, axis=0)) < limit)
        if alone:
            lacks = float(usual[row] - step[row])
            yield CounterFault(
                sensor,
                SlipFault.JUMP,
                float(steps.time_s[row]),
                float(steps.time_s[row + 1]),
                lacks,
                max(scatter, _LEAST_STD_M),
            )


def _stuck(sensor: int, steps: _Steps) -> Iterator[CounterFault]:
    rests = runs_of(steps.step[:, sensor] == 0.0)
    expected = np.concatenate([[0.0], np.cumsum(steps.expected[:, sensor])])
    for begin, end in rests:
        duration = float(steps.time_s[end] - steps.time_s[begin])
        before = float(steps.speed[begin - 1, sensor]) if begin > 0 else 0.0
        abrupt = abs(before) >= _ROLLING_M_PER_S and duration >= _STOPPED_S
        if not abrupt and not (duration >= _SAME_S and steps.seen[sensor]):
            continue
        after = float(steps.ahead[end, sensor]) if end < len(steps.step) else 0.0
        if steps.seen[sensor]:
            lacks, std = float(expected[end] - expected[begin]), _MISSED_M / 10.0
            missed = min(float(np.ptp(expected[begin : end + 1])), float(steps.moved[end] - steps.moved[begin]))
        else:
            # nothing saw it: the speed goes evenly from that before to that after
            lacks, std = 0.5 * (before + after) * duration, (abs(before) + abs(after)) * duration / 12.0**0.5
            missed = min(abs(lacks), float(steps.moved[end] - steps.moved[begin]))
        if missed > _MISSED_M:
            first_s, last_s = float(steps.time_s[begin]), float(steps.time_s[end])
            yield CounterFault(sensor, SlipFault.STUCK, first_s, last_s, lacks, max(std, _LEAST_STD_M))


def _reversed(sensor: int, steps: _Steps) -> Iterator[CounterFault]:
    turns = _turned_round(sensor, steps)
    reading = np.concatenate([[0.0], np.cumsum(steps.step[:, sensor])])
    rests = np.append(np.flatnonzero(np.abs(steps.speed[:, sensor]) < _RESTING_M_PER_S), len(steps.step))
    index = 0
    while index < len(turns):
        first = turns[index]
        rest = int(rests[np.searchsorted(rests, first)])
        again = turns[index + 1] if index + 1 < len(turns) else rest
        # at rest it cannot be told when it began to count the right way again
        last, std_share = (again, 0.02) if again < rest else (rest, 1.0)
        if steps.time_s[last] - steps.time_s[first] >= _SHORTEST_REVERSED_S:
            read = float(reading[last] - reading[first])
            first_s, last_s = float(steps.time_s[first]), float(steps.time_s[last])
            std = max(std_share * abs(read), _LEAST_STD_M)
            yield CounterFault(sensor, SlipFault.REVERSED, first_s, last_s, -2.0 * read, std)
        index += 2 if again < rest else 1


def _turned_round(sensor: int, steps: _Steps) -> list[int]:
    """Return the rows from which on a counter runs at its own speed, the other way, though the others roll on."""
    before, after = steps.speed[:-1, sensor], steps.ahead[1:, sensor]
    fast = np.abs(before) >= _ROLLING_M_PER_S
    flips = fast & (np.abs(before + after) <= _MIRRORED * np.abs(before))
    # the first row of the other way; means over a few rows smear it by as many
    flips &= np.sign(steps.step[1:, sensor]) == np.sign(after)
    flips &= np.sign(steps.step[:-1, sensor]) == np.sign(before)
    found: list[int] = []
    others = np.delete(np.arange(steps.step.shape[1]), sensor)
    for row in np.flatnonzero(flips):
        also = np.abs(steps.ahead[row + 1, others] - steps.speed[row, others]) > _ROLLING_M_PER_S
        if not np.any(also):
            found.append(int(row) + 1)
    return found
