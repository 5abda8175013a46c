"""Tag detections: read, put on one clock and frame, cleaned of what cannot be used."""

from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import FieldConfig, RobotConfig
from locbench.config.columns import Column
from locbench.config.tag_sources import RangeBearingSource, RangeSource, RobotPoseSource, TagPoseSource, TagSource
from locbench.session.camera_mounts import read_mounts
from locbench.session.findings import FindingCode, FindingList, Measured, Severity
from locbench.session.model import Detections, TagKind
from locbench.session.plausibility import note_far_off_floor, note_impossible_ranges
from locbench.session.tables import Table, backward_steps, load_table, repeated_rows, sparse_number_column, time_column
from locbench.session.tag_ids import TagIds, known_tags, read_tag_ids
from locbench.session.tag_readings import read_readings
from locbench.units import Dimension

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
    ids = read_tag_ids(table, source, findings)
    mount = read_mounts(table, source, robot, findings)
    readings = None if mount is None else read_readings(table, source, mount, findings)
    ratio = _reprojection_ratio(table, source, findings)
    if captured is None or arrived is None or ids is None or mount is None or readings is None or ratio is None:
        return None
    _note_backward_steps(table, source, captured, findings)
    arrived = _not_before_capture(table, captured, arrived, findings)
    usable = known_tags(table, ids, field, findings)
    usable &= ~_repeated(table, captured, ids, readings.value, findings)
    _note_outside(table, captured, arrived, span_s, findings)
    _note_missing_headings(table, source, readings.value, findings)
    note_impossible_ranges(table, readings.range_m, field.floor, findings)
    if isinstance(source, RobotPoseSource):
        note_far_off_floor(table, readings.value[:, :2], field.floor, "fixes", findings)
    everything = Detections(
        kind=TagKind(source.kind),
        captured_s=captured,
        arrived_s=arrived,
        tag=ids.first,
        other_tags=ids.others,
        tag_count=ids.count,
        row=np.arange(1, len(table) + 1),
        value=readings.value,
        own_covariance=readings.own_covariance,
        range_m=readings.range_m,
        view_angle_rad=readings.view_angle_rad,
        reprojection_ratio=ratio,
        slant=isinstance(source, RangeSource | RangeBearingSource) and source.measured == "slant",
        mount=mount,
    )
    found = everything.chosen(usable)
    return found if _map_suffices(source, found, field, findings) else None


def _arrival(table: Table, source: TagSource, captured: FloatArray | None, findings: FindingList) -> FloatArray | None:
    if source.arrived is not None:
        return time_column(table, source.arrived, source.offset, findings)
    return None if captured is None or source.latency is None else captured + source.latency


def _map_suffices(source: TagSource, found: Detections, field: FieldConfig, findings: FindingList) -> bool:
    """Refuse tags whose place is only half known where the other half counts: a default would be a wrong place."""
    key, why = "", ""
    if found.kind is TagKind.TAG_POSE and bool(np.any(np.isfinite(found.value[:, 2]))):
        key, why = "facing", "the tag's heading is measured"
    elif found.kind in (TagKind.BEARING, TagKind.RANGE_BEARING) and bool(np.any(found.mount[:, 4:] != 0.0)):
        key, why = "z", "bearings from a camera with pitch or roll depend on heights"
    seen = set(found.tag.tolist())
    lacking = [tag.id for tag in field.tags if key and tag.id in seen and key not in tag.model_fields_set]
    if lacking:
        findings.error(
            FindingCode.TAG_PLACE,
            f"{why}, but the field file gives no {key} for some tags (ids {', '.join(map(str, lacking[:8]))})",
            f"Add {key} to these tags in the field file",
            file=source.file,
        )
    return not lacking


def _reprojection_ratio(table: Table, source: TagSource, findings: FindingList) -> FloatArray | None:
    named = source.reprojection_ratio
    return sparse_number_column(table, None if named is None else Column(column=named, unit=1.0), findings)


def _note_backward_steps(table: Table, source: TagSource, captured: FloatArray, findings: FindingList) -> None:
    steps = backward_steps(captured)
    back_s = -np.diff(captured)[steps - 1]
    listed = ", ".join(f"{size:.3g} s" for size in back_s[:4]) + (", ..." if len(back_s) > 4 else "")
    findings.about_rows(
        Severity.WARNING,
        FindingCode.UNSORTED_TIME,
        steps,
        f"capture times step back {{count}} times, by {listed}; the detections were put in order",
        "Check the clock of the camera's log",
        (Measured("largest_step", float(np.max(back_s, initial=0.0)), dimension=Dimension.TIME),),
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


def _repeated(table: Table, captured: FloatArray, ids: TagIds, value: FloatArray, findings: FindingList) -> BoolArray:
    repeated = repeated_rows(np.column_stack([captured, ids.first, ids.others, value]))
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
    if not isinstance(source, RobotPoseSource | TagPoseSource) or source.heading is None:
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
