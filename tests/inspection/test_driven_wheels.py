"""Driven wheels in an inspection: a counter of theirs that stands still is named, and they speak of nothing else."""

import numpy as np
import pytest
from logs import ROBOT, SmallLog

from locbench.jobs.inspect import inspect

WHEEL = '[drive_wheels.{name}]\nx = "{x} mm"\ny = "{y} mm"\nrolling_direction = "{direction} deg"\n'
WHEEL += 'wheel_diameter = "35 mm"\ncounts_per_revolution = 8192\n'
WHEELS = WHEEL.format(name="drive_l", x=0, y=150, direction=0) + WHEEL.format(name="rear", x=-100, y=0, direction=90)


@pytest.fixture
def wheeled(inspector):
    """A log whose driven wheels roll exactly as the pods at their places."""
    (inspector.log.folder / "robot.toml").write_text(ROBOT + WHEELS)
    inspector.log.parts["odometry"] += 'drive_wheels = { drive_l = "dl", rear = { column = "dr", bits = 32 } }\n'
    table = inspector.log.tables["odometry.csv"]
    table["dl"], table["dr"] = table["l"], table["c"]
    return inspector


def _hold(log: SmallLog, column: str, from_s: float, to_s: float) -> None:
    table = log.tables["odometry.csv"]
    seconds, values = log.time, table[column].to_numpy(copy=True)
    held = np.flatnonzero((seconds >= from_s) & (seconds <= to_s))
    lost = values[held[-1]] - values[held[0]]
    values[held[-1] + 1 :] -= lost
    values[held] = values[held[0]]
    table[column] = values


def test_nothing_is_said_of_wheels_that_count(wheeled):
    assert set(wheeled.found()) == {"tag_view"}


def test_a_wheel_that_counts_no_more_is_named(wheeled):
    _hold(wheeled.log, "dl", 2.0, 7.0)
    found = wheeled.found()["counter_stuck"]
    assert found.where == 'odometry.csv, column "dl"'
    assert 'The counter of driven wheel "drive_l" keeps one reading once' in found.evidence
    assert "longest 5.0 s from 2 s on" in found.evidence
    assert "No pose is computed from it" in found.meaning
    assert "leave drive_wheels out of [odometry]" in found.remedy


@pytest.mark.parametrize("column", ["dl", "dr"])
def test_a_wheel_that_never_counts_is_a_warning_and_the_set_up_is_judged_all_the_same(wheeled, column):
    wheeled.log.tables["odometry.csv"][column] = 0
    # a wrong set-up beside it: the pods run the wrong way round
    wheeled.log.tables["odometry.csv"][["l", "r", "c"]] *= -1
    found = wheeled.found()
    assert (found["counter_stuck"].severity, found["counter_stuck"].where) == (
        "warning",
        f'odometry.csv, column "{column}"',
    )
    assert "pod_reversed" in found


def test_a_wheel_that_moves_where_nothing_says_so_is_no_witness_against_a_pod(wheeled):
    """The robot stands before a wall for three seconds while its wheels spin."""
    table = wheeled.log.tables["odometry.csv"]
    for column in ("l", "r", "c", "gyro"):
        _hold(wheeled.log, column, 3.0, 6.0)
    assert table["l"].iloc[150:300].nunique() == 1
    assert table["dl"].iloc[150:300].nunique() > 100
    stuck = [
        one
        for one in inspect(wheeled.log.write()).inspection.diagnoses
        if one.code == "counter_stuck" and "column" in one.where
    ]
    assert not stuck


def test_a_braked_wheel_that_is_pushed_for_a_moment_is_not_stuck(wheeled):
    _hold(wheeled.log, "dl", 2.0, 4.0)
    assert "counter_stuck" not in wheeled.found()
    _hold(wheeled.log, "l", 2.0, 4.0)
    assert wheeled.found()["counter_stuck"].where == 'odometry.csv, column "l"'


def _as_told(inspector) -> list[tuple[str, str, str]]:
    diagnoses = inspect(inspector.log.write()).inspection.diagnoses
    return [(one.code, one.severity, one.evidence) for one in diagnoses]


def _exchanged(table):
    table[["l", "c"]] = table[["c", "l"]].to_numpy()


def _in_order(table):
    del table


@pytest.mark.parametrize("spoil", [_exchanged, _in_order])
def test_a_log_is_judged_the_same_with_spinning_wheels_and_without_any(wheeled, spoil):
    table = wheeled.log.tables["odometry.csv"]
    table["dl"] *= 3
    table["dr"] = np.arange(len(table)) * 17
    spoil(table)
    with_wheels = _as_told(wheeled)
    odometry = wheeled.log.parts["odometry"]
    wheeled.log.parts["odometry"] = odometry[: odometry.index("drive_wheels")]
    assert with_wheels == _as_told(wheeled)


@pytest.mark.parametrize(
    ("spoil", "code", "words"),
    [
        (lambda table: table.loc.__setitem__((slice(200, None), "dl"), table["dl"] + 700_000), "counter_jump", "shift"),
        (
            lambda table: table.loc.__setitem__((slice(200, None), "dl"), table["dl"] - table["dl"][200]),
            "counter_reset",
            "unless it is a driven wheel's",
        ),
    ],
)
def test_what_reading_found_in_a_wheels_counter_is_told_with_what_it_means(wheeled, spoil, code, words):
    spoil(wheeled.log.tables["odometry.csv"])
    found = wheeled.found()[code]
    assert 'column "dl"' in found.where
    assert words in found.meaning
