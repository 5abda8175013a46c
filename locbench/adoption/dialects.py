"""How a foreign text table is written: its letters, its separators, its decimals, told from what is in it."""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice

from locbench.errors import SessionError

__all__ = [
    "COMMA_NUMBER",
    "POINT_NUMBER",
    "Decoded",
    "Lines",
    "Separator",
    "decoded",
    "looks_numeric",
    "rows_of",
    "sniffed_separator",
    "worthwhile_lines",
]

POINT_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
COMMA_NUMBER = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
_LINE_BREAK = re.compile(r"\r\n|\n|\r")
_COMMENT_MARKS = ("#", "//")
# Spreadsheets put such a line first to say which separator follows.
_SEPARATOR_LINE = re.compile(r'"?sep=.?"?', re.IGNORECASE)
_SNIFFED_LINES = 200
# A broken line or two must not make a table look like a single column.
_MOST_ROWS = 0.5


class Separator(StrEnum):
    """What stands between columns."""

    COMMA = "commas"
    SEMICOLON = "semicolons"
    TAB = "tabs"
    BAR = "bars"
    BLANKS = "blanks"


_CHARACTER = {Separator.COMMA: ",", Separator.SEMICOLON: ";", Separator.TAB: "\t", Separator.BAR: "|"}


@dataclass(frozen=True)
class Decoded:
    """A file as text, and what was unusual about its letters."""

    text: str
    oddities: tuple[str, ...]


def decoded(raw: bytes, where: str) -> Decoded:
    """Return the text of a file in UTF-8, UTF-16 or the Western Windows code page.

    Raises
    ------
    SessionError
        If it is no text.
    """
    for mark, encoding, name in (
        (b"\xef\xbb\xbf", "utf-8-sig", "a byte order mark"),
        (b"\xff\xfe", "utf-16", "UTF-16"),
        (b"\xfe\xff", "utf-16", "UTF-16"),
    ):
        if raw.startswith(mark):
            return Decoded(_as_text(raw, encoding, where), (name,))
    # half of UTF-16's bytes are zero where its letters are Latin ones
    head = raw[:1000]
    for start, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if len(head) >= 4 and head[start::2].count(0) > 0.4 * len(head):
            return Decoded(_as_text(raw, encoding, where), ("UTF-16",))
    try:
        return Decoded(_as_text(raw, "utf-8", where), ())
    except SessionError:
        return Decoded(_as_text(raw, "cp1252", where), ("Windows letters (code page 1252)",))


def _as_text(raw: bytes, encoding: str, where: str) -> str:
    try:
        text = raw.decode(encoding)
    except UnicodeError as error:
        raise SessionError("this is no text", where=where, remedy="Export the log as CSV in UTF-8") from error
    if "\0" in text:
        raise SessionError("this is no text", where=where, remedy="Export the log as CSV in UTF-8")
    return text


@dataclass(frozen=True)
class Lines:
    """The lines of a table that hold cells, with their numbers from 1.

    `heading_comment` is the comment just above the first of them, in which some programs write the names; `cut_off`
    says that the last line has no line break.
    """

    numbers: tuple[int, ...]
    texts: tuple[str, ...]
    comments: int
    heading_comment: str | None
    cut_off: bool
    oddities: tuple[str, ...]


def worthwhile_lines(text: str) -> Lines:
    """Return the lines without empty ones, comments and a spreadsheet's separator line."""
    every = _LINE_BREAK.split(text)
    kept: list[tuple[int, str]] = []
    comments, heading_comment = 0, None
    oddities = ["CR LF line breaks"] if "\r\n" in text else ["CR line breaks"] if "\r" in text else []
    for number, line in enumerate(every, start=1):
        bare = line.strip()
        if not bare.strip(",;|"):
            continue
        if bare.startswith(_COMMENT_MARKS):
            comments += 1
            if not kept:
                heading_comment = bare.lstrip("#/").strip()
        elif not kept and _SEPARATOR_LINE.fullmatch(bare):
            oddities.append(f'the line "{bare}"')
        else:
            kept.append((number, line))
    return Lines(
        numbers=tuple(number for number, _ in kept),
        texts=tuple(line for _, line in kept),
        comments=comments,
        heading_comment=heading_comment,
        cut_off=bool(every[-1].strip()),
        oddities=tuple(oddities),
    )


def looks_numeric(cell: str) -> bool:
    """Return whether a cell is a number with a decimal point or a decimal comma."""
    return bool(POINT_NUMBER.fullmatch(cell) or COMMA_NUMBER.fullmatch(cell))


def rows_of(lines: Sequence[str], separator: Separator) -> list[list[str]]:
    """Return the cells of every line, without surrounding blanks.

    Raises
    ------
    csv.Error
        If quotes are not closed or a cell is absurdly long.
    """
    if separator is Separator.BLANKS:
        return [[cell.strip('"') for cell in line.split()] for line in lines]
    reader = csv.reader(
        (f"{line}\n" for line in lines), delimiter=_CHARACTER[separator], skipinitialspace=True, strict=True
    )
    return [[cell.strip() for cell in row] for row in reader]


@dataclass(frozen=True)
class _Fit:
    """How well a separator explains the lines: share of rows as long as the header, share of numbers, columns."""

    even_share: float
    numeric_share: float
    columns: int

    @property
    def is_table(self) -> bool:
        """Whether most rows have as many cells as the header, and that several."""
        return self.columns > 1 and self.even_share >= _MOST_ROWS


def _fit(lines: Sequence[str], separator: Separator) -> _Fit:
    rows = rows_of(lines, separator)
    columns = len(rows[0])
    even = [len(row) == columns or (len(row) == columns + 1 and not row[-1]) for row in rows[1:] or rows]
    cells = [cell for row in rows[1:] or rows for cell in row if cell]
    numeric = sum(looks_numeric(cell) for cell in cells) / max(1, len(cells))
    return _Fit(sum(even) / len(even), round(numeric, 2), columns)


def sniffed_separator(lines: Sequence[str]) -> Separator:
    """Return the separator that gives the lines equally many cells, most of them numbers, and many columns.

    Raises
    ------
    csv.Error
        If quotes are not closed.
    """
    first = list(islice(lines, _SNIFFED_LINES))
    fits: dict[Separator, _Fit] = {}
    unreadable: list[csv.Error] = []
    for separator in Separator:
        try:
            fits[separator] = _fit(first, separator)
        except csv.Error as error:
            unreadable.append(error)
    best = max(fits, key=lambda one: (fits[one].is_table, *_rank(fits[one])), default=None)
    if best is None or (unreadable and not fits[best].is_table):
        raise unreadable[0]
    return best


def _rank(fit: _Fit) -> tuple[float, float, int]:
    return fit.even_share, fit.numeric_share, fit.columns
