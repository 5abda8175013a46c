"""The evaluation as one HTML file that needs nothing else: no script, no request, pictures inside."""

import base64
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from locbench.report.advice import where_to_look_next
from locbench.report.comparison_words import answer, comparisons_table
from locbench.report.figures import Picture, session_pictures
from locbench.report.judging_tables import aim_table, reference_table
from locbench.report.layout import (
    corrections_table,
    drift_table,
    estimators_table,
    findings_table,
    pooled_table,
)
from locbench.report.mark_tables import marks_table
from locbench.report.numbers import floor_length, plain_text, quantity_text
from locbench.report.pages import page_environment
from locbench.report.quantities import result_numbers
from locbench.report.residual_tables import residuals_table
from locbench.report.shot_tables import shots_table
from locbench.report.text_tables import TextTable, reasons
from locbench.report.wording import CAUTION, session_facts, suspicion
from locbench.results import BandShots, Results, SessionResult, SessionTracks, Tracks
from locbench.units import UnitSystem

__all__ = ["report_html"]


@dataclass(frozen=True)
class DrawnPicture:
    """A picture as an image source that travels inside the page."""

    source: str
    alternative: str
    caption: str


@dataclass(frozen=True)
class Section:
    """One session of the page, or all of them together."""

    anchor: str
    title: str
    facts: str
    tables: tuple[TextTable, ...]
    reasons: tuple[str, ...]
    pictures: tuple[DrawnPicture, ...]
    findings: TextTable | None


@dataclass(frozen=True)
class MethodNote:
    """How some quantities and their intervals were computed."""

    method: str
    quantities: tuple[str, ...]


def report_html(
    results: Results, tracks: Tracks, system: UnitSystem, progress: Callable[[str], None] = lambda _: None
) -> str:
    """Return the text of report.html; the same input gives the same text.

    Parameters
    ----------
    results
        The numbers.
    tracks
        The pictures' contents; a session without any gets no pictures.
    system
        Metric or imperial lengths.
    progress
        Called with the name of each session as its pictures are drawn.
    """
    drawn = {session.name: session for session in tracks.sessions}
    sections = [] if results.pooled is None else [_pooled_section(results, system)]
    comparisons = comparisons_table(results, system)
    sections += _section_of("comparisons", "Comparisons", "Who is better, and how sure that is.", comparisons)
    for number, session in enumerate(results.sessions, start=1):
        progress(session.name)
        sections.append(_session_section(number, session, drawn.get(session.name), system))
    marks = marks_table(results, system)
    sections += _section_of("marks", "Marks found again", "How alike repeated visits are believed.", marks)
    environment = page_environment()
    environment.filters["unbroken"] = _unbroken
    return environment.get_template("report.html.j2").render(
        headline=answer(results, system),
        sections=sections,
        advice=[line for line in where_to_look_next(results, system) if line != CAUTION],
        caution=CAUTION,
        methods=_method_notes(results),
        version=results.locbench,
        command=results.command,
    )


def _unbroken(text: str) -> str:
    """Return a sentence in which no line ends between a number and its unit, or inside "n = 14"."""
    held = re.sub(r"(?<=\d) (?=(?:%|mm|m|in|ft|deg|s)(?:\W|$))", "\u00a0", text)
    return held.replace("n = ", "n\u00a0=\u00a0")


def _shot_tables(shots: dict[str, list[BandShots]], system: UnitSystem) -> list[TextTable]:
    return [shots_table(name, bands, system) for name, bands in shots.items() if bands]


def _with_rows(tables: Sequence[TextTable]) -> tuple[TextTable, ...]:
    return tuple(table for table in tables if table.rows)


def _pooled_section(results: Results, system: UnitSystem) -> Section:
    estimators = {} if results.pooled is None else results.pooled.estimators
    tables = _with_rows(
        [pooled_table(estimators, system), *_shot_tables({n: r.shots for n, r in estimators.items()}, system)]
    )
    driven = sum(session.path_length_m for session in results.sessions)
    facts = f"{len(results.sessions)} sessions, {quantity_text(driven, floor_length(system))} driven."
    return Section("pooled", "All sessions together", facts, tables, tuple(reasons(tables, estimators)), (), None)


def _section_of(anchor: str, title: str, facts: str, table: TextTable) -> list[Section]:
    """Return the section that a table over all sessions makes; none if it says nothing."""
    return [Section(anchor, title, facts, (table,), tuple(reasons([table], {})), (), None)] if table.rows else []


def _session_section(number: int, session: SessionResult, tracks: SessionTracks | None, system: UnitSystem) -> Section:
    tables = _with_rows(
        [
            estimators_table(session, system),
            aim_table(session),
            residuals_table(session, system),
            corrections_table(session, system),
            *_shot_tables({name: result.shots for name, result in session.estimators.items()}, system),
            drift_table(session, system),
            reference_table(session),
        ]
    )
    return Section(
        anchor=f"session-{number}",
        title=plain_text(session.name),
        facts=" ".join(filter(None, [f"{session_facts(session, system)}.", suspicion(session)])),
        tables=tables,
        reasons=tuple(reasons(tables, session.estimators)),
        pictures=() if tracks is None else tuple(_embedded(picture) for picture in session_pictures(tracks, system)),
        findings=findings_table(session) if session.findings else None,
    )


def _embedded(picture: Picture) -> DrawnPicture:
    encoded = base64.b64encode(picture.svg.encode("utf-8")).decode("ascii")
    return DrawnPicture(f"data:image/svg+xml;base64,{encoded}", picture.alternative, picture.caption)


def _method_notes(results: Results) -> list[MethodNote]:
    """Return each method once, with what it was used for, in the order in which they appear."""
    used: dict[str, list[str]] = {}
    for named in result_numbers(results):
        if named.number.value is not None:
            used.setdefault(plain_text(named.number.method), []).append(named.quantity.words)
    return [MethodNote(method, tuple(dict.fromkeys(words))) for method, words in used.items()]
