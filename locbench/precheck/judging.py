"""Today's figures judged by a baseline, the worst first; and which figures such drives can decide."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from locbench.config.baseline import BaselineConfig, BaselineFigure, BaselineUnit, FigureKind, FigureRole
from locbench.precheck.figures import KINDS, Figure
from locbench.statistics import GUARD, Conformity, judge_conformity
from locbench.units import UNITS

__all__ = ["Line", "Overall", "baseline_of", "judged", "needed_std", "overall", "role_of", "unit_factor"]

# what chance alone changes in one check of a hundred
_PLAIN = 2.58
_WORST_FIRST = (Conformity.FAIL, Conformity.UNDECIDED, Conformity.PASS)


class Overall(StrEnum):
    """What a check says of the robot."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Line:
    """One figure, judged.

    Attributes
    ----------
    name, kind, role
        Of the figure.
    figure
        Of today; None where today's drive does not determine it.
    before, before_std
        The baseline's, SI; None of a figure that the baseline lacks.
    change, std
        Today less the baseline, and the standard uncertainty of how far that lies from the limit on its side; None
        without both.
    low, high
        The changes allowed; infinite where there is no limit.
    verdict
        None where nothing is judged: the baseline lacks the figure, sets it no limit, or watches it and today's drive
        does not determine it.
    """

    name: str
    kind: FigureKind
    role: FigureRole
    figure: Figure | None
    before: float | None
    before_std: float | None
    change: float | None
    std: float | None
    low: float
    high: float
    verdict: Conformity | None

    @property
    def is_open(self) -> bool:
        """Whether it leaves the check undecided: a watched one only where it plainly changed, by more than allowed."""
        deciding = self.role is FigureRole.DECIDING or (self.excess > 0.0 and self._plainly_changed)
        return self.verdict is Conformity.UNDECIDED and deciding

    @property
    def _plainly_changed(self) -> bool:
        return self.change is not None and self.std is not None and abs(self.change) > _PLAIN * self.std

    @property
    def excess(self) -> float:
        """How far the change lies beyond the nearer limit, in standard uncertainties; negative inside."""
        if self.change is None or self.std is None:
            return 0.0
        return max(self.change - self.high, self.low - self.change) / max(self.std, 1e-12)


def needed_std(one: Figure) -> float:
    """Return how sure a figure has to be, by its usual limits, for two drives alike to pass a healthy robot.

    Notes
    -----
    Both drives' uncertainties count. A healthy robot passes if its change, an error alone, keeps the guard band of the
    nearer limit: with twice the guard as room it does so in 95 % on each side.
    """
    low, high = KINDS[one.kind].may_change(one.value)
    limit = low if -low < high else high
    return abs(limit) / (2.0 * GUARD * math.hypot(1.0, _share_at(limit, one.kind, one.value)))


def _share_at(limit: float, kind: FigureKind, before: float) -> float:
    """Return by how much a baseline's error moves today less its limit: all of it, or of a ratio its share.

    Whether today is less than a share of the baseline is told by today less that share of it (Fieller, J. R. Stat. Soc.
    B 16, 1954): the rest of the baseline's uncertainty does not matter, and today may be zero.
    """
    scaled = KINDS[kind].as_ratio and before > 0.0 and math.isfinite(limit)
    return 1.0 + limit / before if scaled else 1.0


def role_of(one: Figure) -> FigureRole:
    """Return whether drives like this one are sure enough of a figure to decide it."""
    return FigureRole.DECIDING if one.std <= needed_std(one) else FigureRole.WATCHED


def judged(today: Sequence[Figure], baseline: BaselineConfig) -> tuple[Line, ...]:
    """Return every figure of today and of the baseline with its verdict, the worst first.

    Parameters
    ----------
    today
        Figures of today's session.
    baseline
        Of the good day.

    Notes
    -----
    Both uncertainties count, in quadrature: the baseline was measured too. Where the limit is a share of the baseline
    that of the baseline counts by this share.
    """
    found = {one.name: one for one in today}
    lines = [_judged(before, found.get(before.name)) for before in baseline.figures]
    known = {before.name for before in baseline.figures}
    lines += [
        Line(one.name, one.kind, FigureRole.WATCHED, one, None, None, None, None, -math.inf, math.inf, None)
        for one in today
        if one.name not in known
    ]
    return tuple(sorted(lines, key=_badness))


def _judged(before: BaselineFigure, now: Figure | None) -> Line:
    factor = unit_factor(before.unit)
    value, std = before.value * factor, before.std * factor
    low = -math.inf if before.least_change is None else before.least_change * factor
    high = math.inf if before.most_change is None else before.most_change * factor
    known = Line(before.name, before.kind, before.role, now, value, std, None, None, low, high, Conformity.UNDECIDED)
    limitless = math.isinf(low) and math.isinf(high)
    if now is None:
        return replace(known, verdict=None) if limitless or before.role is FigureRole.WATCHED else known
    change = now.value - value
    both = math.hypot(now.std, _share_at(high if change > 0.0 else low, before.kind, value) * std)
    verdict = None if limitless else judge_conformity(change, both, low, high)
    return replace(known, change=change, std=both, verdict=verdict)


def unit_factor(unit: BaselineUnit) -> float:
    """Return what one of a figure's unit is in SI; ratios and counts per minute are as they are."""
    return 1.0 if unit in ("1", "per minute") else UNITS[unit].factor


def _badness(line: Line) -> tuple[int, int, float]:
    place = len(_WORST_FIRST) if line.verdict is None else _WORST_FIRST.index(line.verdict)
    return place, 0 if line.role is FigureRole.DECIDING else 1, -line.excess


def overall(lines: Sequence[Line]) -> Overall:
    """Return what all lines together say: one that fails fails the check, one that is open leaves it open.

    Where no line is judged at all, nothing is decided.
    """
    if any(line.verdict is Conformity.FAIL for line in lines):
        return Overall.FAIL
    judged_any = any(line.verdict is not None for line in lines)
    return Overall.PASS if judged_any and not any(line.is_open for line in lines) else Overall.UNDECIDED


def baseline_of(session: str, saved: str, figures: Sequence[Figure]) -> Mapping[str, object]:
    """Return the contents of a baseline file: figures in their own units, with the changes that are usual limits."""
    return {"name": session, "saved": saved, "figures": [_written(one) for one in figures]}


def _written(one: Figure) -> dict[str, object]:
    facts = KINDS[one.kind]
    low, high = facts.may_change(one.value)
    # two digits of the uncertainty
    digits = max(0, 1 - math.floor(math.log10(one.std / facts.factor))) if one.std > 0.0 else 6
    entry: dict[str, object] = {
        "name": one.name,
        "kind": one.kind.value,
        "unit": facts.unit,
        "value": round(one.value / facts.factor, digits),
        "std": round(one.std / facts.factor, digits),
    }
    for key, change in (("least_change", low), ("most_change", high)):
        if math.isfinite(change):
            entry[key] = float(f"{change / facts.factor:.3g}")
    role = role_of(one)
    if role is not FigureRole.DECIDING:
        entry["role"] = role.value
    return entry
