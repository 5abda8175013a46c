"""Makes an encoder counter continuous: wrap-around undone, mid-log resets bridged, impossible jumps reported."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.plausibility import FASTEST_M_PER_S, time_since_earlier

__all__ = ["ContinuousCounter", "common_restarts", "continuous_counter"]

_SLACK_COUNTS = 10.0
_COMMON_WIDTHS = (16, 32)
# A restarted counter reads almost nothing in its first row, whatever it read before.
_NEARLY_ZERO_COUNTS = 60.0
_CLEARLY_MORE_COUNTS = 200.0


@dataclass(frozen=True)
class ContinuousCounter:
    """Counts (N,) since the first row, and flags (N,) of rows whose step is not known to be motion."""

    counts: FloatArray
    flagged: BoolArray


def common_restarts(counters: Sequence[FloatArray]) -> BoolArray:
    """Return (N,) rows in which all counters read almost zero though one read clearly more just before.

    The controller was restarted: seen in all counters at once this is sure even where each step alone could be motion.
    """
    rows = np.zeros(len(counters[0]), dtype=bool)
    nearly_zero = np.all([np.abs(counts[1:]) <= _NEARLY_ZERO_COUNTS for counts in counters], axis=0)
    was_more = np.any([np.abs(counts[:-1]) >= _CLEARLY_MORE_COUNTS for counts in counters], axis=0)
    # rolling back to zero is no restart: the other counters would have to arrive there in the same row by steps
    stepped = np.any([np.abs(np.diff(counts)) >= _CLEARLY_MORE_COUNTS for counts in counters], axis=0)
    rows[1:] = nearly_zero & was_more & stepped
    return rows


def continuous_counter(
    counts: FloatArray,
    times_s: FloatArray,
    metres_per_count: float,
    bits: int | None,
    restarted: BoolArray,
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
    restarted
        (N,) rows in which the controller is known to have restarted, from `common_restarts`.
    findings
        Receives what was done; `where` names file and column.

    Notes
    -----
    A step too fast to be motion is read as the wrap-around or the restart from zero that continues the motion before it
    best.
    """
    if bits is not None and np.ptp(counts) >= 2.0**bits:
        findings.error(
            FindingCode.COUNTER_WIDTH,
            f"these counts span {np.ptp(counts):.0f}, more than {bits} bits hold",
            "Correct or remove bits in session.toml",
            **where,
        )
    widths = (bits,) if bits else tuple(width for width in _COMMON_WIDTHS if np.ptp(counts) < 2.0**width)
    possible = FASTEST_M_PER_S * time_since_earlier(times_s) / abs(metres_per_count) + _SLACK_COUNTS
    steps = np.diff(counts, prepend=counts[0])
    wrapped, reset, jumped = (np.zeros(len(counts), dtype=bool) for _ in range(3))
    for row in np.flatnonzero((np.abs(steps) > possible) | restarted):
        before = float(steps[row - 1])
        candidates = {("reset", 0): float(counts[row])}
        if not restarted[row]:
            for width in widths:
                turns = np.round(steps[row] / 2.0**width)
                candidates["wrap", width] = float(steps[row] - turns * 2.0**width)
        (kind, _), step = min(candidates.items(), key=lambda candidate: abs(candidate[1] - before))
        if abs(step) > possible[row] and not restarted[row]:
            jumped[row] = True
            continue
        steps[row] = step
        (wrapped if kind == "wrap" else reset)[row] = True
    _report(findings, wrapped, reset, jumped, steps, where)
    return ContinuousCounter(np.cumsum(steps), reset | jumped)


def _report(
    findings: FindingList,
    wrapped: BoolArray,
    reset: BoolArray,
    jumped: BoolArray,
    steps: FloatArray,
    where: dict[str, str | int | None],
) -> None:
    for code, rows, what in (
        (FindingCode.COUNTER_WRAPPED, wrapped, "the counter wrapped around; this was undone"),
        (FindingCode.COUNTER_RESET, reset, "the counter restarted from zero; travel goes on from there"),
    ):
        text, remedy = f"{what} ({{count}} times)", "Check this row if that is not so"
        findings.about_rows(Severity.NOTE, code, np.flatnonzero(rows), text, remedy, **where)
    jumps = np.flatnonzero(jumped)
    findings.about_rows(
        Severity.WARNING,
        FindingCode.COUNTER_JUMP,
        jumps,
        f"{{count}} steps are faster than {FASTEST_M_PER_S:.0f} m/s and were kept as they are",
        "Check wiring, counts per revolution and the time unit",
        value=f"{steps[jumps[0]]:.0f} counts in one row" if len(jumps) else None,
        **where,
    )
