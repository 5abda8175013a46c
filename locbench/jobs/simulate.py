"""`locbench simulate`: from a scenario file to a session folder."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from locbench.config import FieldConfig, FusionConfig, RobotConfig, ScenarioConfig, ShooterConfig, load_config
from locbench.errors import UsageError
from locbench.session.writer import SourceFiles, write_session
from locbench.simulation import record_run

__all__ = ["SimulatedSession", "simulate"]


@dataclass(frozen=True)
class SimulatedSession:
    """What was written: rows per table, the marks visited in order, and how often what happened."""

    name: str
    folder: Path
    duration_s: float
    path_length_m: float
    rows: Mapping[str, int]
    mark_visits: tuple[str, ...]
    events: Mapping[str, int]


def simulate(
    scenario_file: Path,
    out: Path,
    seed: int | None = None,
    robot_file: Path | None = None,
    progress: Callable[[float], None] | None = None,
) -> SimulatedSession:
    """Simulate the run of a scenario file and write it as a session folder.

    Parameters
    ----------
    scenario_file
        TOML file; the paths in it are relative to its folder.
    out
        Folder for the tables and session.toml; made if it is missing.
    seed
        Replaces the scenario's own; the session's name says so, so that several seeds can be evaluated together.
    robot_file
        Replaces the scenario's own: the same drive with pods placed otherwise.
    progress
        Called with the share of the work that is done, from 0 to 1.

    Raises
    ------
    ConfigError
        If the scenario, or a file it names, cannot be used.
    UsageError
        If the seed is negative, or a session's folder stands in place of the scenario file.
    OutputError
        If the folder cannot be written.
    """
    if seed is not None and seed < 0:
        raise UsageError("a seed must be 0 or more", received=seed, remedy="Choose another --seed")
    if (scenario_file / "session.toml").is_file():
        raise UsageError(
            "this is the folder of a session, and simulate makes one from a scenario file",
            where=str(scenario_file),
            remedy=f"Look at it with: locbench inspect {scenario_file}, or locbench evaluate {scenario_file}",
        )
    scenario = load_config(scenario_file, ScenarioConfig)
    if seed not in (None, scenario.seed):
        scenario = scenario.model_copy(update={"name": f"{scenario.name}, seed {seed}"})
    files = _source_files(scenario, scenario_file.parent, robot_file)
    recording = record_run(
        scenario,
        load_config(files.robot, RobotConfig),
        load_config(files.field, FieldConfig),
        files,
        scenario.seed if seed is None else seed,
        str(scenario_file),
        progress,
    )
    rows = write_session(out, recording.record)
    if progress is not None:
        progress(1.0)
    visits = recording.record.visits
    return SimulatedSession(
        name=scenario.name,
        folder=out,
        duration_s=recording.world.duration_s,
        path_length_m=recording.world.path_length_m,
        rows=rows,
        mark_visits=visits.name if visits is not None else (),
        events=recording.events,
    )


def _source_files(scenario: ScenarioConfig, folder: Path, robot_file: Path | None) -> SourceFiles:
    """Return the files the session will name, each known to be readable."""
    fusion = tuple(folder / name for name in scenario.fusion)
    for path in fusion:
        load_config(path, FusionConfig)
    shooter = folder / scenario.shooter if scenario.shooter is not None else None
    if shooter is not None:
        load_config(shooter, ShooterConfig)
    return SourceFiles(robot_file or folder / scenario.robot, folder / scenario.field, fusion, shooter)
