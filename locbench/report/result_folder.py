"""A folder of results: all files of a run are put into it, or none; nobody's own files are replaced."""

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from locbench.errors import OutputError
from locbench.files import staged_directory

__all__ = ["refuse_foreign_files", "write_result_folder"]


def write_result_folder(out: Path, texts: Mapping[str, str], proof: str, replaced: Iterable[str] = ()) -> list[str]:
    """Write files into a folder and return their names.

    Parameters
    ----------
    out
        The folder; made if it is missing.
    texts
        Name and contents of every file, line ends as they are.
    proof
        The one of them whose presence shows that an earlier run wrote the folder.
    replaced
        Names that an earlier run may have written and this one does not: they are removed, lest they pass for its own.

    Raises
    ------
    OutputError
        If the folder cannot be written, or holds a session or files of these names without the proof; what was in it
        before is untouched then.
    """
    outdated = set(replaced) - set(texts)
    refuse_foreign_files(out, [*texts, *sorted(outdated)], proof)
    with staged_directory(out) as stage:
        for name, text in texts.items():
            (stage / name).write_text(text, encoding="utf-8", newline="")
    for name in outdated:
        (out / name).unlink(missing_ok=True)
    return list(texts)


def refuse_foreign_files(out: Path, names: Iterable[str], proof: str) -> None:
    """Refuse a folder where results would replace somebody's own tables; see `write_result_folder`."""
    if os.path.exists(out / "session.toml"):
        raise OutputError("this folder holds a session", where=str(out), remedy="Choose another --out folder")
    taken = [name for name in names if os.path.exists(out / name)]
    if taken and not os.path.exists(out / proof):
        raise OutputError(
            f"in this folder there is already {taken[0]}, which is no result of locbench",
            where=str(out),
            remedy="Choose another --out folder",
        )
