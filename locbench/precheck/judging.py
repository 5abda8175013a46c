"""Today's figures judged by a baseline, the worst first; and which figures a baseline can hold."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from locbench.config.baseline import BaselineConfig, BaselineFigure, BaselineUnit, FigureKind
from locbench.precheck.figures import KINDS, Figure
from locbench.statistics import GUARD, Conformity, judge_conformity
from locbench.units import UNITS

__all__ = ["Line", "Overall", "Unsure", "baseline_of", "judged", "overall", "sorted_by_sureness", "unit_factor"]

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
    name, kind
        Of the figure.
    figure
        Of today; None where today's drive does not determine it.
    before, before_std
        The baseline's, SI; None of a figure that the baseline lacks.
    change, std
        Today less the baseline, and its standard uncertainty; None without both.
    low, high
        The changes allowed; infinite where there is no limit.
    verdict
        None where the baseline lacks the figure: then nothing is judged.
    """

    name: str
    kind: FigureKind
    figure: Figure | None
    before: float | None
    before_std: float | None
    change: float | None
    std: float | None
    low: float
    high: float
    verdict: Conformity | None

    @property
    def excess(self) -> float:
        """How far the change lies beyond the nearer limit, in standard uncertainties; negative inside."""
        if self.change is None or self.std is None:
            return 0.0
        return max(self.change - self.high, self.low - self.change) / max(self.std, 1e-12)


@dataclass(frozen=True)
class Unsure:
    """A figure that drives like this one would leave undecided, and how sure it would have to be."""

    figure: Figure
    needed_std: float


def sorted_by_sureness(figures: Sequence[Figure]) -> tuple[tuple[Figure, ...], tuple[Unsure, ...]]:
    """Return the figures that two drives alike can decide, and the others.

    Notes
    -----
    Both drives' uncertainties count. A healthy robot is told to be healthy if its change, an error alone, keeps the
    guard band of the nearer limit: with twice the guard as room it does so in 95 % on each side.
    """
    sure: list[Figure] = []
    unsure: list[Unsure] = []
    for one in figures:
        low, high = KINDS[one.kind].may_change(one.value)
        needed = min(-low, high) / (2.0 * GUARD * math.sqrt(2.0))
        if one.std <= needed:
            sure.append(one)
        else:
            unsure.append(Unsure(one, needed))
    return tuple(sure), tuple(unsure)


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
    Both uncertainties count, in quadrature: the baseline was measured too.
    """
    found = {one.name: one for one in today}
    lines = [_judged(before, found.get(before.name)) for before in baseline.figures]
    known = {before.name for before in baseline.figures}
    lines += [
        Line(one.name, one.kind, one, None, None, None, None, -math.inf, math.inf, None)
        for one in today
        if one.name not in known
    ]
    return tuple(sorted(lines, key=_badness))


def _judged(before: BaselineFigure, now: Figure | None) -> Line:
    factor = unit_factor(before.unit)
    value, std = before.value * factor, before.std * factor
    low = -math.inf if before.least_change is None else before.least_change * factor
    high = math.inf if before.most_change is None else before.most_change * factor
    if now is None:
        return Line(before.name, before.kind, None, value, std, None, None, low, high, Conformity.UNDECIDED)
    change, both = now.value - value, math.hypot(now.std, std)
    return Line(
        before.name, before.kind, now, value, std, change, both, low, high, judge_conformity(change, both, low, high)
    )


def unit_factor(unit: BaselineUnit) -> float:
    """Return what one of a figure's unit is in SI; ratios and counts per minute are as they are."""
    return 1.0 if unit in ("1", "per minute") else UNITS[unit].factor


def _badness(line: Line) -> tuple[int, float]:
    place = len(_WORST_FIRST) if line.verdict is None else _WORST_FIRST.index(line.verdict)
    return place, -line.excess


def overall(lines: Sequence[Line]) -> Overall:
    """Return what all lines together say: one that fails fails the check, one that is open leaves it open."""
    verdicts = {line.verdict for line in lines}
    if Conformity.FAIL in verdicts:
        return Overall.FAIL
    return Overall.UNDECIDED if Conformity.UNDECIDED in verdicts else Overall.PASS


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
    return entry
