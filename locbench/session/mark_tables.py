"""Visits of surveyed marks."""

from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import FieldConfig
from locbench.config.session import MarksSource
from locbench.errors import nearest_choice
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.frames import field_poses
from locbench.session.model import MarkVisits
from locbench.session.plausibility import note_far_off_floor
from locbench.session.tables import (
    Table,
    load_table,
    number_column,
    repeated_rows,
    sparse_number_column,
    text_column,
    time_column,
)

__all__ = ["read_mark_visits"]


def read_mark_visits(
    folder: Path, source: MarksSource, field: FieldConfig, span_s: tuple[float, float], findings: FindingList
) -> MarkVisits | None:
    """Return the visits inside `span_s` in order of time, or None after error findings."""
    table = load_table(folder, source.file, findings, [source.mark] if source.mark else [])
    if table is None:
        return None
    begin = time_column(table, source.time or source.begin, source.offset, findings)  # type: ignore[arg-type]
    end = time_column(table, source.time or source.end, source.offset, findings)  # type: ignore[arg-type]
    visits = _named(table, source, field, findings) if source.mark else _placed(table, source, findings)
    if begin is None or end is None or visits is None:
        return None
    backwards = np.flatnonzero(end < begin)
    findings.about_rows(
        Severity.ERROR,
        FindingCode.REVERSED_TIME,
        backwards,
        "{count} visits end before they begin",
        "Swap or mend the two times",
        file=table.file,
    )
    if len(backwards):
        return None
    inside = _inside(table, begin, end, span_s, findings) & ~_repeated(table, begin, end, visits[1], findings)
    note_far_off_floor(table, visits[1][:, :2], field.floor, "marks", findings)
    order = np.argsort(begin, kind="stable")
    order = order[inside[order]]
    names, pose, position_std, heading_std = visits
    return MarkVisits(
        name=tuple(names[i] for i in order),
        begin_s=begin[order],
        end_s=end[order],
        pose=pose[order],
        position_std_m=position_std[order],
        heading_std_rad=heading_std[order],
    )


_Visits = tuple[list[str], FloatArray, FloatArray, FloatArray]


def _named(table: Table, source: MarksSource, field: FieldConfig, findings: FindingList) -> _Visits | None:
    names = text_column(table, source.mark or "", findings)
    if names is None:
        return None
    rows: list[tuple[float, ...]] = []
    for row, name in enumerate(names, start=1):
        mark = field.mark(name)
        where: dict[str, str | int | None] = {"file": table.file, "row": row, "column": source.mark, "value": name}
        if mark is None:
            remedy = nearest_choice(name, [known.name for known in field.marks])
            findings.error(FindingCode.UNKNOWN_MARK, "the field file has no mark of this name", remedy, **where)
            return None
        position_std = mark.position_std if mark.position_std is not None else source.position_std
        heading_std = mark.heading_std if mark.heading_std is not None else source.heading_std
        if position_std is None or (mark.heading is not None and heading_std is None):
            findings.error(
                FindingCode.UNKNOWN_MARK,
                "this mark has no standard uncertainty",
                "Write position_std and heading_std in the field file, or in [marks]",
                **where,
            )
            return None
        heading = np.nan if mark.heading is None else mark.heading
        rows.append((mark.x, mark.y, heading, position_std, np.nan if heading_std is None else heading_std))
    columns = np.array(rows)
    return names, columns[:, :3], columns[:, 3], columns[:, 4]


def _placed(table: Table, source: MarksSource, findings: FindingList) -> _Visits | None:
    if source.x is None or source.y is None:
        return None
    x, y = number_column(table, source.x, findings), number_column(table, source.y, findings)
    heading = sparse_number_column(table, source.heading, findings)
    if x is None or y is None or heading is None:
        return None
    count = len(table)
    return (
        [f"row {row}" for row in range(1, count + 1)],
        field_poses(x, y, heading, source.frame),
        np.full(count, source.position_std),
        np.full(count, np.nan if source.heading_std is None else source.heading_std),
    )


def _inside(
    table: Table, begin: FloatArray, end: FloatArray, span_s: tuple[float, float], findings: FindingList
) -> BoolArray:
    inside = np.asarray((begin >= span_s[0]) & (end <= span_s[1]))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.OUTSIDE_LOG,
        np.flatnonzero(~inside),
        f"{{count}} mark visits lie outside the odometry log and were left out; it runs from {span_s[0]:.6g} s to "
        f"{span_s[1]:.6g} s",
        "Check the clocks, or the table's offset",
        file=table.file,
    )
    return inside


def _repeated(table: Table, begin: FloatArray, end: FloatArray, pose: FloatArray, findings: FindingList) -> BoolArray:
    """Flag visits that repeat an earlier one, such as a button that bounced: they would count as more evidence."""
    repeated = repeated_rows(np.column_stack([begin, end, pose]))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.DUPLICATE_VISIT,
        np.flatnonzero(repeated),
        "{count} visits repeat an earlier row and were left out",
        "Log every press once",
        file=table.file,
    )
    return repeated
