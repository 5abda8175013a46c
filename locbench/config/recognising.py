"""Which kind of TOML file a parsed one is, so that a file given in the wrong place is named for what it is."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from locbench.config.baseline import BaselineConfig
from locbench.config.field import FieldConfig
from locbench.config.fusion import FusionConfig
from locbench.config.robot import RobotConfig
from locbench.config.scenario import ScenarioConfig
from locbench.config.session import SessionConfig
from locbench.config.shooter import ShooterConfig

__all__ = ["RecognisedKind", "kind_of"]


@dataclass(frozen=True)
class RecognisedKind:
    """A kind of TOML file: its model, its name in words, and what to do with one of them, which it calls FILE."""

    model: type[BaseModel]
    words: str
    use: str

    def remedy(self, path: Path) -> str:
        """Return what to do with the file at `path`."""
        return self.use.replace("FILE", str(path))


_KINDS = (
    RecognisedKind(
        SessionConfig, "a session file", "Look at it with: locbench inspect FILE, or locbench evaluate FILE"
    ),
    RecognisedKind(
        ScenarioConfig,
        "a scenario file",
        "Make a session of it first: locbench simulate FILE --out FOLDER, then name that folder",
    ),
    RecognisedKind(RobotConfig, "a robot file", 'A session file names it: robot = "..."'),
    RecognisedKind(FieldConfig, "a field file", 'A session file names it: field = "..."'),
    RecognisedKind(FusionConfig, "a fusion file", "Its place: locbench evaluate FOLDER --fusion FILE"),
    RecognisedKind(BaselineConfig, "a baseline file", "Its place: locbench precheck FOLDER --baseline FILE"),
    RecognisedKind(ShooterConfig, "a shooter file", "Its place: locbench evaluate FOLDER --shooter FILE"),
)


def kind_of(data: Mapping[str, Any]) -> RecognisedKind | None:
    """Return the one kind whose keys, all required ones among them, are those of the parsed file; None if unclear."""
    fitting = [kind for kind in _KINDS if _fits(data, kind.model)]
    return fitting[0] if len(fitting) == 1 else None


def _fits(data: Mapping[str, Any], model: type[BaseModel]) -> bool:
    keys = {field.alias or name: field.is_required() for name, field in model.model_fields.items()}
    required = {key for key, needed in keys.items() if needed}
    return required <= set(data) <= set(keys)
