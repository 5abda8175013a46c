"""A found change of the set-up as a diagnosis: where, the evidence, and what it means, in the user's own names."""

import math
from collections.abc import Mapping

from locbench.config import SessionConfig
from locbench.config.columns import Column
from locbench.config.session import PodCountsSource
from locbench.inspection.change import DIMENSIONS, Change, Part
from locbench.inspection.diagnosis import Diagnosis, Measured, SetupFault
from locbench.inspection.fault_words import shown, tags_in_words, words_of
from locbench.inspection.limits import severity
from locbench.inspection.misfit import Comparison
from locbench.inspection.residuals import Residuals
from locbench.inspection.search import Found
from locbench.inspection.setup_edits import SECTIONS, edits_of, length_keys
from locbench.session import Session
from locbench.units import Dimension

__all__ = ["diagnose", "disagreement"]


def diagnose(found: Found, session: Session, config: SessionConfig) -> Diagnosis:
    """Return what was found, in words, with the keys to change."""
    change = found.change
    words = words_of(change, config)
    return Diagnosis(
        code=change.fault,
        severity=severity(change),
        where=_where(change, config),
        evidence=f"{words.finding} {_contradiction(found)}",
        meaning=words.meaning,
        remedy=words.remedy,
        measured=_measured(found),
        edits=edits_of(change, session, config),
    )


def disagreement(kind: Comparison, left: Residuals) -> str:
    """Return how far the two sides of a comparison lie apart in the median."""
    sizes = [
        shown(value, dimension)
        for value, dimension in ((left.typical_m, Dimension.LENGTH), (left.typical_rad, Dimension.ANGLE))
        if math.isfinite(value)
    ]
    return f"{kind.value} differ by {' and '.join(sizes)}"


def _telling(found: Found) -> Comparison:
    """Return the comparison that the change mends most."""
    before, after = found.before.residuals, found.after.residuals
    return max(
        (kind for kind in before if before[kind].count and after[kind].count),
        key=lambda kind: before[kind].mean_cost - after[kind].mean_cost,
    )


def _contradiction(found: Found) -> str:
    kind = _telling(found)
    before, after = found.before.residuals[kind], found.after.residuals[kind]
    left = disagreement(kind, after).removeprefix(f"{kind.value} differ by ")
    count = f" in the median of {before.count} comparisons" if before.count > 1 else ""
    return f"As it is, {disagreement(kind, before)}{count}; with the change, by {left}."


def _measured(found: Found) -> tuple[Measured, ...]:
    change, kind = found.change, _telling(found)
    numbers = [
        Measured(amount.value, value, change.stds.get(amount), DIMENSIONS.get(amount))
        for amount, value in change.amounts.items()
    ]
    for name, left in (("before", found.before.residuals[kind]), ("after", found.after.residuals[kind])):
        if math.isfinite(left.typical_m):
            numbers.append(Measured(f"position_{name}", left.typical_m, dimension=Dimension.LENGTH))
        if math.isfinite(left.typical_rad):
            numbers.append(Measured(f"heading_{name}", left.typical_rad, dimension=Dimension.ANGLE))
    return tuple(numbers)


def _where(change: Change, config: SessionConfig) -> str:
    """Return the file and the columns or keys that the change is about."""
    match change.part:
        case Part.START:
            return "session.toml: start"
        case Part.FLOOR:
            return f"{config.field}: {tags_in_words(change)}"
        case Part.WHEELS:
            return f"{config.odometry.file}, {_pod_columns(change, config)}"
    table = getattr(config, SECTIONS[change.part])
    if change.fault in (SetupFault.CLOCK_SHIFT, SetupFault.TAGS_EXCHANGED):
        return str(table.file)
    keys = length_keys(change, config) if change.fault is SetupFault.LENGTH_UNIT else _COLUMNS.get(change.fault, ())
    if change.part is Part.GYRO:
        keys = ("heading", "turn", "turn_rate")
    columns = [getattr(table, key, None) for key in keys]
    named = [f'"{column.column}"' for column in columns if isinstance(column, Column)]
    return f"{table.file}, {'columns' if len(named) > 1 else 'column'} {', '.join(named)}" if named else str(table.file)


_COLUMNS: Mapping[SetupFault, tuple[str, ...]] = {
    SetupFault.HEADING_SENSE: ("heading", "bearing"),
    SetupFault.HEADING_ZERO: ("heading",),
    SetupFault.ANGLE_UNIT: ("heading", "bearing"),
    SetupFault.FRAME_ROTATED: ("x", "y", "heading"),
    SetupFault.FRAME_MIRRORED: ("x", "y", "heading"),
    SetupFault.FRAME_SHIFTED: ("x", "y"),
    SetupFault.RANGE_SCALE: ("range", "x", "y"),
    SetupFault.BEARING_BIAS: ("bearing", "x", "y"),
}


def _pod_columns(change: Change, config: SessionConfig) -> str:
    source = config.odometry
    names = []
    for name in change.names:
        entry = source.pods.get(name) if isinstance(source, PodCountsSource) else getattr(source, name, None)
        names.append(f'"{entry}"' if isinstance(entry, str) else f'"{entry.column}"' if entry is not None else name)
    return f"{'columns' if len(names) > 1 else 'column'} {', '.join(names)}"
