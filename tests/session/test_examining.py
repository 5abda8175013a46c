import numpy as np
import pytest
from logs import SmallLog

from locbench.errors import ConfigError, SessionError
from locbench.session import Severity, TableName, examine_session, read_session, read_table_times


@pytest.fixture
def log(tmp_path):
    return SmallLog(tmp_path).with_tags().with_marks().with_truth()


def _spoil(log):
    log.tables["truth.csv"]["x"] = log.tables["truth.csv"]["x"].astype(object)
    log.tables["truth.csv"].loc[4, "x"] = "x"
    log.tables["odometry.csv"] = log.tables["odometry.csv"].drop(columns=["gyro", "l"])
    log.tables["marks.csv"].loc[0, "mark"] = "Q9"


def test_everything_that_is_wrong_is_found_at_once(log):
    _spoil(log)
    examined = examine_session(log.write())
    assert examined.session is None
    errors = {(found.file, found.code.value) for found in examined.findings if found.severity is Severity.ERROR}
    assert errors == {
        ("odometry.csv", "missing_column"),
        ("marks.csv", "unknown_mark"),
        ("truth.csv", "not_a_number"),
    }
    assert len([found for found in examined.findings if found.code.value == "missing_column"]) == 2


def test_reading_raises_what_examining_finds(log):
    _spoil(log)
    with pytest.raises(SessionError) as raised:
        read_session(log.write())
    for word in ('"l"', '"gyro"', "no mark of this name", "not a number"):
        assert word in str(raised.value)


def test_a_session_that_can_be_used_is_the_one_that_is_read(log):
    folder = log.write()
    examined = examine_session(folder)
    assert examined.session is not None
    assert examined.findings == read_session(folder).findings
    assert examined.files.robot == folder / "robot.toml"


def test_segments_that_all_lie_elsewhere_are_among_what_is_found(log):
    log.parts["segments"] = '[[segments]]\nname = "late"\nstart = "100 s"\nend = "110 s"\n'
    log.tables["tags.csv"] = log.tables["tags.csv"].drop(columns="x")
    folder = log.write()
    codes = [found.code.value for found in examine_session(folder).findings if found.severity is Severity.ERROR]
    assert codes == ["missing_column", "segment_outside_log"]
    with pytest.raises(SessionError, match="no segment lies inside"):
        read_session(folder)


def test_a_config_that_cannot_be_understood_stays_an_error(log):
    folder = log.write()
    (folder / "robot.toml").write_text("name = 3")
    with pytest.raises(ConfigError):
        examine_session(folder)


def test_findings_carry_their_numbers(log):
    log.tables["tags.csv"].loc[20:, "t_ms"] -= 1500.0
    log.tables["tags.csv"].loc[30:, "t_ms"] -= 700.0
    findings = {found.code.value: found for found in examine_session(log.write()).findings}
    stepped = findings["unsorted_time"]
    assert "2 times, by 1.3 s, 0.5 s;" in stepped.message
    numbers = {number.name: number.value for number in stepped.measured}
    assert numbers["rows"] == 2.0
    assert numbers["largest_step"] == pytest.approx(1.3)


def test_times_of_the_tables_are_those_of_the_file_on_one_clock(log):
    log.parts["tags"] += 'offset = "2 s"\n'
    log.tables["tags.csv"] = log.tables["tags.csv"].iloc[::-1]
    # the file is read as it is, also where reading the session leaves rows out
    log.tables["tags.csv"]["id"] = 77
    folder = log.write()
    times = read_table_times(folder, examine_session(folder).config)
    assert set(times) == {TableName.ODOMETRY, TableName.TAGS, TableName.MARKS, TableName.TRUTH}
    np.testing.assert_allclose(times[TableName.TAGS].time_s, log.time[::10][::-1] + 2.0)
    np.testing.assert_allclose(times[TableName.MARKS].time_s, [2.0, 5.0])


def test_a_table_that_cannot_be_read_has_no_times(log):
    folder = log.write()
    (folder / "tags.csv").unlink()
    assert TableName.TAGS not in read_table_times(folder, examine_session(folder).config)
