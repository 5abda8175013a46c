"""When the rows of each table were logged: as they stand in the file, before anything is sorted or left out."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from locbench.arrays import FloatArray
from locbench.config import SessionConfig
from locbench.config.columns import TimeColumn
from locbench.session.findings import FindingList
from locbench.session.tables import load_any_table, time_column

__all__ = ["TableName", "TableTimes", "read_table_times"]


class TableName(StrEnum):
    """The tables a session file can name."""

    ODOMETRY = "odometry"
    TAGS = "tags"
    MARKS = "marks"
    TRUTH = "truth"
    ONBOARD = "onboard"
    REQUESTS = "requests"


@dataclass(frozen=True)
class TableTimes:
    """One table: its file as the session file names it, and the times (N,) of its rows on the session's clock.

    Rows stand as in the file. Detections count by their capture, dwells on a mark by their beginning.
    """

    table: TableName
    file: str
    time_s: FloatArray


@dataclass(frozen=True)
class _Clocked:
    table: TableName
    file: str
    time: TimeColumn
    offset_s: float


def read_table_times(folder: Path, config: SessionConfig) -> dict[TableName, TableTimes]:
    """Return the times of every table that has a readable time column; why others have none, reading them tells."""
    times: dict[TableName, TableTimes] = {}
    for source in _clocked(config):
        unheard = FindingList()
        table = load_any_table(folder, source.file, unheard)
        time_s = None if table is None else time_column(table, source.time, source.offset_s, unheard)
        if time_s is not None:
            times[source.table] = TableTimes(source.table, source.file, time_s)
    return times


def _clocked(config: SessionConfig) -> Iterator[_Clocked]:
    odometry, tags, marks = config.odometry, config.tags, config.marks
    yield _Clocked(TableName.ODOMETRY, odometry.file, odometry.time, odometry.offset)
    if tags is not None:
        yield _Clocked(TableName.TAGS, tags.file, tags.captured, tags.offset)
    begin = None if marks is None else marks.time or marks.begin
    if marks is not None and begin is not None:
        yield _Clocked(TableName.MARKS, marks.file, begin, marks.offset)
    for name, source in (
        (TableName.TRUTH, config.truth),
        (TableName.ONBOARD, config.onboard),
        (TableName.REQUESTS, config.requests),
    ):
        if source is not None:
            yield _Clocked(name, source.file, source.time, source.offset)
