"""Takes detections out of a table that has them beside the odometry, in columns that are mostly empty."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from locbench.adoption.foreign_tables import ForeignColumn, ForeignTable
from locbench.adoption.kinds import looks_like_clock
from locbench.adoption.meanings import Meaning, named_meaning

__all__ = ["parted_tables"]

_MOSTLY_EMPTY = 0.2
_OF_DETECTIONS = frozenset({Meaning.TAG, Meaning.RANGE, Meaning.BEARING})


def parted_tables(tables: Iterable[ForeignTable]) -> list[ForeignTable]:
    """Return the tables, each with detections in mostly empty columns as two: those rows become one of their own."""
    return [part for table in tables for part in _parted(table)]


def _parted(table: ForeignTable) -> list[ForeignTable]:
    full = [column for column in table.columns if column.empty_count == 0]
    clock = next((column for column in full if named_meaning(column.reading) is Meaning.TIME), None)
    clock = clock or next((column for column in full if looks_like_clock(column)), None)
    sparse = [column for column in table.columns if column.empty_count > _MOSTLY_EMPTY * len(table)]
    meant = [column for column in sparse if named_meaning(column.reading) in _OF_DETECTIONS]
    if clock is None or not meant:
        return [table]
    filled = _filled(meant[0])
    group = [column for column in sparse if _filled(column) == filled]
    if not any(filled):
        return [table]
    rows = [row for row, there in enumerate(filled) if there]
    rest = tuple(column for column in table.columns if column not in group)
    names = ", ".join(column.name for column in group)
    taken = replace(
        table,
        file=f"{table.file.removesuffix('.csv')}_tags.csv",
        columns=tuple(_only(column, rows) for column in (clock, *group)),
        changes=(f"its {len(rows)} rows in {table.file}, in columns that are mostly empty there ({names})",),
        parted_from=table.file,
    )
    return [replace(table, columns=rest), taken]


def _filled(column: ForeignColumn) -> tuple[bool, ...]:
    return tuple(bool(cell) for cell in column.cells)


def _only(column: ForeignColumn, rows: Sequence[int]) -> ForeignColumn:
    return ForeignColumn(column.name, column.reading, tuple(column.cells[row] for row in rows))
