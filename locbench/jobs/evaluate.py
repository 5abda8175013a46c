"""`locbench evaluate`: replay sessions through every estimator and score them."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from locbench import __version__
from locbench.config import FusionConfig, ShooterConfig, load_config
from locbench.config.fusion import Trust
from locbench.errors import UsageError
from locbench.jobs.contesting import compare_estimators
from locbench.jobs.drawing import draw_session
from locbench.jobs.marking import at_marks
from locbench.jobs.replaying import Progress, SessionRun, check_fusion, replay_session
from locbench.jobs.scoring import pool, score_session
from locbench.results import Results, Tracks
from locbench.session import Session, read_session

__all__ = ["Evaluation", "evaluate", "replayed"]

DEFAULT_FUSION = FusionConfig(name="default_kalman", trust=Trust(gate_probability="99 %"))


@dataclass(frozen=True)
class Evaluation:
    """The numbers and the pictures' contents of one evaluation."""

    results: Results
    tracks: Tracks


def evaluate(
    sessions: Sequence[Path],
    fusion_files: Sequence[Path] = (),
    shooter_file: Path | None = None,
    progress: Progress = lambda *_: None,
) -> Evaluation:
    """Replay sessions through dead reckoning, tags alone and every fusion file, and score the results.

    Parameters
    ----------
    sessions
        Session folders, or session.toml files.
    fusion_files
        Fusion files; empty takes those each session names, or else a gated Kalman filter with default noise.
    shooter_file
        Shooter file; None takes the one each session names, if any.
    progress
        Called with what is being done and which share of the session is done.

    Returns
    -------
    Evaluation

    Raises
    ------
    LocbenchError
        If any input cannot be used; nothing is returned then.
    """
    if not sessions:
        raise UsageError("no session given", remedy="Name at least one session folder")
    read = [read_session(location) for location in sessions]
    _refuse_repeated_sessions(read)
    runs = [replayed(session, fusion_files, shooter_file, number, progress) for number, session in enumerate(read)]
    scored = [score_session(run) for run in runs]
    repeated, in_doubt = at_marks(runs)
    results = Results(
        locbench=__version__,
        command="evaluate",
        evidence=max(session.evidence for session in scored),
        sessions=scored,
        pooled=pool(runs, scored),
        comparisons=compare_estimators(runs),
        at_marks=repeated,
        marks_in_doubt=in_doubt,
    )
    tracks = Tracks(locbench=__version__, sessions=[draw_session(run) for run in runs])
    return Evaluation(results, tracks)


def replayed(
    session: Session,
    fusion_files: Sequence[Path] = (),
    shooter_file: Path | None = None,
    number: int = 0,
    progress: Progress = lambda *_: None,
) -> SessionRun:
    """Return a session replayed through every estimator; arguments as in `evaluate`, `number` its place among several.

    Raises
    ------
    LocbenchError
        If a fusion or shooter file cannot be used.
    """
    files = tuple(fusion_files) or session.fusion_files
    fusions = [load_config(path, FusionConfig) for path in files] or [DEFAULT_FUSION]
    _refuse_repeated_names([fusion.name for fusion in fusions], files)
    for path, fusion in zip(files, fusions, strict=False):
        check_fusion(fusion, session, str(path))
    launcher = shooter_file or session.shooter_file
    shooter = None if launcher is None else load_config(launcher, ShooterConfig)
    return replay_session(session, fusions, shooter, number, progress)


def _refuse_repeated_names(names: Sequence[str], files: Sequence[Path]) -> None:
    for index, name in enumerate(names):
        if name in names[:index]:
            raise UsageError(
                f'two fusion files have the name "{name}"', where=str(files[index]), remedy="Give each its own name"
            )


def _refuse_repeated_sessions(sessions: Sequence[Session]) -> None:
    names = [session.name for session in sessions]
    for index, name in enumerate(names):
        if name in names[:index]:
            raise UsageError(
                f'two sessions have the name "{name}"',
                where=str(sessions[index].folder / "session.toml"),
                remedy="Give each its own name",
            )
