"""Every error a user can meet: what is wrong, where, the value received, what to do.

LocbenchError
    QuantityError   a text such as "35 mm" cannot be read
    ConfigError     a TOML file is missing, malformed, or means something impossible
    SessionError    a log cannot be used
    UsageError      options that do not go together
    OutputError     results cannot be written
"""

import difflib
from collections.abc import Iterable

__all__ = [
    "ConfigError",
    "LocbenchError",
    "OutputError",
    "QuantityError",
    "SessionError",
    "UsageError",
    "nearest_choice",
]


class LocbenchError(Exception):
    """Base of every error that is the input's fault, not the program's.

    Parameters
    ----------
    problem
        The rule that was broken, naming the parameter.
    where
        File, and row and column or dotted key path.
    received
        The offending value; shown as written.
    remedy
        What the user can do about it.
    """

    def __init__(
        self,
        problem: str,
        *,
        where: str | None = None,
        received: object = None,
        remedy: str | None = None,
    ) -> None:
        self.problem = problem
        self.where = where
        self.received = received
        self.remedy = remedy
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        text = f"{self.where}: {self.problem}" if self.where else self.problem
        if self.received is not None:
            text += f" (got {self.received!r})"
        return _printable(f"{text}. {self.remedy}" if self.remedy else text)


def _printable(text: str) -> str:
    """Return the text on one line: names from files may hold line breaks and what steers a terminal."""
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape").decode() for character in text
    )


class QuantityError(LocbenchError):
    """A quantity is not written as number, space, unit, or has the wrong dimension."""


class ConfigError(LocbenchError):
    """A configuration file cannot be found, parsed or understood."""


class SessionError(LocbenchError):
    """A log's tables cannot be read or cannot be used."""


class UsageError(LocbenchError):
    """Options or files that do not go together."""


class OutputError(LocbenchError):
    """Results cannot be written."""


def nearest_choice(received: str, choices: Iterable[str]) -> str:
    """Return advice that names the valid choices, the closest one first.

    Parameters
    ----------
    received
        What the user wrote.
    choices
        The valid spellings.
    """
    listed = [str(choice) for choice in choices]
    close = difflib.get_close_matches(received, listed, n=1, cutoff=0.7)
    valid = "Valid choices: " + ", ".join(listed)
    if close:
        return f'Did you mean "{close[0]}"? {valid}'
    return valid
