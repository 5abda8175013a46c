"""Writes a session folder: the tables, in the units a team would log, and the session.toml that explains them."""

import json
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import numpy as np
import pandas as pd

from locbench.arrays import FloatArray, IntArray
from locbench.errors import OutputError
from locbench.files import staged_directory
from locbench.units import UNITS

__all__ = [
    "Bearings",
    "DetectionRecord",
    "IncrementRecord",
    "OdometryRecord",
    "Ranges",
    "RangesAndBearings",
    "Readings",
    "RobotPoses",
    "SessionRecord",
    "SourceFiles",
    "TagPoses",
    "TruthRecord",
    "VisitRecord",
    "relative_path",
    "toml_key",
    "toml_text",
    "write_session",
]

# The first line of a simulated session.toml: such a folder may be written again.
_MADE_BY = "# Made by locbench simulate; it will be replaced when simulated again."


@dataclass(frozen=True)
class SourceFiles:
    """The configuration files a session names."""

    robot: Path
    field: Path
    fusion: tuple[Path, ...] = ()
    shooter: Path | None = None


@dataclass(frozen=True)
class OdometryRecord:
    """Cumulative counts (N,) per pod and driven wheel, and the gyro's heading (N,) or None, at `time_s` (N,)."""

    time_s: FloatArray
    counts: Mapping[str, IntArray]
    heading_rad: FloatArray | None
    drive_counts: Mapping[str, IntArray] = field(default_factory=dict)


@dataclass(frozen=True)
class IncrementRecord:
    """Body increments (N, 3) forward, left, turn over the interval before each of `time_s` (N,)."""

    time_s: FloatArray
    twist: FloatArray


@dataclass(frozen=True)
class RobotPoses:
    """Robot poses (M, 3) computed from tags, with the range and view angle (M,) each reports."""

    pose: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray


@dataclass(frozen=True)
class TagPoses:
    """Places (M, 3) of tags on the camera's axes, and the directions (M,) they face, from its optical axis."""

    place: FloatArray
    heading_rad: FloatArray


@dataclass(frozen=True)
class RangesAndBearings:
    """Horizontal ranges (M,) of tags, and their bearings (M,) from the optical axis."""

    range_m: FloatArray
    bearing_rad: FloatArray


@dataclass(frozen=True)
class Bearings:
    """Bearings (M,) of tags from the optical axis."""

    bearing_rad: FloatArray


@dataclass(frozen=True)
class Ranges:
    """Horizontal ranges (M,) of tags."""

    range_m: FloatArray


Readings: TypeAlias = RobotPoses | TagPoses | RangesAndBearings | Bearings | Ranges


@dataclass(frozen=True)
class DetectionRecord:
    """Detections (M,) of tags by the camera named `mount`; `turret_yaw_rad` (M,) if the turret carries it."""

    captured_s: FloatArray
    arrived_s: FloatArray
    tag: IntArray
    readings: Readings
    mount: str
    turret_yaw_rad: FloatArray | None = None


@dataclass(frozen=True)
class VisitRecord:
    """Times (K,) between which the robot stood on the mark of that name."""

    name: tuple[str, ...]
    begin_s: FloatArray
    end_s: FloatArray


@dataclass(frozen=True)
class TruthRecord:
    """True poses (N, 3) at `time_s` (N,)."""

    time_s: FloatArray
    pose: FloatArray


@dataclass(frozen=True)
class SessionRecord:
    """Everything a session folder holds, in SI and the field frame; a table that is None is not written.

    `requests_s` (P,) are the times at which the driver asked for a correction.
    """

    name: str
    start_mark: str
    files: SourceFiles
    odometry: OdometryRecord | IncrementRecord
    detections: DetectionRecord | None = None
    visits: VisitRecord | None = None
    truth: TruthRecord | None = None
    requests_s: FloatArray | None = None


@dataclass(frozen=True)
class _Column:
    """One column of a table; with a unit the values are SI and converted, without one they are written as they are."""

    name: str
    values: FloatArray | IntArray | Sequence[str]
    unit: str | None = None
    decimals: int = 0
    key: str | None = None

    def written(self) -> FloatArray | IntArray | Sequence[str]:
        if self.unit is None:
            return self.values
        # adding zero turns -0.0 into 0.0, so that equal values are equal bytes
        numbers = np.round(np.asarray(self.values) / UNITS[self.unit].factor, self.decimals) + 0.0
        return numbers.astype(np.int64) if self.decimals == 0 or _all_whole(numbers) else numbers

    def reference(self) -> str:
        return f"{{ column = {toml_text(self.name)}, unit = {toml_text(self.unit or '')} }}"


@dataclass(frozen=True)
class _TableFile:
    section: str
    file: str
    columns: tuple[_Column, ...]
    lines: tuple[str, ...] = ()

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame({column.name: column.written() for column in self.columns})

    def toml(self) -> list[str]:
        keyed = [f"{column.key} = {column.reference()}" for column in self.columns if column.key]
        return ["", f"[{self.section}]", f"file = {toml_text(self.file)}", *self.lines, *keyed]


def _all_whole(numbers: FloatArray) -> bool:
    return bool(np.all(numbers == np.rint(numbers)))


def toml_text(text: str) -> str:
    """Return `text` as a TOML basic string, quotes included."""
    # JSON escapes are TOML escapes; only DEL, which JSON leaves bare, must not stand in TOML
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def toml_key(name: str) -> str:
    """Return a key as TOML writes it, quoted where it must be."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else toml_text(name)


def _increments_table(record: IncrementRecord) -> _TableFile:
    # many small increments add up, so their rounding must stay far below what they measure
    columns = (
        _Column("t_ms", record.time_s, "ms", 3, "time"),
        _Column("forward_mm", record.twist[:, 0], "mm", 5, "forward"),
        _Column("left_mm", record.twist[:, 1], "mm", 5, "left"),
        _Column("turn_deg", record.twist[:, 2], "deg", 6, "turn"),
    )
    return _TableFile("odometry", "odometry.csv", columns, ('kind = "increments"',))


def _odometry_table(record: OdometryRecord | IncrementRecord) -> _TableFile:
    if isinstance(record, IncrementRecord):
        return _increments_table(record)
    # beside the fixed columns no pod can have the name of another column: theirs begin with enc_ or drive_
    counters = {"pods": ("enc", record.counts), "drive_wheels": ("drive", record.drive_counts)}
    columns = [_Column("t_ms", record.time_s, "ms", 3, "time")]
    lines = ['kind = "pod_counts"']
    for key, (prefix, counts) in counters.items():
        names = {wheel: f"{prefix}_{wheel}" for wheel in counts}
        columns += [_Column(names[wheel], values) for wheel, values in counts.items()]
        entries = ", ".join(f"{toml_key(wheel)} = {toml_text(name)}" for wheel, name in names.items())
        lines += [f"{key} = {{ {entries} }}"] if counts else []
    if record.heading_rad is not None:
        columns.append(_Column("gyro_deg", record.heading_rad, "deg", 3, "heading"))
    return _TableFile("odometry", "odometry.csv", tuple(columns), tuple(lines))


def _tags_table(record: DetectionRecord) -> _TableFile:
    kind, measured = _reading_columns(record.readings)
    columns = [
        _Column("t_shutter_ms", record.captured_s, "ms", 1, "captured"),
        _Column("t_rx_ms", record.arrived_s, "ms", 1, "arrived"),
        _Column("id", record.tag),
        *measured,
    ]
    lines = [f"kind = {toml_text(kind)}", 'tag = "id"']
    # a robot pose is computed already; all else depends on where the camera sits
    if not isinstance(record.readings, RobotPoses):
        lines.append(f"mount = {toml_text(record.mount)}")
        if record.turret_yaw_rad is not None:
            columns.append(_Column("turret_deg", record.turret_yaw_rad, "deg", 3, "turret_yaw"))
    return _TableFile("tags", "tags.csv", tuple(columns), tuple(lines))


def _reading_columns(readings: Readings) -> tuple[str, list[_Column]]:
    """Return the kind of the detections and the columns of what they measure."""
    match readings:
        case RobotPoses():
            return "robot_pose", [
                _Column("px_in", readings.pose[:, 0], "in", 3, "x"),
                _Column("py_in", readings.pose[:, 1], "in", 3, "y"),
                _Column("heading_deg", readings.pose[:, 2], "deg", 2, "heading"),
                _Column("range_in", readings.range_m, "in", 2, "range"),
                _Column("view_deg", readings.view_angle_rad, "deg", 1, "view_angle"),
            ]
        case TagPoses():
            return "tag_pose", [
                _Column("ahead_in", readings.place[:, 0], "in", 3, "x"),
                _Column("left_in", readings.place[:, 1], "in", 3, "y"),
                _Column("up_in", readings.place[:, 2], "in", 3, "z"),
                _Column("facing_deg", readings.heading_rad, "deg", 2, "heading"),
            ]
        case RangesAndBearings():
            return "range_bearing", [
                _Column("range_in", readings.range_m, "in", 3, "range"),
                _Column("bearing_deg", readings.bearing_rad, "deg", 3, "bearing"),
            ]
        case Bearings():
            return "bearing", [_Column("bearing_deg", readings.bearing_rad, "deg", 3, "bearing")]
        case Ranges():
            return "range", [_Column("range_in", readings.range_m, "in", 3, "range")]


def _marks_table(record: VisitRecord) -> _TableFile:
    columns = (
        _Column("t_begin_ms", record.begin_s, "ms", 1, "begin"),
        _Column("t_end_ms", record.end_s, "ms", 1, "end"),
        _Column("mark", record.name),
    )
    return _TableFile("marks", "marks.csv", columns, ('mark = "mark"',))


def _truth_table(record: TruthRecord) -> _TableFile:
    columns = (
        _Column("t_ms", record.time_s, "ms", 3, "time"),
        _Column("x_mm", record.pose[:, 0], "mm", 1, "x"),
        _Column("y_mm", record.pose[:, 1], "mm", 1, "y"),
        _Column("heading_deg", record.pose[:, 2], "deg", 3, "heading"),
    )
    return _TableFile("truth", "truth.csv", columns)


def _requests_table(requests_s: FloatArray) -> _TableFile:
    return _TableFile("requests", "requests.csv", (_Column("t_press_ms", requests_s, "ms", 1, "time"),))


def _tables(record: SessionRecord) -> list[_TableFile]:
    tables = [_odometry_table(record.odometry)]
    if record.detections is not None:
        tables.append(_tags_table(record.detections))
    if record.visits is not None:
        tables.append(_marks_table(record.visits))
    if record.truth is not None:
        tables.append(_truth_table(record.truth))
    if record.requests_s is not None:
        tables.append(_requests_table(record.requests_s))
    return tables


def relative_path(path: Path, folder: Path) -> str:
    """Return the way from `folder` to `path` as a session file writes it.

    Raises
    ------
    OutputError
        If they lie on different drives.
    """
    try:
        relative = os.path.relpath(path.resolve(), folder.resolve())
    except ValueError as error:
        raise OutputError(
            "the configuration files lie on another drive, so no relative path leads there",
            where=str(folder),
            remedy="Choose an --out folder on the same drive",
        ) from error
    return Path(relative).as_posix()


def _session_toml(record: SessionRecord, tables: Iterable[_TableFile], folder: Path) -> str:
    files = record.files
    lines = [
        f"name = {toml_text(record.name)}",
        f"robot = {toml_text(relative_path(files.robot, folder))}",
        f"field = {toml_text(relative_path(files.field, folder))}",
    ]
    if files.fusion:
        listed = ", ".join(toml_text(relative_path(path, folder)) for path in files.fusion)
        lines.append(f"fusion = [{listed}]")
    if files.shooter is not None:
        lines.append(f"shooter = {toml_text(relative_path(files.shooter, folder))}")
    lines += ["", "[start]", f"mark = {toml_text(record.start_mark)}"]
    for table in tables:
        lines += table.toml()
    return "\n".join(lines) + "\n"


def write_session(folder: Path, record: SessionRecord) -> dict[str, int]:
    """Write the tables and session.toml into `folder`, all or none, and return the number of rows per table.

    Parameters
    ----------
    folder
        Made if it is missing. Configuration files are named relative to it.
    record
        SI and field frame; times in seconds on one clock.

    Raises
    ------
    OutputError
        If the folder cannot be written, holds a session that was not simulated, or no relative path leads to the
        configuration files.
    """
    tables = _tables(record)
    _refuse_other_sessions(folder, [table.file for table in tables])
    rows: dict[str, int] = {}
    with staged_directory(folder) as stage:
        for table in tables:
            frame = table.frame()
            frame.to_csv(stage / table.file, index=False, lineterminator="\n")
            rows[table.section] = len(frame)
        text = _session_toml(record, tables, folder)
        (stage / "session.toml").write_text(f"{_MADE_BY}\n{text}", encoding="utf-8", newline="\n")
    return rows


def _refuse_other_sessions(folder: Path, files: Iterable[str]) -> None:
    """Refuse to replace a log that nobody can make again."""
    session = folder / "session.toml"
    if os.path.exists(session):
        simulated = session.read_text(encoding="utf-8", errors="replace").startswith(_MADE_BY)
        taken = None if simulated else "session.toml"
    else:
        taken = next((file for file in files if os.path.exists(folder / file)), None)
    if taken is not None:
        raise OutputError(
            f"this folder holds a {taken} that was not simulated",
            where=str(folder),
            remedy="Choose another --out folder",
        )
