"""Writes an adopted session: the clean tables and session.toml, all or none, never over somebody's own files."""

from pathlib import Path

from locbench.adoption.foreign_tables import clean_csv
from locbench.adoption.proposing import Proposal
from locbench.adoption.session_text import MADE_BY, is_untouched, session_text
from locbench.errors import OutputError
from locbench.files import staged_directory

__all__ = ["refuse_foreign_folder", "write_adopted"]


def write_adopted(proposal: Proposal, out: Path) -> list[str]:
    """Write the clean tables and session.toml into `out`, and return their names.

    Raises
    ------
    OutputError
        If the folder cannot be written, holds files of these names that were not adopted, or an adopted session that
        was edited since.
    """
    texts = {table.file: clean_csv(table) for table in proposal.tables}
    refuse_foreign_folder(out, list(texts))
    with staged_directory(out) as stage:
        for file, text in {**texts, "session.toml": session_text(proposal)}.items():
            (stage / file).write_text(text, encoding="utf-8", newline="\n")
    return [*texts, "session.toml"]


def refuse_foreign_folder(out: Path, files: list[str]) -> None:
    """Refuse a folder whose files nobody could make again.

    Raises
    ------
    OutputError
        As `write_adopted`.
    """
    session = out / "session.toml"
    remedy = "Choose another --out folder"
    if session.is_file():
        text = session.read_text(encoding="utf-8", errors="replace")
        if is_untouched(text):
            return
        what = (
            "an adopted session that was edited since"
            if text.startswith(MADE_BY)
            else "a session.toml that was not adopted"
        )
        raise OutputError(f"this folder holds {what}", where=str(out), remedy=f"{remedy}, or remove that file first")
    taken = next((file for file in files if (out / file).exists()), None)
    if taken is not None:
        raise OutputError(
            f"in this folder there is already {taken}, which was not adopted", where=str(out), remedy=remedy
        )
