"""The kinds of test drives: what a run sheet lays out, and what other commands ask for next."""

from enum import StrEnum

__all__ = ["DriveKind"]


class DriveKind(StrEnum):
    """What is driven.

    `TOUR`: from mark to mark, there and the other way round. `STRAIGHT`: lines there and back. `SPIN`: turns in place
    in both senses. `SQUARE`: the same square in both senses. `CAMERA`: stands in front of a tag, and turns past it.
    """

    TOUR = "tour"
    STRAIGHT = "straight"
    SPIN = "spin"
    SQUARE = "square"
    CAMERA = "camera"
