"""Changes proposed to a user's files: a key, its new value, and which file it stands in."""

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any, TypeAlias

import tomlkit
from tomlkit.container import OutOfOrderTableProxy
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, InlineTable, Table

from locbench.config.loading import dotted_key
from locbench.errors import ConfigError, QuantityError
from locbench.units import UNITS, Dimension, parse_quantity

__all__ = ["ChangedFile", "Edit", "EditedFile", "EditedValue", "Quantity", "edit_lines", "edited_line", "edited_text"]

# What a team writes where nothing in its file says otherwise.
_USUAL_UNIT: Mapping[Dimension, str] = MappingProxyType(
    {
        Dimension.LENGTH: "mm",
        Dimension.ANGLE: "deg",
        Dimension.TIME: "ms",
        Dimension.MASS: "g",
        Dimension.SPEED: "m/s",
        Dimension.TURN_RATE: "deg/s",
        Dimension.RATIO: "%",
    }
)
_SIGNIFICANT_WITHOUT_STD, _SIGNIFICANT_OF_STD = 4, 2
_BYTE_ORDER_MARK = "\ufeff"


class EditedFile(StrEnum):
    """Which of a session's files a change belongs into."""

    SESSION = "session"
    ROBOT = "robot"
    FIELD = "field"


@dataclass(frozen=True)
class Quantity:
    """A value in SI, its dimension, and its standard deviation in SI if it is known, which decides the digits shown."""

    si: float
    dimension: Dimension
    std_si: float | None = None


# unit symbols, axis names and column names are texts; ratios without a unit are plain numbers; None removes the key
EditedValue: TypeAlias = Quantity | str | bool | int | float | None


@dataclass(frozen=True)
class Edit:
    """One key to set.

    Attributes
    ----------
    file
        Which file.
    path
        Keys from the top of the file to the one to set, such as ("pods", "left", "wheel_diameter"); an int is a
        position, from 0, in a list of tables, such as ("tags", 3, "x").
    value
        What to write there; None removes the key. A quantity is written in the unit that the file already uses for
        that key.
    """

    file: EditedFile
    path: tuple[str | int, ...]
    value: EditedValue

    @property
    def key(self) -> str:
        """The path as messages write it, such as "pods.left.wheel_diameter" or "tags[4].x", counted from 1."""
        return dotted_key(self.path)


@dataclass(frozen=True)
class ChangedFile:
    """One of a user's files with the changes proposed to it: its name as the session gives it, and its text."""

    file: EditedFile
    name: str
    text: str
    edits: tuple[Edit, ...]

    @property
    def lines(self) -> str:
        """The changed keys alone, see `edit_lines`."""
        return edit_lines(self.text, self.edits)

    @property
    def changed_text(self) -> str:
        """The whole file with the changes, see `edited_text`."""
        return edited_text(self.text, self.edits)


def edited_text(text: str, edits: Sequence[Edit]) -> str:
    """Return the file's text with the edits applied; comments, order, line ends and everything else stay.

    Parameters
    ----------
    text
        A TOML file.
    edits
        Those of this file; missing tables are added. Where two set one key the last one holds.

    Raises
    ------
    ConfigError
        If the text cannot be parsed, or a list of tables has no such position.
    """
    if not edits:
        return text
    plain = text.removeprefix(_BYTE_ORDER_MARK)
    windows = "\r\n" in plain and plain.count("\n") == plain.count("\r\n")
    edited = tomlkit.dumps(_edited(plain.replace("\r\n", "\n") if windows else plain, edits))
    edited = edited.replace("\n", "\r\n") if windows else edited
    return _BYTE_ORDER_MARK + edited if text.startswith(_BYTE_ORDER_MARK) else edited


def edit_lines(text: str, edits: Sequence[Edit]) -> str:
    """Return the edited keys alone as a block to copy, each under the heading of its table; errors as `edited_text`."""
    original, document = tomlkit.parse(text.removeprefix(_BYTE_ORDER_MARK)), _edited(text, edits)
    blocks: dict[tuple[str | int, ...], list[str]] = {}
    for edit in edits:
        home, line = _home_and_line(document, edit)
        lines = blocks.setdefault(home, [])
        # edits inside one inline table are one line
        if line not in lines:
            lines.append(line)
    # keys of no table stand before the first table
    ordered = sorted(blocks, key=bool)
    return "\n\n".join("\n".join([*_heading(original, home), *blocks[home]]) for home in ordered)


def edited_line(text: str, edit: Edit, beside: Sequence[Edit] = ()) -> str:
    """Return the line that the edit makes of its key, without the heading of its table; errors as `edited_text`.

    Edits of the same file that are made together with it stand `beside` it: inside one inline table they share a line,
    which without the others would be neither the old one nor the new one.
    """
    return _home_and_line(_edited(text, [*beside, edit]), edit)[1]


def _home_and_line(document: tomlkit.TOMLDocument, edit: Edit) -> tuple[tuple[str | int, ...], str]:
    """Return the innermost table with a heading that the edit is in, and the line it makes there."""
    home, key = _home(document, edit.path)
    inside = _at(document, edit.path[: len(home)])
    return home, _line(inside, key) if key in inside else f"# remove {_key_text(str(key))}"


def _edited(text: str, edits: Sequence[Edit]) -> tomlkit.TOMLDocument:
    try:
        document = tomlkit.parse(text.removeprefix(_BYTE_ORDER_MARK))
        for edit in edits:
            _place(document, edit.path, edit.value, document)
    except TOMLKitError as error:
        raise ConfigError(f"the file cannot be edited: {error}", remedy="Write the change by hand") from error
    return document


def _place(node: Any, path: Sequence[str | int], value: EditedValue, document: tomlkit.TOMLDocument) -> None:
    key, rest = path[0], path[1:]
    if isinstance(key, int) and not 0 <= key < len(node):
        raise ConfigError("there is no such table", received=key + 1, remedy=f"The list has {len(node)}")
    if not rest and value is None:
        node.pop(key, None)
        return
    if not rest:
        node[key] = _written(value, node.get(key) if isinstance(node, Mapping) else None, document)
        return
    if isinstance(key, str) and key not in node:
        # [odometry.frame] is read as well, but frame = { ... } is what the examples teach
        node[key] = tomlkit.table() if node is document else tomlkit.inline_table()
    child = node[key]
    _place(child, rest, value, document)
    if isinstance(child, InlineTable):
        node[key] = _tidy(child)


def _tidy(table: InlineTable) -> InlineTable:
    """Return the table evenly spaced: adding to one leaves no blank before the closing brace."""
    pairs = ", ".join(_line(table, key) for key in table)
    tidy = tomlkit.parse(f"table = {{ {pairs} }}")["table"]
    assert isinstance(tidy, InlineTable)
    return tidy


def _line(table: Any, key: str | int) -> str:
    return f"{_key_text(str(key))} = {tomlkit.item(table[key]).as_string()}"


def _key_text(key: str) -> str:
    return tomlkit.key(key).as_string()


def _written(value: EditedValue, current: Any, document: tomlkit.TOMLDocument) -> str | bool | int | float | None:
    if not isinstance(value, Quantity):
        return value
    symbol = _unit_of(current, value.dimension) or _most_used_unit(document, value.dimension)
    symbol = symbol or _USUAL_UNIT[value.dimension]
    factor = UNITS[symbol].factor
    std = None if value.std_si is None else value.std_si / factor
    return f"{_number_text(value.si / factor, std)} {symbol}"


def _unit_of(text: Any, dimension: Dimension) -> str | None:
    """Return the unit of a quantity as the file writes it, or None if it is no quantity of that dimension."""
    try:
        parse_quantity(text, dimension)
    except QuantityError:
        return None
    return str(text).split()[-1]


def _most_used_unit(document: tomlkit.TOMLDocument, dimension: Dimension) -> str | None:
    units = [unit for text in _texts(document.unwrap()) if (unit := _unit_of(text, dimension)) is not None]
    return Counter(units).most_common(1)[0][0] if units else None


def _texts(value: Any) -> Iterator[str]:
    match value:
        case str():
            yield value
        case dict():
            for child in value.values():
                yield from _texts(child)
        case list():
            for child in value:
                yield from _texts(child)


def _number_text(value: float, std: float | None) -> str:
    """Return the digits worth writing: to the second of the standard deviation, else four; one at least."""
    if not math.isfinite(value):
        raise ValueError(f"this number cannot be written: {value}")
    size = 0 if value == 0.0 else math.floor(math.log10(abs(value)))
    decimals = _SIGNIFICANT_WITHOUT_STD - 1 - size
    known = std is not None and math.isfinite(std) and std > 0.0
    if std is not None and known:
        decimals = max(_SIGNIFICANT_OF_STD - 1 - math.floor(math.log10(std)), -size)
    digits = f"{round(value, decimals) + 0.0:.{max(decimals, 0)}f}"
    return digits if known or "." not in digits else re.sub(r"\.?0+$", "", digits)


def _is_block(node: Any) -> bool:
    """Return whether the node has headings of its own, unlike an inline table."""
    return isinstance(node, Table | AoT | OutOfOrderTableProxy)


def _at(document: tomlkit.TOMLDocument, path: Sequence[str | int]) -> Any:
    node: Any = document
    for key in path:
        node = node[key]
    return node


def _home(document: tomlkit.TOMLDocument, path: Sequence[str | int]) -> tuple[tuple[str | int, ...], str | int]:
    """Return the path of the innermost table with a heading, and the key in it that holds the edited one."""
    node: Any = document
    for depth, key in enumerate(path[:-1]):
        if not _is_block(node[key]):
            return tuple(path[:depth]), key
        node = node[key]
    return tuple(path[:-1]), path[-1]


def _heading(document: tomlkit.TOMLDocument, home: Sequence[str | int]) -> list[str]:
    """Return the heading of a table, with what tells it from others of its list; none for the top of the file."""
    if not home:
        return []
    name = ".".join(_key_text(key) for key in home if isinstance(key, str))
    places = [depth for depth, key in enumerate(home) if isinstance(key, int)]
    text = f"[[{name}]]" if isinstance(home[-1], int) else f"[{name}]"
    if not places:
        return [text]
    element = _at(document, home[: places[-1] + 1])
    telling = next((key for key in ("id", "name") if key in element), None)
    which = f"number {int(home[places[-1]]) + 1}" if telling is None else _line(element, telling)
    return [f"{text}  # the one with {which}" if telling else f"{text}  # {which}"]
