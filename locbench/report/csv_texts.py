"""Rows as the text of a CSV file that spreadsheets and scripts read alike."""

import csv
import io
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any

from locbench.report.numbers import plain_text

__all__ = ["Row", "csv_text"]

Row = dict[str, Any]
# A spreadsheet takes text that begins so for a formula.
_FORMULA_STARTS = ("=", "+", "-", "@")


def csv_text(rows: Iterable[Row], columns: Sequence[str]) -> str:
    """Return rows as a CSV text with these columns; a row without one of them, None and NaN leave a cell empty.

    Text that a spreadsheet would take for a formula gets a single quote in front; numbers are left alone.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    return text.getvalue()


# two hours of fixes are a million rows of the same few words
@lru_cache(maxsize=1024)
def _harmless(word: str) -> str:
    # a line break or a tab in a name would also split the row for some readers
    text = plain_text(word)
    return f"'{text}" if text.lstrip().startswith(_FORMULA_STARTS) else text


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return _harmless(value)
    return "" if value is None or value != value else value
