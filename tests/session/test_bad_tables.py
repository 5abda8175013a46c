"""Bad tables give one message that names file, row and column; nothing is guessed."""

import gzip

import pandas as pd
import pytest
from logs import SmallLog

from locbench.errors import ConfigError, LocbenchError, SessionError
from locbench.session import read_session


def _log(tmp_path):
    return SmallLog(tmp_path).with_tags().with_marks().with_truth().with_requests([1.0, 2.0, 3.0])


def _lines(folder, file):
    return (folder / file).read_text().splitlines(keepends=True)


def _cut_mid_row(folder):
    text = (folder / "odometry.csv").read_text()
    (folder / "odometry.csv").write_text(text[: text.rindex("\n", 0, -40) + 8])


def _drop_column(folder):
    lines = [",".join(line.split(",")[:3]) + "\n" for line in _lines(folder, "odometry.csv")]
    (folder / "odometry.csv").write_text("".join(lines))


def _put(folder, file, row, column, text):
    lines = _lines(folder, file)
    cells = lines[row].rstrip("\n").split(",")
    cells[column] = text
    lines[row] = ",".join(cells) + "\n"
    (folder / file).write_text("".join(lines))


def _header_only(folder):
    (folder / "tags.csv").write_text(_lines(folder, "tags.csv")[0])


def _reverse(folder):
    lines = _lines(folder, "odometry.csv")
    lines[10], lines[11] = lines[11], lines[10]
    (folder / "odometry.csv").write_text("".join(lines))


def _long_row(folder):
    lines = _lines(folder, "truth.csv")
    lines[7] = lines[7].rstrip("\n") + ",1,2\n"
    (folder / "truth.csv").write_text("".join(lines))


CASES = {
    "cut off": (_cut_mid_row, ["odometry.csv", "cut off in its last line"]),
    "column missing": (_drop_column, ["odometry.csv", 'column "c"', "missing"]),
    "text": (lambda f: _put(f, "odometry.csv", 5, 1, "oops"), ["odometry.csv", "row 5", '"l"', "oops"]),
    "empty cell": (lambda f: _put(f, "truth.csv", 9, 2, ""), ["truth.csv", "row 9", '"y"', "empty"]),
    "nan": (lambda f: _put(f, "odometry.csv", 6, 4, "NaN"), ["odometry.csv", "row 6", '"gyro"', "empty"]),
    "infinite": (
        lambda f: _put(f, "odometry.csv", 6, 4, "inf"),
        ["odometry.csv", "row 6", "not a number, or too large"],
    ),
    "tag id": (lambda f: _put(f, "tags.csv", 3, 1, "1.5"), ["tags.csv", "row 3", '"id"', "1.5"]),
    "no rows": (_header_only, ["tags.csv", "no rows"]),
    "no bytes": (lambda f: (f / "odometry.csv").write_text(""), ["odometry.csv", "the file is empty"]),
    "time reversed": (_reverse, ["odometry.csv", "row 11", '"t_ms"', "backwards"]),
    "not there": (lambda f: (f / "marks.csv").unlink(), ["marks.csv", "no such file"]),
    "press": (lambda f: _put(f, "requests.csv", 2, 0, ""), ["requests.csv", "row 2", '"t"', "empty"]),
    "row too long": (_long_row, ["truth.csv", "cannot be read"]),
    "unknown mark": (lambda f: _put(f, "marks.csv", 1, 2, "M3"), ["marks.csv", "row 1", "M3", "S1, M2"]),
    "visit reversed": (lambda f: _put(f, "marks.csv", 1, 1, "1.0"), ["marks.csv", "row 1", "end before they begin"]),
    "semicolons": (
        lambda f: (f / "truth.csv").write_text((f / "truth.csv").read_text().replace(",", ";")),
        ["truth.csv", "semicolons"],
    ),
    "far too large": (lambda f: _put(f, "truth.csv", 4, 1, "1e80"), ["truth.csv", "row 4", '"x"', "too large"]),
    "binary": (lambda f: (f / "truth.csv").write_bytes(b"\x00\xff\xfe" * 50), ["truth.csv", "cannot be read"]),
}


@pytest.mark.parametrize("case", CASES)
def test_one_message_says_where_and_what(tmp_path, case):
    spoil, words = CASES[case]
    folder = _log(tmp_path).write()
    spoil(folder)
    with pytest.raises(SessionError) as caught:
        read_session(folder)
    message = str(caught.value)
    assert "session.toml" in message
    assert "\n" not in message
    for word in words:
        assert word in message


def test_a_cut_gzip_file(tmp_path):
    log = SmallLog(tmp_path, file="odometry.csv.gz")
    folder = log.write()
    data = (folder / "odometry.csv.gz").read_bytes()
    (folder / "odometry.csv.gz").write_bytes(data[: len(data) // 2])
    with pytest.raises(SessionError, match=r"odometry\.csv\.gz: cannot be read"):
        read_session(folder)
    assert gzip.decompress(data)


def test_a_parquet_file_that_is_none(tmp_path):
    folder = SmallLog(tmp_path, file="odometry.parquet").write()
    (folder / "odometry.parquet").write_text("not parquet")
    with pytest.raises(SessionError, match="cannot be read"):
        read_session(folder)


def test_all_fatal_findings_are_in_the_one_message(tmp_path):
    folder = _log(tmp_path).write()
    _put(folder, "odometry.csv", 5, 1, "oops")
    _put(folder, "truth.csv", 9, 2, "")
    with pytest.raises(SessionError, match=r"odometry\.csv.*also.*truth\.csv"):
        read_session(folder)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('mark = "S1"', 'mark = "S9"', ["start.mark", "S9", "S1"]),
        ('robot = "robot.toml"', 'robot = "robots.toml"', ["robots.toml", "no such file"]),
        ('left = "l"', 'lefft = "l"', ["session.toml", "lefft", 'Did you mean "left"']),
        ('heading = { column = "gyro", unit = "deg" }', "", ["no heading column"]),
    ],
)
def test_a_session_file_that_does_not_fit_its_robot_and_field(tmp_path, old, new, words):
    folder = SmallLog(tmp_path).write()
    path = folder / "session.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(LocbenchError) as caught:
        read_session(folder)
    for word in words:
        assert word in str(caught.value)


def test_a_folder_without_a_session(tmp_path):
    with pytest.raises(ConfigError, match="no session there"):
        read_session(tmp_path / "nowhere")


def test_a_last_line_without_a_break_is_a_finding(tmp_path):
    folder = SmallLog(tmp_path).write()
    path = folder / "odometry.csv"
    path.write_text(path.read_text().rstrip("\n"))
    assert [f.code for f in read_session(folder).findings] == ["cut_last_line"]


def test_a_parquet_column_of_time_stamps_is_refused(tmp_path):
    log = SmallLog(tmp_path, file="odometry.parquet")
    table = log.tables["odometry.parquet"]
    table["t_ms"] = pd.to_datetime(table["t_ms"], unit="ms")
    with pytest.raises(SessionError, match="not a number"):
        read_session(log.write())


def test_a_folder_and_a_spreadsheet_are_no_tables(tmp_path):
    folder = SmallLog(tmp_path).write()
    (folder / "odometry.csv").unlink()
    (folder / "odometry.csv").mkdir()
    with pytest.raises(SessionError, match="this is a folder"):
        read_session(folder)
    other = SmallLog(tmp_path / "b").write()
    (other / "session.toml").write_text((other / "session.toml").read_text().replace("odometry.csv", "log.xlsx"))
    (other / "log.xlsx").write_text("a,b\n1,2\n")
    with pytest.raises(SessionError, match="this kind of file is not read"):
        read_session(other)


def test_times_of_another_unit_are_refused_before_they_fill_the_memory(tmp_path):
    log = _log(tmp_path)
    log.tables["truth.csv"]["t_ms"] *= 1e9
    with pytest.raises(SessionError, match=r"truth\.csv.*these times span .* hours.*unit of time"):
        read_session(log.write())


def test_a_tag_id_beyond_all_whole_numbers_is_refused(tmp_path):
    folder = _log(tmp_path).write()
    _put(folder, "tags.csv", 3, 1, "1e300")
    with pytest.raises(SessionError, match=r'tags\.csv, row 3, column "id".*1e\+?300'):
        read_session(folder)


@pytest.mark.parametrize("name", ["n" * 400, "/".join(["folder"] * 1000)])
def test_a_name_no_file_can_have(tmp_path, name):
    folder = SmallLog(tmp_path).write()
    (folder / "session.toml").write_text((folder / "session.toml").read_text().replace("odometry.csv", name))
    with pytest.raises(SessionError, match="no such file"):
        read_session(folder)
    with pytest.raises(ConfigError, match="no session there"):
        read_session(tmp_path / name)


def test_names_with_line_breaks_stay_on_one_line(tmp_path):
    folder = SmallLog(tmp_path).write()
    path = folder / "odometry.csv"
    path.write_text(path.read_text().replace("gyro", '"gy\nro\x1b[31m"', 1))
    with pytest.raises(SessionError, match="gyro") as caught:
        read_session(folder)
    assert str(caught.value).isprintable()
