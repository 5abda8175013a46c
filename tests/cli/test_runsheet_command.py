from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from locbench.cli.runsheet import runsheet as command
from locbench.drive_kinds import DriveKind
from locbench.errors import ConfigError
from locbench.jobs.runsheet import lay_out
from locbench.report.runsheet_page import runsheet_html
from locbench.units import UnitSystem

FIELD = Path(__file__).parents[2] / "configs" / "field_orchard.toml"


@pytest.fixture
def app():
    application = typer.Typer()
    application.command()(command)
    return application


def test_it_prints_the_sheet_and_writes_the_page_of_the_library(app, tmp_path):
    out = tmp_path / "sheet.html"
    result = CliRunner().invoke(app, ["--field", str(FIELD), "--kind", "tour", "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Tour of marks on Orchard practice floor: 8 marks, 33 presses")
    assert result.stdout.splitlines()[-1] == f"Written to {out}: print it on one page"
    found = lay_out(FIELD, DriveKind.TOUR, None, UnitSystem.METRIC)
    assert out.read_text(encoding="utf-8") == runsheet_html(found, UnitSystem.METRIC)


def test_without_out_nothing_is_written(app, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(app, ["--field", str(FIELD), "--kind", "spin", "--units", "imperial"])
    assert result.exit_code == 0, result.output
    assert ' in"' in result.stdout
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_kind_is_answered_with_those_there_are(app):
    result = CliRunner().invoke(app, ["--field", str(FIELD), "--kind", "walk"])
    assert result.exit_code == 2
    assert all(kind.value in result.output for kind in DriveKind)


def test_nothing_is_written_when_the_field_is_missing(app, tmp_path):
    out = tmp_path / "sheet.html"
    result = CliRunner().invoke(app, ["--field", str(tmp_path / "none.toml"), "--kind", "tour", "--out", str(out)])
    assert isinstance(result.exception, ConfigError)
    assert not out.exists()
