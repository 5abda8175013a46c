"""Times at which the driver asked for a correction."""

from pathlib import Path

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.session import RequestsSource
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.tables import load_any_table, time_column

__all__ = ["read_requests"]


def read_requests(
    folder: Path, source: RequestsSource, span_s: tuple[float, float], findings: FindingList
) -> FloatArray | None:
    """Return the presses (P,) inside `span_s` in order of time, or None after error findings."""
    # a run in which the driver never pressed has a table with a head alone
    table = load_any_table(folder, source.file, findings)
    if table is None:
        return None
    pressed_s = time_column(table, source.time, source.offset, findings)
    if pressed_s is None:
        return None
    inside = (pressed_s >= span_s[0]) & (pressed_s <= span_s[1])
    findings.about_rows(
        Severity.WARNING,
        FindingCode.OUTSIDE_LOG,
        np.flatnonzero(~inside),
        f"{{count}} requests lie outside the odometry log and were left out; it runs from {span_s[0]:.6g} s to "
        f"{span_s[1]:.6g} s",
        "Check the clocks, or the table's offset",
        file=table.file,
    )
    return np.sort(pressed_s[inside])
