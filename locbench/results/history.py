"""The history of pre-event checks as CSV: one row per figure and check, rows are only ever added."""

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path

from pydantic import ValidationError

from locbench.errors import ConfigError
from locbench.results.precheck import HistoryEntry

__all__ = ["history_text", "read_history"]

_COLUMNS = tuple(HistoryEntry.model_fields)


def read_history(path: Path) -> list[HistoryEntry]:
    """Return the rows of a history; none if the file does not exist yet.

    Raises
    ------
    ConfigError
        If it cannot be read, or is not such a file: then nothing must be added to it.
    """
    if not os.path.exists(path):
        return []
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(
            f"cannot be read: {error}", where=str(path), remedy="Choose another --history file"
        ) from error
    rows = list(csv.reader(io.StringIO(text)))
    if not rows or tuple(rows[0]) != _COLUMNS:
        raise ConfigError(
            "this is no history of checks: its first line is another one",
            where=str(path),
            remedy="Choose another --history file",
        )
    return [_entry(row, number, path) for number, row in enumerate(rows[1:], start=2)]


def _entry(row: Sequence[str], number: int, path: Path) -> HistoryEntry:
    values = {column: text or None for column, text in zip(_COLUMNS, row, strict=False)}
    try:
        return HistoryEntry.model_validate(values)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        raise ConfigError(
            f"this row cannot be read: {first['msg']}",
            where=f"{path}: line {number}, column {first['loc'][0] if first['loc'] else '?'}",
            remedy="Mend the row, or choose another --history file",
        ) from error


def history_text(entries: Sequence[HistoryEntry]) -> str:
    """Return the text of a history."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for entry in entries:
        values = [getattr(entry, column) for column in _COLUMNS]
        writer.writerow(["" if value is None else str(value) for value in values])
    return text.getvalue()
