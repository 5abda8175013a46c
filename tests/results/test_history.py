"""The history of checks: a table that people open in spreadsheets, and that must only ever grow."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.errors import ConfigError
from locbench.results import HistoryEntry, days_of, history_with, read_history

FIRST_LINE = "date,session,name,unit,value,std,low,high,verdict\n"
ROW = "2026-11-01T10:00,monday,wheel,mm,49.8,0.03,49.65,49.95,pass\n"


def _entry(**changed):
    return HistoryEntry.model_validate(
        {
            "date": "2026-11-02T10:00",
            "session": "tuesday",
            "name": "wheel",
            "unit": "mm",
            "value": 49.7,
            "std": 0.03,
            "low": None,
            "high": 49.95,
            "verdict": "fail",
            **changed,
        }
    )


def test_what_is_there_stays_letter_by_letter(tmp_path):
    path = tmp_path / "history.csv"
    # spaces, quotes, a mark of the byte order, other line ends, an empty line, none at the end
    before = "\ufeff" + (FIRST_LINE + ROW).replace("\n", "\r\n") + '\r\n"2026-11-01",m,wheel,mm,49.80,3e-2,,,'
    path.write_bytes(before.encode())
    after = history_with(path, [_entry()])
    assert after.startswith(before)
    assert after[len(before) :] == "\r\n2026-11-02T10:00,tuesday,wheel,mm,49.7,0.03,,49.95,fail\r\n"
    path.write_bytes(after.encode())
    assert [one.session for one in read_history(path)] == ["monday", "m", "tuesday"]


@given(session=st.text(max_size=20), value=st.floats(allow_nan=False, allow_infinity=False))
def test_every_entry_comes_back_as_it_was(tmp_path_factory, session, value):
    """Names may hold anything that a session file may: commas, quotes, line breaks."""
    path = tmp_path_factory.mktemp("history") / "history.csv"
    clean = "".join(letter for letter in session if letter.isprintable()) or "x"
    entries = [_entry(session=clean, value=value), _entry(session='a, "b"\nc')]
    path.write_text(history_with(path, entries[:1]), encoding="utf-8", newline="")
    path.write_text(history_with(path, entries[1:]), encoding="utf-8", newline="")
    assert read_history(path) == entries


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("day,what\n1,rain\n", "first line"),
        (FIRST_LINE + ROW.replace(",pass", ",pass,cloudy"), "line 2: this row has 10 cells instead of 9"),
        (FIRST_LINE + ROW + "2026-11-01T10:00,monday,wheel\n", "line 3: this row has 3 cells"),
        (FIRST_LINE + ROW.replace("49.8,", "much,"), "line 2, column value"),
        (FIRST_LINE + ROW.replace("49.8,", "inf,"), "line 2, column value"),
        (FIRST_LINE + ROW.replace("0.03,", "-0.03,"), "line 2, column std"),
        (FIRST_LINE + ROW.replace("2026-11-01T10:00", "monday"), "line 2, column date"),
        (FIRST_LINE + ROW.replace(",pass", ",fine"), "line 2, column verdict"),
    ],
)
def test_what_is_no_history_is_refused_with_its_line(tmp_path, text, words):
    path = tmp_path / "history.csv"
    path.write_text(text)
    with pytest.raises(ConfigError) as refused:
        history_with(path, [_entry()])
    assert words in str(refused.value)
    assert path.read_text() == text


def test_a_binary_file_is_refused(tmp_path):
    path = tmp_path / "history.csv"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ConfigError, match="no text in UTF-8"):
        read_history(path)


def test_dates_with_and_without_a_zone_can_be_compared():
    assert days_of("1970-01-02") == 1.0
    assert days_of("1970-01-02T02:00+02:00") == 1.0
    # long before any computer's clock starts
    assert days_of("0001-01-01") < 0.0
