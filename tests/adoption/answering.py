"""Answers the questions of an adopted session.toml the way its comments tell a person to."""

import re
from collections.abc import Mapping

__all__ = ["answered", "open_questions"]

_QUESTION = re.compile(r"# QUESTION \d+ \((?P<key>[^)]+)\)")


def open_questions(text: str) -> list[str]:
    """Keys of all questions, in order; one that concerns several tables stands in each."""
    return list(dict.fromkeys(match["key"] for match in _QUESTION.finditer(text)))


def answered(text: str, answers: Mapping[str, str]) -> str:
    """The text with each answer written where its question says; the questions stay as comments."""
    lines = text.split("\n")
    for key, answer in answers.items():
        asked = [i for i, line in enumerate(lines) if f"({key})" in line and _QUESTION.match(line)]
        assert asked, key
        for first in asked:
            _answer_one(lines, first, key, answer)
    return "\n".join(lines)


def _answer_one(lines: list[str], first: int, key: str, answer: str) -> None:
    end = next(i for i in range(first + 1, len(lines)) if not lines[i].startswith("#   "))
    told = " ".join(line.lstrip("# ") for line in lines[first:end])
    (where,) = re.findall(r'(?:in the place of "\?"(?: of [\w, ]+)?|change it) in ("[^"]+"(?: and "[^"]+")*)', told)
    for name in re.findall(r'"([^"]+)"', where):
        place = next(i for i in range(end, len(lines)) if re.match(rf"(# )?{re.escape(name)} = ", lines[i]))
        line = lines[place].removeprefix("# ") if "take the # off" in told else lines[place]
        lines[place] = _written(line, key, answer)


def _written(line: str, key: str, answer: str) -> str:
    name = key.rsplit(".", 1)[1] if "." in key else key
    parts = {name: answer}
    if name == "origin":
        parts = dict(zip(("origin_x", "origin_y"), answer.split(", "), strict=True))
    for part, value in parts.items():
        line, count = re.subn(rf'\b{part} = "[^"]*"', f'{part} = "{value}"', line)
        assert count == 1, (line, key)
    return line
