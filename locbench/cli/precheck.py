"""`locbench precheck`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["precheck"]

FAILED, UNDECIDED = 1, 3
_AS_A_DATE = "Write it as 2026-11-26T10:30"


def precheck(
    session: Annotated[Path, typer.Argument(help="Session folder of today's check, with a session.toml.")],
    baseline: Annotated[Path | None, typer.Option(help="Baseline file of a good day.")] = None,
    save: Annotated[
        Path | None, typer.Option(help="Save this session's figures as a baseline file; goes with --date only.")
    ] = None,
    history: Annotated[
        Path | None,
        typer.Option(help="Table that every check is added to. Default: beside the baseline, NAME_history.csv."),
    ] = None,
    date: Annotated[
        str | None, typer.Option(help="When the check was driven, such as 2026-11-26T10:30. Default: now.")
    ] = None,
    json: Annotated[
        bool, typer.Option("--json", help="Print precheck.json, and nothing else; not with --save.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option(help="Folder for precheck.json and the picture of the trends; not with --save.")
    ] = None,
) -> None:
    """Check before an event whether odometry and camera are still what they were on a good day.

    Example: locbench precheck today --baseline good_day.toml

    Exit status: 0 pass, 1 fail, 3 undecided, 2 the session or a file cannot be used.
    """
    from datetime import datetime

    from locbench.cli.progress import console
    from locbench.errors import UsageError
    from locbench.jobs.precheck import baseline_of_session, refuse_existing_baseline
    from locbench.jobs.precheck import precheck as precheck_job
    from locbench.precheck.judging import Overall
    from locbench.report.precheck import add_to_history, print_precheck, print_saved, write_precheck, write_text
    from locbench.results import precheck_json

    try:
        when = datetime.now() if date is None else datetime.fromisoformat(date)
    except ValueError as error:
        raise UsageError("this is no date", received=date, remedy=_AS_A_DATE) from error
    if when.tzinfo is not None:
        # beside times without one it would be sorted wrongly
        raise UsageError("dates of checks have no time zone: a clock on the wall", received=date, remedy=_AS_A_DATE)
    now = when.isoformat(timespec="seconds" if when.second or date is None else "minutes")
    if (baseline is None) == (save is None):
        raise UsageError("name one of --baseline and --save", remedy="First --save a good day, then check against it")
    if save is not None:
        if json or out is not None or history is not None:
            raise UsageError("--save goes without --json, --out and --history", remedy="Leave them out")
        refuse_existing_baseline(save)
        made = baseline_of_session(session, now)
        write_text(made.text, save)
        print_saved(made.saved, str(save), console())
        return
    assert baseline is not None
    table = baseline.with_name(f"{baseline.stem}_history.csv") if history is None else history
    checked = precheck_job(session, baseline, table, now)
    written = [] if out is None else write_precheck(checked.precheck, checked.history, out)
    add_to_history(checked.added, table)
    if json:
        typer.echo(precheck_json(checked.precheck), nl=False)
    else:
        print_precheck(checked.precheck, str(session), console())
        typer.echo(f"Added to {table}")
        if written:
            typer.echo(f"Written to {out}: {', '.join(written)}")
    if checked.precheck.verdict is Overall.FAIL:
        raise typer.Exit(FAILED)
    if checked.precheck.verdict is Overall.UNDECIDED:
        raise typer.Exit(UNDECIDED)
