"""Short runs whose noise is exactly what the filter believes, and filters that believe more or less of it."""

import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

from locbench.config import FieldConfig, FusionConfig, RobotConfig, ScenarioConfig
from locbench.jobs.replaying import SessionRun, replay_session
from locbench.session import Session, read_session
from locbench.session.writer import SourceFiles, write_session
from locbench.simulation import record_run

__all__ = ["FILTER", "body_run", "body_session", "kalman"]

FILTER = "kalman"

_ROBOT = """name = "bare"
heading_from = "pods"
[cameras.front]
x = "100 mm"
z = "300 mm"
[motion_noise]
along_per_metre = "20 mm"
across_per_metre = "15 mm"
heading_per_metre = "0.6 deg"
heading_per_turn = "2 deg"
heading_per_minute = "2 deg"
"""
_FIELD = """name = "floor"
floor = { x_from = "0 m", x_to = "4 m", y_from = "0 m", y_to = "4 m" }
tags = [
  { id = 1, x = "4 m", y = "1 m", z = "300 mm", facing = "180 deg" },
  { id = 2, x = "4 m", y = "3 m", z = "300 mm", facing = "180 deg" },
  { id = 3, x = "1 m", y = "4 m", z = "300 mm", facing = "-90 deg" },
  { id = 4, x = "3 m", y = "4 m", z = "300 mm", facing = "-90 deg" },
]
marks = [
  { name = "A", x = "0.8 m", y = "0.8 m", heading = "0 deg", position_std = "10 mm", heading_std = "1 deg" },
  { name = "B", x = "3 m", y = "1.2 m", heading = "90 deg", position_std = "10 mm", heading_std = "1 deg" },
  { name = "C", x = "1.4 m", y = "2.4 m", heading = "60 deg", position_std = "10 mm", heading_std = "1 deg" },
]
"""
_SCENARIO = {
    "name": "body",
    "seed": 1,
    "robot": "robot.toml",
    "field": "field.toml",
    "noise": "body",
    "start": {"mark": "A", "standstill": "1.5 s"},
    "logging": {"odometry_period": "50 ms", "truth_period": "40 ms"},
    "driving": {"speed": "1.6 m/s", "time_to_speed": "400 ms"},
    "waypoints": [
        {"x": "2 m", "y": "0.7 m", "heading": "20 deg"},
        {"mark": "B", "dwell": "700 ms"},
        {"x": "2.6 m", "y": "2.4 m", "heading": "150 deg"},
        {"mark": "C", "dwell": "700 ms"},
    ],
    "camera": {
        "mount": "front",
        "frame_period": "600 ms",
        "field_of_view": "80 deg",
        "latency": "60 ms",
        "latency_jitter": "20 ms",
        "noise": {
            "along_floor": "15 mm",
            "along_at_one_metre": "6 mm",
            "across_floor": "15 mm",
            "across_at_one_metre": "8 mm",
            "heading_floor": "1 deg",
            "heading_at_one_metre": "0.5 deg",
            "view_angle_growth": 0.5,
        },
    },
}
_TAG_NOISE = _SCENARIO["camera"]["noise"]
_MOTION_NOISE = {"along_per_metre": 20, "across_per_metre": 15}
_MOTION_NOISE_DEG = {"heading_per_metre": 0.6, "heading_per_turn": 2, "heading_per_minute": 2}


def _scaled(quantity: str | float, factor: float) -> str | float:
    if isinstance(quantity, float):
        return quantity
    number, unit = quantity.split()
    return f"{factor * float(number)} {unit}"


def kalman(tag_factor: float = 1.0, motion_factor: float = 1.0, name: str = FILTER, **more) -> FusionConfig:
    """The filter that knows the noise, or believes a multiple of its standard deviations; without a gate."""
    motion = {key: f"{motion_factor * value} mm" for key, value in _MOTION_NOISE.items()}
    motion |= {key: f"{motion_factor * value} deg" for key, value in _MOTION_NOISE_DEG.items()}
    noise = {key: _scaled(value, tag_factor) for key, value in _TAG_NOISE.items()}
    return FusionConfig.model_validate({"name": name, "tag_noise": noise, "motion_noise": motion, **more})


def body_session(seed: int, **scenario) -> Session:
    """A session read back from what was simulated; keywords replace keys of the scenario."""
    config = ScenarioConfig.model_validate({**_SCENARIO, **scenario})
    robot = RobotConfig.model_validate(tomllib.loads(_ROBOT))
    field = FieldConfig.model_validate(tomllib.loads(_FIELD))
    with TemporaryDirectory() as text:
        folder = Path(text)
        (folder / "robot.toml").write_text(_ROBOT)
        (folder / "field.toml").write_text(_FIELD)
        files = SourceFiles(folder / "robot.toml", folder / "field.toml")
        write_session(folder / "log", record_run(config, robot, field, files, seed, "scenario").record)
        return read_session(folder / "log")


def body_run(seed: int, *fusions: FusionConfig, **scenario) -> SessionRun:
    """The replayed session of one seed."""
    return replay_session(body_session(seed, **scenario), fusions or (kalman(),), None, seed, lambda *_: None)
