"""Reads a TOML file into its model and turns every failure into one sentence a person can act on."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from locbench.errors import ConfigError, nearest_choice

__all__ = ["load_config", "read_toml"]

Model = TypeVar("Model", bound=BaseModel)


def read_toml(path: Path) -> dict[str, Any]:
    """Return the parsed file.

    Raises
    ------
    ConfigError
        If the file is missing, not UTF-8, or not TOML; the message carries the line.
    """
    text = ""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        return tomllib.loads(text)
    except FileNotFoundError as error:
        raise ConfigError("no such file", where=str(path), remedy="Check the path") from error
    except OSError as error:
        raise ConfigError(f"cannot be read: {error.strerror}", where=str(path)) from error
    except UnicodeDecodeError as error:
        raise ConfigError("not UTF-8 text", where=str(path), remedy="Save the file as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        reason = str(error).replace("at end of document", f"at the end, line {len(text.splitlines())}")
        raise ConfigError(f"TOML syntax error: {reason}", where=str(path), remedy="Correct that line") from error


def load_config(path: Path, model: type[Model]) -> Model:
    """Return the validated contents of `path`.

    Parameters
    ----------
    path
        A TOML file.
    model
        The kind of file expected.

    Raises
    ------
    ConfigError
        If the file cannot be read, or a key is unknown, missing, of the wrong form, or impossible in meaning.
    """
    data = read_toml(path)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _as_config_error(path, model, error) from error


def _as_config_error(path: Path, model: type[BaseModel], error: ValidationError) -> ConfigError:
    problems = error.errors(include_url=False)
    # an unknown key is usually the misspelling of the one reported missing, so it is the one to show
    problems.sort(key=lambda problem: problem["type"] != "extra_forbidden")
    first, more = problems[0], len(problems) - 1
    schema = model.model_json_schema()
    location = _without_union_tags(schema, first["loc"])
    if first["type"].startswith("union_tag"):
        location = [*location, "kind"]
    key = _dotted(location)
    where = f"{path}: {key}" if key else str(path)
    suffix = f" (and {more} more in this file)" if more else ""
    match first["type"]:
        case "extra_forbidden":
            remedy = nearest_choice(str(location[-1]), _valid_keys(schema, location[:-1]))
            return ConfigError(f"unknown key{suffix}", where=where, remedy=remedy)
        case "missing":
            return ConfigError(f"required key is missing{suffix}", where=where, remedy="Add it")
        case "literal_error" | "union_tag_invalid" | "enum":
            choices = _choices(first)
            remedy = nearest_choice(_received_choice(first), choices)
            return ConfigError(
                f"not a valid choice{suffix}", where=where, received=_received_choice(first), remedy=remedy
            )
        case "union_tag_not_found":
            return ConfigError(f'required key "kind" is missing{suffix}', where=where, remedy="Add it")
        case "value_error":
            problem, _, remedy = str(first["ctx"]["error"]).partition("|")
            received = first["input"] if isinstance(first["input"], str | int | float) else None
            return ConfigError(f"{problem}{suffix}", where=where, received=received, remedy=remedy or None)
        case _:
            received = first["input"] if isinstance(first["input"], str | int | float | bool) else None
            problem = first["msg"][0].lower() + first["msg"][1:]
            return ConfigError(f"{problem}{suffix}", where=where, received=received)


def _received_choice(problem: Mapping[str, Any]) -> str:
    context = problem.get("ctx", {})
    return str(context.get("tag", problem["input"]))


def _choices(problem: Mapping[str, Any]) -> list[str]:
    context = problem["ctx"]
    listed = context.get("expected_tags") or context.get("expected") or ""
    return [part.strip().strip("'") for part in listed.replace(" or ", ",").split(",") if part.strip()]


def _dotted(location: Sequence[str | int]) -> str:
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _resolve(schema: Mapping[str, Any], node: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the object schemas a node can stand for."""
    if "$ref" in node:
        return _resolve(schema, schema["$defs"][node["$ref"].rsplit("/", 1)[-1]])
    for union in ("anyOf", "oneOf"):
        if union in node:
            return [found for option in node[union] for found in _resolve(schema, option)]
    return [node]


def _step(schema: Mapping[str, Any], nodes: list[Mapping[str, Any]], part: str | int) -> list[Mapping[str, Any]]:
    found: list[Mapping[str, Any]] = []
    for node in nodes:
        if isinstance(part, int):
            child = node.get("items")
        else:
            child = node.get("properties", {}).get(part) or node.get("additionalProperties")
        if isinstance(child, Mapping):
            found += _resolve(schema, child)
    return found


def _without_union_tags(schema: Mapping[str, Any], location: Sequence[str | int]) -> list[str | int]:
    """Drop the parts that pydantic adds for the chosen member of a union: they are not keys of the file."""
    kept: list[str | int] = []
    nodes = _resolve(schema, schema)
    for position, part in enumerate(location):
        below = _step(schema, nodes, part)
        last = position == len(location) - 1
        if below or last:
            kept.append(part)
            nodes = below
    return kept


def _valid_keys(schema: Mapping[str, Any], location: Sequence[str | int]) -> list[str]:
    nodes = _resolve(schema, schema)
    for part in location:
        nodes = _step(schema, nodes, part)
    return sorted({key for node in nodes for key in node.get("properties", {})})
