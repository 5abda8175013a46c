"""Simulated sessions with one known fault of the set-up each, made by changing what the files say about a healthy run.

`python tests/inspection/setup_faults.py` prints which faults `locbench inspect` names, out of ten runs each.
"""

import re
import shutil
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from locbench.config.scenario import CameraReport
from locbench.inspection.diagnosis import SetupFault
from locbench.jobs.simulate import simulate

__all__ = ["FAULTS", "SEEDS", "Fault", "healthy_session", "with_fault"]

CONFIGS = Path(__file__).parents[2] / "configs"
SEEDS = range(101, 111)
# as long a drive as a pre-match check would take
_WAYPOINTS = 22


def healthy_session(folder: Path, seed: int, report: CameraReport) -> Path:
    """Simulate the healthy tour, shortened, with a camera that reports that; robot and field stand beside the tables."""
    source = folder / "source"
    source.mkdir(parents=True)
    for name in ("robot_three_pods.toml", "field_orchard.toml"):
        shutil.copy(CONFIGS / name, source / name)
    text = (CONFIGS / "scenario_healthy.toml").read_text()
    head, *waypoints = text.split("[[waypoints]]")
    head = re.sub(r"^(fusion|shooter) = .*\n", "", head, flags=re.M)
    head = head.replace('mount = "front"', f'mount = "front"\nreports = "{report.value}"')
    (source / "scenario.toml").write_text("[[waypoints]]".join([head, *waypoints[:_WAYPOINTS]]))
    session = folder / "session"
    simulate(source / "scenario.toml", session, seed)
    for name in ("robot_three_pods.toml", "field_orchard.toml"):
        shutil.copy(CONFIGS / name, session / name)
    config = session / "session.toml"
    config.write_text(re.sub(r'"[^"]*/(robot_three_pods|field_orchard)\.toml"', r'"\1.toml"', config.read_text()))
    return session


@dataclass(frozen=True)
class Fault:
    """One fault: what it is called in the matrix, the code expected, where, and how the files are changed."""

    name: str
    code: SetupFault
    make: Callable[[Path], None]
    report: CameraReport = CameraReport.ROBOT_POSE
    truth: bool = False


def with_fault(session: Path, folder: Path, fault: Fault) -> Path:
    """Copy a healthy session and put the fault in."""
    shutil.copytree(session, folder)
    if not fault.truth:
        without_truth(folder)
    fault.make(folder)
    return folder


def without_truth(folder: Path) -> None:
    """Leave marks as the only reference, as most teams have it."""
    path = folder / "session.toml"
    path.write_text(re.sub(r"\[truth\]\n(?:[^\[].*\n?)*", "", path.read_text()))


def _replaced(file: str, old: str, new: str) -> Callable[[Path], None]:
    def change(folder: Path) -> None:
        path = folder / file
        text = path.read_text()
        assert old in text, (file, old)
        path.write_text(text.replace(old, new))

    return change


def _in_table(table: str, old: str, new: str) -> Callable[[Path], None]:
    """Replace text inside one table of session.toml."""

    def change(folder: Path) -> None:
        path = folder / "session.toml"
        text = path.read_text()
        start = text.index(f"[{table}]")
        end = text.find("\n[", start + 1)
        end = len(text) if end < 0 else end
        inside = text[start:end]
        assert old in inside, (table, old)
        path.write_text(text[:start] + inside.replace(old, new) + text[end:])

    return change


def _columns(file: str, change: Callable[[pd.DataFrame], None]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        data = pd.read_csv(folder / file)
        change(data)
        data.to_csv(folder / file, index=False)

    return apply


def _all(*changes: Callable[[Path], None]) -> Callable[[Path], None]:
    def apply(folder: Path) -> None:
        for change in changes:
            change(folder)

    return apply


def _scale(data: pd.DataFrame, column: str, factor: float) -> None:
    data[column] = data[column] * factor


def _mirror(data: pd.DataFrame) -> None:
    data["py_in"], data["heading_deg"] = -data["py_in"], -data["heading_deg"]


def _exchange_axes(data: pd.DataFrame) -> None:
    data["px_in"], data["py_in"] = data["py_in"].copy(), data["px_in"].copy()
    data["heading_deg"] = 90.0 - data["heading_deg"]


def _rotate(degrees: float, x_m: float = 0.0, y_m: float = 0.0) -> Callable[[pd.DataFrame], None]:
    def change(data: pd.DataFrame) -> None:
        angle = np.radians(degrees)
        x, y = data["px_in"].copy() - x_m / 0.0254, data["py_in"].copy() - y_m / 0.0254
        data["px_in"], data["py_in"] = np.cos(angle) * x + np.sin(angle) * y, -np.sin(angle) * x + np.cos(angle) * y
        data["heading_deg"] -= degrees

    return change


def _delayed_gyro(data: pd.DataFrame) -> None:
    data["gyro_deg"] = np.interp(data["t_ms"] - 80.0, data["t_ms"], data["gyro_deg"])


def _warming_gyro(data: pd.DataFrame) -> None:
    moving = np.maximum(data["t_ms"] - 2900.0, 0.0) / 1000.0
    data["gyro_deg"] += moving * 0.25


def _wrapped(data: pd.DataFrame) -> None:
    data["gyro_deg"] = (data["gyro_deg"] + 180.0) % 360.0 - 180.0


def _exchange_ids(folder: Path) -> None:
    path = folder / "field_orchard.toml"
    text = path.read_text()
    path.write_text(
        text.replace("id = 2\n", "id = 90\n").replace("id = 3\n", "id = 2\n").replace("id = 90\n", "id = 3\n")
    )


def _exchanged_poses(folder: Path) -> None:
    """What a camera's program that has tags 2 and 3 exchanged would report."""
    from locbench.geometry import compose, inverse

    tags = {tag["id"]: tag for tag in tomllib.loads((folder / "field_orchard.toml").read_text())["tags"]}

    def pose(tag: Mapping[str, str]) -> np.ndarray:
        x, y, facing = (float(str(tag[key]).split()[0]) for key in ("x", "y", "facing"))
        return np.array([x, y, np.radians(facing)])

    def change(data: pd.DataFrame) -> None:
        for one, other in ((2, 3), (3, 2)):
            rows = data["id"] == one
            fix = np.column_stack(
                [
                    data.loc[rows, "px_in"] * 0.0254,
                    data.loc[rows, "py_in"] * 0.0254,
                    np.radians(data.loc[rows, "heading_deg"]),
                ]
            )
            moved = compose(compose(pose(tags[other]), inverse(pose(tags[one]))), fix)
            data.loc[rows, "px_in"], data.loc[rows, "py_in"] = moved[:, 0] / 0.0254, moved[:, 1] / 0.0254
            data.loc[rows, "heading_deg"] = np.degrees(moved[:, 2])

    _columns("tags.csv", change)(folder)


def _tag_elsewhere(folder: Path) -> None:
    path = folder / "field_orchard.toml"
    text = path.read_text()
    path.write_text(text.replace('id = 3\nx = "2.9 m"', 'id = 3\nx = "2.65 m"'))


_READS = CameraReport
FAULTS = (
    Fault(
        "left and right pod exchanged",
        SetupFault.PODS_EXCHANGED,
        _in_table("odometry", 'left = "enc_left", right = "enc_right"', 'left = "enc_right", right = "enc_left"'),
    ),
    Fault(
        "left and cross pod exchanged",
        SetupFault.PODS_EXCHANGED,
        _in_table(
            "odometry",
            'left = "enc_left", right = "enc_right", cross = "enc_cross"',
            'left = "enc_cross", right = "enc_right", cross = "enc_left"',
        ),
    ),
    Fault(
        "right pod not marked as reversed",
        SetupFault.POD_REVERSED,
        _replaced("robot_three_pods.toml", "reversed = true", "reversed = false"),
    ),
    Fault(
        "cross pod runs backwards",
        SetupFault.POD_REVERSED,
        _replaced(
            "robot_three_pods.toml", 'rolling_direction = "90 deg"', 'rolling_direction = "90 deg"\nreversed = true'
        ),
    ),
    Fault(
        "left pod has half the counts",
        SetupFault.POD_SCALE,
        _columns("odometry.csv", lambda data: data.__setitem__("enc_left", data["enc_left"] // 2)),
    ),
    Fault(
        "all wheels 35 mm instead of 50 mm",
        SetupFault.POD_SCALE,
        _replaced("robot_three_pods.toml", 'wheel_diameter = "50 mm"', 'wheel_diameter = "35 mm"'),
    ),
    Fault(
        "cross wheel 60 mm instead of 50 mm",
        SetupFault.POD_SCALE,
        _replaced(
            "robot_three_pods.toml",
            '[pods.cross]\nx = "-100 mm"\ny = "0 mm"\nrolling_direction = "90 deg"    # rolls to the left\nwheel_diameter = "50 mm"',
            '[pods.cross]\nx = "-100 mm"\ny = "0 mm"\nrolling_direction = "90 deg"    # rolls to the left\nwheel_diameter = "60 mm"',
        ),
    ),
    Fault(
        "gyro counts clockwise",
        SetupFault.HEADING_SENSE,
        _columns("odometry.csv", lambda data: _scale(data, "gyro_deg", -1.0)),
    ),
    Fault(
        "tag headings count clockwise",
        SetupFault.HEADING_SENSE,
        _columns("tags.csv", lambda data: _scale(data, "heading_deg", -1.0)),
    ),
    Fault(
        "tag headings are zero along +y",
        SetupFault.HEADING_ZERO,
        _columns("tags.csv", lambda data: data.__setitem__("heading_deg", data["heading_deg"] - 90.0)),
    ),
    Fault(
        "gyro in radians, read as degrees",
        SetupFault.ANGLE_UNIT,
        _columns("odometry.csv", lambda data: _scale(data, "gyro_deg", np.pi / 180.0)),
    ),
    Fault(
        "gyro in degrees, read as radians",
        SetupFault.ANGLE_UNIT,
        _all(
            _columns("odometry.csv", _wrapped),
            _in_table(
                "odometry",
                'heading = { column = "gyro_deg", unit = "deg" }',
                'heading = { column = "gyro_deg", unit = "rad" }',
            ),
        ),
    ),
    Fault(
        "tag headings in degrees, read as radians",
        SetupFault.ANGLE_UNIT,
        _in_table(
            "tags",
            'heading = { column = "heading_deg", unit = "deg" }',
            'heading = { column = "heading_deg", unit = "rad" }',
        ),
    ),
    Fault(
        "tag positions in inches, read as centimetres",
        SetupFault.LENGTH_UNIT,
        _all(
            _in_table("tags", 'x = { column = "px_in", unit = "in" }', 'x = { column = "px_in", unit = "cm" }'),
            _in_table("tags", 'y = { column = "py_in", unit = "in" }', 'y = { column = "py_in", unit = "cm" }'),
        ),
    ),
    Fault(
        "tag positions in inches, read as metres",
        SetupFault.LENGTH_UNIT,
        _all(
            _in_table("tags", 'x = { column = "px_in", unit = "in" }', 'x = { column = "px_in", unit = "m" }'),
            _in_table("tags", 'y = { column = "py_in", unit = "in" }', 'y = { column = "py_in", unit = "m" }'),
        ),
    ),
    Fault("tag frame turned by 90 degrees", SetupFault.FRAME_ROTATED, _columns("tags.csv", _rotate(90.0))),
    Fault(
        "tag frame turned half, origin in the opposite corner",
        SetupFault.FRAME_ROTATED,
        _columns("tags.csv", _rotate(180.0, 4.0, 4.0)),
    ),
    Fault("tag frame mirrored", SetupFault.FRAME_MIRRORED, _columns("tags.csv", _mirror)),
    Fault("x and y of tag poses exchanged", SetupFault.FRAME_MIRRORED, _columns("tags.csv", _exchange_axes)),
    Fault(
        "tag frame's origin in the middle of the floor",
        SetupFault.FRAME_SHIFTED,
        _columns("tags.csv", _rotate(0.0, 2.0, 2.0)),
    ),
    Fault("tag ids 2 and 3 exchanged, tag poses", SetupFault.TAGS_EXCHANGED, _exchange_ids, _READS.TAG_POSE),
    Fault("tag ids 2 and 3 exchanged, robot poses", SetupFault.TAGS_EXCHANGED, _exchanged_poses),
    Fault(
        "tag ids 2 and 3 exchanged, ranges and bearings", SetupFault.TAGS_EXCHANGED, _exchange_ids, _READS.RANGE_BEARING
    ),
    Fault("tag 3 hangs 250 mm elsewhere, tag poses", SetupFault.TAG_MISPLACED, _tag_elsewhere, _READS.TAG_POSE),
    Fault(
        "tag 3 hangs 250 mm elsewhere, ranges and bearings",
        SetupFault.TAG_MISPLACED,
        _tag_elsewhere,
        _READS.RANGE_BEARING,
    ),
    Fault(
        "ranges 8 % long",
        SetupFault.RANGE_SCALE,
        _columns("tags.csv", lambda data: _scale(data, "range_in", 1.08)),
        _READS.RANGE_BEARING,
    ),
    Fault(
        "bearings 4 degrees off",
        SetupFault.BEARING_BIAS,
        _columns("tags.csv", lambda data: data.__setitem__("bearing_deg", data["bearing_deg"] + 4.0)),
        _READS.RANGE_BEARING,
    ),
    Fault("tag clock 0.25 s ahead", SetupFault.CLOCK_SHIFT, _in_table("tags", "kind = ", 'offset = "250 ms"\nkind = ')),
    Fault("tag clock 1.5 s behind", SetupFault.CLOCK_SHIFT, _in_table("tags", "kind = ", 'offset = "-1.5 s"\nkind = ')),
    Fault(
        "marks pressed on a clock 0.8 s ahead",
        SetupFault.CLOCK_SHIFT,
        _in_table("marks", "mark = ", 'offset = "800 ms"\nmark = '),
    ),
    Fault("gyro 80 ms late", SetupFault.GYRO_LAG, _columns("odometry.csv", _delayed_gyro)),
    Fault("start on another mark", SetupFault.START_POSE, _replaced("session.toml", 'mark = "S1"', 'mark = "M4"')),
    Fault(
        "start heading 10 degrees off",
        SetupFault.START_POSE,
        _replaced(
            "session.toml", '[start]\nmark = "S1"', '[start]\nmark = "S1"\nheading = "10 deg"\nheading_std = "0.3 deg"'
        ),
    ),
    Fault("gyro drifts at rest", SetupFault.GYRO_DRIFT, _columns("odometry.csv", _warming_gyro)),
    Fault(
        "truth in another frame",
        SetupFault.FRAME_ROTATED,
        _in_table("truth", "file = ", 'frame = { rotate = "90 deg" }\nfile = '),
        truth=True,
    ),
    Fault(
        "truth clock 0.4 s ahead",
        SetupFault.CLOCK_SHIFT,
        _in_table("truth", "file = ", 'offset = "400 ms"\nfile = '),
        truth=True,
    ),
    Fault(
        "truth in centimetres, read as inches",
        SetupFault.LENGTH_UNIT,
        _all(
            _in_table("truth", 'unit = "mm"', 'unit = "in"'),
            _columns("truth.csv", lambda data: (_scale(data, "x_mm", 0.1), _scale(data, "y_mm", 0.1))),
        ),
        truth=True,
    ),
)
