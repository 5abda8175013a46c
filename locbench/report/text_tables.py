"""A table as texts, without a medium: the terminal and the HTML page draw the same ones."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from locbench.report.numbers import MISSING, DisplayUnit, number_text, plain_text, with_interval
from locbench.results import EstimatorResult, PooledEstimator
from locbench.statistics import UncertainNumber

__all__ = [
    "NOTHING",
    "Cell",
    "Column",
    "TextTable",
    "count_cell",
    "label_cell",
    "largest_cell",
    "number_cell",
    "reasons",
    "without_empty_columns",
]


@dataclass(frozen=True)
class Cell:
    """A text, and why there is no number or no interval in it (None if nothing is missing)."""

    text: str
    why: str | None = None


@dataclass(frozen=True)
class Column:
    """A heading, its unit or explanation in a second line, and how its cells are aligned."""

    heading: str
    detail: str = ""
    align: Literal["left", "right"] = "right"


@dataclass(frozen=True)
class TextTable:
    """A table of texts; the first column names the row.

    `left_out` holds place and reason of numbers missing from every row, whose columns are therefore not shown; `note`
    says how to read the table.
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    left_out: tuple[tuple[str, str], ...] = ()
    note: str = ""


NOTHING = Cell(MISSING)


def label_cell(text: str) -> Cell:
    """Return user data as a cell."""
    return Cell(plain_text(text))


def count_cell(value: int | None, why: str | None = None) -> Cell:
    """Return a count, or a dash with its reason."""
    return Cell(MISSING, why) if value is None else Cell(str(value))


def number_cell(number: UncertainNumber, unit: DisplayUnit) -> Cell:
    """Return a number with its interval."""
    return Cell(with_interval(number, unit), number.why)


def largest_cell(number: UncertainNumber, unit: DisplayUnit) -> Cell:
    """Return an extreme of what was seen: it never has an interval, and its heading says what it is."""
    return Cell(number_text(number.value, unit), number.why if number.value is None else None)


def without_empty_columns(table: TextTable) -> TextTable:
    """Return the table without columns that say nothing in any row; the reasons they carry are kept aside."""
    kept = [
        index
        for index in range(len(table.columns))
        if index == 0 or any(row[index].text != MISSING for row in table.rows)
    ]
    dropped = [(place, why) for index, place, why in _reasons_in(table) if index not in kept]
    return replace(
        table,
        columns=tuple(table.columns[index] for index in kept),
        rows=tuple(tuple(row[index] for index in kept) for row in table.rows),
        left_out=tuple(dropped),
    )


def _reasons_in(table: TextTable) -> Iterator[tuple[int, str, str]]:
    """Yield number of the column, place in words, and reason of every cell that has one."""
    for row in table.rows:
        for index, (column, cell) in enumerate(zip(table.columns, row, strict=True)):
            if cell.why is not None:
                yield index, f"{row[0].text}, {column.heading}", cell.why


def reasons(tables: Sequence[TextTable], estimators: Mapping[str, EstimatorResult | PooledEstimator]) -> list[str]:
    """Return why numbers or intervals are missing, each reason once, with the first place it applies to.

    Reasons that differ only in their numbers count as one; the first is shown.

    Parameters
    ----------
    tables
        What is shown.
    estimators
        Whose shots may be missing altogether.
    """
    pairs = [(place, why) for table in tables for _, place, why in _reasons_in(table)]
    pairs += [pair for table in tables for pair in table.left_out]
    pairs += [(f"{name}, shots", result.why["shots"]) for name, result in estimators.items() if "shots" in result.why]
    groups: dict[str, list[tuple[str, str]]] = {}
    for place, why in pairs:
        groups.setdefault(re.sub(r"\d+(\.\d+)?", "#", why), []).append((plain_text(place), plain_text(why)))
    return [
        f"{found[0][1]} ({found[0][0]}{f', and {len(found) - 1} more' if len(found) > 1 else ''})"
        for found in groups.values()
    ]
