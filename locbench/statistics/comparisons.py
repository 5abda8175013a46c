"""Whether one estimator is better than another: the only place where "better" and "worse" are decided."""

import math
from enum import StrEnum

import numpy as np
from scipy import special

from locbench.arrays import FloatArray
from locbench.statistics.between_sessions import FEWEST_SESSIONS
from locbench.statistics.uncertain import UncertainNumber, measured, unavailable

__all__ = [
    "ComparisonVerdict",
    "difference_between_sessions",
    "difference_within_runs",
    "judge_comparison",
    "sign_flip_probability",
]

# Of few sessions the test has steps: at 8 sessions 3.9 % and 4.7 %. The lower one leaves also a thousand comparisons
# without a real difference under 5 % of wrong verdicts, where chance would lift the upper one over it.
_LEVEL = 0.04
_ENUMERABLE = 18
_DRAWN_PATTERNS = 1 << 14
# A long log has many parts; all patterns at once would take memory.
_CHUNKS = 8
_ROUNDING = 1e-9


class ComparisonVerdict(StrEnum):
    """Which of two estimators has the smaller error; "here" means in these runs, which is no verdict on the next."""

    BETTER = "better"
    WORSE = "worse"
    BETTER_HERE = "better_here"
    WORSE_HERE = "worse_here"
    NO_CLEAR_GAIN = "no_clear_gain"


def sign_flip_probability(differences: FloatArray) -> float:
    """Return how probable so large a mean of paired differences (N,) is if either sign of each was as likely.

    Two-sided, over all 2^N patterns of signs; above 18 differences over a fixed sample of 16,384 patterns, the one
    seen counted among them.

    Source: Fisher, "The Design of Experiments" (1935), section 21.
    """
    count = len(differences)
    if count == 0:
        return 1.0
    # two sums that differ by rounding alone are equal
    seen = abs(float(np.sum(differences))) - _ROUNDING * float(np.sum(np.abs(differences)))
    if count <= _ENUMERABLE:
        # a pattern and its opposite give the same size, so the first sign is kept
        sums = differences[:1]
        for difference in differences[1:]:
            sums = np.concatenate([sums + difference, sums - difference])
        return float(np.mean(np.abs(sums) >= seen))
    generator, as_large = np.random.default_rng(count), 1
    for _ in range(_CHUNKS):
        signs = generator.integers(0, 2, size=(_DRAWN_PATTERNS // _CHUNKS, count), dtype=np.int8)
        as_large += int(np.sum(np.abs((2.0 * signs - 1.0) @ differences) >= seen))
    return as_large / (_DRAWN_PATTERNS + 1)


def difference_between_sessions(differences: FloatArray) -> UncertainNumber:
    """Return the mean of paired differences (N,), one per session, with a Student interval; N at least 6."""
    method = "mean of the sessions' paired differences; Student interval"
    count = len(differences)
    value = float(np.mean(differences))
    half = float(special.stdtrit(count - 1.0, 0.975) * np.std(differences, ddof=1)) / math.sqrt(count)
    return measured(value, (value - half, value + half), count, method)


def difference_within_runs(ours: UncertainNumber, theirs: UncertainNumber, correlation: float) -> UncertainNumber:
    """Return the difference of two figures over the same places of a few runs.

    Parameters
    ----------
    ours, theirs
        Root mean squares with their intervals, which count how many independent errors the runs hold.
    correlation
        Of both squared errors over the places, between 0 and 1: what both share cancels.

    Returns
    -------
    UncertainNumber
        Without interval where either has none: its errors are worth fewer than six independent ones.

    Notes
    -----
    The interval is put together from both intervals, which keeps their skewness: Zou, Psychological Methods 12 (2007)
    399-413. Student's on parts of one run was tried first: with parts that hang together it held the truth in as few
    as 80 %.
    """
    method = "difference of root mean squares over the same places; interval from those of both and their correlation"
    n = min(ours.n, theirs.n)
    if ours.value is None or theirs.value is None:
        return unavailable("no place where both have an error", method=method)
    value = ours.value - theirs.value
    if ours.ci95 is None or theirs.ci95 is None:
        return measured(value, None, n, method, ours.why or theirs.why, _fewer(ours, theirs))
    ours_down, ours_up = ours.value - ours.ci95[0], ours.ci95[1] - ours.value
    theirs_down, theirs_up = theirs.value - theirs.ci95[0], theirs.ci95[1] - theirs.value
    interval = (
        value - _combined(ours_down, theirs_up, correlation),
        value + _combined(ours_up, theirs_down, correlation),
    )
    return measured(value, interval, n, method, None, _fewer(ours, theirs))


def _fewer(ours: UncertainNumber, theirs: UncertainNumber) -> float | None:
    known = [number.independent for number in (ours, theirs) if number.independent is not None]
    return min(known, default=None)


def _combined(first: float, second: float, correlation: float) -> float:
    return math.sqrt(max(0.0, first**2 + second**2 - 2.0 * correlation * first * second))


def judge_comparison(
    session_differences: FloatArray, part_differences: FloatArray, overall: float | None = None
) -> ComparisonVerdict:
    """Return the verdict on paired differences of errors; negative means smaller, so better.

    Both are judged by the exact two-sided sign-flip test, at most 4 %.

    Parameters
    ----------
    session_differences
        (N,) of the sessions. From six on they alone decide.
    part_differences
        (K,) of the parts of the way between marks. With fewer than six sessions they decide, and the verdict is no
        more than that one was better over most of the way in these runs.
    overall
        The difference that is shown. Where it points the other way, one large error outweighs many small gains, and
        neither is called better.
    """
    enough = len(session_differences) >= FEWEST_SESSIONS
    differences = session_differences if enough else part_differences
    if overall is not None and overall * float(np.sum(differences)) < 0.0:
        return ComparisonVerdict.NO_CLEAR_GAIN
    if enough:
        return _judged(differences, ComparisonVerdict.BETTER, ComparisonVerdict.WORSE)
    return _judged(differences, ComparisonVerdict.BETTER_HERE, ComparisonVerdict.WORSE_HERE)


def _judged(differences: FloatArray, better: ComparisonVerdict, worse: ComparisonVerdict) -> ComparisonVerdict:
    if sign_flip_probability(differences) > _LEVEL:
        return ComparisonVerdict.NO_CLEAR_GAIN
    return better if np.sum(differences) < 0.0 else worse
