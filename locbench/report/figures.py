"""The pictures of one session as SVG texts, with what a person who does not see them needs to know."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from locbench.report.miss_plots import plot_misses
from locbench.report.numbers import plain_text
from locbench.report.plots import plot_drift, plot_field
from locbench.report.style import figure_svg
from locbench.report.time_plots import plot_error_over_time
from locbench.results import SessionTracks
from locbench.units import UnitSystem

__all__ = ["Picture", "session_pictures"]


@dataclass(frozen=True)
class Picture:
    """An SVG text with its alternative text and caption."""

    svg: str
    alternative: str
    caption: str


def session_pictures(session: SessionTracks, system: UnitSystem) -> Iterator[Picture]:
    """Yield the pictures of one session; one for which there is nothing to draw is left out.

    Parameters
    ----------
    session
        Its pictures' contents.
    system
        Units on the axes.
    """
    makers: tuple[Callable[[SessionTracks, UnitSystem], Picture | None], ...] = (_floor, _errors, _misses, _drift)
    for make in makers:
        picture = make(session, system)
        if picture is not None:
            yield picture


def _names(session: SessionTracks) -> str:
    return ", ".join(plain_text(name) for name in session.estimators)


def _floor(session: SessionTracks, system: UnitSystem) -> Picture:
    alternative = f"The floor from above with the paths of {_names(session)}"
    if session.reference != "none":
        alternative += f" and the {session.reference}"
    caption = (
        "Paths on the floor, from above. Rings: where an estimator believes itself with 95 % probability. "
        "A path thrown off the floor by a wrong fix is cut at the edge."
    )
    return Picture(figure_svg(plot_field(session, system).figure), alternative, caption)


def _errors(session: SessionTracks, system: UnitSystem) -> Picture | None:
    drawn = plot_error_over_time(session, system)
    if drawn is None:
        return None
    caption = "Position error over time on a logarithmic axis."
    if drawn.start_s != 0.0:
        caption += f" The start is at {drawn.start_s:.3f} s on the log's clock."
    if drawn.panels:
        caption += (
            " Below, each filter alone: while its error stays under the dashed line it is as good as it believes. "
            "The strip shows every fix: refused, taken, and those taken that moved the position away from the truth."
        )
    return Picture(figure_svg(drawn.figure), f"Position error over time of {_names(session)}", caption)


def _misses(session: SessionTracks, system: UnitSystem) -> Picture | None:
    drawn = plot_misses(session, system)
    if drawn is None:
        return None
    goals = ", ".join(dict.fromkeys(plain_text(goal) for goal, _ in drawn.panels))
    caption = (
        "Where shots aimed exactly from the believed pose would land, as the robot sees the goal: left is left, up is "
        "beyond. One panel per goal and band. Only localization is in it, not the launcher's own spread."
    )
    return Picture(figure_svg(drawn.figure), f"Landing points about the openings of {goals}", caption)


def _drift(session: SessionTracks, system: UnitSystem) -> Picture | None:
    drawn = plot_drift(session, system)
    if drawn is None:
        return None
    caption = "Position error gained from one reference to the next, against the way driven between them."
    return Picture(figure_svg(drawn.figure), f"Error gained against way driven, for {_names(session)}", caption)
