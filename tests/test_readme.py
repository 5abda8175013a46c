"""The README's examples are run, and every line of output it shows must be there, in order."""

import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command
from update_readme import with_reference

from locbench.cli.main import app, run
from locbench.config import SessionConfig
from locbench.config.fusion import Trust

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
BLOCKS = re.findall(r"```console\n(.*?)```", README, flags=re.DOTALL)


def _steps(block: str) -> list[tuple[str, list[str]]]:
    """Commands after "$ ", each with the lines of output shown for it; "..." stands for lines left out."""
    steps: list[tuple[str, list[str]]] = []
    for line in block.splitlines():
        if line.startswith("$ "):
            steps.append((line[2:], []))
        elif line.strip() != "..." and line.strip():
            steps[-1][1].append(line.rstrip())
    return steps


@pytest.mark.parametrize("block", BLOCKS, ids=[block.splitlines()[0][2:60] for block in BLOCKS])
def test_examples_give_the_output_shown(block, tmp_path, monkeypatch, capsys):
    """In this process: what starts a program again and again would take a third of the time."""
    for name in ("configs", "logs_demo"):
        shutil.copytree(ROOT / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    for key, value in {"COLUMNS": "100", "NO_COLOR": "1"}.items():
        monkeypatch.setenv(key, value)
    for command, expected in _steps(block):
        program, *arguments = shlex.split(command)
        assert program == "locbench"
        status = run(lambda arguments=arguments: app(arguments))
        printed = capsys.readouterr()
        # only a precheck answers with its exit status too
        expected_status = {"FAIL": 1, "UNDECIDED": 3}.get(printed.out.split(" ", 1)[0], 0)
        assert status == expected_status, printed.err
        shown = [line.rstrip() for line in printed.out.splitlines()]
        position = 0
        for line in expected:
            assert line in shown[position:], f"not in the output of {command}: {line!r}"
            position = shown.index(line, position) + 1


def test_the_session_file_shown_is_a_valid_one():
    (text,) = re.findall(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    session = SessionConfig.model_validate(tomllib.loads(text))
    assert session.odometry.kind == "pod_counts"


def test_the_library_example_runs():
    (code,) = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert "UncertainNumber(value=0.0" in run.stdout


def test_every_key_of_the_session_file_is_in_the_readme():
    def keys(schema):
        found = set()
        for definition in [schema, *schema.get("$defs", {}).values()]:
            found |= set(definition.get("properties", {}))
        return found

    assert {key for key in keys(SessionConfig.model_json_schema()) if key not in README} == set()


def test_the_reference_of_keys_is_the_models_own():
    assert with_reference(README) == README, "run python tests/update_readme.py"


def test_every_trust_rule_is_in_the_readme():
    assert {key for key in Trust.model_json_schema()["properties"] if f"`{key} = " not in README} == set()


def test_every_command_is_in_the_readme():
    for name in get_command(app).commands:
        assert f"locbench {name}" in README


def test_the_readme_has_the_two_commands_and_their_windows_forms():
    lines = README.splitlines()
    for ending in ("locbench evaluate logs_demo/orchard_healthy", "pytest"):
        assert (
            len([line for line in lines if line.startswith("python3 -m venv .venv && ") and line.endswith(ending)]) == 1
        )
    assert len([line for line in lines if line.startswith("py -m venv .venv && ")]) == 2


def test_every_example_configuration_is_used_or_named_in_the_readme():
    text = README + "".join(path.read_text() for path in (ROOT / "logs_demo").rglob("*.toml"))
    for path in (ROOT / "configs").iterdir():
        assert path.name in text
