"""Surveyed places that several visits, and several sessions on one field, share: their survey errors are shared too."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FieldConfig

__all__ = ["SurveyedPlaces", "surveyed_places"]

# Of a mark that does not say which part of its uncertainty is new at every visit, half the variance is; common
# practice, no source.
_PLACING_SHARE = float(np.sqrt(0.5))


@dataclass(frozen=True)
class Distance:
    """A distance taped between two places, by their indices: metres."""

    first: int
    second: int
    length_m: float
    std_m: float


@dataclass(frozen=True)
class SurveyedPlaces:
    """Marks of all fields of a fit.

    Attributes
    ----------
    key
        (K) field file and name of each.
    pose
        (K, 3) as surveyed; headings NaN where a mark has none.
    survey_std
        (K, 3) of the survey, the same at every visit.
    placing_std
        (K, 3) of putting the robot there, new at every visit; NaN where the field file does not say how sure it is.
    distances
        Taped between two of them.
    """

    key: tuple[tuple[Path, str], ...]
    pose: FloatArray
    survey_std: FloatArray
    placing_std: FloatArray
    distances: tuple[Distance, ...]

    def index(self, field_file: Path, name: str) -> int | None:
        """Return where that mark stands; None if it is unknown or does not say how sure it is."""
        key = (field_file.resolve(), name)
        if key not in self.key:
            return None
        place = self.key.index(key)
        return place if np.isfinite(self.placing_std[place, 0]) else None


def surveyed_places(fields: dict[Path, FieldConfig]) -> SurveyedPlaces:
    """Return all marks of the fields, by their files."""
    keys: list[tuple[Path, str]] = []
    poses, survey, placing, distances = [], [], [], []
    for path, field in fields.items():
        first = len(keys)
        names = [mark.name for mark in field.marks]
        for mark in field.marks:
            keys.append((path.resolve(), mark.name))
            poses.append([mark.x, mark.y, np.nan if mark.heading is None else mark.heading])
            position = _split(mark.position_std, mark.placing_std)
            heading = _split(mark.heading_std, mark.placing_heading_std)
            survey.append([position[0], position[0], heading[0]])
            placing.append([position[1], position[1], heading[1]])
        for taped in field.distances:
            ends = [first + names.index(name) for name in (taped.first, taped.second)]
            distances.append(Distance(ends[0], ends[1], taped.length, taped.std))
    shape = (len(keys), 3)
    return SurveyedPlaces(
        tuple(keys),
        np.array(poses).reshape(shape),
        np.array(survey).reshape(shape),
        np.array(placing).reshape(shape),
        tuple(distances),
    )


def _split(whole: float | None, placing: float | None) -> tuple[float, float]:
    """Return standard deviations of survey and placing; NaN where the mark does not say how sure it is."""
    if whole is None:
        return np.nan, np.nan
    new = _PLACING_SHARE * whole if placing is None else placing
    return float(np.sqrt(max(whole**2 - new**2, 0.0))), new
