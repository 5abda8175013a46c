"""The form every estimated number takes."""

import math
from dataclasses import dataclass

__all__ = ["UncertainNumber", "measured", "unavailable"]


@dataclass(frozen=True)
class UncertainNumber:
    """A number, the interval it is known to, and how it was found.

    Attributes
    ----------
    value
        In SI; None if it is unavailable.
    ci95
        Bounds of the 95 % interval; None if none can be honestly given.
    n
        How many observations it rests on.
    method
        How value and interval were computed, in words.
    why
        Why the value or the interval is missing; None if nothing is.
    independent
        How many independent observations the n are worth; None if n itself.
    """

    value: float | None
    ci95: tuple[float, float] | None
    n: int
    method: str
    why: str | None = None
    independent: float | None = None


def measured(
    value: float,
    interval: tuple[float, float] | None,
    n: int,
    method: str,
    why: str | None = None,
    independent: float | None = None,
) -> UncertainNumber:
    """Return a number that was measured; a non-finite value becomes unavailable."""
    if not math.isfinite(value):
        return unavailable("the observations are not finite", n=n, method=method)
    return UncertainNumber(float(value), interval, n, method, why, independent)


def unavailable(why: str, *, n: int = 0, method: str = "none") -> UncertainNumber:
    """Return a number that cannot be given, with the reason."""
    return UncertainNumber(None, None, n, method, why)
