"""`locbench inspect`: what is wrong with a session, each with its evidence, its meaning and what to do."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from locbench import __version__
from locbench.config import FusionConfig, load_config
from locbench.config.edits import ChangedFile, Edit, EditedFile, edited_line
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.inspection.log import log_faults
from locbench.inspection.readings import reading_diagnoses
from locbench.inspection.setup import setup_faults
from locbench.inspection.table_rates import TableRate, table_rates, tables_without_overlap
from locbench.inspection.tag_view import TagView, tag_view
from locbench.jobs.sessions import changed_file
from locbench.odometry import measure_motion
from locbench.results import (
    ChangeRecord,
    DiagnosisRecord,
    Inspection,
    MeasuredRecord,
    TableRecord,
    TagViewRecord,
)
from locbench.session import (
    Examination,
    FindingCode,
    Measured,
    Session,
    Severity,
    TableName,
    TableTimes,
    examine_session,
    read_table_times,
)

__all__ = ["Inspected", "inspect"]

# what the log's own faults tell more closely
_TOLD_BY = {FindingCode.FAR_OFF_FLOOR: LogFault.OFF_THE_FLOOR, FindingCode.IMPOSSIBLE_RANGE: LogFault.BEYOND_THE_FLOOR}
# beside a sensor that stands still everything else looks wrong: the set-up is another matter until that is mended
_SPOILS_COMPARISONS = (LogFault.COUNTER_STUCK, LogFault.NO_MOTION)
_WORST_FIRST = (Severity.ERROR, Severity.WARNING, Severity.NOTE)


@dataclass(frozen=True)
class Inspected:
    """What an inspection found, whether the session can be used at all, and the files with the changes proposed."""

    inspection: Inspection
    usable: bool
    changed_files: tuple[ChangedFile, ...]


def inspect(location: Path) -> Inspected:
    """Return everything that is wrong with a session, worst first.

    Parameters
    ----------
    location
        A session folder, or its session.toml.

    Returns
    -------
    Inspected
        Also of a session that cannot be used: then with all the reasons.

    Raises
    ------
    ConfigError
        If session.toml or a file it names is missing, malformed or impossible.
    """
    examined = examine_session(location)
    tables = read_table_times(examined.files.session.parent, examined.config)
    view = None if examined.session is None else _tag_view(examined.session)
    diagnoses = sorted(_diagnoses(examined, tables, view), key=lambda found: _WORST_FIRST.index(found.severity))
    files = _changed_files(examined, diagnoses)
    session = examined.session
    inspection = Inspection(
        locbench=__version__,
        session=examined.config.name,
        evidence=None if session is None else session.evidence.value,
        duration_s=None if session is None else float(session.odometry.time_s[-1] - session.odometry.time_s[0]),
        tables=[_table_record(rate) for rate in table_rates(tables)],
        tag_view=None if view is None else _view_record(view),
        diagnoses=[_diagnosis_record(found, files) for found in diagnoses],
    )
    return Inspected(inspection, session is not None, tuple(one for one in files.values() if one.edits))


def _tag_view(session: Session) -> TagView | None:
    return None if session.detections is None else tag_view(session.detections, session.stretches)


def _diagnoses(examined: Examination, tables: Mapping[TableName, TableTimes], view: TagView | None) -> list[Diagnosis]:
    unmatched = tables_without_overlap(tables)
    # a table of which nothing overlaps is named once
    named = {found.where for found in unmatched}
    findings = [
        finding
        for finding in examined.findings
        if not (finding.code is FindingCode.OUTSIDE_LOG and finding.file in named)
    ]
    session = examined.session
    if session is None:
        return [*reading_diagnoses(findings), *unmatched]
    fusions = [load_config(path, FusionConfig) for path in session.fusion_files]
    motion = measure_motion(session.odometry, session.robot)
    in_the_log = log_faults(session, motion, examined.config, fusions, view)
    told = {(found.code, found.where) for found in in_the_log}
    untold = [finding for finding in findings if (_TOLD_BY.get(finding.code), finding.file) not in told]
    spoilt = any(found.code in _SPOILS_COMPARISONS and found.severity is Severity.ERROR for found in in_the_log)
    in_the_set_up = [] if spoilt else setup_faults(session, examined.config)
    return [*reading_diagnoses(untold), *unmatched, *in_the_log, *in_the_set_up]


def _changed_files(examined: Examination, diagnoses: Sequence[Diagnosis]) -> dict[EditedFile, ChangedFile]:
    """Return the session's files with the changes proposed; of two changes of one key the worse fault's holds."""
    edits: dict[tuple[EditedFile, tuple[str | int, ...]], Edit] = {}
    for edit in (edit for found in diagnoses for edit in found.edits):
        edits.setdefault((edit.file, edit.path), edit)
    return {file: changed_file(examined, file, edits.values()) for file in EditedFile}


def _diagnosis_record(found: Diagnosis, files: Mapping[EditedFile, ChangedFile]) -> DiagnosisRecord:
    return DiagnosisRecord(
        code=found.code.value,
        severity=found.severity.value,
        where=found.where,
        evidence=found.evidence,
        measured={number.name: _measured_record(number) for number in found.measured},
        meaning=found.meaning,
        remedy=found.remedy,
        changes=[_change_record(edit, found.edits, files[edit.file]) for edit in found.edits],
    )


def _measured_record(number: Measured) -> MeasuredRecord:
    std = number.std if number.std is not None and math.isfinite(number.std) else None
    return MeasuredRecord(
        value=number.value if math.isfinite(number.value) else None, std=std, dimension=number.dimension
    )


def _change_record(edit: Edit, together: Sequence[Edit], file: ChangedFile) -> ChangeRecord:
    beside = [other for other in together if other.file is edit.file]
    return ChangeRecord(file=file.name, key=edit.key, line=edited_line(file.text, edit, beside))


def _table_record(rate: TableRate) -> TableRecord:
    return TableRecord(
        table=rate.table.value,
        file=rate.file,
        rows=rate.rows,
        rate_hz=rate.rate_hz,
        longest_gap_s=rate.longest_gap_s,
        first_s=rate.first_s,
        last_s=rate.last_s,
    )


def _view_record(view: TagView) -> TagViewRecord:
    return TagViewRecord(
        share_of_time=view.share_of_time,
        longest_without_s=view.longest_without_s,
        longest_without_from_s=view.longest_without_from_s,
    )
