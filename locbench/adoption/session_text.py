"""A proposal as the text of a session file: reasons and questions are comments above the lines they belong to."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from hashlib import sha256

from locbench.adoption.entries import Entry, Section
from locbench.adoption.foreign_tables import ForeignTable
from locbench.adoption.proposing import Proposal
from locbench.adoption.questions import OPEN, AnswerForm, Question

__all__ = ["MADE_BY", "is_untouched", "session_text"]

# The first words of an adopted session.toml; behind them stands a fingerprint of the rest, so that edits are noticed.
MADE_BY = "# Made by locbench adopt, fingerprint "
_WIDTH = 110


def session_text(proposal: Proposal) -> str:
    """Return the session file, ending in a line break."""
    numbers = {question.key: number for number, question in enumerate(proposal.questions, start=1)}
    lines = [*_head(proposal), *_file_lines(proposal.tables)]
    for section in proposal.sections:
        lines += [*_section_lines(section, numbers)]
    body = "\n".join(lines) + "\n"
    return f"{MADE_BY}{_fingerprint(body)}\n{body}"


def is_untouched(text: str) -> bool:
    """Return whether a session file was made by adopting and not edited since."""
    first, _, body = text.partition("\n")
    return first.startswith(MADE_BY) and first.removeprefix(MADE_BY) == _fingerprint(body)


def _fingerprint(body: str) -> str:
    return sha256(body.encode()).hexdigest()[:12]


def _head(proposal: Proposal) -> Iterator[str]:
    yield "# It is replaced when adopted again, unless it was edited."
    count = len(proposal.questions)
    if not count:
        yield "# No question is left."
        return
    yield from _comment(
        f"{count} question{'s are' if count > 1 else ' is'} left: look for QUESTION. A line that is commented out, or "
        f'holds "{OPEN}", is open: every command refuses the session until it is answered. Other lines with a question '
        "hold a proposal: put it right or leave it, and delete the question."
    )


def _file_lines(tables: tuple[ForeignTable, ...]) -> Iterator[str]:
    yield "#"
    for table in tables:
        changed = f"was written with {', '.join(table.changes)}" if table.changes else "is copied as it was"
        yield from _comment(f"{_printable(table.file)} {changed}.", "  ")


def _section_lines(section: Section, numbers: Mapping[str, int]) -> Iterator[str]:
    yield ""
    if section.name:
        yield f"[{section.name}]"
    asked: set[str] = set()
    for entry in section.entries:
        for question in entry.questions:
            if question.key not in asked:
                concerned = [one for one in section.entries if question in one.questions]
                yield from _question_lines(question, numbers[question.key], concerned)
                asked.add(question.key)
        yield from _reason_lines(entry)
        line = f"{entry.key} = {entry.value}"
        yield f"# {line}" if entry.is_open and entry.needed else line


def _reason_lines(entry: Entry) -> Iterator[str]:
    told = {question.why for question in entry.questions}
    for reason in entry.reasons:
        # what a question tells is not told again
        if reason and not any(reason.endswith(why) for why in told):
            yield from _comment(f"{entry.key}: {_printable(reason)}", "  ")


def _question_lines(question: Question, number: int, entries: Sequence[Entry]) -> Iterator[str]:
    asking = question.asking
    yield from _comment(f"QUESTION {number} ({question.key}): {_printable(asking.text)}", "  ")
    if question.known is not None:
        yield from _comment(f"  Known: {_printable(question.known)}.", "    ")
    yield from _comment(f"  To find out: {_printable(asking.how)}.", "    ")
    yield from _comment(f"  {_printable(_answering(question, entries))}", "    ")


def _answering(question: Question, entries: Sequence[Entry]) -> str:
    asking = question.asking
    form = [] if asking.form is AnswerForm.NAME and asking.choices else [str(asking.form)]
    what = f"Answer: {', '.join([*asking.choices, *form])}."
    keys = " and ".join(f'"{entry.key}"' for entry in entries)
    if question.proposal is not None:
        return f"{what} Proposed: {question.proposal}. If that is wrong, change it in {keys}."
    taken_off = ", and take the # off" if any(entry.needed for entry in entries) else ""
    part = question.key.rsplit(".", 1)[-1]
    several = any(entry.value.count(f'"{OPEN}"') > 1 for entry in entries)
    where = f" of {'origin_x, origin_y' if part == 'origin' else part}" if several else ""
    return f'{what} Write it in the place of "{OPEN}"{where} in {keys}{taken_off}.'


def _printable(text: str) -> str:
    """Return user data without characters that would end a comment or may not stand in one."""
    return "".join(character if character.isprintable() else " " for character in text)


def _comment(text: str, indent: str = "") -> Iterator[str]:
    first = text[: len(text) - len(text.lstrip())]
    for line in textwrap.wrap(text.strip(), _WIDTH, initial_indent=first, subsequent_indent=indent) or [""]:
        yield f"# {line}"
