"""Writes an evaluation's files: all of them, or none."""

import os
from collections.abc import Callable, Iterable
from pathlib import Path

from locbench.errors import OutputError
from locbench.files import staged_directory
from locbench.report.html import report_html
from locbench.report.tables import csv_tables
from locbench.results import Results, Tracks, results_json, tracks_json
from locbench.units import UnitSystem

__all__ = ["write_evaluation"]

_PAGE = "report.html"


def write_evaluation(
    results: Results,
    tracks: Tracks,
    out: Path,
    system: UnitSystem,
    progress: Callable[[str], None] = lambda _: None,
) -> list[str]:
    """Write results.json, tracks.json, the CSV files and report.html, and return their names.

    Parameters
    ----------
    results, tracks
        What `locbench evaluate` found.
    out
        Folder that receives the files; made if it is missing.
    system
        Units of the page; the other files are in SI.
    progress
        Called with the name of each session as its pictures are drawn.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or files of these names that are no results; what was in
        it before is untouched then.
    """
    texts = {
        "results.json": results_json(results),
        "tracks.json": tracks_json(tracks),
        **csv_tables(results, tracks),
    }
    # before the pictures are drawn, which takes longest
    _refuse_foreign_files(out, [*texts, _PAGE])
    texts[_PAGE] = report_html(results, tracks, system, progress)
    with staged_directory(out) as stage:
        for name, text in texts.items():
            (stage / name).write_text(text, encoding="utf-8", newline="\n")
    return list(texts)


def _refuse_foreign_files(out: Path, names: Iterable[str]) -> None:
    """Refuse a folder where results would replace somebody's own tables."""
    if os.path.exists(out / "session.toml"):
        raise OutputError("this folder holds a session", where=str(out), remedy="Choose another --out folder")
    taken = [name for name in names if os.path.exists(out / name)]
    if taken and not os.path.exists(out / "results.json"):
        raise OutputError(
            f"this folder has a {taken[0]} that is no result of locbench",
            where=str(out),
            remedy="Choose another --out folder",
        )
