"""Numbers to copy into the robot: changed keys as blocks per file, and the files themselves with the changes made."""

from collections.abc import Sequence
from enum import StrEnum

from rich.console import Console
from rich.text import Text

from locbench.config.edits import ChangedFile, EditedFile
from locbench.report.numbers import plain_text

__all__ = ["HOW_TO_USE_COPIES", "Copies", "copy_names", "copy_texts", "print_copy_block"]

HOW_TO_USE_COPIES = "Put each corrected file in place of the one it corrects: the paths in it are relative to there."
_TITLE = "Numbers to copy into the robot"


class Copies(StrEnum):
    """What copies are called after: what was done to them."""

    CORRECTED = "corrected"
    CALIBRATED = "calibrated"


def copy_names(copies: Copies) -> list[str]:
    """Return the names that copies can have."""
    return [_name(file, copies) for file in EditedFile]


def _name(file: EditedFile, copies: Copies) -> str:
    return f"{file.value}_{copies.value}.toml"


def copy_texts(changed_files: Sequence[ChangedFile], copies: Copies) -> dict[str, str]:
    """Return name and whole text of every copy."""
    return {_name(changed.file, copies): changed.changed_text for changed in changed_files}


def print_copy_block(changed_files: Sequence[ChangedFile], console: Console) -> None:
    """Print the changed keys of every file as they stand in it, in its own units; nothing without changes."""
    if not changed_files:
        return
    console.print()
    console.print(Text(_TITLE, style="bold"), highlight=False)
    for changed in changed_files:
        console.print()
        console.print(Text(f"# {plain_text(changed.name)}"), highlight=False, soft_wrap=True)
        for line in changed.lines.splitlines():
            # broken in the middle a line could not be copied
            console.print(Text(plain_text(line)), highlight=False, soft_wrap=True)
