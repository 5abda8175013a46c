from pathlib import Path

import pytest

from locbench.config import FieldConfig, FusionConfig, RobotConfig, ScenarioConfig, ShooterConfig, load_config
from locbench.errors import ConfigError

CONFIGS = Path(__file__).parents[2] / "configs"
SMALLEST = """
name = "small"
seed = 0
robot = "robot.toml"
field = "field.toml"
start = { mark = "A" }
waypoints = [{ mark = "B", dwell = "1 s" }]
"""
CAMERA = '[camera]\nmount = "front"\n'
SHOVE = '[[shoves]]\nstart = "1 s"\ncontact = "1 s"\nrecovery = "1 s"\n'


def _load(tmp_path, text):
    path = tmp_path / "scenario.toml"
    path.write_text(text, encoding="utf-8")
    return load_config(path, ScenarioConfig)


def test_the_smallest_scenario_is_free_of_errors(tmp_path):
    scenario = _load(tmp_path, SMALLEST)
    assert scenario.start.standstill >= 1.5
    assert scenario.camera is None
    assert (scenario.pods.along_per_metre, scenario.gyro.bias, scenario.placing.position_std) == (0.0, 0.0, 0.0)
    assert scenario.drive_wheels.along_per_metre == 0.0
    assert (scenario.slips, scenario.shoves, scenario.truth.tags, scenario.truth.pods) == ((), (), (), {})


@pytest.mark.parametrize(
    ("pattern", "model"),
    [
        ("robot_*.toml", RobotConfig),
        ("field_*.toml", FieldConfig),
        ("fusion_*.toml", FusionConfig),
        ("shooter_*.toml", ShooterConfig),
        ("scenario_*.toml", ScenarioConfig),
    ],
)
def test_every_example_file_is_valid(pattern, model):
    files = sorted(CONFIGS.glob(pattern))
    assert files
    for path in files:
        load_config(path, model)


BAD = {
    "seed": SMALLEST.replace("seed = 0", "seed = -1"),
    "name": SMALLEST.replace('name = "small"', 'name = ""'),
    "robot": SMALLEST.replace('robot = "robot.toml"\n', ""),
    "sed": SMALLEST.replace("seed = 0", "sed = 0"),
    "start.standstill": SMALLEST.replace('start = { mark = "A" }', 'start = { mark = "A", standstill = "1 s" }'),
    "waypoints": SMALLEST.replace('[{ mark = "B", dwell = "1 s" }]', "[]"),
    "waypoints[1]": SMALLEST.replace('{ mark = "B", dwell = "1 s" }', '{ x = "1 m" }'),
    "waypoints[1].dwell": SMALLEST.replace('dwell = "1 s"', 'dwell = "-1 s"'),
    "waypoints[2]": SMALLEST.replace('"1 s" }]', '"1 s" }, { mark = "C", x = "1 m", y = "1 m", heading = "1 deg" }]'),
    "logging.odometry_period": SMALLEST + '[logging]\nodometry_period = "0.1 ms"\n',
    "driving.speed": SMALLEST + '[driving]\nspeed = "0 m/s"\n',
    "driving.time_to_speed": SMALLEST + "[driving]\ntime_to_speed = 0.5\n",
    "placing.position_std": SMALLEST + '[placing]\nposition_std = "2 deg"\n',
    "pods.along_per_metre": SMALLEST + '[pods]\nalong_per_metre = "-1 mm"\n',
    "drive_wheels.along_per_metre": SMALLEST + '[drive_wheels]\nalong_per_metre = "-1 mm"\n',
    "gyro.scale_error": SMALLEST + "[gyro]\nscale_error = 0.01\n",
    "camera.mount": SMALLEST + '[camera]\nflips = "1 %"\n',
    "camera.reports": SMALLEST + CAMERA + 'reports = "poses"\n',
    "camera": SMALLEST + CAMERA + 'maximum_range = "100 mm"\n',
    "camera.flips": SMALLEST + CAMERA + 'flips = "101 %"\n',
    "camera.frame_period": SMALLEST + CAMERA + 'frame_period = "1 ms"\n',
    "camera.field_of_view": SMALLEST + CAMERA + 'field_of_view = "200 deg"\n',
    "camera.maximum_view_angle": SMALLEST + CAMERA + 'maximum_view_angle = "90 deg"\n',
    "camera.noise.view_angle_growth": SMALLEST + CAMERA + "[camera.noise]\nview_angle_growth = -1.0\n",
    "slips[1].lost": SMALLEST + '[[slips]]\npod = "left"\nstart = "1 s"\nduration = "1 s"\nlost = "1"\n',
    "shoves[1].contact": SMALLEST + SHOVE.replace('contact = "1 s"', 'contact = "0 s"'),
    "shoves[1].pods_lose.left": SMALLEST + SHOVE + 'pods_lose = { left = "-5 %" }\n',
    "truth.pods.left.wheel_diameter": SMALLEST + '[truth.pods.left]\nwheel_diameter = "0 mm"\n',
    "truth.tags[1].id": SMALLEST + "[[truth.tags]]\nid = -1\n",
    "truth": SMALLEST + "[[truth.tags]]\nid = 1\n[[truth.tags]]\nid = 1\n",
}


@pytest.mark.parametrize("key", BAD)
def test_a_bad_file_gives_one_sentence_that_names_the_key(tmp_path, key):
    with pytest.raises(ConfigError) as caught:
        _load(tmp_path, BAD[key])
    message = str(caught.value)
    assert message.startswith(f"{tmp_path / 'scenario.toml'}: {key}: ")
    assert "\n" not in message


def test_jitter_without_latency_is_refused(tmp_path):
    with pytest.raises(ConfigError, match=r"camera: latency_jitter needs a latency.*Add latency"):
        _load(tmp_path, SMALLEST + CAMERA + 'latency_jitter = "5 ms"\n')


def test_an_unknown_key_brings_the_nearest_known_one(tmp_path):
    with pytest.raises(ConfigError, match=r'shoves\[1\]\.recover: unknown key.*Did you mean "recovery"'):
        _load(tmp_path, SMALLEST + SHOVE + 'recover = "1 s"\n')
