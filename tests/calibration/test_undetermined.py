"""What a drive cannot tell, in words, with the drive that would."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from locbench.calibration.constants import Constant, ConstantKind, Constants
from locbench.calibration.driven import Driven
from locbench.calibration.undetermined import untold
from locbench.drive_kinds import DriveKind

MUCH = Driven(
    forward_m=30.0,
    sideways_m=10.0,
    left_turns=4.0,
    right_turns=4.0,
    headings=4,
    references=20,
    detections=500,
    fast_turning_s=8.0,
    roll_sideways=frozenset({"pods.cross"}),
)
LEFT, RIGHT = (Constant(ConstantKind.LEVER_ARM, f"pods.{name}", 0.12) for name in ("left", "right"))
WHEEL = Constant(ConstantKind.WHEEL_DIAMETER, "pods.left", 0.05)
CROSS_WHEEL = Constant(ConstantKind.WHEEL_DIAMETER, "pods.cross", 0.05)
DIRECTION = Constant(ConstantKind.ROLLING_DIRECTION, "pods.left", 0.0)
SCALE, LAG = Constant(ConstantKind.TURN_SCALE, "gyro", 1.0), Constant(ConstantKind.GYRO_LAG, "gyro", 0.0)
LATENCY = Constant(ConstantKind.LATENCY, "cameras.front", 0.0)
X, YAW = (Constant(kind, "cameras.front", 0.1) for kind in (ConstantKind.MOUNT_X, ConstantKind.MOUNT_YAW))


def _found(constants, open_ones, *alike):
    """A calibration: open ones at three times the std they need, pairs `alike` correlated by 0.999."""
    every = Constants(tuple(constants))
    needed = every.needed_stds * np.array([3.0 if one in open_ones else 0.3 for one in constants])
    correlation = np.eye(len(constants))
    for first, second in alike:
        i, j = constants.index(first), constants.index(second)
        correlation[i, j] = correlation[j, i] = 0.999
    estimates = tuple(SimpleNamespace(constant=one, determined=one not in open_ones) for one in constants)
    return SimpleNamespace(constants=every, estimates=estimates, covariance=correlation * np.outer(needed, needed))


def test_nothing_open_says_nothing():
    assert untold(_found([WHEEL, LEFT], []), MUCH) == ()


@pytest.mark.parametrize(
    ("constant", "drove", "words", "run"),
    [
        (LEFT, {"left_turns": 0.4, "right_turns": 0.0}, ["three turns", "this run has 0.4"], DriveKind.SPIN),
        (SCALE, {"left_turns": 1.0, "right_turns": 0.5}, ["three turns", "this run has 1.5"], DriveKind.SPIN),
        (LEFT, {"headings": 1}, ["several headings", "20 references at 1 headings"], DriveKind.SPIN),
        (WHEEL, {"forward_m": 1.2}, ["straight lines", "1.2 m forward"], DriveKind.STRAIGHT),
        (CROSS_WHEEL, {"sideways_m": 0.1}, ["rolls sideways", "0.1 m sideways"], DriveKind.STRAIGHT),
        (DIRECTION, {"sideways_m": 0.2}, ["only across it", "0.2 m sideways"], DriveKind.STRAIGHT),
        (LAG, {"fast_turning_s": 0.3}, ["fast turns", "0.3 s"], DriveKind.SPIN),
        (LATENCY, {"fast_turning_s": 0.2}, ["moves fast with a tag in view", "0.2 s"], DriveKind.CAMERA),
        (X, {"headings": 2}, ["in front of tags", "2 headings"], DriveKind.CAMERA),
    ],
)
def test_the_reason_names_what_the_run_lacks_and_the_drive_that_has_it(constant, drove, words, run):
    (one,) = untold(_found([constant], [constant]), replace(MUCH, **drove))
    assert one.names == (constant.name,)
    assert all(word in one.why for word in words), one.why
    assert one.next_run is run


def test_what_only_shows_together_is_named_together():
    constants = [WHEEL, LATENCY, YAW, LAG]
    first, second = untold(_found(constants, [LATENCY, YAW, LAG], (LATENCY, YAW)), MUCH)
    assert set(first.names) == {LATENCY.name, YAW.name}
    assert "turns in both senses" in first.why
    assert second.names == (LAG.name,)


def test_a_parallel_pair_shows_its_mean_lever_arm_only_at_several_headings():
    (one,) = untold(_found([LEFT, RIGHT], [LEFT, RIGHT], (LEFT, RIGHT)), MUCH)
    assert one.names == (LEFT.name, RIGHT.name)
    assert "the mean lever arm of parallel pods" in one.why


def test_every_open_constant_is_named_once():
    constants = [WHEEL, LEFT, RIGHT, SCALE, LAG, LATENCY, X, YAW, DIRECTION]
    found = untold(_found(constants, constants, (LEFT, RIGHT), (LATENCY, YAW), (SCALE, WHEEL)), MUCH)
    named = [name for one in found for name in one.names]
    assert sorted(named) == sorted(one.name for one in constants)
