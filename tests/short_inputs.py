"""Small inputs of the command line, held as bytes: pieces of the demo sessions, logs of other kinds, a scenario."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from logs import SmallLog

from locbench.jobs.simulate import simulate

__all__ = ["DEMOS", "OTHER_LOGS", "Input", "demo", "other_log", "scenario"]

ROOT = Path(__file__).parents[1]
DEMOS = sorted(path.name for path in (ROOT / "logs_demo").iterdir())
TAG_KINDS = ["tag_pose", "range_bearing", "bearing", "range"]
ODOMETRY_KINDS = ["increments", "velocities", "poses"]
DRIVEN = "drive_wheels"
OTHER_LOGS = [*TAG_KINDS, *ODOMETRY_KINDS, DRIVEN]

SCENARIO = """name = "short run"
seed = 5
robot = "robot.toml"
field = "field.toml"
fusion = ["fusion.toml"]
shooter = "shooter.toml"
requests = ["1 s", "3 s"]
[start]
mark = "S1"
standstill = "1.6 s"
[logging]
odometry_period = "20 ms"
truth_period = "100 ms"
[driving]
speed = "1.2 m/s"
[placing]
position_std = "2 mm"
[pods]
along_per_metre = "3 mm"
[gyro]
bias = "0.06 deg/s"
lag = "4 ms"
[camera]
mount = "front"
reports = "robot_pose"
frame_period = "100 ms"
dropped = "8 %"
false_ids = "1 %"
flips = "1 %"
latency = "50 ms"
latency_jitter = "6 ms"
[camera.noise]
along_floor = "9 mm"
across_floor = "9 mm"
heading_floor = "0.7 deg"
[[shoves]]
start = "2.2 s"
contact = "300 ms"
recovery = "600 ms"
dx = "-60 mm"
pods_lose = { left = "40 %" }
gyro_loses = "10 %"
[[slips]]
pod = "cross"
start = "2.5 s"
duration = "500 ms"
lost = "20 %"
[truth.pods.left]
wheel_diameter = "49.8 mm"
[[truth.tags]]
id = 5
dy = "8 mm"
[[waypoints]]
x = "1.5 m"
y = "1 m"
heading = "30 deg"
[[waypoints]]
mark = "M4"
dwell = "700 ms"
"""


@dataclass(frozen=True)
class Input:
    """The files of one run, by their path in a folder, and the path that the command is given."""

    files: Mapping[str, bytes]
    argument: str

    def write(self, folder: Path, spoilt: Mapping[str, bytes]) -> Path:
        """Write all files, the `spoilt` ones in place of those in order, and return the command's argument."""
        for name, data in {**self.files, **spoilt}.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        return folder / self.argument


def _until(table: bytes, end_ms: float, every: int = 1) -> bytes:
    head, *rows = table.splitlines(keepends=True)
    return head + b"".join(row for row in rows[::every] if float(row.split(b",")[0]) <= end_ms)


@cache
def demo(name: str) -> Input:
    """Return a demo session from its start to shortly after the first mark, with thinned rows."""
    folder = ROOT / "logs_demo" / name
    tables = {path.name: path.read_bytes() for path in folder.iterdir()}
    first_visit = tables["marks.csv"].splitlines()[1]
    end_ms = float(first_visit.split(b",")[1]) + 300.0
    every = {"odometry.csv": 2, "tags.csv": 3, "truth.csv": 5}
    files = {
        f"logs/{name}/{file}": _until(data, end_ms, every.get(file, 1)) if file.endswith(".csv") else data
        for file, data in tables.items()
    }
    named = ("robot_three_pods", "field_orchard", "fusion_gated_kalman", "fusion_always_reset", "shooter_orchard")
    configs = {f"configs/{file}.toml": (ROOT / "configs" / f"{file}.toml").read_bytes() for file in named}
    return Input({**files, **configs}, f"logs/{name}")


def _files_of(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _with_driven_wheels(log: SmallLog) -> SmallLog:
    robot = log.folder / "robot.toml"
    for name, y in (("front", 140), ("rear", -140)):
        place = f'[drive_wheels.{name}]\nx = "0 mm"\ny = "{y} mm"\n'
        robot.write_text(robot.read_text() + place + 'wheel_diameter = "70 mm"\ncounts_per_revolution = 2048\n')
    table = log.tables["odometry.csv"]
    table["df"], table["dr"] = table["l"] // 8, -table["r"] // 8
    log.parts["odometry"] += 'drive_wheels = { front = "df", rear = { column = "dr", bits = 32 } }\n'
    return log


@cache
def other_log(kind: str) -> Input:
    """Return a short log of another kind of detections, simulated, of another kind of odometry, or of driven wheels."""
    with TemporaryDirectory() as made:
        folder = Path(made)
        if kind in TAG_KINDS:
            scenario().write(folder, {})
            path = folder / "configs" / "scenario.toml"
            path.write_text(path.read_text().replace('"robot_pose"', f'"{kind}"'))
            simulate(path, folder / "log")
            path.unlink()
        elif kind == DRIVEN:
            _with_driven_wheels(SmallLog(folder / "log").with_tags().with_marks().with_truth()).write()
        else:
            log = SmallLog(folder / "log", kind, "odometry.csv.gz" if kind == "poses" else "odometry.csv")
            log.with_tags().with_marks().with_truth().with_requests([1.0, 2.0]).write()
        return Input(_files_of(folder), "log")


@cache
def scenario() -> Input:
    """Return a drive of a few seconds that uses every table a scenario can have."""
    named = {
        "robot": "robot_three_pods",
        "field": "field_orchard",
        "fusion": "fusion_gated_kalman",
        "shooter": "shooter_orchard",
    }
    files = {f"configs/{key}.toml": (ROOT / "configs" / f"{name}.toml").read_bytes() for key, name in named.items()}
    return Input({**files, "configs/scenario.toml": SCENARIO.encode()}, "configs/scenario.toml")
