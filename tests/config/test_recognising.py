from pathlib import Path

import pytest

from locbench.config import RobotConfig, SessionConfig, load_config
from locbench.config.loading import read_toml
from locbench.config.recognising import kind_of
from locbench.errors import ConfigError, LocbenchError, UsageError
from locbench.jobs.evaluate import evaluate
from locbench.jobs.simulate import simulate

ROOT = Path(__file__).parents[2]
CONFIGS = sorted((ROOT / "configs").glob("*.toml"))


@pytest.mark.parametrize("path", CONFIGS, ids=[path.stem for path in CONFIGS])
def test_every_example_is_known_for_what_its_name_says(path):
    kind = kind_of(read_toml(path))
    assert kind is not None
    assert kind.words == f"a {path.stem.split('_')[0]} file"


def test_a_file_that_could_be_several_kinds_is_none_of_them():
    assert kind_of({"name": "no more than a name"}) is None
    assert kind_of({"colour": "red"}) is None


@pytest.mark.parametrize(
    ("file", "words"),
    [
        ("scenario_healthy.toml", ["a scenario file", "locbench simulate", "scenario_healthy.toml --out"]),
        ("fusion_gated_kalman.toml", ["a fusion file", "--fusion"]),
        ("robot_three_pods.toml", ["a robot file", "robot = "]),
    ],
)
def test_evaluate_says_what_was_given_to_it_and_which_command_takes_it(file, words):
    with pytest.raises(ConfigError) as raised:
        evaluate([ROOT / "configs" / file])
    for word in words:
        assert word in str(raised.value)


@pytest.mark.parametrize("name", ["orchard_healthy", "orchard_healthy/session.toml"])
def test_simulate_says_that_it_was_given_a_session(name, tmp_path):
    with pytest.raises(LocbenchError) as raised:
        simulate(ROOT / "logs_demo" / name, tmp_path / "out")
    assert "session" in str(raised.value)
    assert "locbench evaluate" in str(raised.value)
    assert not (tmp_path / "out").exists()
    assert isinstance(raised.value, UsageError if name == "orchard_healthy" else ConfigError)


def test_a_misspelt_key_is_still_named(tmp_path):
    text = (ROOT / "configs" / "robot_three_pods.toml").read_text()
    (tmp_path / "robot.toml").write_text(text.replace("heading_from", "heading_fron"))
    with pytest.raises(ConfigError, match="heading_fron"):
        load_config(tmp_path / "robot.toml", RobotConfig)
    with pytest.raises(ConfigError, match="unknown key"):
        load_config(tmp_path / "robot.toml", SessionConfig)
