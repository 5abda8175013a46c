"""What the commands that estimate something from several sessions share: reading, refusing mixtures, changed files."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from locbench.config import SessionConfig
from locbench.config.edits import ChangedFile, Edit, EditedFile
from locbench.config.session import PosesSource
from locbench.errors import ConfigError
from locbench.session import Examination, examine_session, read_session

__all__ = ["changed_file", "examined_session", "refuse_different_lags", "refuse_different_robots"]


def examined_session(location: Path) -> Examination:
    """Return a session with its files.

    Raises
    ------
    ConfigError
        If session.toml or a file it names is missing, malformed or impossible.
    SessionError
        If a table cannot be used.
    """
    examined = examine_session(location)
    if examined.session is None:
        # tells why
        read_session(location)
    return examined


def refuse_different_robots(examined: Sequence[Examination]) -> None:
    """Refuse sessions of different robots: one set of constants has to hold for all of them.

    Raises
    ------
    ConfigError
        Naming the first session whose robot differs.
    """
    first = examined[0]
    for other in examined[1:]:
        assert first.session is not None
        assert other.session is not None
        if other.session.robot != first.session.robot:
            raise ConfigError(
                "the sessions are of different robots",
                where=str(other.files.session),
                received=str(other.config.robot),
                remedy=f"Name sessions of one robot at a time; the first one names {first.config.robot}",
            )


def refuse_different_lags(examined: Sequence[Examination]) -> None:
    """Refuse sessions whose files move the gyro's heading, or the detections, by different times.

    One lag of the gyro and one of the camera is estimated for all of them, against what the files say.

    Raises
    ------
    ConfigError
        Naming the first session that differs, and the key.
    """
    said: dict[str, tuple[float, Examination]] = {}
    for one in examined:
        for key, value in _lags(one.config).items():
            before, first = said.setdefault(key, (value, one))
            if value != before:
                raise ConfigError(
                    "the sessions say different things about one lag",
                    where=f"{one.files.session}: {key}",
                    received=f"{1e3 * value:g} ms",
                    remedy=f"Write the same into all of them; {first.files.session} says {1e3 * before:g} ms",
                )


def _lags(config: SessionConfig) -> dict[str, float]:
    """Return the times by which a session file moves what lags, by key; none for what it does not log."""
    lags = {} if isinstance(config.odometry, PosesSource) else {"odometry.heading_lag": config.odometry.heading_lag}
    return lags if config.tags is None else {**lags, "tags.offset": config.tags.offset}


def changed_file(examined: Examination, file: EditedFile, edits: Iterable[Edit]) -> ChangedFile:
    """Return one of a session's files with those of some changes that are its own."""
    named = {
        EditedFile.SESSION: (examined.files.session, examined.files.session.name),
        EditedFile.ROBOT: (examined.files.robot, examined.config.robot),
        EditedFile.FIELD: (examined.files.field, examined.config.field),
    }
    path, name = named[file]
    # reports carry no absolute path
    shown = path.name if Path(name).is_absolute() else name
    own = tuple(edit for edit in edits if edit.file is file)
    return ChangedFile(file, shown, path.read_bytes().decode("utf-8"), own)
