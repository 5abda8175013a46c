"""precheck.json: a robot beside its baseline; the history of such checks, a table that only grows; what a save kept."""

from datetime import UTC, datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from locbench.config.baseline import FigureKind, FigureRole
from locbench.drive_kinds import DriveKind
from locbench.precheck.judging import Overall
from locbench.results.models import Record
from locbench.statistics import Conformity

__all__ = ["HistoryEntry", "Precheck", "PrecheckLine", "SavedDay", "Trend", "Watched", "days_of"]


class PrecheckLine(Record):
    """One figure; numbers in `unit`.

    `change_std` is that of how far the change lies from its limit. `verdict` is None of a figure that the baseline
    lacks, sets no limit, or watches where today's drive does not determine it.
    A watched one, undecided, leaves the check as it is and has no `next_run`, unless it plainly changed by more than
    allowed. `why` says why there is no number of today.
    """

    name: str
    kind: FigureKind
    role: FigureRole
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
    next_run: DriveKind | None
    why: str | None


class Trend(Record):
    """Slope of a figure over the history, per 30 days, in its unit, with its standard uncertainty.

    `days` lie between the first and the last check.
    """

    name: str
    unit: str
    checks: int
    days: float
    slope_per_30_days: float
    std: float


def days_of(date: str) -> float:
    """Return a date as days since 1970; without a time zone as if in UTC, so that no computer's own zone matters.

    Parameters
    ----------
    date
        ISO 8601.

    Raises
    ------
    ValueError
        If it is no such date.
    """
    moment = datetime.fromisoformat(date)
    aware = moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)
    return (aware - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() / 86400.0


def _iso_date(text: str) -> str:
    days_of(text)
    return text


_Finite = Annotated[float, Field(allow_inf_nan=False)]


class HistoryEntry(Record):
    """One figure of one check, in `unit`; `verdict` is None where it was not judged."""

    date: Annotated[str, AfterValidator(_iso_date)]
    session: str
    name: str
    unit: str
    value: _Finite
    std: Annotated[float, Field(ge=0.0, allow_inf_nan=False)]
    low: _Finite | None
    high: _Finite | None
    verdict: Conformity | None


class Watched(Record):
    """A figure that another drive like this one may leave undecided; standard uncertainties in `unit`.

    `next_run` is the kind of run sheet that makes it surer.
    """

    name: str
    unit: str
    std: float
    needed_std: float
    next_run: DriveKind


class SavedDay(Record):
    """What `locbench precheck --save` put into a baseline."""

    session: str
    deciding: list[str]
    watched: list[Watched]
    remarks: list[str]


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
    next_runs: list[DriveKind]
    trends: list[Trend]
    remarks: list[str]
