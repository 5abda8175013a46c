"""The run sheet as one printable page, and its file."""

from pathlib import Path

from locbench import __version__
from locbench.errors import OutputError
from locbench.files import staged_directory
from locbench.report.pages import page_environment
from locbench.report.runsheet_picture import floor_picture
from locbench.report.runsheet_words import BLANKS, sheet_words
from locbench.runsheet.sheet import RunSheet
from locbench.units import UnitSystem

__all__ = ["runsheet_html", "write_runsheet"]

# in every run sheet, so that another page of that name is never written over
_SIGN = '<meta name="generator" content="locbench runsheet">'
_ENDINGS = (".html", ".htm")


def runsheet_html(sheet: RunSheet, system: UnitSystem) -> str:
    """Return the page's text; the same sheet gives the same text."""
    return (
        page_environment()
        .get_template("runsheet.html.j2")
        .render(words=sheet_words(sheet, system), picture=floor_picture(sheet), blanks=BLANKS, version=__version__)
    )


def write_runsheet(sheet: RunSheet, out: Path, system: UnitSystem) -> None:
    """Write the page, whole or not at all.

    Parameters
    ----------
    sheet
        What to lay out and drive.
    out
        The page's file; its folder is made if it is missing.
    system
        Units of the page.

    Raises
    ------
    OutputError
        If the file has another ending, is there already and no run sheet, or cannot be written.
    """
    if out.suffix.lower() not in _ENDINGS:
        raise OutputError("the page must be an .html file", where=str(out), remedy="Write --out runsheet.html")
    text = runsheet_html(sheet, system)
    if out.exists() and not _is_run_sheet(out):
        raise OutputError("this file is no run sheet", where=str(out), remedy="Choose another --out file")
    with staged_directory(out.parent) as stage:
        (stage / out.name).write_text(text, encoding="utf-8", newline="\n")


def _is_run_sheet(path: Path) -> bool:
    try:
        return _SIGN in path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return False
