"""Motions known in closed form, and small scenarios built from text."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from locbench.config import FieldConfig, RobotConfig, ScenarioConfig, load_config
from locbench.session.writer import SourceFiles
from locbench.simulation import Recording, record_run

ROBOT = """
name = "test robot"
[pods.left]
x = "10 mm"
y = "120 mm"
wheel_diameter = "50 mm"
counts_per_revolution = 4096
[pods.right]
x = "-20 mm"
y = "-130 mm"
wheel_diameter = "40 mm"
counts_per_revolution = 2000
reversed = true
[pods.cross]
x = "-100 mm"
y = "15 mm"
rolling_direction = "80 deg"
wheel_diameter = "50 mm"
counts_per_revolution = 4096
[gyro]
[cameras.front]
x = "150 mm"
y = "20 mm"
z = "350 mm"
yaw = "10 deg"
"""

FIELD = """
name = "test floor"
floor = { x_from = "0 m", x_to = "4 m", y_from = "0 m", y_to = "4 m" }
tags = [
  { id = 1, x = "4 m", y = "1 m", z = "400 mm", facing = "180 deg" },
  { id = 2, x = "4 m", y = "3 m", z = "400 mm", facing = "170 deg" },
  { id = 5, x = "1 m", y = "4 m", z = "400 mm", facing = "-90 deg" },
]
marks = [
  { name = "A", x = "1 m", y = "1 m", heading = "0 deg", position_std = "2 mm", heading_std = "0.3 deg" },
  { name = "B", x = "3 m", y = "1 m", heading = "0 deg", position_std = "2 mm", heading_std = "0.3 deg" },
  { name = "C", x = "2 m", y = "2.5 m", heading = "120 deg", position_std = "2 mm", heading_std = "0.3 deg" },
  { name = "bare", x = "2 m", y = "1 m" },
]
"""

SCENARIO = """
name = "test run"
seed = 1
robot = "robot.toml"
field = "field.toml"
start = { mark = "A", standstill = "2 s" }
"""

ROUND_TRIP = """
[[waypoints]]
mark = "B"
dwell = "1 s"
[[waypoints]]
mark = "C"
dwell = "1 s"
[[waypoints]]
mark = "A"
dwell = "1 s"
"""


@dataclass(frozen=True)
class Screw:
    """Turning at a constant rate about a fixed centre from a heading; without turning, a straight drive."""

    start: tuple[float, float, float]
    forward_m_s: float
    left_m_s: float
    turn_rate_rad_s: float

    def pose_at(self, time_s: np.ndarray) -> np.ndarray:
        x, y, heading = self.start
        time = np.asarray(time_s, dtype=float)
        now = heading + self.turn_rate_rad_s * time
        if self.turn_rate_rad_s == 0.0:
            c, s = np.cos(heading), np.sin(heading)
            east = x + (c * self.forward_m_s - s * self.left_m_s) * time
            north = y + (s * self.forward_m_s + c * self.left_m_s) * time
            return np.stack([east, north, now], axis=-1)
        # the centre of rotation lies across the velocity, at distance speed / rate
        to_centre = complex(-self.left_m_s, self.forward_m_s) / self.turn_rate_rad_s
        centre = complex(x, y) + to_centre * np.exp(1j * heading)
        place = centre - to_centre * np.exp(1j * now)
        return np.stack([place.real, place.imag, now], axis=-1)


@pytest.fixture
def screw() -> type[Screw]:
    return Screw


@dataclass(frozen=True)
class Bench:
    """A folder with robot, field and scenario files, and the models in them."""

    folder: Path
    robot: RobotConfig
    field: FieldConfig

    def scenario(self, text: str) -> ScenarioConfig:
        path = self.folder / "scenario.toml"
        path.write_text(SCENARIO + text, encoding="utf-8")
        return load_config(path, ScenarioConfig)

    def record(self, text: str, seed: int = 1) -> Recording:
        files = SourceFiles(self.folder / "robot.toml", self.folder / "field.toml")
        return record_run(self.scenario(text), self.robot, self.field, files, seed, "scenario.toml")


@pytest.fixture
def make_bench(tmp_path: Path) -> Callable[..., Bench]:
    def make(robot: str = ROBOT, field: str = FIELD) -> Bench:
        (tmp_path / "robot.toml").write_text(robot, encoding="utf-8")
        (tmp_path / "field.toml").write_text(field, encoding="utf-8")
        return Bench(
            tmp_path,
            load_config(tmp_path / "robot.toml", RobotConfig),
            load_config(tmp_path / "field.toml", FieldConfig),
        )

    return make


@pytest.fixture
def bench(make_bench: Callable[..., Bench]) -> Bench:
    return make_bench()


@pytest.fixture
def round_trip() -> str:
    return ROUND_TRIP
