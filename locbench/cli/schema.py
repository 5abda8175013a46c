"""`locbench schema`."""

from typing import Annotated

import typer

from locbench.cli.options import FileKind

__all__ = ["schema"]


def schema(kind: Annotated[FileKind, typer.Argument(help="Which kind of TOML file.")]) -> None:
    """Print the JSON Schema of a kind of TOML file, which editors use to check and complete it.

    Example: locbench schema field > field.schema.json
    """
    import json

    from locbench.config.kinds import ConfigKind
    from locbench.config.schemas import json_schema

    typer.echo(json.dumps(json_schema(ConfigKind(kind.value)), indent=2, ensure_ascii=False))
