"""The history of pre-event checks as CSV: one row per figure and check, rows are only ever added."""

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from locbench.errors import ConfigError
from locbench.results.precheck import HistoryEntry

__all__ = ["history_with", "read_history"]

_COLUMNS = tuple(HistoryEntry.model_fields)
_REMEDY = "Choose another --history file"


def read_history(path: Path) -> list[HistoryEntry]:
    """Return the rows of a history; none if the file does not exist yet.

    Raises
    ------
    ConfigError
        If it cannot be read, or is not such a file: then nothing must be added to it.
    """
    return _entries(_text(path), path)


def history_with(path: Path, entries: Sequence[HistoryEntry]) -> str:
    """Return the text of a history with rows added; what is there stays letter by letter, line ends included.

    Parameters
    ----------
    path
        Of the history; may not exist yet.
    entries
        The rows to add.

    Raises
    ------
    ConfigError
        As `read_history`.
    """
    before = _text(path)
    _entries(before, path)
    line_end = "\r\n" if "\r\n" in before else "\n"
    added = io.StringIO()
    writer = csv.writer(added, lineterminator=line_end)
    if not before:
        writer.writerow(_COLUMNS)
    for entry in entries:
        values = [getattr(entry, column) for column in _COLUMNS]
        writer.writerow(["" if value is None else str(value) for value in values])
    gap = line_end if before and not before.endswith("\n") else ""
    return before + gap + added.getvalue()


def _text(path: Path) -> str:
    """Return the file's text as it is, empty if there is no file."""
    if not os.path.exists(path):
        return ""
    try:
        return path.read_bytes().decode("utf-8")
    except OSError as error:
        raise ConfigError(f"cannot be read: {error.strerror}", where=str(path), remedy=_REMEDY) from error
    except UnicodeDecodeError as error:
        raise ConfigError("this is no text in UTF-8", where=str(path), remedy=_REMEDY) from error


def _entries(text: str, path: Path) -> list[HistoryEntry]:
    if not text:
        return []
    # a spreadsheet may have put its mark in front
    lines = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), strict=True)
    try:
        header = tuple(next(lines, []))
        if header != _COLUMNS:
            raise ConfigError(
                "this is no history of checks: its first line is another one", where=str(path), remedy=_REMEDY
            )
        return [_entry(row, f"{path}: line {lines.line_num}") for row in lines if row]
    except csv.Error as error:
        raise ConfigError(
            f"this row cannot be read: {error}", where=f"{path}: line {lines.line_num}", remedy=_REMEDY
        ) from error


def _entry(row: Sequence[str], where: str) -> HistoryEntry:
    remedy = f"Mend the row, or choose another --history file; the columns are {', '.join(_COLUMNS)}"
    if len(row) != len(_COLUMNS):
        raise ConfigError(
            f"this row has {len(row)} cells instead of {len(_COLUMNS)}, one for each column", where=where, remedy=remedy
        )
    try:
        return HistoryEntry.model_validate({key: cell or None for key, cell in zip(_COLUMNS, row, strict=True)})
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise ConfigError(
            f"this row cannot be read: {first['msg']}",
            where=f"{where}, column {first['loc'][0] if first['loc'] else '?'}",
            remedy=remedy,
        ) from error
