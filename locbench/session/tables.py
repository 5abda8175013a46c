"""Reads one table (CSV, gzip CSV, Parquet) and hands out its columns as SI numbers, collecting what is wrong."""

import gzip
import os
import warnings
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config.columns import Column, TimeColumn
from locbench.errors import nearest_choice
from locbench.session.findings import FindingCode, FindingList, Measured, Severity
from locbench.units import LARGEST_SI, Dimension

__all__ = [
    "Table",
    "backward_steps",
    "load_any_table",
    "load_table",
    "number_column",
    "sparse_number_column",
    "text_column",
    "time_column",
]

_GAP_PERIODS = 5.0
# no battery lasts longer; what is taken at even times over a log of years would not fit into memory
_LONGEST_S = 24.0 * 3600.0
# beyond it not every whole number can be told from its neighbours
_LARGEST_WHOLE = 2.0**53
_READABLE = (".csv", ".csv.gz", ".parquet")


@dataclass(frozen=True)
class Table:
    """A table as read: `file` is the name the session file gives it."""

    file: str
    data: pd.DataFrame
    cut_off: bool

    def __len__(self) -> int:
        return len(self.data)


def load_table(folder: Path, file: str, findings: FindingList, text_columns: Sequence[str] = ()) -> Table | None:
    """Return the table, which has rows, or None after adding an error finding; arguments as `load_any_table`."""
    table = load_any_table(folder, file, findings, text_columns)
    if table is not None and len(table.data) == 0:
        findings.error(
            FindingCode.EMPTY_TABLE, "the table has no rows", "Remove it from session.toml or log again", file=file
        )
        return None
    return table


def load_any_table(folder: Path, file: str, findings: FindingList, text_columns: Sequence[str] = ()) -> Table | None:
    """Return the table, which may have a head and no rows, or None after adding an error finding.

    Parameters
    ----------
    folder
        The session's folder; `file` is relative to it.
    file
        Name ending in .csv, .csv.gz or .parquet.
    findings
        Receives what is wrong.
    text_columns
        Columns whose cells are names, kept as written: "01" stays "01" and "NA" is no empty cell.
    """
    path = folder / file
    # unlike Path's, os.path's answers are no errors where no file can have the name
    if not os.path.isfile(path):
        what = "this is a folder, not a table" if os.path.isdir(path) else "no such file"
        findings.error(FindingCode.MISSING_FILE, what, "Check the name in session.toml", file=file)
        return None
    if not file.endswith(_READABLE):
        findings.error(
            FindingCode.UNREADABLE_TABLE,
            "this kind of file is not read",
            f"Export it as one of {', '.join(_READABLE)}",
            file=file,
        )
        return None
    try:
        data = pd.read_parquet(path) if path.suffix == ".parquet" else _read_csv(path, text_columns)
    except ImportError:
        findings.error(
            FindingCode.UNREADABLE_TABLE, "Parquet needs pyarrow", 'pip install "locbench[parquet]"', file=file
        )
        return None
    except pd.errors.EmptyDataError:
        findings.error(FindingCode.EMPTY_TABLE, "the file is empty", "Log again, or write its head at least", file=file)
        return None
    except (OSError, EOFError, zlib.error, ValueError, UnicodeError, Warning) as error:
        reason = str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
        findings.error(
            FindingCode.UNREADABLE_TABLE,
            f"cannot be read as a table: {reason.removeprefix('Error tokenizing data. C error: ')}",
            "Write the log again, or mend that line",
            file=file,
        )
        return None
    _refuse_other_separators(data, file, findings)
    cut_off = path.suffix == ".csv" and not _ends_with_line_break(path)
    if cut_off:
        findings.warning(
            FindingCode.CUT_LAST_LINE,
            "the last line has no line break: if logging was cut off, its last value is incomplete",
            "Look at the last line, and delete it if it is cut",
            file=file,
            row=len(data),
        )
    return Table(file, data, cut_off)


def _refuse_other_separators(data: pd.DataFrame, file: str, findings: FindingList) -> None:
    if len(data.columns) == 1 and any(mark in str(data.columns[0]) for mark in ";\t"):
        findings.error(
            FindingCode.UNREADABLE_TABLE,
            "the columns are parted by semicolons or tabs",
            "Export the table with commas between columns and points in decimals, or let locbench adopt copy it so",
            file=file,
        )


def _read_csv(path: Path, text_columns: Sequence[str]) -> pd.DataFrame:
    data = _parsed(path)
    names = [name for name in text_columns if name in data.columns]
    if names:
        data[names] = _parsed(path, dtype=str, keep_default_na=False)[names]
    return data


def _parsed(path: Path, **options: Any) -> pd.DataFrame:
    opened = gzip.open if path.suffix == ".gz" else open
    with warnings.catch_warnings(), opened(path, "rt", encoding="utf-8-sig", newline="") as stream:
        # pandas only warns when rows are longer than the header, and then drops data
        warnings.simplefilter("error", pd.errors.ParserWarning)
        data: pd.DataFrame = pd.read_csv(stream, index_col=False, skipinitialspace=True, low_memory=False, **options)
        return data


def _ends_with_line_break(path: Path) -> bool:
    with path.open("rb") as stream:
        stream.seek(-1, 2)
        return stream.read(1) in (b"\n", b"\r")


def _find(table: Table, name: str, findings: FindingList) -> "pd.Series | None":
    if name in table.data.columns:
        return table.data[name]
    findings.error(
        FindingCode.MISSING_COLUMN,
        "this column is missing",
        nearest_choice(name, [str(column) for column in table.data.columns]),
        file=table.file,
        column=name,
    )
    return None


def _holds_text(series: "pd.Series") -> bool:
    return bool(pd.api.types.is_object_dtype(series) or pd.api.types.is_string_dtype(series))


def _as_floats(series: "pd.Series") -> FloatArray:
    # truth values and time stamps would turn into numbers nobody meant
    if not (pd.api.types.is_numeric_dtype(series) or _holds_text(series)) or series.dtype == bool:
        return np.full(len(series), np.nan)
    return np.asarray(pd.to_numeric(series, errors="coerce"), dtype=float)


def _report_bad_cells(
    table: Table,
    name: str,
    series: "pd.Series",
    bad: BoolArray,
    findings: FindingList,
) -> None:
    first = int(np.argmax(bad))
    count = int(np.sum(bad))
    cell = series.iloc[first]
    what = "the cell is empty" if pd.isna(cell) else "not a number, or too large to be meant"
    if table.cut_off and first == len(table) - 1:
        what += ": the file looks cut off in its last line"
    elif count > 1:
        what += f" ({count} rows in all)"
    findings.error(
        FindingCode.NOT_A_NUMBER,
        what,
        "Mend or remove these rows",
        file=table.file,
        row=first + 1,
        column=name,
        value=None if pd.isna(cell) else str(cell),
    )


def number_column(table: Table, spec: Column, findings: FindingList) -> FloatArray | None:
    """Return the column (N,) in SI; every cell must be a finite number, else an error finding and None."""
    series = _find(table, spec.column, findings)
    if series is None:
        return None
    values = _as_floats(series)
    bad = ~(np.abs(values) * spec.unit <= LARGEST_SI)
    if np.any(bad):
        _report_bad_cells(table, spec.column, series, bad, findings)
        return None
    return values * spec.unit


def sparse_number_column(table: Table, spec: Column | None, findings: FindingList) -> FloatArray | None:
    """Return the column (N,) in SI with NaN for empty cells; all NaN if there is no such column in the session file."""
    if spec is None:
        return np.full(len(table), np.nan)
    series = _find(table, spec.column, findings)
    if series is None:
        return None
    values = _as_floats(series)
    bad = np.asarray(~(np.abs(values) * spec.unit <= LARGEST_SI) & ~series.isna().to_numpy())
    if np.any(bad):
        _report_bad_cells(table, spec.column, series, bad, findings)
        return None
    return values * spec.unit


def text_column(table: Table, name: str, findings: FindingList) -> list[str] | None:
    """Return the column as texts without surrounding blanks, or None after an error finding."""
    series = _find(table, name, findings)
    if series is None:
        return None
    return [str(cell).strip() for cell in series]


def whole_number_column(table: Table, name: str, findings: FindingList) -> IntArray | None:
    """Return the column (N,) of whole numbers, such as tag ids, or None after an error finding."""
    series = _find(table, name, findings)
    if series is None:
        return None
    values = _as_floats(series)
    bad = ~(np.abs(values) <= _LARGEST_WHOLE) | (values != np.round(values))
    if np.any(bad):
        _report_bad_cells(table, name, series, bad, findings)
        return None
    return values.astype(np.int64)


def time_column(table: Table, spec: TimeColumn, offset_s: float, findings: FindingList) -> FloatArray | None:
    """Return the column (N,) in seconds on the session's clock, or None after an error finding."""
    times = number_column(table, spec, findings)
    return None if times is None else times + offset_s


def backward_steps(times_s: FloatArray) -> IntArray:
    """Return the indices of rows earlier than the row before them."""
    return np.flatnonzero(np.diff(times_s) < 0.0) + 1


def repeated_rows(keys: FloatArray) -> BoolArray:
    """Return (N,) flags of rows of (N, K) that equal an earlier one; NaN equals NaN."""
    _, first_rows = np.unique(np.nan_to_num(keys, nan=np.inf), axis=0, return_index=True)
    repeated = np.ones(len(keys), dtype=bool)
    repeated[first_rows] = False
    return repeated


def forward_time_column(table: Table, spec: TimeColumn, offset_s: float, findings: FindingList) -> FloatArray | None:
    """Return `time_column`, refusing a clock that runs backwards or for days and noting rows of equal time."""
    times = time_column(table, spec, offset_s, findings)
    if times is None:
        return None
    where = {"file": table.file, "column": spec.column}
    reversed_rows = backward_steps(times)
    if len(reversed_rows):
        first = int(reversed_rows[0])
        findings.error(
            FindingCode.REVERSED_TIME,
            f"time runs backwards here ({len(reversed_rows)} such rows)",
            "Log one monotonic clock; split the file where the clock was set",
            row=first + 1,
            value=f"{times[first]:.6g} s after {times[first - 1]:.6g} s",
            **where,
        )
        return None
    if times[-1] - times[0] > _LONGEST_S:
        findings.error(
            FindingCode.LOG_TOO_LONG,
            f"these times span {(times[-1] - times[0]) / 3600.0:.3g} hours",
            f"Check the unit of time; a log may last {_LONGEST_S / 3600.0:.0f} hours, so split the file otherwise",
            **where,
        )
        return None
    findings.about_rows(
        Severity.WARNING,
        FindingCode.DUPLICATE_TIME,
        np.flatnonzero(np.diff(times) == 0.0) + 1,
        "{count} rows have the time of the row before",
        "Log every sample once",
        **where,
    )
    return times


def flag_gaps(table: Table, times_s: FloatArray, findings: FindingList) -> BoolArray:
    """Return (N,) flags of rows that end a gap of more than five median periods, and add a finding for them."""
    steps = np.diff(times_s, prepend=times_s[0])
    flagged = np.zeros(len(times_s), dtype=bool)
    if np.count_nonzero(steps) < 2:
        return flagged
    median = float(np.median(steps[steps > 0.0]))
    flagged[1:] = steps[1:] > _GAP_PERIODS * median
    if np.any(flagged):
        worst = int(np.argmax(np.where(flagged, steps, 0.0)))
        findings.warning(
            FindingCode.TIME_GAP,
            f"{int(flagged.sum())} gaps of more than {_GAP_PERIODS:.0f} periods; the longest is {steps[worst]:.3g} s "
            f"where {median:.3g} s is usual",
            "Motion inside a gap is taken as even; find what stalls the logger",
            (
                Measured("gaps", float(flagged.sum())),
                Measured("longest", float(steps[worst]), dimension=Dimension.TIME),
                Measured("period", median, dimension=Dimension.TIME),
            ),
            file=table.file,
            row=worst + 1,
        )
    return flagged
