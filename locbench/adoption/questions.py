"""Decisions about a session file: what was decided, on which evidence, and what is left to ask."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from locbench.errors import QuantityError, nearest_choice
from locbench.units import Dimension, parse_quantity

__all__ = [
    "NOTHING_KNOWN",
    "OPEN",
    "AnswerForm",
    "Asking",
    "Decision",
    "Evidence",
    "Question",
    "Standing",
    "Strength",
    "accepted_answer",
    "decide",
]

# Stands where a value is still open; no command accepts it.
OPEN = "?"


class Strength(StrEnum):
    """How far evidence goes: what is shown needs no question, what is hinted is proposed with one."""

    SHOWN = "shown"
    HINTED = "hinted"
    NOTHING = "nothing"


@dataclass(frozen=True)
class Evidence:
    """What the data say about one value, and why; the value is None where they say nothing."""

    value: str | None
    why: str
    strength: Strength


NOTHING_KNOWN = Evidence(None, "neither name nor numbers tell", Strength.NOTHING)


class Standing(StrEnum):
    """What became of a value: decided, proposed with a question, or left open."""

    SURE = "sure"
    ASKED = "asked"
    OPEN = "open"


class AnswerForm(StrEnum):
    """How an answer is written."""

    NAME = "a name"
    FILE = "a path"
    LENGTH = "a length such as 5 mm"
    ANGLE = "an angle such as 1 deg"
    DELAY = "a time such as 50 ms"
    OFFSET = "a time such as -3 s"
    PLACE = "two lengths such as 2 m, 2 m"


_FORM_DIMENSION = {
    AnswerForm.LENGTH: Dimension.LENGTH,
    AnswerForm.ANGLE: Dimension.ANGLE,
    AnswerForm.DELAY: Dimension.TIME,
    AnswerForm.OFFSET: Dimension.TIME,
}


@dataclass(frozen=True)
class Asking:
    """How a question is put: the sentence, how to find the answer out, and what an answer may be.

    Choices, if there are any, are the usual answers; to a question for a name they are all there are. An answer about
    a clock puts tables beside each other and so may settle other questions.
    """

    text: str
    how: str
    choices: tuple[str, ...] = ()
    form: AnswerForm = AnswerForm.NAME
    about_a_clock: bool = False


@dataclass(frozen=True)
class Question:
    """Something that only the user knows; `key` is the key of session.toml it decides."""

    key: str
    asking: Asking
    proposal: str | None
    why: str

    @property
    def known(self) -> str | None:
        """What the data say about it, None if nothing."""
        return None if self.why == NOTHING_KNOWN.why else self.why


@dataclass(frozen=True)
class Decision:
    """A value for a key, why, and the question that is left about it."""

    key: str
    value: str | None
    why: str
    question: Question | None = None

    @property
    def standing(self) -> Standing:
        """Whether the value is sure, proposed or open."""
        if self.question is None:
            return Standing.SURE
        return Standing.OPEN if self.value is None else Standing.ASKED

    @property
    def written(self) -> str:
        """The value as it is written."""
        return OPEN if self.value is None else self.value


def decide(key: str, evidence: Evidence, asking: Asking, answers: Mapping[str, str]) -> Decision:
    """Return the decision on a key: the user's answer if there is one, else what the evidence allows.

    Parameters
    ----------
    key
        Dotted key of session.toml.
    evidence
        What the data say.
    asking
        How to ask where they do not settle it.
    answers
        Key to value, as the user gave them.
    """
    if key in answers:
        return Decision(key, answers[key], "you said so")
    if evidence.strength is Strength.SHOWN:
        return Decision(key, evidence.value, evidence.why)
    return Decision(key, evidence.value, evidence.why, Question(key, asking, evidence.value, evidence.why))


def accepted_answer(question: Question, text: str) -> str:
    """Return an answer as it is written into the file.

    Raises
    ------
    QuantityError
        If it is none of the choices, or no quantity of the kind asked for.
    """
    answer, asking = text.strip(), question.asking
    if asking.form in _FORM_DIMENSION:
        parse_quantity(answer, _FORM_DIMENSION[asking.form])
    elif asking.form is AnswerForm.PLACE:
        parts = [part.strip() for part in answer.split(",")]
        if len(parts) != 2:
            raise QuantityError("two lengths are needed", received=answer, remedy='Write them as in "2 m, 2 m"')
        for part in parts:
            parse_quantity(part, Dimension.LENGTH)
        answer = ", ".join(parts)
    elif asking.choices and answer not in asking.choices:
        raise QuantityError("none of the choices", received=answer, remedy=nearest_choice(answer, asking.choices))
    return answer
