"""What cannot be meant is reported: the log is used all the same, and nobody reads its numbers unwarned."""

import pytest
from logs import SmallLog

from locbench.errors import SessionError
from locbench.session import read_session


def _warnings(log):
    return {(f.code, f.file, f.row) for f in read_session(log.write()).findings if f.severity == "warning"}


@pytest.fixture
def log(tmp_path):
    return SmallLog(tmp_path).with_tags().with_marks().with_truth()


def test_a_log_in_order_has_no_warning(log):
    assert _warnings(log) == set()


def test_one_wild_cell_of_the_truth(log):
    log.tables["truth.csv"].loc[99, "x"] += 65.536
    assert _warnings(log) == {("impossible_speed", "truth.csv", 100), ("far_off_floor", "truth.csv", 100)}


def test_one_wild_heading_of_the_truth(log):
    log.tables["truth.csv"].loc[99, "h"] += 120.0
    assert _warnings(log) == {("impossible_turn", "truth.csv", 100)}


@pytest.mark.parametrize(
    ("kind", "column"), [("pod_counts", "gyro"), ("increments", "dh"), ("velocities", "w"), ("poses", "h")]
)
def test_turns_no_robot_makes(tmp_path, kind, column):
    log = SmallLog(tmp_path, kind)
    log.tables["odometry.csv"].loc[200, column] += {"velocities": 1e4, "poses": 0.4}.get(kind, 150.0)
    assert _warnings(log) == {("impossible_turn", "odometry.csv", 201)}


def test_a_coarse_clock_makes_no_motion_impossible(log):
    for file in ("odometry.csv", "truth.csv"):
        log.tables[file]["t_ms"] = log.tables[file]["t_ms"] // 60 * 60
    assert {code for code, _, _ in _warnings(log)} == {"duplicate_time"}


def test_fixes_in_the_wrong_unit_lie_far_off_the_floor(log):
    log.tables["tags.csv"][["x", "y"]] *= 39.37
    assert _warnings(log) == {("far_off_floor", "tags.csv", 1)}


def test_a_fix_that_is_merely_wrong_is_left_to_the_trust_rules(log):
    log.tables["tags.csv"].loc[3, "x"] = -3.5
    assert _warnings(log) == set()


def test_ranges_longer_than_the_floor(log):
    log.parts["tags"] += 'range = { column = "r", unit = "m" }\n'
    log.tables["tags.csv"]["r"] = 2.0
    assert _warnings(log) == set()
    log.tables["tags.csv"].loc[5, "r"] = 78.7
    assert _warnings(log) == {("impossible_range", "tags.csv", 6)}


def test_a_mark_that_the_field_file_puts_elsewhere(log, tmp_path):
    log.write()
    field = tmp_path / "field.toml"
    field.write_text(field.read_text().replace('name = "M2"\nx = "2 m"', 'name = "M2"\nx = "2000 in"'))
    assert [(f.code, f.file, f.row) for f in read_session(tmp_path).findings] == [("far_off_floor", "marks.csv", 1)]


@pytest.mark.parametrize(
    ("kind", "column", "value"),
    [
        ("pod_counts", "l", 5e9),
        ("increments", "dx", 1e9),
        ("velocities", "vx", 5e10),
        ("increments", "dh", 1e8),
        ("poses", "x", 1e8),
    ],
)
def test_odometry_too_absurd_for_an_answer_is_refused(tmp_path, kind, column, value):
    log = SmallLog(tmp_path, kind)
    log.tables["odometry.csv"].loc[200, column] = value
    with pytest.raises(SessionError, match=r"odometry\.csv, row 201: \d steps are absurd"):
        read_session(log.write())
