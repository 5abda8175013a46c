"""The only place that puts results on disk: written beside, then renamed, so that a kill leaves the old ones whole."""

import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from locbench.errors import OutputError

__all__ = ["staged_directory"]

_STAGE_PREFIX = ".locbench-partial-"
_STALE_AFTER_S = 3600.0


def _remove_stale_stages(destination: Path) -> None:
    """Sweep up after killed runs; a younger stage may belong to a run that is still writing."""
    for stale in destination.glob(f"{_STAGE_PREFIX}*"):
        if time.time() - stale.stat().st_mtime > _STALE_AFTER_S:
            shutil.rmtree(stale, ignore_errors=True)


@contextmanager
def staged_directory(destination: Path) -> Iterator[Path]:
    """Yield an empty folder whose files replace those of `destination` only when the block succeeds.

    Parameters
    ----------
    destination
        Folder that receives the files; made if it is missing. Files of other names in it stay.

    Yields
    ------
    pathlib.Path
        A hidden folder inside `destination`; only plain files in its top level are moved.

    Raises
    ------
    OutputError
        If the destination cannot be written.
    """
    created = not os.path.exists(destination)
    try:
        destination.mkdir(parents=True, exist_ok=True)
        _remove_stale_stages(destination)
        stage = Path(tempfile.mkdtemp(prefix=_STAGE_PREFIX, dir=destination))
    except OSError as error:
        raise OutputError(
            f"cannot write there: {error.strerror}",
            where=str(destination),
            remedy="Choose another --out folder",
        ) from error
    finished = False
    try:
        yield stage
        for path in sorted(stage.iterdir()):
            os.replace(path, destination / path.name)
        finished = True
    except OSError as error:
        raise OutputError(
            f"writing failed: {error.strerror}",
            where=str(destination),
            remedy="Free some space and run it again",
        ) from error
    finally:
        shutil.rmtree(stage, ignore_errors=True)
        if created and not finished:
            shutil.rmtree(destination, ignore_errors=True)
