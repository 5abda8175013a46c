"""`locbench adopt` at the command line: what it refuses, what it never overwrites, how it asks."""

import csv
import math
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from answering import answered, open_questions
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from orchard_drive import FIELD, ROBOT, write_clockwise_set, write_ranging_set

from locbench.adoption.questions import AnswerForm, Question, accepted_answer
from locbench.cli import main as cli
from locbench.config import SessionConfig
from locbench.errors import LocbenchError
from locbench.jobs.adopt import adopt

ODOMETRY = "t_ms,enc_left,enc_right,enc_cross,gyro_deg\n" + "".join(f"{20 * i},{i},{i},0,0.0\n" for i in range(40))


def _run(*arguments) -> int:
    return cli.run(lambda: cli.app([str(argument) for argument in arguments], standalone_mode=True))


def _refused(capsys, *arguments) -> str:
    assert _run(*arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    line = shown.err.strip()
    assert "\n" not in line
    assert line.startswith("locbench: ")
    return line


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", ["empty"]),
        (b"# only\n// comments\n", ["empty"]),
        (b"0,1,2\n20,3,4\n", ["line 1", "numbers, not the names"]),
        (b"t_ms,enc_left\n0,1\n20,1,7\n", ["line 3", "3 cells", "header has 2"]),
        (b"t_ms,enc_left\n", ["no rows"]),
        (b"t_ms,enc,enc\n0,1,2\n", ["same name", "enc"]),
        (b't_ms,enc\n0,"1\n', ["cannot be read as a table"]),
        (bytes(range(256)) * 3, ["no text"]),
        (b"t;enc;gyro\n0,5;12.5;3\n", ["comma", "a point"]),
        (b"t;enc\n1,000;1\n2,000;2\n", ["thousands or decimals"]),
        (b"price,colour\n3,red\n4,green\n", ["odometry", "enc_left"]),
    ],
)
def test_what_cannot_be_read_is_one_line_and_nothing_is_written(tmp_path, capsys, raw, words):
    (tmp_path / "log.csv").write_bytes(raw)
    line = _refused(capsys, "adopt", tmp_path / "log.csv", "--out", tmp_path / "out")
    for word in ["log.csv", *words]:
        assert word in line
    assert not (tmp_path / "out").exists()


def test_a_table_that_is_not_used_at_all_is_named(tmp_path, capsys):
    (tmp_path / "log.csv").write_text(ODOMETRY)
    (tmp_path / "Marken.csv").write_text("Zeit (s);Marke\n0,1;M1\n0,3;M2\n")
    assert _run("adopt", tmp_path / "log.csv", tmp_path / "Marken.csv", "--out", tmp_path / "out") == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "Marken.csv is not used at all" in shown
    assert "log.csv is not used" not in shown


def test_missing_files_folders_and_equal_names_are_refused(tmp_path, capsys):
    assert "no such file" in _refused(capsys, "adopt", tmp_path / "none.csv", "--out", tmp_path / "out")
    assert "cannot be read" in _refused(capsys, "adopt", tmp_path, "--out", tmp_path / "out")
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "log.csv").write_text(ODOMETRY)
    line = _refused(capsys, "adopt", tmp_path / "a/log.csv", tmp_path / "b/log.csv", "--out", tmp_path / "out")
    assert "two tables would become log.csv" in line
    (tmp_path / "a" / "other.csv").write_text(ODOMETRY)
    line = _refused(capsys, "adopt", tmp_path / "a/log.csv", tmp_path / "a/other.csv", "--out", tmp_path / "out")
    assert "two tables look like [odometry]: log.csv and other.csv" in line
    assert "no such file" in _refused(
        capsys, "adopt", tmp_path / "a/log.csv", "--robot", "none.toml", "--out", tmp_path / "out"
    )
    assert not (tmp_path / "out").exists()


def test_originals_sessions_and_edits_are_never_overwritten(tmp_path, capsys):
    log = tmp_path / "mine" / "log.csv"
    log.parent.mkdir()
    log.write_text(ODOMETRY.replace(",", ";"))
    assert "log.csv, which was not adopted" in _refused(capsys, "adopt", log, "--out", log.parent)
    out = tmp_path / "out"
    assert _run("adopt", log, "--out", out) == 0
    assert _run("adopt", log, "--out", out, "--name", "again") == 0
    session = out / "session.toml"
    assert 'name = "again"' in session.read_text()
    session.write_text(session.read_text().replace('name = "again"', 'name = "edited"'))
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    capsys.readouterr()
    assert "edited since" in _refused(capsys, "adopt", log, "--out", out)
    session.write_text('name = "by hand"\n')
    assert "was not adopted" in _refused(capsys, "adopt", log, "--out", out)
    session.write_bytes(before["session.toml"])
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_values_are_copied_to_the_letter(tmp_path):
    rows = ["0,5;-1,250;+3;1,5E-3;x, y", "20,5;,5;04;2,0e1;n/a"]
    text = "t [ms];v forward (m/s);enc_left;gyro;said\r\n" + "".join(f"{row};\r\n" for row in rows * 10)
    (tmp_path / "log.csv").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert _run("adopt", tmp_path / "log.csv", "--out", tmp_path / "out") == 0
    with (tmp_path / "out" / "log.csv").open(encoding="utf-8", newline="") as stream:
        copied = list(csv.reader(stream))
    assert copied[0] == ["t [ms]", "v forward (m/s)", "enc_left", "gyro", "said"]
    assert copied[1] == ["0.5", "-1.250", "+3", "1.5E-3", "x, y"]
    assert copied[2] == ["20.5", ".5", "04", "2.0e1", "n/a"]
    assert b"\r" not in (tmp_path / "out" / "log.csv").read_bytes()


def test_a_line_that_was_cut_off_is_left_out_and_said(tmp_path, capsys):
    (tmp_path / "log.csv").write_text(ODOMETRY + "800,40,4")
    assert _run("adopt", tmp_path / "log.csv", "--out", tmp_path / "out") == 0
    assert "cut off, left out" in " ".join(capsys.readouterr().out.split())
    assert (tmp_path / "out" / "log.csv").read_text() == ODOMETRY


def _at_a_terminal(typed: str, *arguments) -> str:
    """What the command prints where a person types these lines."""
    ours, theirs = pytest.importorskip("pty").openpty()
    os.write(ours, typed.encode())
    command = [sys.executable, "-m", "locbench", *map(str, arguments)]
    run = subprocess.run(command, stdin=theirs, capture_output=True, text=True, check=True)
    os.close(ours)
    os.close(theirs)
    return run.stdout


def test_at_a_terminal_questions_are_asked_until_the_answer_is_one(tmp_path):
    tables = write_clockwise_set(tmp_path / "log")
    options = ("--robot", ROBOT, "--field", FIELD, "--out", tmp_path / "out")
    shown = _at_a_terminal("S9\nM1\n", "adopt", *tables, *options)
    assert "start.mark: on which mark of the field file did the robot stand" in shown
    assert "to find out: " in shown
    assert "none of the choices (got 'S9')" in shown
    assert 'proposed session "out" from 3 tables: no question left' in shown
    text = (tmp_path / "out" / "session.toml").read_text()
    assert open_questions(text) == []
    assert SessionConfig.model_validate(tomllib.loads(text)).start.mark == "M1"


def test_at_a_terminal_answers_settle_other_questions(tmp_path):
    """With the offset the marks fall into the log, so that they show which way the heading grows."""
    tables = write_clockwise_set(tmp_path / "log")
    marks = tmp_path / "log" / "marks.csv"
    later = [re.sub(r"\d+(?=,0)", lambda time: f"9{time[0]:0>5}", line) for line in marks.read_text().splitlines()]
    marks.write_text("\n".join(later))
    options = ("--robot", ROBOT, "--field", FIELD, "--out", tmp_path / "out")
    assert _run("adopt", *tables, *options) == 0
    unasked = open_questions((tmp_path / "out" / "session.toml").read_text())
    assert {"marks.offset", "odometry.frame.heading_sense", "tags.frame.origin"} <= set(unasked)
    _at_a_terminal("-900 s\n" + "\n" * 20, "adopt", *tables, *options)
    left = open_questions((tmp_path / "out" / "session.toml").read_text())
    assert left == ["start.mark"]


def test_at_a_terminal_nothing_typed_leaves_the_questions_in_the_file(tmp_path):
    tables = write_ranging_set(tmp_path / "log")
    options = ("--robot", ROBOT, "--field", FIELD, "--name", "x", "--out")
    assert _run("adopt", *tables, *options, tmp_path / "unasked") == 0
    _at_a_terminal("\n" * 20, "adopt", *tables, *options, tmp_path / "left")
    assert (tmp_path / "left" / "session.toml").read_text() == (tmp_path / "unasked" / "session.toml").read_text()


@pytest.mark.parametrize("key", ["odometry.time.unit", "robot"])
def test_an_open_question_stops_evaluate_with_its_key(tmp_path, capsys, key):
    """Steps of 0.7 fit no unit of time; the file then has no line for the time."""
    text = "t,enc_left,enc_right,enc_cross,gyro_deg\n" + "".join(f"{0.7 * i:.1f},{i},{i},0,0.0\n" for i in range(40))
    (tmp_path / "log.csv").write_text(text)
    given_files = [] if key == "robot" else ["--robot", ROBOT, "--field", FIELD]
    assert _run("adopt", tmp_path / "log.csv", *given_files, "--out", tmp_path / "out") == 0
    session = tmp_path / "out" / "session.toml"
    assert key in open_questions(session.read_text())
    session.write_text(answered(session.read_text(), {"start.mark": "S1", "odometry.frame.heading_sense": "clockwise"}))
    capsys.readouterr()
    line = _refused(capsys, "evaluate", tmp_path / "out", "--out", tmp_path / "results")
    assert "session.toml" in line
    assert key.removesuffix(".unit") in line
    assert "missing" in line


_NAMES = st.sampled_from(
    ["t", "time_ms", "t [us]", "x", "y", "heading", "h (cw)", "enc_l", "enc_r", "vx", "omega", "dx", "dtheta", "id"]
    + ["range", "bearing", "mark", "begin", "end", "latency_ms", "turret", "x_std", "true_x", "true_y", "", "?", "n"]
)
_CELLS = st.one_of(
    st.sampled_from(["", "0", "1", "-1", "1e308", "nan", "inf", "1,5", "0.5", "M1", '"', "#", "\x00", "🤖", "1.2.3"]),
    st.floats(allow_nan=False).map(repr),
    st.integers(-(10**20), 10**20).map(str),
)


@st.composite
def _junk_tables(draw) -> bytes:
    width = draw(st.integers(1, 6))
    rows = [draw(st.lists(_NAMES, min_size=width, max_size=width))]
    rows += draw(st.lists(st.lists(_CELLS, min_size=width, max_size=width), max_size=15))
    separator = draw(st.sampled_from([",", ";", "\t", "|", "  "]))
    text = draw(st.sampled_from(["\n", "\r\n", "\r"])).join(separator.join(row) for row in rows)
    return text.encode(draw(st.sampled_from(["utf-8", "utf-16", "utf-8-sig"])))


@given(
    raw=st.one_of(st.binary(max_size=300), st.text(max_size=300).map(str.encode), _junk_tables()), known=st.booleans()
)
@settings(max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_junk_is_adopted_or_refused_but_never_a_crash(tmp_path_factory, capsys, raw, known):
    folder = Path(tmp_path_factory.mktemp("junk"))
    (folder / "odometry.csv").write_bytes(raw)
    (folder / "marks.csv").write_text("begin_s,end_s,mark\n1,2,M1\n3,4,M2\n5,6,M3\n")
    files = ["--robot", ROBOT, "--field", FIELD] if known else []
    status = _run("adopt", folder / "odometry.csv", folder / "marks.csv", *files, "--out", folder / "out")
    shown = capsys.readouterr()
    assert status in (0, 2), shown.err
    assert (folder / "out" / "session.toml").exists() == (status == 0)
    if status == 0:
        tomllib.loads((folder / "out" / "session.toml").read_text(encoding="utf-8"))


_SHAPES = {
    "clock": lambda row, size: repr(size * row),
    "constant": lambda _, size: repr(size),
    "line": lambda row, size: repr(size * (row - 7)),
    "wave": lambda row, size: f"{size * math.sin(0.9 * row):.6g}",
    "counter": lambda row, size: str(int(size * row) % 65536),
    "saw": lambda row, size: repr((size * row) % 360.0 - 180.0),
    "ids": lambda row, _: str(row % 3),
    "holes": lambda row, size: "" if row % 3 else repr(size),
    "names": lambda row, _: f"M{row % 4}",
}
_COLUMN = st.tuples(st.sampled_from(sorted(_SHAPES)), st.sampled_from([0.0, 1e-3, 0.02, 1.0, 20.0, 2e4, 1.7e9, 1e300]))
_ROLES = {
    "odometry.csv": [
        "t",
        "t_ms",
        "stamp [us]",
        "x",
        "y_mm",
        "y",
        "heading",
        "gyro_deg",
        "enc_l",
        "enc_r",
        "enc_c",
        "vx",
    ]
    + ["vy", "omega", "dx", "dy", "dtheta", "true_x", "true_y", "id", "range", "a", "b"],
    "tags.csv": [
        "t",
        "shutter",
        "rx",
        "id",
        "x",
        "y",
        "z",
        "heading",
        "range",
        "bearing",
        "latency_ms",
        "view",
        "turret",
    ]
    + ["x_std", "y_std", "heading_std", "ratio", "ahead", "left", "n_tags"],
    "marks.csv": ["begin", "end", "t_s", "mark", "x", "y", "heading"],
    "truth.csv": ["t", "x", "y", "heading_rad"],
    "requests.csv": ["t_press"],
}


@st.composite
def _half_plausible_logs(draw) -> dict[str, str]:
    files = ["odometry.csv", *draw(st.lists(st.sampled_from(sorted(_ROLES)[:1] + sorted(_ROLES)[2:]), unique=True))]
    texts = {}
    for file in files:
        names = draw(st.lists(st.sampled_from(_ROLES[file]), min_size=1, max_size=9, unique=True))
        columns = [draw(_COLUMN) for _ in names]
        count = draw(st.sampled_from([1, 2, 12, 60]))
        rows = [",".join(_SHAPES[shape](row, size) for shape, size in columns) for row in range(count)]
        texts[file] = "\n".join([",".join(names), *rows, ""])
    return texts


@given(texts=_half_plausible_logs(), known=st.booleans())
@settings(max_examples=120, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_half_plausible_logs_are_adopted_or_refused_but_never_a_crash(tmp_path_factory, capsys, texts, known):
    folder = Path(tmp_path_factory.mktemp("half"))
    for file, text in texts.items():
        (folder / file).write_text(text)
    files = ["--robot", ROBOT, "--field", FIELD] if known else []
    status = _run("adopt", *(folder / file for file in texts), *files, "--out", folder / "out")
    shown = capsys.readouterr()
    assert status in (0, 2), shown.err
    if status == 0:
        text = (folder / "out" / "session.toml").read_text(encoding="utf-8")
        tomllib.loads(text)
        count = len(open_questions(text))
        assert shown.out.splitlines()[0].endswith(f"{count or 'no'} question{'' if count < 2 else 's'} left")


_ANYTHING = {
    AnswerForm.NAME: "S1",
    AnswerForm.LENGTH: "5 mm",
    AnswerForm.ANGLE: "1 deg",
    AnswerForm.DELAY: "0 s",
    AnswerForm.OFFSET: "0 s",
    AnswerForm.PLACE: "2 m, 2 m",
}


def _any_answer(question: Question) -> str:
    return accepted_answer(question, (*question.asking.choices, _ANYTHING[question.asking.form])[-2:][0])


@given(texts=_half_plausible_logs(), known=st.booleans())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_once_all_questions_are_answered_it_is_a_session_file(tmp_path_factory, texts, known):
    folder = Path(tmp_path_factory.mktemp("answered"))
    for file, text in texts.items():
        (folder / file).write_text(text)
    files = (ROBOT, FIELD) if known else (None, None)
    # a table without a single column of numbers cannot have a time: nothing can be answered there
    unanswerable: list[str] = []

    def answer(question: Question) -> str:
        if question.key.endswith(".column") and not question.asking.choices:
            unanswerable.append(question.key)
        return _any_answer(question)

    try:
        adopt([folder / file for file in texts], folder / "out", *files, None, answer)
    except LocbenchError:
        return
    text = (folder / "out" / "session.toml").read_text(encoding="utf-8")
    left = open_questions(text)
    if unanswerable:
        assert set(unanswerable) == {key for key in left if key.endswith(".column")}
        return
    assert left == ([] if known else ["robot", "field"])
    text = text if known else answered(text, {"robot": "r.toml", "field": "f.toml"})
    SessionConfig.model_validate(tomllib.loads(text))
