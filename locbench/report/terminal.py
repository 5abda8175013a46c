"""The evaluation in a terminal: the answer first, then the tables. Nothing is told by colour alone."""

from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.text import Text

from locbench.report.advice import where_to_look_next
from locbench.report.comparison_words import answer, comparison_lines
from locbench.report.judging_tables import aim_table
from locbench.report.layout import estimators_table, findings_table, fixes_table, pooled_table
from locbench.report.numbers import MISSING, plain_text
from locbench.report.residual_tables import residuals_table
from locbench.report.shot_tables import shots_overview
from locbench.report.terminal_pieces import print_heading, print_list, print_table, wide_enough
from locbench.report.text_tables import TextTable, reasons
from locbench.report.wording import session_facts, suspicion
from locbench.results import EstimatorResult, PooledEstimator, Results, SessionResult
from locbench.units import UnitSystem

__all__ = ["print_evaluation"]

_LEGEND = (
    'Brackets: 95 % interval; "(n=…)" means no interval can be given. '
    "NIS typical: 1 if the filter is as sure as it is right."
)


def print_evaluation(results: Results, console: Console, system: UnitSystem) -> None:
    """Print the answer, the tables per session, the findings, and where to look next.

    Parameters
    ----------
    results
        What `locbench evaluate` found.
    console
        Where to print, with or without colour; nothing is drawn narrower than 80 columns.
    system
        Metric or imperial lengths.
    """
    with wide_enough(console):
        console.print(Text(answer(results, system), style="bold"), highlight=False)
        for session in results.sessions:
            _print_session(session, console, system)
        if results.pooled is not None:
            print_heading("All sessions together", console)
            estimators = results.pooled.estimators
            shots = shots_overview({name: result.shots for name, result in estimators.items()}, system)
            _print_tables([pooled_table(estimators, system), shots], estimators, console)
        print_list("Compared at the same places", comparison_lines(results, system), console, None)
        print_list("Where to look next", where_to_look_next(results, system), console, "Nothing stands out.")


def _print_session(session: SessionResult, console: Console, system: UnitSystem) -> None:
    print_heading(plain_text(session.name), console)
    console.print(Text(session_facts(session, system)), highlight=False)
    doubts = suspicion(session)
    if doubts is not None:
        console.print(Text(doubts), highlight=False)
    shots = shots_overview({name: result.shots for name, result in session.estimators.items()}, system)
    estimators, fixes = estimators_table(session, system), fixes_table(session)
    tables = [estimators, fixes, aim_table(session), residuals_table(session, system), shots]
    _print_tables(tables, session.estimators, console)
    if session.findings:
        _print_findings(session, console)


def _print_tables(
    tables: Sequence[TextTable], estimators: Mapping[str, EstimatorResult | PooledEstimator], console: Console
) -> None:
    for table in tables:
        print_table(table, console)
    console.print()
    console.print(Text(_LEGEND, style="italic"), highlight=False)
    print_list("Why numbers or intervals are missing", reasons(tables, estimators), console, None)


def _print_findings(session: SessionResult, console: Console) -> None:
    lines = []
    for severity, where, what, remedy in findings_table(session).rows:
        place = "" if where.text == MISSING else f" {where.text}"
        advice = "" if remedy.text == MISSING else f" {remedy.text}"
        lines.append(f"{severity.text.upper()}{place}: {what.text}{advice}")
    print_list("Findings in the log", lines, console, None)
