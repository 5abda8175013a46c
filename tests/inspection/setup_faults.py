"""Simulated sessions with one known fault of the set-up each, made by changing what the files say about a healthy run.

`python tests/inspection/setup_faults.py` prints which faults `locbench inspect` names, out of ten runs each.
"""

import re
import shutil
import tempfile
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from locbench.config.scenario import CameraReport
from locbench.geometry import compose, inverse
from locbench.inspection.diagnosis import SetupFault
from locbench.jobs.inspect import inspect
from locbench.jobs.simulate import simulate
from locbench.results import Inspection

__all__ = [
    "FAULTS",
    "HEALTHY",
    "SEEDS",
    "Change",
    "Fault",
    "added",
    "as_healthy",
    "columns",
    "error_codes",
    "healthy_session",
    "in_file",
    "offset",
    "rotated",
    "row_of_one_seed",
    "scaled",
    "with_fault",
]

Change = Callable[[Path], None]

CONFIGS = Path(__file__).parents[2] / "configs"
SEEDS = range(101, 111)
# as long a drive as a pre-match check would take
_WAYPOINTS = 15


def healthy_session(folder: Path, seed: int, report: CameraReport) -> Path:
    """Simulate the healthy tour, shortened, with a camera of that kind; robot and field stand beside the tables."""
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
    make: Change
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


def in_file(file: str, old: str, new: str) -> Change:
    """Replace text in a file."""

    def change(folder: Path) -> None:
        path = folder / file
        text = path.read_text()
        assert old in text, (file, old)
        path.write_text(text.replace(old, new))

    return change


def _in_table(table: str, old: str, new: str) -> Change:
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


def columns(file: str, change: Callable[[pd.DataFrame], None]) -> Change:
    """Change the columns of a table."""

    def apply(folder: Path) -> None:
        data = pd.read_csv(folder / file)
        change(data)
        data.to_csv(folder / file, index=False)

    return apply


def _all(*changes: Change) -> Change:
    def apply(folder: Path) -> None:
        for change in changes:
            change(folder)

    return apply


def _mirror(data: pd.DataFrame) -> None:
    data["py_in"], data["heading_deg"] = -data["py_in"], -data["heading_deg"]


def _exchange_axes(data: pd.DataFrame) -> None:
    data["px_in"], data["py_in"] = data["py_in"].copy(), data["px_in"].copy()
    data["heading_deg"] = 90.0 - data["heading_deg"]


def rotated(degrees: float, x_m: float = 0.0, y_m: float = 0.0) -> Callable[[pd.DataFrame], None]:
    """Return tag poses as a frame turned by that much, with its origin there, has them."""

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

    columns("tags.csv", change)(folder)


def _tag_elsewhere(folder: Path) -> None:
    path = folder / "field_orchard.toml"
    text = path.read_text()
    path.write_text(text.replace('id = 3\nx = "2.9 m"', 'id = 3\nx = "2.65 m"'))


_LEFT, _RIGHT, _CROSS = "enc_left", "enc_right", "enc_cross"
_PODS = 'left = "{}", right = "{}", cross = "{}"'
_GYRO_IN = 'heading = {{ column = "gyro_deg", unit = "{}" }}'
_TAG_HEADING_IN = 'heading = {{ column = "heading_deg", unit = "{}" }}'
_X_IN, _Y_IN = 'x = {{ column = "px_in", unit = "{}" }}', 'y = {{ column = "py_in", unit = "{}" }}'
_CROSS_WHEEL = 'rolling_direction = "90 deg"    # rolls to the left\nwheel_diameter = "{} mm"'
_ROBOT = "robot_three_pods.toml"


def _pods_as(*columns: str) -> Change:
    return _in_table("odometry", _PODS.format(_LEFT, _RIGHT, _CROSS), _PODS.format(*columns))


def _tag_lengths_in(unit: str) -> Change:
    return _all(*(_in_table("tags", text.format("in"), text.format(unit)) for text in (_X_IN, _Y_IN)))


def offset(table: str, key: str, value: str) -> Change:
    """Give a table of session.toml an offset; `key` is one of its keys."""
    return _in_table(table, f"{key} = ", f'offset = "{value}"\n{key} = ')


def scaled(file: str, factor: float, *names: str) -> Change:
    """Multiply columns of a table."""

    def change(data: pd.DataFrame) -> None:
        for name in names:
            data[name] = data[name] * factor

    return columns(file, change)


def added(file: str, name: str, value: float) -> Change:
    """Add to a column of a table."""

    def change(data: pd.DataFrame) -> None:
        data[name] = data[name] + value

    return columns(file, change)


def _halved_counts(data: pd.DataFrame) -> None:
    data[_LEFT] = data[_LEFT] // 2


_F, _RAYS, _TAG_POSES = SetupFault, CameraReport.RANGE_BEARING, CameraReport.TAG_POSE
FAULTS = (
    Fault("left and right pod exchanged", _F.PODS_EXCHANGED, _pods_as(_RIGHT, _LEFT, _CROSS)),
    Fault("left and cross pod exchanged", _F.PODS_EXCHANGED, _pods_as(_CROSS, _RIGHT, _LEFT)),
    Fault("right pod not marked as reversed", _F.POD_REVERSED, in_file(_ROBOT, "reversed = true", "reversed = false")),
    Fault(
        "cross pod runs backwards",
        _F.POD_REVERSED,
        in_file(_ROBOT, _CROSS_WHEEL.format(50), "reversed = true\n" + _CROSS_WHEEL.format(50)),
    ),
    Fault("left pod logs half the counts", _F.POD_SCALE, columns("odometry.csv", _halved_counts)),
    Fault(
        "all wheels 35 mm instead of 50 mm",
        _F.POD_SCALE,
        in_file(_ROBOT, 'wheel_diameter = "50 mm"', 'wheel_diameter = "35 mm"'),
    ),
    Fault(
        "cross wheel 60 mm instead of 50 mm",
        _F.POD_SCALE,
        in_file(_ROBOT, _CROSS_WHEEL.format(50), _CROSS_WHEEL.format(60)),
    ),
    Fault("gyro counts clockwise", _F.HEADING_SENSE, scaled("odometry.csv", -1.0, "gyro_deg")),
    Fault("tag headings count clockwise", _F.HEADING_SENSE, scaled("tags.csv", -1.0, "heading_deg")),
    Fault("tag headings are zero along +y", _F.HEADING_ZERO, added("tags.csv", "heading_deg", -90.0)),
    Fault("gyro in radians, read as degrees", _F.ANGLE_UNIT, scaled("odometry.csv", np.pi / 180.0, "gyro_deg")),
    Fault(
        "gyro in degrees that wrap around, read as radians",
        _F.ANGLE_UNIT,
        _all(columns("odometry.csv", _wrapped), _in_table("odometry", _GYRO_IN.format("deg"), _GYRO_IN.format("rad"))),
    ),
    Fault(
        "tag headings in degrees, read as radians",
        _F.ANGLE_UNIT,
        _in_table("tags", _TAG_HEADING_IN.format("deg"), _TAG_HEADING_IN.format("rad")),
    ),
    Fault("tag positions in inches, read as centimetres", _F.LENGTH_UNIT, _tag_lengths_in("cm")),
    Fault("tag positions in inches, read as metres", _F.LENGTH_UNIT, _tag_lengths_in("m")),
    Fault("tag frame turned by 90 degrees", _F.FRAME_ROTATED, columns("tags.csv", rotated(90.0))),
    Fault(
        "tag frame turned by half, from the opposite corner",
        _F.FRAME_ROTATED,
        columns("tags.csv", rotated(180.0, 4.0, 4.0)),
    ),
    Fault("y of tag poses negated", _F.FRAME_MIRRORED, columns("tags.csv", _mirror)),
    Fault("x and y of tag poses exchanged", _F.FRAME_MIRRORED, columns("tags.csv", _exchange_axes)),
    Fault(
        "tag frame's origin in the middle of the floor",
        _F.FRAME_SHIFTED,
        columns("tags.csv", rotated(0.0, 2.0, 2.0)),
    ),
    Fault("tag ids 2 and 3 exchanged, tag poses", _F.TAGS_EXCHANGED, _exchange_ids, _TAG_POSES),
    Fault("tag ids 2 and 3 exchanged in the camera's program", _F.TAGS_EXCHANGED, _exchanged_poses),
    Fault("tag ids 2 and 3 exchanged, ranges and bearings", _F.TAGS_EXCHANGED, _exchange_ids, _RAYS),
    Fault("tag 3 hangs 250 mm elsewhere, tag poses", _F.TAG_MISPLACED, _tag_elsewhere, _TAG_POSES),
    Fault("tag 3 hangs 250 mm elsewhere, ranges and bearings", _F.TAG_MISPLACED, _tag_elsewhere, _RAYS),
    Fault("ranges 8 % long", _F.RANGE_SCALE, scaled("tags.csv", 1.08, "range_in"), _RAYS),
    Fault("bearings 4 degrees off", _F.BEARING_BIAS, added("tags.csv", "bearing_deg", 4.0), _RAYS),
    Fault("tag clock 0.25 s ahead", _F.CLOCK_SHIFT, offset("tags", "kind", "250 ms")),
    Fault("tag clock 1.5 s behind", _F.CLOCK_SHIFT, offset("tags", "kind", "-1.5 s")),
    Fault("clock of the marks 0.8 s ahead", _F.CLOCK_SHIFT, offset("marks", "mark", "800 ms")),
    Fault("gyro 80 ms late", _F.GYRO_LAG, columns("odometry.csv", _delayed_gyro)),
    Fault("start on another mark", _F.START_POSE, in_file("session.toml", 'mark = "S1"', 'mark = "M4"')),
    Fault(
        "start heading 10 degrees off",
        _F.START_POSE,
        in_file("session.toml", 'mark = "S1"', 'mark = "S1"\nheading = "10 deg"\nheading_std = "0.3 deg"'),
    ),
    Fault("gyro drifts by 15 degrees a minute at rest", _F.GYRO_DRIFT, columns("odometry.csv", _warming_gyro)),
    Fault(
        "truth in a frame turned by 90 degrees",
        _F.FRAME_ROTATED,
        _in_table("truth", "file = ", 'frame = { rotate = "90 deg" }\nfile = '),
        truth=True,
    ),
    Fault("truth clock 0.4 s ahead", _F.CLOCK_SHIFT, offset("truth", "file", "400 ms"), truth=True),
    Fault(
        "truth in centimetres, read as inches",
        _F.LENGTH_UNIT,
        _all(_in_table("truth", 'unit = "mm"', 'unit = "in"'), scaled("truth.csv", 0.1, "x_mm", "y_mm")),
        truth=True,
    ),
)


@dataclass(frozen=True)
class Healthy:
    """A session without a fault."""

    report: CameraReport
    truth: bool

    @property
    def name(self) -> str:
        """As the matrix has it."""
        return f"healthy, {self.report.value}{' and truth' if self.truth else ''}"


HEALTHY = tuple(
    Healthy(report, truth) for report in (CameraReport.ROBOT_POSE, _TAG_POSES, _RAYS) for truth in (False, True)
)


def error_codes(inspection: Inspection) -> list[str]:
    """Return the codes that an inspection names as errors."""
    return [found.code for found in inspection.diagnoses if found.severity == "error"]


def row_of_one_seed(folder: Path, seed: int) -> dict[str, list[str]]:
    """Return what an inspection names, per fault and healthy session, in the run of one seed."""
    runs = {report: healthy_session(folder / report.value, seed, report) for report in {one.report for one in FAULTS}}
    named = {}
    for number, fault in enumerate(FAULTS):
        changed = with_fault(runs[fault.report], folder / f"fault_{number}", fault)
        named[fault.name] = error_codes(inspect(changed).inspection)
        shutil.rmtree(changed)
    for number, healthy in enumerate(HEALTHY):
        same = as_healthy(runs[healthy.report], folder / f"healthy_{number}", healthy)
        named[healthy.name] = error_codes(inspect(same).inspection)
        shutil.rmtree(same)
    return named


def as_healthy(run: Path, folder: Path, healthy: Healthy) -> Path:
    """Return a copy of a run with what that healthy session has."""
    shutil.copytree(run, folder)
    if not healthy.truth:
        without_truth(folder)
    return folder


def matrix(seeds: Iterable[int]) -> str:
    """Return the table of the README: how many runs with each fault name exactly its code."""
    with tempfile.TemporaryDirectory() as folder:
        rows = [row_of_one_seed(Path(folder) / str(seed), seed) for seed in seeds]
    lines = ["| what is wrong | code | named, and nothing else |", "|---|---|---|"]
    expected = {**{fault.name: [fault.code.value] for fault in FAULTS}, **{healthy.name: [] for healthy in HEALTHY}}
    for name, codes in expected.items():
        right = sum(row[name] == codes for row in rows)
        lines.append(f"| {name} | {f'`{codes[0]}`' if codes else 'none'} | {right} of {len(rows)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(matrix(SEEDS))
