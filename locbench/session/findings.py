"""Problems in a log as data: collected, listed, and fatal only where no honest answer is possible."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from locbench.errors import SessionError

__all__ = ["Finding", "FindingCode", "Severity", "raise_on_errors"]


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
class Finding:
    """One problem: what, how bad, where, the value found, and what to do.

    `file` is the name as the session file writes it; `row` counts data rows from 1; either may be None.
    """

    code: FindingCode
    severity: Severity
    message: str
    remedy: str
    file: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None

    @property
    def where(self) -> str:
        """File, row and column in words."""
        parts = [self.file or ""]
        if self.row is not None:
            parts.append(f"row {self.row}")
        if self.column is not None:
            parts.append(f'column "{self.column}"')
        return ", ".join(part for part in parts if part)


def raise_on_errors(findings: Iterable[Finding], session: str) -> None:
    """Raise one error that names the first fatal finding and lists the others.

    Raises
    ------
    SessionError
        If any finding is an error.
    """
    fatal = [finding for finding in findings if finding.severity is Severity.ERROR]
    if not fatal:
        return
    first, *others = fatal
    problem = first.message
    if others:
        listed = "; ".join(f"{other.where}: {other.message}" for other in others[:4])
        rest = f" and {len(others) - 4} more" if len(others) > 4 else ""
        problem += f" (also: {listed}{rest})"
    where = f"{session}: {first.where}" if first.where else session
    raise SessionError(problem, where=where, received=first.value, remedy=first.remedy)
