"""Counters of driven wheels are made continuous as those of pods are, and never change the pose."""

import re

import numpy as np
import pytest
from logs import ROBOT, SmallLog

from locbench.errors import SessionError
from locbench.odometry import measure_motion
from locbench.session import Session, examine_session, read_session

AHEAD = '[drive_wheels.{name}]\nx = "0 mm"\ny = "{y} mm"\nwheel_diameter = "70 mm"\ncounts_per_revolution = 4096\n'
WHEELS = AHEAD.format(name="drive_l", y=150) + AHEAD.format(name="drive_r", y=-150)
# half the counts per turn on a wheel twice as large: a count is four times as long as a pod's
PER_POD_COUNT = 0.25
COLUMNS = 'drive_wheels = { drive_l = "dl", drive_r = "dr" }'


@pytest.fixture
def log(tmp_path) -> SmallLog:
    """The pods' log with a driven wheel beside each of the parallel pods."""
    small = SmallLog(tmp_path)
    (tmp_path / "robot.toml").write_text(ROBOT + WHEELS)
    table = small.tables["odometry.csv"]
    table["dl"], table["dr"] = np.round(PER_POD_COUNT * table["l"]), np.round(-PER_POD_COUNT * table["r"])
    small.parts["odometry"] += COLUMNS + "\n"
    return small


def _named(log: SmallLog, entry: str) -> SmallLog:
    log.parts["odometry"] = log.parts["odometry"].replace(COLUMNS, entry)
    return log


def _found(session: Session) -> set[tuple[str, str | None]]:
    return {(finding.code.value, finding.column) for finding in session.findings}


def _assert_rolls_like_the_pods(session: Session, within_m: float = 3e-4) -> None:
    for wheel, pod in (("drive_l", "left"), ("drive_r", "right")):
        np.testing.assert_allclose(
            session.odometry.drive_travel_m[wheel], session.odometry.travel_m[pod], rtol=0, atol=within_m
        )


def test_a_wheel_rolls_as_far_as_the_pod_beside_it(log):
    session = read_session(log.write())
    _assert_rolls_like_the_pods(session)
    assert not session.findings


@pytest.mark.parametrize("bits", [16, 32])
@pytest.mark.parametrize("declared", [True, False])
def test_a_counter_that_wraps_around_is_unwrapped(log, bits, declared):
    log.tables["odometry.csv"]["dl"] = (log.tables["odometry.csv"]["dl"] - 2_000) % 2**bits
    if declared:
        _named(log, COLUMNS.replace('"dl"', f'{{ column = "dl", bits = {bits} }}'))
    session = read_session(log.write())
    _assert_rolls_like_the_pods(session)
    assert _found(session) == {("counter_wrapped", "dl")}


def test_a_counter_that_spans_more_than_its_bits_is_refused(log):
    _named(log, COLUMNS.replace('"dl"', '{ column = "dl", bits = 8 }'))
    with pytest.raises(SessionError, match=r'"dl": these counts span \d+, more than 8 bits hold'):
        read_session(log.write())


def _restart(log: SmallLog, row: int, *columns: str) -> None:
    table = log.tables["odometry.csv"]
    table.loc[row:, list(columns)] -= table.loc[row, list(columns)]


# early on each step alone could be motion; all together they can only be a restart
@pytest.mark.parametrize("row", [15, 200])
def test_a_restart_of_everything_is_bridged_and_flagged(log, row):
    _restart(log, row, "l", "r", "c", "dl", "dr")
    session = read_session(log.write())
    # one row's travel, 10 mm, is lost at the restart, of wheels and pods alike
    _assert_rolls_like_the_pods(session)
    assert np.flatnonzero(session.odometry.flagged).tolist() == [row]
    assert {code for code, _ in _found(session)} == {"counter_reset"}


def test_wheels_that_are_counted_elsewhere_go_on_while_the_pods_restart(log):
    whole = read_session(log.write()).odometry.drive_travel_m
    _restart(log, 200, "l", "r", "c")
    session = read_session(log.write())
    for name, travel in session.odometry.drive_travel_m.items():
        np.testing.assert_array_equal(travel, whole[name])
    assert np.flatnonzero(session.odometry.flagged).tolist() == [200]
    assert {column for _, column in _found(session)} == {"l", "r", "c"}


def test_a_restart_of_the_wheels_alone_is_bridged_and_leaves_the_pose_undoubted(log):
    # at 10 m/s a row is 200 mm: what is lost has to be more to be known for a restart
    _restart(log, 300, "dl", "dr")
    session = read_session(log.write())
    _assert_rolls_like_the_pods(session, within_m=0.013)
    assert not np.any(session.odometry.flagged)
    assert _found(session) == {("counter_reset", "dl"), ("counter_reset", "dr")}


def _spinning(table):
    table.loc[100:250, "dl"] += 40 * np.arange(151)


def _jumping(table):
    table.loc[200:, "dr"] += 700_000


def _stuck(table):
    table["dl"] = 0


@pytest.mark.parametrize("spoil", [_spinning, _jumping, _stuck])
def test_whatever_they_count_the_pose_stays_as_it_is_without_them(log, spoil):
    spoil(log.tables["odometry.csv"])
    with_wheels = read_session(log.write())
    without = read_session(_named(log, "").write())
    assert with_wheels.odometry.drive_travel_m
    assert not without.odometry.drive_travel_m
    one, other = (measure_motion(session.odometry, session.robot) for session in (with_wheels, without))
    np.testing.assert_array_equal(one.twist, other.twist)
    np.testing.assert_array_equal(one.doubted, other.doubted)


def test_steps_of_kilometres_are_refused(log):
    log.tables["odometry.csv"].loc[50, "dl"] += 1e9
    with pytest.raises(SessionError, match=r"odometry\.csv, row 51: 2 steps are absurd"):
        read_session(log.write())


def test_a_cell_that_is_no_number_is_refused_as_in_a_pods_column(log):
    table = log.tables["odometry.csv"]
    table["dl"] = table["dl"].astype(object)
    table.loc[7, "dl"] = "oops"
    with pytest.raises(SessionError, match=r'odometry\.csv, row 8, column "dl".*oops'):
        read_session(log.write())


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        (
            'left = "l"',
            'left = "l", drive_l = "dl"',
            "odometry.pods.drive_l",
            "It is a driven wheel there: name it in [odometry] drive_wheels",
        ),
        (
            COLUMNS,
            'drive_wheels = { left = "dl", drive_l = "dl", drive_r = "dr" }',
            "odometry.drive_wheels.left",
            "It is a pod there: name it in [odometry] pods",
        ),
        (
            COLUMNS,
            'drive_wheels = { drive_ll = "dl", drive_r = "dr" }',
            "odometry.drive_wheels.drive_ll",
            'Did you mean "drive_l"?',
        ),
        (COLUMNS, 'drive_wheels = { drive_l = "dl" }', "odometry.drive_wheels", "leave all of them out"),
    ],
)
def test_a_name_in_the_wrong_place_is_told_where_it_belongs(log, old, new, where, words):
    log.parts["odometry"] = log.parts["odometry"].replace(old, new, 1)
    (found, *_) = examine_session(log.write()).findings
    assert (found.code.value, found.severity.value, found.column) == ("unknown_pod", "error", where)
    assert words in found.remedy


def test_a_robot_file_without_driven_wheels_is_told_to_add_them(log):
    (log.folder / "robot.toml").write_text(ROBOT)
    with pytest.raises(SessionError, match=re.escape("Add it there as [drive_wheels.NAME]")):
        read_session(log.write())


def test_a_log_needs_none_of_the_robots_driven_wheels(log):
    session = read_session(_named(log, "").write())
    assert session.robot.drive_wheels
    assert not session.odometry.drive_travel_m
    assert not session.findings
