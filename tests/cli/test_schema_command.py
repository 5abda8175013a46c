import json

import pytest
import typer
from typer.testing import CliRunner

from locbench.cli.options import FileKind
from locbench.cli.schema import schema as command
from locbench.config.kinds import ConfigKind
from locbench.config.schemas import json_schema


@pytest.fixture
def app():
    application = typer.Typer()
    application.command()(command)
    return application


@pytest.mark.parametrize("kind", FileKind)
def test_it_prints_what_the_library_returns(app, kind):
    result = CliRunner().invoke(app, [kind.value])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout) == json_schema(ConfigKind(kind.value))


def test_an_unknown_kind_is_answered_with_those_there_are(app):
    result = CliRunner().invoke(app, ["robt"])
    assert result.exit_code == 2
    assert all(kind.value in result.output for kind in ConfigKind)


def test_the_choices_are_the_kinds_of_files():
    assert [kind.value for kind in FileKind] == [kind.value for kind in ConfigKind]
