"""precheck.json: a robot beside its baseline; and the history of such checks, a table that only grows."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from locbench.precheck.judging import Overall
from locbench.results.models import Record
from locbench.statistics import Conformity

__all__ = ["HistoryEntry", "Precheck", "PrecheckLine", "Trend"]


class PrecheckLine(Record):
    """One figure; numbers in `unit`. `verdict` is None of a figure that the baseline lacks.

    `why` says why there is no number of today.
    """

    name: str
    kind: str | None
    unit: str
    value: float | None
    std: float | None
    baseline: float | None
    baseline_std: float | None
    change: float | None
    change_std: float | None
    least_change: float | None
    most_change: float | None
    verdict: Conformity | None
    cause: str | None
    action: str | None
    next_run: str | None
    why: str | None


class Trend(Record):
    """Slope of a figure over the history, per 30 days, in its unit, with its standard uncertainty."""

    name: str
    unit: str
    checks: int
    slope_per_30_days: float
    std: float


def _iso_date(text: str) -> str:
    datetime.fromisoformat(text)
    return text


class HistoryEntry(Record):
    """One figure of one check, in `unit`; `verdict` is None where it was not judged."""

    date: Annotated[str, AfterValidator(_iso_date)]
    session: str
    name: str
    unit: str
    value: float
    std: float
    low: float | None
    high: float | None
    verdict: Conformity | None


class Precheck(Record):
    """The whole of precheck.json."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["precheck"] = "precheck"
    session: str
    date: str
    baseline: str
    baseline_saved: str
    verdict: Overall
    lines: list[PrecheckLine]
    next_runs: list[str]
    trends: list[Trend]
    remarks: list[str]
