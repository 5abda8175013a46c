"""Writes an evaluation's files: all of them, or none."""

from collections.abc import Callable
from pathlib import Path

from locbench.report.html import report_html
from locbench.report.result_folder import refuse_foreign_files, write_result_folder
from locbench.report.tables import csv_tables
from locbench.results import Results, Tracks, results_json, tracks_json
from locbench.units import UnitSystem

__all__ = ["write_evaluation"]

_PROOF, _PAGE = "results.json", "report.html"


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
        _PROOF: results_json(results),
        "tracks.json": tracks_json(tracks),
        **csv_tables(results, tracks),
    }
    # before the pictures are drawn, which takes longest
    refuse_foreign_files(out, [*texts, _PAGE], _PROOF)
    texts[_PAGE] = report_html(results, tracks, system, progress)
    return write_result_folder(out, texts, _PROOF)
