"""What the commands that estimate something from several sessions share: reading, refusing mixtures, changed files."""

from collections.abc import Iterable, Sequence
from enum import StrEnum
from pathlib import Path

from locbench.config import SessionConfig
from locbench.config.edits import ChangedFile, Edit, EditedFile
from locbench.config.session import PosesSource
from locbench.config.tag_sources import RangeBearingSource, RangeSource
from locbench.errors import ConfigError
from locbench.session import Examination, TagKind, examine_session, read_session

__all__ = [
    "SharedKey",
    "changed_file",
    "examined_session",
    "lines_for_each_session",
    "refuse_different_robots",
    "refuse_different_values",
    "refuse_repeated_sessions",
    "remarks_on_logged_mount",
]


class SharedKey(StrEnum):
    """Keys of a session file by which one unknown of all sessions is told."""

    HEADING_LAG = "odometry.heading_lag"
    TAGS_OFFSET = "tags.offset"
    RANGE_SCALE = "tags.range_scale"


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


def refuse_repeated_sessions(examined: Sequence[Examination]) -> None:
    """Refuse one session named twice: its errors would count as two drives that agree.

    Raises
    ------
    ConfigError
        Naming it.
    """
    seen: set[Path] = set()
    for one in examined:
        path = one.files.session.resolve()
        if path in seen:
            raise ConfigError(
                "this session is named twice", where=str(one.files.session), remedy="Name each session once"
            )
        seen.add(path)


def refuse_different_values(examined: Sequence[Examination], keys: Iterable[SharedKey]) -> None:
    """Refuse sessions whose files have different values of a key: one shift from the file's is told for all of them.

    Raises
    ------
    ConfigError
        Naming the first session that differs, and the key.
    """
    for key in keys:
        said = [(one, value) for one in examined if (value := _value(one.config, key)) is not None]
        for one, value in said:
            first, before = said[0]
            if value != before:
                raise ConfigError(
                    "the sessions have different values here, but one is to be told for all",
                    where=f"{one.files.session}: {key}",
                    received=_shown(value, key),
                    remedy=f"Write the same into each; {first.files.session} has {_shown(before, key)}",
                )


def _value(config: SessionConfig, key: SharedKey) -> float | None:
    """Return what a session file has under a key; None where its tables know no such thing."""
    match key:
        case SharedKey.HEADING_LAG:
            return None if isinstance(config.odometry, PosesSource) else config.odometry.heading_lag
        case SharedKey.TAGS_OFFSET:
            return None if config.tags is None else config.tags.offset
        case SharedKey.RANGE_SCALE:
            return config.tags.range_scale if isinstance(config.tags, RangeSource | RangeBearingSource) else None


def _shown(value: float, key: SharedKey) -> str:
    return f"{value:g}" if key is SharedKey.RANGE_SCALE else f"{1e3 * value:g} ms"


def lines_for_each_session(examined: Sequence[Examination], edits: Iterable[Edit]) -> list[str]:
    """Return what to write into every session file, in words; nothing where there is one session, which is changed."""
    lines = changed_file(examined[0], EditedFile.SESSION, edits).lines.splitlines()
    return [f"to be written into each session file: {' '.join(lines)}"] if lines and len(examined) > 1 else []


def remarks_on_logged_mount(examined: Sequence[Examination], name: str) -> list[str]:
    """Return what to know of a camera's mount that is told by robot poses, which had a mount in them already."""
    session = examined[0].session
    if session is None or session.detections is None or session.detections.kind is not TagKind.ROBOT_POSE:
        return []
    return [
        f"{name} is found against the mount that the robot computed its poses with when it logged them, which is taken "
        "to be the robot file's; where that file was changed since then, do not add the shift again"
    ]


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
