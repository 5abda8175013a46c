"""Which tags a detection came from, and how many."""

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from locbench.arrays import BoolArray, IntArray
from locbench.config import FieldConfig
from locbench.config.columns import Column
from locbench.config.tag_sources import RobotPoseSource, TagSource
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.model import NO_TAG
from locbench.session.tables import Table, sparse_number_column, text_column, whole_number_column

__all__ = ["TagIds", "known_tags", "read_tag_ids"]

_SEPARATORS = re.compile(r"[\s;+]+")
# a column with empty cells elsewhere may have been written as 3.0; no tag family has more than some thousands
_WHOLE_NUMBER = re.compile(r"\d{1,9}(\.0*)?")


@dataclass(frozen=True)
class TagIds:
    """The first id (M,), the further ids (M, K) filled up with `NO_TAG`, and the number of tags (M,)."""

    first: IntArray
    others: IntArray
    count: IntArray


def read_tag_ids(table: Table, source: TagSource, findings: FindingList) -> TagIds | None:
    """Return the ids of every row, or None after an error finding; only robot poses may come from several tags."""
    if not isinstance(source, RobotPoseSource):
        first = whole_number_column(table, source.tag, findings)
        return None if first is None else _single(first)
    ids = _id_lists(table, source.tag, findings)
    return None if ids is None else _with_count(table, source, ids, findings)


def known_tags(table: Table, ids: TagIds, field: FieldConfig, findings: FindingList) -> BoolArray:
    """Return (M,) whether all tags of a detection are on the field, after a finding about those that are not."""
    every = np.column_stack([ids.first, ids.others])
    strange = ~np.isin(every, [tag.id for tag in field.tags])
    # only further ids may be missing: a first one of -1, as some cameras log a picture without a tag, is of no tag
    strange[:, 1:] &= ids.others != NO_TAG
    unknown = np.any(strange, axis=1)
    listed = ", ".join(str(number) for number in np.unique(every[strange])[:8])
    findings.about_rows(
        Severity.WARNING,
        FindingCode.UNKNOWN_TAG,
        np.flatnonzero(unknown),
        f"{{count}} detections of tags that are not in the field file were left out (ids {listed})",
        "Add the tags to the field file, or ignore ids that do not exist on this floor",
        file=table.file,
    )
    return np.asarray(~unknown)


def _single(first: IntArray) -> TagIds:
    return TagIds(first, np.empty((len(first), 0), dtype=np.int64), np.ones(len(first), dtype=np.int64))


def _id_lists(table: Table, name: str, findings: FindingList) -> TagIds | None:
    if name not in table.data.columns or pd.api.types.is_numeric_dtype(table.data[name]):
        first = whole_number_column(table, name, findings)
        return None if first is None else _single(first)
    cells = text_column(table, name, findings) or []
    lists: list[list[int]] = []
    for row, cell in enumerate(cells, start=1):
        parts = [part for part in _SEPARATORS.split(cell) if part]
        if not parts or not all(_WHOLE_NUMBER.fullmatch(part) for part in parts):
            findings.error(
                FindingCode.NOT_A_NUMBER,
                "not a tag id, nor several",
                'Write whole numbers, several of them as in "3 7", "3;7" or "3+7"',
                file=table.file,
                row=row,
                column=name,
                value=cell,
            )
            return None
        # an id written twice is still one tag
        lists.append(list(dict.fromkeys(int(float(part)) for part in parts)))
    count = np.array([len(ids) for ids in lists], dtype=np.int64)
    every = np.full((len(lists), int(count.max())), NO_TAG, dtype=np.int64)
    for row, ids in enumerate(lists):
        every[row, : len(ids)] = ids
    return TagIds(every[:, 0], every[:, 1:], count)


def _with_count(table: Table, source: RobotPoseSource, ids: TagIds, findings: FindingList) -> TagIds | None:
    """Return the ids with the log's own number of tags, which counts those without an id too."""
    if source.tag_count is None:
        return ids
    column = Column(column=source.tag_count, unit=1.0)
    reported = sparse_number_column(table, column, findings)
    if reported is None:
        return None
    where = {"file": table.file, "column": source.tag_count}
    given = np.isfinite(reported)
    impossible = np.flatnonzero(given & ((reported < 1.0) | (reported != np.round(reported))))
    findings.about_rows(
        Severity.ERROR,
        FindingCode.TAG_COUNT,
        impossible,
        "a fix is computed from one tag or more ({count} rows say otherwise)",
        "Remove rows without a fix, or empty these cells",
        **where,
    )
    if len(impossible):
        return None
    findings.about_rows(
        Severity.WARNING,
        FindingCode.TAG_COUNT,
        np.flatnonzero(given & (reported < ids.count)),
        "{count} fixes list more ids than they count tags; the listed ones are counted",
        "Check what the column counts",
        **where,
    )
    most = np.maximum(np.where(given, reported, 1.0), ids.count)
    return TagIds(ids.first, ids.others, most.astype(np.int64))
