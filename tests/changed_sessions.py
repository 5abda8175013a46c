"""Copies of sessions with tables of their session file left out: less to read takes less time."""

import re
import shutil
from pathlib import Path

__all__ = ["copied", "without_tables"]

ROOT = Path(__file__).parents[1]


def copied(session: Path, folder: Path) -> Path:
    """Copy a demo log into a new folder, from which it still finds its files."""
    shutil.copytree(session, folder)
    path = folder / "session.toml"
    path.write_text(path.read_text().replace("../../configs", str(ROOT / "configs")))
    return folder


def without_tables(session: Path, *tables: str) -> Path:
    """Take tables such as "truth" or "tags", with all below them, out of a session file; return its folder."""
    path = session / "session.toml"
    pattern = rf"^\[({'|'.join(tables)})[^]]*\]\n(?:[^\[\n].*\n|\n)*"
    path.write_text(re.sub(pattern, "", path.read_text(), flags=re.M))
    return session
