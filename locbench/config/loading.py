"""Reads a TOML file into its model and turns every failure into one sentence a person can act on."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from locbench.config.recognising import kind_of
from locbench.errors import ConfigError, nearest_choice

__all__ = ["dotted_key", "load_config", "read_toml"]

Model = TypeVar("Model", bound=BaseModel)

_CORRECT_IT = "Correct this value"
_TRUTH_VALUE = ("this must be true or false", "Write true or false, without quotes")
_WHOLE_NUMBER = ("this must be a whole number", "Write it without quotes, decimal point and unit")
_NUMBER = ("this must be a number", "Write it without quotes and unit")
# pydantic speaks of types, a person writes TOML: what is wrong, and what to do
_IN_PLAIN_WORDS = {
    "string_type": ("this must be a text", "Write it in quotes"),
    "string_too_short": ("this text is empty", "Write something between the quotes, or remove the key"),
    "bool_type": _TRUTH_VALUE,
    "bool_parsing": _TRUTH_VALUE,
    "int_type": _WHOLE_NUMBER,
    "int_parsing": _WHOLE_NUMBER,
    "int_parsing_size": _WHOLE_NUMBER,
    "int_from_float": _WHOLE_NUMBER,
    "float_type": _NUMBER,
    "float_parsing": _NUMBER,
    "tuple_type": ("this must be a list", "Write it in brackets, or as a [[table]] for each entry"),
    "too_short": ("this list is too short", "Add an entry"),
}


def read_toml(path: Path) -> dict[str, Any]:
    """Return the parsed file.

    Raises
    ------
    ConfigError
        If the file is missing, not UTF-8, or not TOML; the message carries the line.
    """
    text = _text_of(path)
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        reason = str(error).replace("at end of document", f"at the end, line {len(text.splitlines())}")
        raise ConfigError(f"TOML syntax error: {reason}", where=str(path), remedy="Correct that line") from error
    except (RecursionError, ValueError) as error:
        # the parser gives up on thousands of nested brackets, and on whole numbers of thousands of digits
        raise ConfigError(
            "brackets nested too deeply, or a number with too many digits",
            where=str(path),
            remedy="Compare the file with one in configs",
        ) from error


def _text_of(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise ConfigError("no such file", where=str(path), remedy="Check the path") from error
    except OSError as error:
        raise ConfigError(f"cannot be read: {error.strerror}", where=str(path), remedy="Check the path") from error
    except UnicodeDecodeError as error:
        raise ConfigError("not UTF-8 text", where=str(path), remedy="Save the file as UTF-8") from error
    except ValueError as error:
        raise ConfigError("no file can have this name", where=str(path), remedy="Check the path") from error


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
        kind = kind_of(data)
        if kind is not None and kind.model is not model:
            raise ConfigError(f"this is {kind.words}", where=str(path), remedy=kind.remedy(path)) from error
        raise _as_config_error(path, model, error) from error


def _as_config_error(path: Path, model: type[BaseModel], error: ValidationError) -> ConfigError:
    problems = error.errors(include_url=False)
    # an unknown key is usually the misspelling of the one reported missing, so it is the one to show
    problems.sort(key=lambda problem: problem["type"] != "extra_forbidden")
    first, others = problems[0], problems[1:]
    schema = model.model_json_schema()
    location, _ = _walk(schema, first["loc"])
    if first["type"].startswith("union_tag"):
        location = [*location, "kind"]
    key = dotted_key(location)
    where = f"{path}: {key}" if key else str(path)
    suffix = _also(schema, others)
    match first["type"]:
        case "extra_forbidden":
            remedy = nearest_choice(str(location[-1]), _valid_keys(schema, first["loc"][:-1]))
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
            return ConfigError(f"{problem}{suffix}", where=where, received=received, remedy=remedy or _CORRECT_IT)
        case "model_type" | "dict_type" | "model_attributes_type":
            _, nodes = _walk(schema, first["loc"])
            keys = sorted({key for node in nodes for key in node.get("properties", {})})
            example = " Write it as { column = ..., unit = ... }" if {"column", "unit"} <= set(keys) else ""
            return ConfigError(
                f"this must be a table of keys{suffix}",
                where=where,
                received=first["input"] if isinstance(first["input"], str | int | float | bool) else None,
                remedy=(f"Its keys: {', '.join(keys)}.{example}" if keys else "Write a [table]").rstrip("."),
            )
        case _:
            received = first["input"] if isinstance(first["input"], str | int | float | bool) else None
            as_given = (first["msg"].replace("Input should be", "this must be"), _CORRECT_IT)
            problem, remedy = _IN_PLAIN_WORDS.get(first["type"], as_given)
            return ConfigError(f"{problem}{suffix}", where=where, received=received, remedy=remedy)


def _also(schema: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> str:
    """Return which other keys are wrong, the first three by name."""
    if not others:
        return ""
    keys = [dotted_key(_walk(schema, problem["loc"])[0]) or "the file as a whole" for problem in others]
    rest = f" and {len(keys) - 3} more" if len(keys) > 3 else ""
    return f" (also wrong: {', '.join(keys[:3])}{rest})"


def _received_choice(problem: Mapping[str, Any]) -> str:
    context = problem.get("ctx", {})
    return str(context.get("tag", problem["input"]))


def _choices(problem: Mapping[str, Any]) -> list[str]:
    context = problem["ctx"]
    listed = context.get("expected_tags") or context.get("expected") or ""
    return [part.strip().strip("'") for part in listed.replace(" or ", ",").split(",") if part.strip()]


def dotted_key(location: Sequence[str | int]) -> str:
    """Return the place of a key in a file in one word, such as "tags[4].x", positions counted from 1."""
    text = ""
    for part in location:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _dereferenced(schema: Mapping[str, Any], node: Mapping[str, Any]) -> Mapping[str, Any]:
    while "$ref" in node:
        node = schema["$defs"][node["$ref"].rsplit("/", 1)[-1]]
    return node


def _options(schema: Mapping[str, Any], node: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """Return the object schemas a node can stand for."""
    node = _dereferenced(schema, node)
    for union in ("anyOf", "oneOf"):
        if union in node:
            return [found for option in node[union] for found in _options(schema, option)]
    return [node]


def _walk(schema: Mapping[str, Any], location: Sequence[str | int]) -> tuple[list[str | int], list[Mapping[str, Any]]]:
    """Follow a pydantic location; return it without the parts that are no keys of the file, and where it leads.

    pydantic names the chosen member of a union in its locations: by the tag of a discriminated one, else by its type.
    """
    kept: list[str | int] = []
    node: Mapping[str, Any] = schema
    nodes = _options(schema, node)
    for position, part in enumerate(location):
        tagged = _members_by_tag(schema, node)
        if isinstance(part, str) and part in tagged:
            node = {"$ref": tagged[part]}
            nodes = _options(schema, node)
            continue
        below = [child for option in nodes if isinstance(child := _child(option, part), Mapping)]
        if below:
            node, nodes = below[0], [found for child in below for found in _options(schema, child)]
        if below or position == len(location) - 1:
            kept.append(part)
    return kept, nodes


def _members_by_tag(schema: Mapping[str, Any], node: Mapping[str, Any]) -> Mapping[str, str]:
    """Return tag -> reference of a discriminated union, which may itself be optional."""
    node = _dereferenced(schema, node)
    if "discriminator" in node:
        return dict(node["discriminator"]["mapping"])
    return {tag: member for option in node.get("anyOf", []) for tag, member in _members_by_tag(schema, option).items()}


def _child(node: Mapping[str, Any], part: str | int) -> Any:
    if isinstance(part, int):
        return node.get("items")
    return node.get("properties", {}).get(part) or node.get("additionalProperties")


def _valid_keys(schema: Mapping[str, Any], location: Sequence[str | int]) -> list[str]:
    _, nodes = _walk(schema, location)
    return sorted({key for node in nodes for key in node.get("properties", {})})
