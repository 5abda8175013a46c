from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from locbench.cli.simulate import simulate as command
from locbench.errors import ConfigError
from locbench.jobs.simulate import simulate

SCENARIO = Path(__file__).parents[2] / "configs" / "scenario_shoved.toml"


@pytest.fixture
def app():
    application = typer.Typer()
    application.command()(command)
    return application


def test_it_writes_what_the_library_writes_and_says_so(app, tmp_path):
    result = CliRunner().invoke(app, [str(SCENARIO), "--out", str(tmp_path / "cli"), "--seed", "3"])
    assert result.exit_code == 0, result.output
    session = simulate(SCENARIO, tmp_path / "lib", seed=3)
    lines = result.stdout.splitlines()
    driven = f"{session.duration_s:.0f} s, {session.path_length_m:.1f} m, 15 mark visits"
    assert lines[0] == f'wrote session "Orchard, shoved, seed 3": {driven}'
    assert lines[-1] == f"next: locbench evaluate {tmp_path / 'cli'}"
    assert f"rows in tags.csv        {session.rows['tags']}" in result.stdout
    for path in (tmp_path / "lib").iterdir():
        assert path.read_bytes() == (tmp_path / "cli" / path.name).read_bytes()


def test_errors_are_left_to_the_caller(app, tmp_path):
    result = CliRunner().invoke(app, [str(tmp_path / "none.toml"), "--out", str(tmp_path / "out")])
    assert isinstance(result.exception, ConfigError)
