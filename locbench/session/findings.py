"""Problems in a log as data: collected, listed, and fatal only where no honest answer is possible."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from locbench.arrays import IntArray
from locbench.errors import SessionError
from locbench.units import Dimension

__all__ = ["Finding", "FindingCode", "FindingList", "Measured", "Severity", "unusable"]


class Severity(StrEnum):
    """How much a finding matters: an error stops the work."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class FindingCode(StrEnum):
    """What was found. The codes are stable; scripts may rely on them."""

    MISSING_FILE = "missing_file"
    UNREADABLE_TABLE = "unreadable_table"
    MISSING_COLUMN = "missing_column"
    EMPTY_TABLE = "empty_table"
    NOT_A_NUMBER = "not_a_number"
    REVERSED_TIME = "reversed_time"
    UNSORTED_TIME = "unsorted_time"
    DUPLICATE_TIME = "duplicate_time"
    TIME_GAP = "time_gap"
    LOG_TOO_LONG = "log_too_long"
    CUT_LAST_LINE = "cut_last_line"
    COUNTER_WRAPPED = "counter_wrapped"
    COUNTER_RESET = "counter_reset"
    COUNTER_JUMP = "counter_jump"
    COUNTER_WIDTH = "counter_width"
    IMPOSSIBLE_SPEED = "impossible_speed"
    IMPOSSIBLE_TURN = "impossible_turn"
    IMPOSSIBLE_RANGE = "impossible_range"
    FAR_OFF_FLOOR = "far_off_floor"
    GYRO_BIAS = "gyro_bias"
    UNKNOWN_POD = "unknown_pod"
    UNKNOWN_TAG = "unknown_tag"
    UNKNOWN_MARK = "unknown_mark"
    UNKNOWN_MOUNT = "unknown_mount"
    TILTED_MOUNT = "tilted_mount"
    TURRET_YAW = "turret_yaw"
    TAG_COUNT = "tag_count"
    TAG_PLACE = "tag_place"
    SPREAD_MISSING = "spread_missing"
    HEADING_MISSING = "heading_missing"
    DUPLICATE_VISIT = "duplicate_visit"
    UNCOVERED_TIME = "uncovered_time"
    ARRIVED_BEFORE_CAPTURE = "arrived_before_capture"
    DUPLICATE_DETECTION = "duplicate_detection"
    OUTSIDE_LOG = "outside_log"
    SEGMENT_OUTSIDE_LOG = "segment_outside_log"


@dataclass(frozen=True)
class Measured:
    """One number of the evidence in SI, with its standard uncertainty if it has one; no dimension is a plain number."""

    name: str
    value: float
    std: float | None = None
    dimension: Dimension | None = None


@dataclass(frozen=True)
class Finding:
    """One problem: what, how bad, where, the value found, and what to do.

    `file` is the name as the session file writes it; `row` counts data rows from 1; either may be None. `measured`
    holds the message's numbers for programs.
    """

    code: FindingCode
    severity: Severity
    message: str
    remedy: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    measured: tuple[Measured, ...] = ()

    @property
    def where(self) -> str:
        """File, row and column in words."""
        parts = [self.file or ""]
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column is not None:
            parts.append(f'column "{self.column}"')
        return ", ".join(part for part in parts if part)


@dataclass
class FindingList:
    """Collects the findings of one session while it is read."""

    findings: list[Finding] = field(default_factory=list)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.findings)

    def error(
        self,
        code: FindingCode,
        message: str,
        remedy: str,
        measured: tuple[Measured, ...] = (),
        /,
        **where: str | int | None,
    ) -> None:
        """Add a finding without which no honest answer is possible."""
        self._add(code, Severity.ERROR, message, remedy, measured, where)

    def warning(
        self,
        code: FindingCode,
        message: str,
        remedy: str,
        measured: tuple[Measured, ...] = (),
        /,
        **where: str | int | None,
    ) -> None:
        """Add a finding that may make the answer worse."""
        self._add(code, Severity.WARNING, message, remedy, measured, where)

    def note(
        self,
        code: FindingCode,
        message: str,
        remedy: str,
        measured: tuple[Measured, ...] = (),
        /,
        **where: str | int | None,
    ) -> None:
        """Add something that was done to the data."""
        self._add(code, Severity.NOTE, message, remedy, measured, where)

    def about_rows(
        self,
        severity: Severity,
        code: FindingCode,
        rows: IntArray,
        message: str,
        remedy: str,
        measured: tuple[Measured, ...] = (),
        /,
        **where: str | int | None,
    ) -> None:
        """Add one finding for all rows (indices from 0), naming the first; "{count}" in the message is their number."""
        if len(rows):
            text = message.format(count=len(rows))
            numbers = (Measured("rows", float(len(rows))), *measured)
            self._add(code, severity, text, remedy, numbers, {**where, "row": int(rows[0]) + 1})

    def _add(
        self,
        code: FindingCode,
        severity: Severity,
        message: str,
        remedy: str,
        measured: tuple[Measured, ...],
        where: dict[str, str | int | None],
    ) -> None:
        row, column, value, file = (where.get(key) for key in ("row", "column", "value", "file"))
        self.findings.append(
            Finding(
                code,
                severity,
                message,
                remedy,
                file=None if file is None else str(file),
                row=None if row is None else int(row),
                column=None if column is None else str(column),
                value=None if value is None else str(value),
                measured=measured,
            )
        )


def unusable(findings: Iterable[Finding], session: str) -> SessionError:
    """Return the error of a session that cannot be used: it names the first fatal finding and lists the others."""
    first, *others = [finding for finding in findings if finding.severity is Severity.ERROR]
    problem = first.message
    if others:
        listed = "; ".join(f"{other.where}: {other.message}" for other in others[:4])
        rest = f" and {len(others) - 4} more" if len(others) > 4 else ""
        problem += f" (also: {listed}{rest})"
    where = f"{session}: {first.where}" if first.where else session
    return SessionError(problem, where=where, received=first.value, remedy=first.remedy)
