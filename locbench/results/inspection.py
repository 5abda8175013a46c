"""inspect.json: what an inspection found in a session, in SI units."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.results.models import Record
from locbench.units import Dimension

__all__ = [
    "ChangeRecord",
    "DiagnosisRecord",
    "Inspection",
    "MeasuredRecord",
    "TableRecord",
    "TagViewRecord",
]


class MeasuredRecord(Record):
    """A number of the evidence with its standard uncertainty, if it has one; no dimension is a plain number."""

    value: float | None
    std: float | None
    dimension: Dimension | None


class ChangeRecord(Record):
    """A key to change: the file as the session names it, the key's path, and the line to write."""

    file: str
    key: str
    line: str


class DiagnosisRecord(Record):
    """One thing that was found; `changes` mend it where a change of the files can."""

    code: str
    severity: Literal["error", "warning", "note"]
    where: str
    evidence: str
    measured: dict[str, MeasuredRecord]
    meaning: str
    remedy: str
    changes: list[ChangeRecord]


class TableRecord(Record):
    """One table of the log; rate and longest gap are None for presses and stops, times for a table without rows."""

    table: Literal["odometry", "tags", "marks", "truth", "onboard", "requests"]
    file: str
    rows: int
    rate_hz: float | None
    longest_gap_s: float | None
    first_s: float | None
    last_s: float | None


class TagViewRecord(Record):
    """For which share of the time a tag was in view, and the longest stretch without one."""

    share_of_time: float
    longest_without_s: float
    longest_without_from_s: float


class Inspection(Record):
    """The whole of inspect.json; evidence and duration are None where the session cannot be used."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["inspect"] = "inspect"
    session: str
    evidence: Literal["A", "B", "C", "D"] | None
    duration_s: float | None
    tables: list[TableRecord]
    tag_view: TagViewRecord | None
    diagnoses: list[DiagnosisRecord]
