"""A foreign table as columns of clean texts: commas between columns, decimal points, UTF-8, one header line."""

import csv
import gzip
import io
import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
import pandas as pd

from locbench.adoption.dialects import (
    COMMA_NUMBER,
    POINT_NUMBER,
    Lines,
    Separator,
    decoded,
    looks_numeric,
    rows_of,
    sniffed_separator,
    worthwhile_lines,
)
from locbench.adoption.headers import HeaderReading, read_header, unit_spelled
from locbench.arrays import FloatArray
from locbench.errors import SessionError

__all__ = ["ForeignColumn", "ForeignTable", "clean_csv", "read_foreign_table"]

_THREE_DIGITS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_COUNTED_AS_TEXT = 0.5
# Nanoseconds since 1970 are below it; the square of it is no infinity.
_LARGEST = 1e20


@dataclass(frozen=True)
class ForeignColumn:
    """One column: its name, what the name says, and its cells as clean texts."""

    name: str
    reading: HeaderReading
    cells: tuple[str, ...]

    @cached_property
    def numbers(self) -> FloatArray:
        """(N,) the cells as numbers, as the session reader will read them; NaN where a cell is none or absurd."""
        values = np.asarray(pd.to_numeric(pd.Series(self.cells, dtype=object), errors="coerce"), dtype=float)
        return np.where(np.abs(values) <= _LARGEST, values, np.nan)

    @property
    def is_numeric(self) -> bool:
        """Whether most of the filled cells are finite numbers."""
        filled = sum(1 for cell in self.cells if cell)
        return filled > 0 and int(np.sum(np.isfinite(self.numbers))) > _COUNTED_AS_TEXT * filled

    @property
    def is_whole(self) -> bool:
        """Whether all cells are whole numbers."""
        return bool(np.all(np.isfinite(self.numbers)) and np.all(self.numbers == np.round(self.numbers)))

    @property
    def empty_count(self) -> int:
        """How many cells are empty."""
        return sum(1 for cell in self.cells if not cell)


@dataclass(frozen=True)
class ForeignTable:
    """A table as read; `file` is the name of its clean copy, `changes` what differs from the original, in words.

    `parted_from` is the file whose rows it shared before they were parted.
    """

    file: str
    columns: tuple[ForeignColumn, ...]
    changes: tuple[str, ...]
    parted_from: str | None = None

    def __len__(self) -> int:
        return len(self.columns[0].cells)


def read_foreign_table(path: Path) -> ForeignTable:
    """Return the table in a text file of any usual dialect.

    Parameters
    ----------
    path
        Cells between commas, semicolons, tabs, bars or runs of blanks; decimal points or commas; comment lines that
        begin with # or //; UTF-8, UTF-16 or code page 1252; also gzipped.

    Raises
    ------
    SessionError
        If it cannot be read, has no header line, or its numbers can be read in two ways.
    """
    where = str(path)
    text = decoded(_bytes_of(path), where)
    lines = worthwhile_lines(text.text)
    if not lines.texts:
        raise SessionError("the file is empty", where=where, remedy="Log again, or leave it out")
    try:
        separator = sniffed_separator(lines.texts)
        rows = rows_of(lines.texts, separator)
    except csv.Error as error:
        raise SessionError(
            f"cannot be read as a table: {error}", where=where, remedy="Export the log as CSV again"
        ) from error
    changes = [*text.oddities, *lines.oddities]
    if separator is not Separator.COMMA and max(len(row) for row in rows) > 1:
        changes.insert(0, f"{separator} between columns")
    header, body, first_line = _header_and_body(rows, lines, separator, where, changes)
    body = _even_rows(header, body, lines.numbers[first_line:], lines.cut_off, where, changes)
    units, body = _unit_row(header, body, changes)
    if not body:
        raise SessionError("the table has no rows below its header", where=where, remedy="Log again, or leave it out")
    names, columns, units = _named_columns(header, body, units, where, changes)
    columns = _with_points(names, columns, where, changes)
    if lines.comments:
        changes.append(f"{lines.comments} comment lines")
    return ForeignTable(
        file=f"{path.name.removesuffix('.gz').rsplit('.', 1)[0]}.csv",
        columns=tuple(
            ForeignColumn(name, read_header(name, unit), tuple(cells))
            for name, cells, unit in zip(names, columns, units, strict=True)
        ),
        changes=tuple(changes),
    )


def _bytes_of(path: Path) -> bytes:
    try:
        raw = path.read_bytes()
        return gzip.decompress(raw) if path.suffix == ".gz" else raw
    except FileNotFoundError as error:
        raise SessionError("no such file", where=str(path), remedy="Check the path") from error
    except (OSError, EOFError, zlib.error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise SessionError(f"cannot be read: {reason}", where=str(path), remedy="Name CSV files") from error


def _header_and_body(
    rows: list[list[str]], lines: Lines, separator: Separator, where: str, changes: list[str]
) -> tuple[list[str], list[list[str]], int]:
    """Return the names, the rows below, and the index of the first of these."""
    first = rows[0]
    if not all(looks_numeric(cell) for cell in first if cell):
        return first, rows[1:], 1
    if lines.heading_comment is not None:
        names = _cells_of_comment(lines.heading_comment, separator)
        if len(names) == len(first) and not any(looks_numeric(name) for name in names):
            changes.append("a header line behind a comment sign")
            return names, rows, 0
    raise SessionError(
        "the first line holds numbers, not the names of the columns",
        where=f"{where}: line {lines.numbers[0]}",
        received=lines.texts[0].strip()[:60],
        remedy="Write a header line that names the columns, with their units, above it",
    )


def _cells_of_comment(comment: str, separator: Separator) -> list[str]:
    try:
        return rows_of([comment], separator)[0]
    except (csv.Error, IndexError):
        return []


def _even_rows(
    header: list[str],
    body: list[list[str]],
    numbers: Sequence[int],
    cut_off: bool,
    where: str,
    changes: list[str],
) -> list[list[str]]:
    """Return the rows with as many cells as the header, without a last line that was cut off."""
    count = len(header)
    even = [row[:-1] if len(row) == count + 1 and not row[-1] else row for row in body]
    if header and not header[-1]:
        even = [[*row, ""] if len(row) == count - 1 else row for row in even]
    if even and cut_off and len(even[-1]) < count:
        changes.append("the last line, which was cut off, left out")
        even.pop()
    wrong = next((index for index, row in enumerate(even) if len(row) != count), None)
    if wrong is not None:
        line = numbers[wrong] if wrong < len(numbers) else numbers[-1]
        raise SessionError(
            f"this line has {len(even[wrong])} cells where the header has {count}",
            where=f"{where}: line {line}",
            remedy="Mend the line, or the header",
        )
    return even


def _unit_row(header: list[str], body: list[list[str]], changes: list[str]) -> tuple[list[str | None], list[list[str]]]:
    """Return the unit under every name, and the rows below, if the first row holds units instead of values."""
    bare = [cell.strip("[]()") for cell in body[0]] if body else []
    named = [cell for cell in bare if cell]
    if not named or not all(unit_spelled(cell) or cell in ("-", "counts", "ticks", "id") for cell in named):
        return [None] * len(header), body
    changes.append("a line of units below the header")
    return [cell or None for cell in bare], body[1:]


def _named_columns(
    header: list[str], body: list[list[str]], units: list[str | None], where: str, changes: list[str]
) -> tuple[list[str], list[list[str]], list[str | None]]:
    """Return names and cells of the columns, empty ones without a name left out."""
    names: list[str] = []
    columns: list[list[str]] = []
    kept: list[str | None] = []
    for number, (name, cells, unit) in enumerate(zip(header, zip(*body, strict=True), units, strict=True), start=1):
        if not name and not any(cells):
            continue
        if not name:
            changes.append(f'column {number}, which has no name, called "column_{number}"')
        names.append(" ".join(name.split()) or f"column_{number}")
        columns.append(list(cells))
        kept.append(unit)
    repeated = next((name for name in names if names.count(name) > 1), None)
    if repeated is not None:
        raise SessionError(
            "two columns have the same name", where=where, received=repeated, remedy="Give each its own name"
        )
    return names, columns, kept


def _with_points(names: Sequence[str], columns: list[list[str]], where: str, changes: list[str]) -> list[list[str]]:
    """Return the columns with decimal points; nothing else in a cell changes."""
    commas = [name for name, cells in zip(names, columns, strict=True) if any(map(COMMA_NUMBER.fullmatch, cells))]
    if not commas:
        return columns
    for name, cells in zip(names, columns, strict=True):
        for cell in cells:
            if "." in cell and POINT_NUMBER.fullmatch(cell):
                raise SessionError(
                    f'some numbers have a comma (column "{commas[0]}") and some a point',
                    where=f'{where}: column "{name}"',
                    received=cell,
                    remedy="Export without thousands separators; lists of ids are written with blanks, as in 3 7",
                )
    if not any(_is_surely_decimal(cells) for cells in columns):
        raise SessionError(
            "the commas in its numbers may part thousands or decimals",
            where=f'{where}: column "{commas[0]}"',
            received=next(cell for cells in columns for cell in cells if COMMA_NUMBER.fullmatch(cell)),
            remedy="Export with decimal points and without thousands separators",
        )
    changes.append("decimal commas")
    return [[cell.replace(",", ".") if COMMA_NUMBER.fullmatch(cell) else cell for cell in cells] for cells in columns]


def _is_surely_decimal(cells: Sequence[str]) -> bool:
    """Return whether a column's commas cannot part thousands: not three digits behind each, or nothing before it."""
    with_comma = [cell for cell in cells if COMMA_NUMBER.fullmatch(cell)]
    return any(not _THREE_DIGITS.fullmatch(cell) for cell in with_comma)


def clean_csv(table: ForeignTable) -> str:
    """Return the text of the clean copy."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.name for column in table.columns])
    writer.writerows(zip(*(column.cells for column in table.columns), strict=True))
    return out.getvalue()
