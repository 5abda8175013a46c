"""Tag detections: read, put on one clock and frame, cleaned of what cannot be used."""

from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import FieldConfig, RobotConfig
from locbench.config.session import RangeSource, RobotPoseSource, TagSource
from locbench.errors import nearest_choice
from locbench.session.findings import FindingCode
from locbench.session.frames import field_poses
from locbench.session.model import Detections, TagKind
from locbench.session.tables import (
    FindingList,
    Table,
    backward_steps,
    load_table,
    number_column,
    sparse_number_column,
    time_column,
    whole_number_column,
)

__all__ = ["read_detections"]


def read_detections(
    folder: Path, source: TagSource, field: FieldConfig, robot: RobotConfig, findings: FindingList
) -> Detections | None:
    """Return the detections of known tags, or None after error findings."""
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
    if len(impossible):
        findings.error(
            FindingCode.NOT_A_NUMBER,
            f"a range must be more than 0 ({len(impossible)} rows are not)",
            "Remove rows without a reading",
            file=table.file,
            row=int(impossible[0]) + 1,
            column=source.range.column,
        )
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
    if len(steps):
        first = int(steps[0])
        findings.warning(
            FindingCode.UNSORTED_TIME,
            f"capture times step back {len(steps)} times, by up to {-np.min(np.diff(captured)):.3g} s; "
            "the detections were put in order",
            "Check the clock of the camera's log",
            file=table.file,
            row=first + 1,
            column=source.captured.column,
        )


def _not_before_capture(table: Table, captured: FloatArray, arrived: FloatArray, findings: FindingList) -> FloatArray:
    early = np.flatnonzero(arrived < captured)
    if len(early):
        findings.warning(
            FindingCode.ARRIVED_BEFORE_CAPTURE,
            f"{len(early)} detections arrive before they are captured; they count as arriving at capture",
            "Put both times on one clock",
            file=table.file,
            row=int(early[0]) + 1,
        )
    return np.maximum(arrived, captured)


def _known_tags(table: Table, tag: IntArray, field: FieldConfig, findings: FindingList) -> BoolArray:
    known = np.isin(tag, [entry.id for entry in field.tags])
    unknown = np.flatnonzero(~known)
    if len(unknown):
        ids = ", ".join(str(number) for number in np.unique(tag[unknown])[:8])
        findings.warning(
            FindingCode.UNKNOWN_TAG,
            f"{len(unknown)} detections of tags that are not in the field file were left out (ids {ids})",
            "Add the tags to the field file, or ignore ids that do not exist on this floor",
            file=table.file,
            row=int(unknown[0]) + 1,
        )
    return known


def _repeated(table: Table, captured: FloatArray, tag: IntArray, value: FloatArray, findings: FindingList) -> BoolArray:
    keys = np.column_stack([captured, tag.astype(float), np.nan_to_num(value, nan=np.inf)])
    _, first_rows = np.unique(keys, axis=0, return_index=True)
    repeated = np.ones(len(captured), dtype=bool)
    repeated[first_rows] = False
    rows = np.flatnonzero(repeated)
    if len(rows):
        findings.warning(
            FindingCode.DUPLICATE_DETECTION,
            f"{len(rows)} detections repeat an earlier row and were left out",
            "Log every detection once",
            file=table.file,
            row=int(rows[0]) + 1,
        )
    return repeated
