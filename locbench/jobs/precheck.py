"""`locbench precheck`: whether the robot is still what it was on a good day."""

import difflib
import math
import os
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tomlkit

from locbench import __version__
from locbench.calibration.determining import calibrated
from locbench.calibration.reading import gathered
from locbench.config import BaselineConfig, load_config
from locbench.config.baseline import BaselineUnit, FigureRole
from locbench.config.loading import dotted_key
from locbench.errors import ConfigError, OutputError, nearest_choice
from locbench.jobs.calibrate import logged_session, reconciling
from locbench.jobs.camera import camera
from locbench.jobs.evaluate import replayed
from locbench.jobs.precheck_figures import (
    figures_of_camera,
    figures_of_constants,
    figures_of_log,
    figures_of_scores,
    figures_of_slips,
    names_of_session,
)
from locbench.jobs.scoring import score_session
from locbench.jobs.sessions import examined_session
from locbench.jobs.slip_stretches import studied_stretches
from locbench.precheck.figures import KINDS, Figure
from locbench.precheck.judging import Line, baseline_of, judged, needed_std, overall, role_of, unit_factor
from locbench.results import HistoryEntry, Precheck, PrecheckLine, SavedDay, Trend, Watched, days_of, read_history
from locbench.session import EvidenceLevel
from locbench.slip.alarms import FALSE_ALARMS_PER_MINUTE
from locbench.statistics import Conformity, fit_line

__all__ = ["Baseline", "Checked", "baseline_of_session", "precheck", "refuse_existing_baseline"]

_DAYS = 30.0
_FEWEST_FOR_A_TREND = 3
# checks of one day tell their scatter, not what wears
_SHORTEST_TREND_DAYS = 1.0
# a limit this many times wider than usual limits nothing; one in inches or metres for millimetres is wider still
_FAR_TOO_WIDE = 20.0
_LIMITS = ("least_change", "most_change")
_HEAD = """# Figures of a good day, for: locbench precheck FOLDER --baseline THIS FILE
# value and std were measured; least_change and most_change, how far a figure may fall and rise, are yours to set.
"""


@dataclass(frozen=True)
class Checked:
    """A check, the rows that it adds to the history, and the history with them."""

    precheck: Precheck
    added: tuple[HistoryEntry, ...]
    history: tuple[HistoryEntry, ...]


@dataclass(frozen=True)
class Baseline:
    """A baseline's text, and what is in it."""

    text: str
    saved: SavedDay


@dataclass(frozen=True)
class _Today:
    session: str
    figures: tuple[Figure, ...]
    names: frozenset[str]
    """Of all figures that some drive of this robot may have."""
    remarks: tuple[str, ...]


def _today(location: Path) -> _Today:
    examined = examined_session(location)
    logged = logged_session(examined)
    session = logged.session
    with reconciling(str(examined.files.session)):
        estimates = calibrated(gathered([logged])).estimates
        figures = figures_of_constants(estimates, session)
    remarks = [] if session.detections is not None else ["this log has no tags: nothing is said of the camera"]
    if session.detections is not None and session.evidence is not EvidenceLevel.TAGS_ONLY:
        try:
            figures += figures_of_camera(camera([location]).record)
        except ConfigError as error:
            # without the place, which may be a path of this computer
            remarks.append(f"the camera could not be judged: {error.problem}")
    figures += figures_of_log(session)
    figures += figures_of_slips(studied_stretches(session, None, FALSE_ALARMS_PER_MINUTE))
    scores = score_session(replayed(session))
    figures += figures_of_scores(scores)
    names = {one.name for one in figures} | {one.constant.name for one in estimates} | names_of_session(session)
    return _Today(session.name, tuple(figures), frozenset(names), tuple(remarks))


def baseline_of_session(location: Path, date: str) -> Baseline:
    """Return a baseline with a session's figures and the usual limits; what such a drive cannot decide is watched.

    Parameters
    ----------
    location
        A session folder, or its session.toml.
    date
        When it is saved, ISO 8601.

    Raises
    ------
    ConfigError, SessionError
        If the session cannot be used, or decides no figure.
    """
    today = _today(location)
    watched = [one for one in today.figures if role_of(one) is FigureRole.WATCHED]
    if len(watched) == len(today.figures):
        raise ConfigError(
            "this session is not sure enough of any figure to decide it another day",
            where=today.session,
            remedy="Drive a longer one: locbench runsheet --kind straight",
        )
    document = tomlkit.document()
    for key, value in baseline_of(today.session, date, today.figures).items():
        document.add(key, tomlkit.item(value))
    return Baseline(
        _HEAD + tomlkit.dumps(document),
        SavedDay(
            session=today.session,
            deciding=[one.name for one in today.figures if one not in watched],
            watched=[_watched(one) for one in watched],
            remarks=list(today.remarks),
        ),
    )


def _watched(one: Figure) -> Watched:
    facts = KINDS[one.kind]
    return Watched(
        name=one.name,
        unit=facts.unit,
        std=one.std / facts.factor,
        needed_std=needed_std(one) / facts.factor,
        next_run=facts.drive,
    )


def refuse_existing_baseline(path: Path) -> None:
    """Refuse to replace a file: the limits in a baseline may be somebody's own.

    Raises
    ------
    OutputError
        If there is one.
    """
    if os.path.lexists(path):
        raise OutputError(
            "there is a file already, and the limits in a baseline may be yours",
            where=str(path),
            remedy="Choose another --save file",
        )


def precheck(location: Path, baseline_file: Path, history_file: Path, date: str) -> Checked:
    """Return today's figures judged by a baseline, and the history with them added.

    Parameters
    ----------
    location
        A session folder, or its session.toml.
    baseline_file
        Made by `baseline_of_session`, and edited as one likes.
    history_file
        A table of earlier checks; may not exist yet.
    date
        Of this check, ISO 8601.

    Raises
    ------
    ConfigError, SessionError
        If the session, the baseline or the history cannot be used.
    """
    baseline = load_config(baseline_file, BaselineConfig)
    earlier = read_history(history_file)
    today = _today(location)
    _refuse_other_kinds(today.figures, baseline, baseline_file)
    _refuse_unknown_names(today.names, baseline, baseline_file)
    _refuse_far_too_wide_limits(today.figures, baseline, baseline_file)
    lines = judged(today.figures, baseline)
    units = {one.name: one.unit for one in baseline.figures}
    records = [_line_record(line, units) for line in lines]
    added = _entries(records, today.session, date)
    entries = [*earlier, *added]
    return Checked(
        Precheck(
            locbench=__version__,
            session=today.session,
            date=date,
            baseline=baseline.name,
            baseline_saved=baseline.saved,
            verdict=overall(lines),
            lines=records,
            next_runs=list(dict.fromkeys(one.next_run for one in records if one.next_run is not None)),
            trends=[trend for one in records if (trend := _trend(entries, one)) is not None],
            remarks=list(today.remarks),
        ),
        tuple(added),
        tuple(entries),
    )


def _refuse_other_kinds(today: Sequence[Figure], baseline: BaselineConfig, path: Path) -> None:
    kinds = {one.name: one.kind for one in today}
    for place, before in enumerate(baseline.figures):
        kind = kinds.get(before.name, before.kind)
        if before.kind is not kind:
            raise ConfigError(
                f'"{before.name}" is of another kind',
                where=_where(path, place, "kind"),
                received=before.kind.value,
                remedy=f'Write kind = "{kind}"',
            )


def _refuse_unknown_names(names: Collection[str], baseline: BaselineConfig, path: Path) -> None:
    for place, before in enumerate(baseline.figures):
        if before.name not in names:
            raise ConfigError(
                "no check of this robot has such a figure",
                where=_where(path, place, "name"),
                received=before.name,
                remedy=nearest_choice(before.name, difflib.get_close_matches(before.name, sorted(names), 5, 0.0)),
            )


def _refuse_far_too_wide_limits(today: Sequence[Figure], baseline: BaselineConfig, path: Path) -> None:
    """Refuse what looks like a unit that was mistaken: such a limit would pass anything."""
    values = {one.name: one.value for one in today}
    for place, before in enumerate(baseline.figures):
        facts, factor = KINDS[before.kind], unit_factor(before.unit)
        saved = before.value * factor
        usual = facts.may_change(saved if facts.as_ratio else values.get(before.name, saved))
        for key, limit, most in zip(_LIMITS, (before.least_change, before.most_change), usual, strict=True):
            if limit is not None and abs(limit) * factor > _FAR_TOO_WIDE * abs(most):
                raise ConfigError(
                    f"the limit of {before.name} is more than {_FAR_TOO_WIDE:.0f} times the usual one, "
                    f"{most / facts.factor:+.3g} {facts.unit}: it would pass anything",
                    where=_where(path, place, key),
                    received=f"{limit:g} {before.unit}",
                    remedy=f'Check unit = "{before.unit}" and the numbers beside it; leave a limit out to have none',
                )


def _where(path: Path, place: int, key: str) -> str:
    return f"{path}: {dotted_key(('figures', place, key))}"


def _line_record(line: Line, units: Mapping[str, BaselineUnit]) -> PrecheckLine:
    facts = KINDS[line.kind]
    unit = units.get(line.name, facts.unit)
    factor = unit_factor(unit)
    failed = line.verdict is Conformity.FAIL

    def shown(value: float | None) -> float | None:
        return None if value is None or not math.isfinite(value) else value / factor

    return PrecheckLine(
        name=line.name,
        kind=line.kind,
        role=line.role,
        unit=unit,
        value=shown(None if line.figure is None else line.figure.value),
        std=shown(None if line.figure is None else line.figure.std),
        baseline=shown(line.before),
        baseline_std=shown(line.before_std),
        change=shown(line.change),
        change_std=shown(line.std),
        least_change=shown(line.low),
        most_change=shown(line.high),
        verdict=line.verdict,
        cause=facts.cause if failed else None,
        action=facts.action if failed else None,
        next_run=facts.drive if line.is_open else None,
        why="not determined by today's drive" if line.figure is None else None,
    )


def _entries(records: Sequence[PrecheckLine], session: str, date: str) -> list[HistoryEntry]:
    return [
        HistoryEntry(
            date=date,
            session=session,
            name=one.name,
            unit=one.unit,
            value=one.value,
            std=one.std,
            low=_limit(one.baseline, one.least_change),
            high=_limit(one.baseline, one.most_change),
            verdict=one.verdict,
        )
        for one in records
        if one.value is not None and one.std is not None
    ]


def _limit(before: float | None, change: float | None) -> float | None:
    return None if before is None or change is None else before + change


def _trend(entries: Sequence[HistoryEntry], line: PrecheckLine) -> Trend | None:
    """Return how a figure moves over the history, None if it has fewer than three checks or those of one day alone."""
    rows = [one for one in entries if one.name == line.name and one.unit == line.unit and one.std > 0.0]
    days = np.array([days_of(one.date) for one in rows])
    if len(rows) < _FEWEST_FOR_A_TREND or np.ptp(days) < _SHORTEST_TREND_DAYS:
        return None
    fitted = fit_line(days - days[-1], np.array([one.value for one in rows]), std=np.array([one.std for one in rows]))
    # scatter beyond the single uncertainties makes the slope less sure, never surer
    widened = fitted.slope_std * max(1.0, fitted.residual_std)
    return Trend(
        name=line.name,
        unit=line.unit,
        checks=len(rows),
        days=float(np.ptp(days)),
        slope_per_30_days=_DAYS * fitted.slope,
        std=_DAYS * widened,
    )
