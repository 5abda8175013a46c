"""Tag detections: read, put on one clock and frame, cleaned of what cannot be used."""

from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import FieldConfig, RobotConfig
from locbench.config.session import RangeSource, RobotPoseSource, TagSource
from locbench.errors import nearest_choice
from locbench.session.findings import FindingCode, Severity
from locbench.session.frames import field_poses
from locbench.session.model import Detections, TagKind
from locbench.session.tables import (
    FindingList,
    Table,
    backward_steps,
    load_table,
    number_column,
    repeated_rows,
    sparse_number_column,
    time_column,
    whole_number_column,
)

__all__ = ["read_detections"]


def read_detections(
    folder: Path,
    source: TagSource,
    field: FieldConfig,
    robot: RobotConfig,
    span_s: tuple[float, float],
    findings: FindingList,
) -> Detections | None:
    """Return the detections of known tags, or None after error findings; `span_s` is that of the odometry."""
    table = load_table(folder, source.file, findings)
    if table is None:
        return None
    captured = time_column(table, source.captured, source.offset, findings)
    arrived = _arrival(table, source, captured, findings)
    tag = whole_number_column(table, source.tag, findings)
    columns = _range(table, source, findings) if isinstance(source, RangeSource) else _pose(table, source, findings)
    mount = _mount(source, robot, findings)
    if captured is None or arrived is None or tag is None or columns is None or mount is None:
        return None
    value, range_m, view_angle = columns
    _note_backward_steps(table, source, captured, findings)
    arrived = _not_before_capture(table, captured, arrived, findings)
    usable = _known_tags(table, tag, field, findings)
    usable &= ~_repeated(table, captured, tag, value, findings)
    _note_outside(table, captured, arrived, span_s, findings)
    _note_missing_headings(table, source, value, findings)
    rows = np.arange(1, len(table) + 1)
    return Detections(
        kind=TagKind(source.kind),
        captured_s=captured[usable],
        arrived_s=arrived[usable],
        tag=tag[usable],
        row=rows[usable],
        value=value[usable],
        range_m=range_m[usable],
        view_angle_rad=view_angle[usable],
        slant=isinstance(source, RangeSource) and source.measured == "slant",
        mount=mount,
    )


def _arrival(table: Table, source: TagSource, captured: FloatArray | None, findings: FindingList) -> FloatArray | None:
    if source.arrived is not None:
        return time_column(table, source.arrived, source.offset, findings)
    return None if captured is None or source.latency is None else captured + source.latency


_Columns = tuple[FloatArray, FloatArray, FloatArray]


def _pose(table: Table, source: RobotPoseSource, findings: FindingList) -> _Columns | None:
    x = number_column(table, source.x, findings)
    y = number_column(table, source.y, findings)
    heading = sparse_number_column(table, source.heading, findings)
    range_m = sparse_number_column(table, source.range, findings)
    view_angle = sparse_number_column(table, source.view_angle, findings)
    if x is None or y is None or heading is None or range_m is None or view_angle is None:
        return None
    return field_poses(x, y, heading, source.frame), range_m, np.abs(view_angle)


def _range(table: Table, source: RangeSource, findings: FindingList) -> _Columns | None:
    reading = number_column(table, source.range, findings)
    if reading is None:
        return None
    impossible = np.flatnonzero(reading <= 0.0)
    findings.about_rows(
        Severity.ERROR,
        FindingCode.NOT_A_NUMBER,
        impossible,
        "a range must be more than 0 ({count} rows are not)",
        "Remove rows without a reading",
        file=table.file,
        column=source.range.column,
    )
    if len(impossible):
        return None
    true_range = reading / source.range_scale
    return true_range[:, np.newaxis], true_range, np.full(len(table), np.nan)


def _mount(source: TagSource, robot: RobotConfig, findings: FindingList) -> FloatArray | None:
    if not isinstance(source, RangeSource) or source.mount is None:
        return np.zeros(3)
    mount = robot.cameras.get(source.mount)
    if mount is None:
        findings.error(
            FindingCode.UNKNOWN_MOUNT,
            f'the robot file has no camera "{source.mount}"',
            nearest_choice(source.mount, robot.cameras),
            file="session.toml",
            column="tags.mount",
        )
        return None
    return np.array([mount.x, mount.y, mount.z])


def _note_backward_steps(table: Table, source: TagSource, captured: FloatArray, findings: FindingList) -> None:
    steps = backward_steps(captured)
    largest = -float(np.min(np.diff(captured), initial=0.0))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.UNSORTED_TIME,
        steps,
        f"capture times step back {{count}} times, by up to {largest:.3g} s; the detections were put in order",
        "Check the clock of the camera's log",
        file=table.file,
        column=source.captured.column,
    )


def _not_before_capture(table: Table, captured: FloatArray, arrived: FloatArray, findings: FindingList) -> FloatArray:
    findings.about_rows(
        Severity.WARNING,
        FindingCode.ARRIVED_BEFORE_CAPTURE,
        np.flatnonzero(arrived < captured),
        "{count} detections arrive before they are captured; they count as arriving at capture",
        "Put both times on one clock",
        file=table.file,
    )
    return np.maximum(arrived, captured)


def _known_tags(table: Table, tag: IntArray, field: FieldConfig, findings: FindingList) -> BoolArray:
    known = np.isin(tag, [entry.id for entry in field.tags])
    unknown = np.flatnonzero(~known)
    ids = ", ".join(str(number) for number in np.unique(tag[unknown])[:8])
    findings.about_rows(
        Severity.WARNING,
        FindingCode.UNKNOWN_TAG,
        unknown,
        f"{{count}} detections of tags that are not in the field file were left out (ids {ids})",
        "Add the tags to the field file, or ignore ids that do not exist on this floor",
        file=table.file,
    )
    return known


def _repeated(table: Table, captured: FloatArray, tag: IntArray, value: FloatArray, findings: FindingList) -> BoolArray:
    repeated = repeated_rows(np.column_stack([captured, tag.astype(float), value]))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.DUPLICATE_DETECTION,
        np.flatnonzero(repeated),
        "{count} detections repeat an earlier row and were left out",
        "Log every detection once",
        file=table.file,
    )
    return repeated


def _note_outside(
    table: Table, captured: FloatArray, arrived: FloatArray, span_s: tuple[float, float], findings: FindingList
) -> None:
    outside = np.flatnonzero((captured < span_s[0]) | (arrived > span_s[1]))
    # a detection or two on their way when logging stops are nothing to report
    if len(outside) <= max(3, 0.02 * len(captured)):
        return
    findings.about_rows(
        Severity.WARNING,
        FindingCode.OUTSIDE_LOG,
        outside,
        f"{{count}} of {len(captured)} detections lie outside the odometry log and are not used: they run from "
        f"{captured.min():.6g} s to {arrived.max():.6g} s, the log from {span_s[0]:.6g} s to {span_s[1]:.6g} s",
        "Check the clocks, or the table's offset",
        file=table.file,
    )


def _note_missing_headings(table: Table, source: TagSource, value: FloatArray, findings: FindingList) -> None:
    if isinstance(source, RangeSource) or source.heading is None:
        return
    findings.about_rows(
        Severity.NOTE,
        FindingCode.HEADING_MISSING,
        np.flatnonzero(~np.isfinite(value[:, 2])),
        "{count} detections have no heading; only their position is used",
        "Nothing, if the camera does not always give one",
        file=table.file,
        column=source.heading.column,
    )
