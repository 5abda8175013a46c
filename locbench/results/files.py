"""Text of the JSON files, and back."""

from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from locbench.errors import ConfigError
from locbench.results.calibration import Calibration
from locbench.results.camera import CameraRecord
from locbench.results.inspection import Inspection
from locbench.results.models import Results
from locbench.results.precheck import Precheck
from locbench.results.slip import SlipRecord
from locbench.results.tracks import Tracks

__all__ = [
    "calibration_json",
    "camera_json",
    "inspection_json",
    "precheck_json",
    "read_calibration",
    "read_camera",
    "read_inspection",
    "read_results",
    "read_slip",
    "read_tracks",
    "results_json",
    "slip_json",
    "tracks_json",
]

Model = TypeVar("Model", bound=BaseModel)


def results_json(results: Results) -> str:
    """Return the text of results.json."""
    return results.model_dump_json(by_alias=True, indent=1) + "\n"


def tracks_json(tracks: Tracks) -> str:
    """Return the text of tracks.json."""
    return tracks.model_dump_json(by_alias=True) + "\n"


def inspection_json(inspection: Inspection) -> str:
    """Return the text of inspect.json."""
    return inspection.model_dump_json(by_alias=True, indent=1) + "\n"


def calibration_json(calibration: Calibration) -> str:
    """Return the text of calibration.json."""
    return calibration.model_dump_json(by_alias=True, indent=1) + "\n"


def camera_json(camera: CameraRecord) -> str:
    """Return the text of camera.json."""
    return camera.model_dump_json(by_alias=True, indent=1) + "\n"


def precheck_json(precheck: Precheck) -> str:
    """Return the text of precheck.json."""
    return precheck.model_dump_json(by_alias=True, indent=1) + "\n"


def slip_json(slip: SlipRecord) -> str:
    """Return the text of slip.json."""
    return slip.model_dump_json(by_alias=True, indent=1) + "\n"


def _read(path: Path, model: type[Model]) -> Model:
    try:
        return model.model_validate_json(path.read_bytes())
    except OSError as error:
        raise ConfigError(f"cannot be read: {error.strerror}", where=str(path)) from error
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise ConfigError(
            f"not a file of this kind: {first['msg']}",
            where=f"{path}: {key}" if key else str(path),
            remedy="Make it again with this version of locbench",
        ) from error


def read_results(path: Path) -> Results:
    """Return the contents of a results.json.

    Raises
    ------
    ConfigError
        If it cannot be read or is not such a file.
    """
    return _read(path, Results)


def read_tracks(path: Path) -> Tracks:
    """Return the contents of a tracks.json; errors as `read_results`."""
    return _read(path, Tracks)


def read_inspection(path: Path) -> Inspection:
    """Return the contents of an inspect.json; errors as `read_results`."""
    return _read(path, Inspection)


def read_calibration(path: Path) -> Calibration:
    """Return the contents of a calibration.json; errors as `read_results`."""
    return _read(path, Calibration)


def read_slip(path: Path) -> SlipRecord:
    """Return the contents of a slip.json; errors as `read_results`."""
    return _read(path, SlipRecord)


def read_camera(path: Path) -> CameraRecord:
    """Return the contents of a camera.json; errors as `read_results`."""
    return _read(path, CameraRecord)
