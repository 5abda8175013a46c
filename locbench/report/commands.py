"""Commands to run next, as they can be copied into a shell."""

import re

from locbench.report.numbers import plain_text

__all__ = ["command", "runsheet_command"]

# What no shell takes for anything but itself, on Windows either.
_PLAIN_WORD = re.compile(r"[\w./\\:~+@%,=-]+")


def command(*words: str) -> str:
    """Return a locbench command in one line; a path with blanks stands in double quotes, which all shells know."""
    return " ".join(["locbench", *(_word(plain_text(word)) for word in words)])


def runsheet_command(kind: str) -> str:
    """Return the command that lays out a drive of that kind, files to be filled in."""
    return command("runsheet", "--field", "FIELD.toml", "--robot", "ROBOT.toml", "--kind", kind)


def _word(word: str) -> str:
    return word if _PLAIN_WORD.fullmatch(word) else f'"{word}"'
