"""The same table written in every dialect is read the same."""

import csv
import gzip
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from locbench.adoption.foreign_tables import clean_csv, read_foreign_table
from locbench.errors import SessionError

_HEADERS = st.lists(
    st.sampled_from(["t [ms]", "x, in", "gyro (deg)", "enc_l", "h/rad", 'the "id"', "note", "v;w", "Ümlaut", "a|b"]),
    min_size=2,
    max_size=5,
    unique=True,
)
_NUMBER = st.one_of(
    st.integers(-(10**9), 10**9).map(str),
    st.decimals(-1000, 1000, places=2).map(str),
    st.floats(-1e3, 1e3).map(lambda value: f"{value:.4f}"),
    st.just("1.5E-3"),
)
_ENDINGS = st.sampled_from(["\n", "\r\n", "\r"])
_ENCODINGS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
_COMMENTS = st.sampled_from(["", "# made by a robot, 1;2\t3", "// run 3"])


@st.composite
def _tables(draw):
    header = draw(_HEADERS)
    size = draw(st.integers(2, 12))
    columns = [draw(st.lists(_NUMBER, min_size=size, max_size=size)) for _ in header]
    # one cell that cannot be a thousand or a whole number, so that decimals are decimals
    columns[0][0] = "0.25"
    if draw(st.booleans()):
        columns[-1] = [draw(st.sampled_from(["M1", "S 2", "", "left, right", "a;b"])) for _ in columns[-1]]
    return header, [list(row) for row in zip(*columns, strict=True)]


def _written(header, rows, separator: str, comma: bool, ending: str, comment: str) -> str:
    def cell(text: str) -> str:
        number = text.replace("-", "").replace("E", "").replace(".", "", 1).isdigit()
        return text.replace(".", ",") if comma and number else text

    out = io.StringIO()
    if comment:
        out.write(f"{comment}{ending}{ending}")
    writer = csv.writer(out, delimiter=separator, lineterminator=ending)
    writer.writerow(header)
    for number, row in enumerate(rows):
        writer.writerow([cell(text) for text in row])
        if comment and number == 1:
            out.write(f"  {comment}{ending}")
    return out.getvalue()


@given(
    table=_tables(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    ending=_ENDINGS,
    encoding=_ENCODINGS,
    comment=_COMMENTS,
    zipped=st.booleans(),
)
def test_a_table_is_the_same_in_every_dialect(
    tmp_path_factory, table, separator, comma, ending, encoding, comment, zipped
):
    header, rows = table
    raw = _written(header, rows, separator, comma, ending, comment).encode(encoding)
    path = tmp_path_factory.mktemp("dialect") / ("log.csv.gz" if zipped else "log.txt")
    path.write_bytes(gzip.compress(raw) if zipped else raw)
    read = read_foreign_table(path)
    assert [column.name for column in read.columns] == header
    assert [list(cells) for cells in zip(*(column.cells for column in read.columns), strict=True)] == rows
    assert read.file == "log.csv"
    # and the clean copy is read as it is
    path.with_name("copy.csv").write_text(clean_csv(read), encoding="utf-8", newline="\n")
    again = read_foreign_table(path.with_name("copy.csv"))
    assert again.columns == read.columns
    assert again.changes == ()


def _read(folder, text: str):
    (folder / "log.csv").write_text(text, encoding="utf-8", newline="")
    return read_foreign_table(folder / "log.csv")


def test_runs_of_blanks_and_a_header_behind_a_comment_sign(tmp_path):
    table = _read(tmp_path, "# run 3\n#  t_ms  enc_l   gyro\n   0   12   0,50\n  20   13  -1,25\n")
    assert [column.name for column in table.columns] == ["t_ms", "enc_l", "gyro"]
    assert table.columns[2].cells == ("0.50", "-1.25")
    assert "blanks between columns" in table.changes
    assert "a header line behind a comment sign" in table.changes


def test_units_in_a_line_of_their_own(tmp_path):
    table = _read(tmp_path, "t;enc_l;x\nms;counts;in\n0;1;2\n20;3;4\n")
    assert [column.reading.unit and column.reading.unit.symbol for column in table.columns] == ["ms", None, "in"]
    assert len(table) == 2


def test_a_spreadsheets_separator_line_and_empty_columns_are_left_out(tmp_path):
    table = _read(tmp_path, "sep=;\nt;;x;\n0;;1;\n20;;2;\n;;;\n")
    assert [column.name for column in table.columns] == ["t", "x"]
    assert 'the line "sep=;"' in table.changes


def test_columns_without_names_get_one(tmp_path):
    table = _read(tmp_path, "t,,x\n0,7,1\n20,8,2\n")
    assert [column.name for column in table.columns] == ["t", "column_2", "x"]


@pytest.mark.parametrize("column", ["12,345\n12,346", "1,000\n2,000", "998\n1,002"])
def test_commas_that_may_part_thousands_are_refused(tmp_path, column):
    rows = "\n".join(f"{number};{number}" for number in column.split("\n"))
    with pytest.raises(SessionError, match="thousands or decimals"):
        _read(tmp_path, f"t;enc\n{rows}\n")


def test_three_decimals_are_decimals_where_one_number_begins_with_zero(tmp_path):
    assert _read(tmp_path, "t;enc\n0,500;1,000\n1,500;2,000\n").columns[1].cells == ("1.000", "2.000")


def test_points_and_commas_in_one_table_are_refused(tmp_path):
    with pytest.raises(SessionError, match='column "v"'):
        _read(tmp_path, "t;v\n0,5;1.5\n1,5;2.5\n")
