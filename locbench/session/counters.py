"""Makes an encoder counter continuous: wrap-around undone, mid-log resets bridged, impossible jumps reported."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.session.findings import FindingCode
from locbench.session.tables import FindingList

__all__ = ["ContinuousCounter", "continuous_counter"]

# No student robot drives faster: beyond this a step cannot be motion. Common practice, no source.
_FASTEST_M_PER_S = 10.0
_SLACK_COUNTS = 10.0
_COMMON_WIDTHS = (16, 32)


@dataclass(frozen=True)
class ContinuousCounter:
    """Counts (N,) since the first row, and flags (N,) of rows whose step is not known to be motion."""

    counts: FloatArray
    flagged: BoolArray


def continuous_counter(
    counts: FloatArray,
    times_s: FloatArray,
    metres_per_count: float,
    bits: int | None,
    findings: FindingList,
    **where: str | int | None,
) -> ContinuousCounter:
    """Return the counter without wrap-around and resets.

    Parameters
    ----------
    counts
        (N,) as logged.
    times_s
        (N,) non-decreasing.
    metres_per_count
        Travel of one count; decides which steps are possible.
    bits
        Width of the counter; None tries 16 and 32.
    findings
        Receives what was done; `where` names file and column.
    """
    steps = np.diff(counts, prepend=counts[0])
    possible = _FASTEST_M_PER_S * np.diff(times_s, prepend=times_s[0]) / abs(metres_per_count) + _SLACK_COUNTS
    flagged = np.zeros(len(counts), dtype=bool)
    suspicious = np.abs(steps) > possible
    for width in (bits,) if bits else _plausible_widths(counts):
        modulus = 2.0**width
        unwrapped = steps - modulus * np.round(steps / modulus)
        wrapped = suspicious & (np.abs(unwrapped) <= possible)
        steps = np.where(wrapped, unwrapped, steps)
        suspicious &= ~wrapped
        _note(findings, FindingCode.COUNTER_WRAPPED, wrapped, f"the {width}-bit counter wrapped around", where)
    reset = suspicious & (np.abs(counts) <= possible)
    steps = np.where(reset, counts, steps)
    _note(findings, FindingCode.COUNTER_RESET, reset, "the counter went back to zero; travel goes on from there", where)
    jumped = suspicious & ~reset
    if np.any(jumped):
        rows = np.flatnonzero(jumped)
        findings.warning(
            FindingCode.COUNTER_JUMP,
            f"{len(rows)} steps are faster than {_FASTEST_M_PER_S:.0f} m/s and were kept as they are",
            "Check wiring, counts per revolution and the time unit",
            row=int(rows[0]) + 1,
            value=f"{steps[rows[0]]:.0f} counts in one row",
            **where,
        )
    flagged |= reset | jumped
    return ContinuousCounter(np.cumsum(steps), flagged)


def _plausible_widths(counts: FloatArray) -> list[int]:
    """Return the common widths that hold all the counts seen: a wider span cannot have wrapped at that width."""
    return [width for width in _COMMON_WIDTHS if np.ptp(counts) < 2.0**width]


def _note(
    findings: FindingList, code: FindingCode, rows: BoolArray, what: str, where: dict[str, str | int | None]
) -> None:
    found: IntArray = np.flatnonzero(rows)
    if len(found):
        times = f", {len(found)} times" if len(found) > 1 else ""
        findings.note(code, what + times, "Nothing: it was undone on reading", row=int(found[0]) + 1, **where)
