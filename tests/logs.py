"""Writes small session folders in any of the kinds a team may log, from one analytic drive."""

import gzip
from pathlib import Path

import numpy as np
import pandas as pd

__all__ = ["FIELD", "MARKS", "ROBOT", "SmallLog"]

ROBOT = """name = "test robot"
heading_from = "gyro"
[pods.left]
x = "0 mm"
y = "150 mm"
wheel_diameter = "35 mm"
counts_per_revolution = 8192
[pods.right]
x = "0 mm"
y = "-150 mm"
wheel_diameter = "35 mm"
counts_per_revolution = 8192
reversed = true
[pods.cross]
x = "-100 mm"
y = "0 mm"
rolling_direction = "90 deg"
wheel_diameter = "35 mm"
counts_per_revolution = 8192
[gyro]
heading_per_minute = "0.5 deg"
[cameras.front]
x = "100 mm"
y = "0 mm"
z = "300 mm"
"""
FIELD = """name = "test floor"
[floor]
x_from = "0 m"
x_to = "4 m"
y_from = "0 m"
y_to = "4 m"
[[tags]]
id = 1
x = "4 m"
y = "2 m"
facing = "180 deg"
[[marks]]
name = "S1"
x = "1 m"
y = "1 m"
heading = "0 deg"
position_std = "2 mm"
heading_std = "0.3 deg"
[[marks]]
name = "M2"
x = "2 m"
y = "2 m"
heading = "90 deg"
position_std = "2 mm"
heading_std = "0.3 deg"
[[goals]]
name = "east bin"
x = "3.5 m"
y = "2 m"
height = "0.7 m"
opening = { kind = "horizontal", radius = "200 mm" }
[[bands]]
name = "near"
from = "0 m"
to = "2 m"
[[bands]]
name = "far"
from = "2 m"
to = "5 m"
"""
_HEAD = """name = "small log"
robot = "robot.toml"
field = "field.toml"
[start]
mark = "S1"
"""
_TIME = 'time = { column = "t_ms", unit = "ms" }\n'
ODOMETRY = {
    "pod_counts": '[odometry]\nkind = "pod_counts"\nfile = "{file}"\n'
    + _TIME
    + 'pods = { left = "l", right = "r", cross = "c" }\nheading = { column = "gyro", unit = "deg" }\n',
    "increments": '[odometry]\nkind = "increments"\nfile = "{file}"\n'
    + _TIME
    + 'forward = { column = "dx", unit = "in" }\nleft = { column = "dy", unit = "in" }\n'
    + 'turn = { column = "dh", unit = "deg" }\n',
    "velocities": '[odometry]\nkind = "velocities"\nfile = "{file}"\n'
    + _TIME
    + 'forward = { column = "vx", unit = "cm/s" }\nleft = { column = "vy", unit = "cm/s" }\n'
    + 'turn_rate = { column = "w", unit = "deg/s" }\n',
    "poses": '[odometry]\nkind = "poses"\nfile = "{file}"\n'
    + _TIME
    + 'x = { column = "x", unit = "ft" }\ny = { column = "y", unit = "ft" }\n'
    + 'heading = { column = "h", unit = "turn" }\n',
}
TAGS = """[tags]
kind = "robot_pose"
file = "tags.csv"
captured = { column = "t_ms", unit = "ms" }
latency = "40 ms"
tag = "id"
x = { column = "x", unit = "m" }
y = { column = "y", unit = "m" }
heading = { column = "h", unit = "deg" }
"""
MARKS = """[marks]
file = "marks.csv"
begin = { column = "begin", unit = "s" }
end = { column = "end", unit = "s" }
mark = "mark"
"""
TRUTH = """[truth]
file = "truth.csv"
time = { column = "t_ms", unit = "ms" }
x = { column = "x", unit = "m" }
y = { column = "y", unit = "m" }
heading = { column = "h", unit = "deg" }
"""


class SmallLog:
    """A drive of constant body velocity from mark S1: forward 0.5 m/s, left 0.1 m/s, turning 20 deg/s, for 8 s."""

    velocity = np.array([0.5, 0.1, np.radians(20.0)])

    def __init__(self, folder: Path, kind: str = "pod_counts", file: str = "odometry.csv") -> None:
        self.folder, self.kind, self.file = folder, kind, file
        self.time = np.arange(0.0, 8.005, 0.02)
        self.parts = {"odometry": ODOMETRY[kind].replace("{file}", file)}
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "robot.toml").write_text(ROBOT)
        (folder / "field.toml").write_text(FIELD)
        self.tables = {file: self._odometry()}

    @property
    def poses(self) -> np.ndarray:
        """Closed form of the arc."""
        forward, left, rate = self.velocity
        angle = rate * self.time
        radius_x = (forward * np.sin(angle) - left * (1 - np.cos(angle))) / rate
        radius_y = (forward * (1 - np.cos(angle)) + left * np.sin(angle)) / rate
        return np.column_stack([1 + radius_x, 1 + radius_y, angle])

    def _odometry(self) -> pd.DataFrame:
        forward, left, rate = self.velocity
        t_ms, step = 1000 * self.time, 0.02
        metres_per_count = np.pi * 0.035 / 8192
        poses = self.poses
        count = len(self.time)
        columns = {
            "pod_counts": {
                "l": np.round((forward - 0.15 * rate) * self.time / metres_per_count),
                "r": np.round(-(forward + 0.15 * rate) * self.time / metres_per_count),
                "c": np.round((left - 0.1 * rate) * self.time / metres_per_count),
                "gyro": np.degrees(rate * self.time),
            },
            "increments": {
                "dx": np.full(count, forward * step / 0.0254),
                "dy": np.full(count, left * step / 0.0254),
                "dh": np.full(count, np.degrees(rate * step)),
            },
            "velocities": {
                "vx": np.full(count, 100 * forward),
                "vy": np.full(count, 100 * left),
                "w": np.full(count, np.degrees(rate)),
            },
            "poses": {"x": poses[:, 0] / 0.3048, "y": poses[:, 1] / 0.3048, "h": poses[:, 2] / (2 * np.pi)},
        }[self.kind]
        return pd.DataFrame({"t_ms": t_ms, **columns})

    def with_tags(self, every: int = 10) -> "SmallLog":
        rows = slice(None, None, every)
        poses = self.poses[rows]
        table = {"t_ms": 1000 * self.time[rows], "id": 1, "x": poses[:, 0], "y": poses[:, 1]}
        self.tables["tags.csv"] = pd.DataFrame({**table, "h": np.degrees(poses[:, 2])})
        self.parts["tags"] = TAGS
        return self

    def with_marks(self) -> "SmallLog":
        self.tables["marks.csv"] = pd.DataFrame({"begin": [2.0, 5.0], "end": [3.0, 5.0], "mark": ["M2", "S1"]})
        self.parts["marks"] = MARKS
        return self

    def with_truth(self) -> "SmallLog":
        poses = self.poses
        table = {"t_ms": 1000 * self.time, "x": poses[:, 0], "y": poses[:, 1], "h": np.degrees(poses[:, 2])}
        self.tables["truth.csv"] = pd.DataFrame(table)
        self.parts["truth"] = TRUTH
        return self

    def with_requests(self, pressed_s: list[float]) -> "SmallLog":
        self.tables["requests.csv"] = pd.DataFrame({"t": pressed_s, "button": "A"})
        self.parts["requests"] = '[requests]\nfile = "requests.csv"\ntime = { column = "t", unit = "s" }\n'
        return self

    def write(self, extra: str = "", head: str = _HEAD) -> Path:
        """Write everything and return the folder."""
        for file, table in self.tables.items():
            path = self.folder / file
            if file.endswith(".parquet"):
                table.to_parquet(path)
            elif file.endswith(".gz"):
                with gzip.open(path, "wt") as stream:
                    table.to_csv(stream, index=False)
            else:
                table.to_csv(path, index=False)
        (self.folder / "session.toml").write_text(head + extra + "".join(self.parts.values()))
        return self.folder
