"""Progress of long work on standard error, gone when the work is done; silent where nobody watches."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

__all__ = ["console", "progress_line"]


def console() -> Console:
    """Return the console that answers are printed to."""
    return Console(highlight=False)


@contextmanager
def progress_line() -> Iterator[Callable[[str, float], None]]:
    """Yield a function that shows what is being done and which share of it is done."""
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeElapsedColumn())
    watched = Console(stderr=True)
    with Progress(*columns, console=watched, transient=True, disable=not watched.is_terminal) as progress:
        task = progress.add_task("reading", total=1.0)

        def tell(what: str, share: float) -> None:
            progress.update(task, description=what, completed=share)

        yield tell
