"""Detections that cannot be: off the floor, from behind a tag, from beyond the floor; and those that are excluded."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import FieldConfig, FusionConfig
from locbench.config.fusion import NoiseSource, TagNoise
from locbench.geometry import interpolate_poses
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.session import Detections, Measured, PoseTrack, Severity
from locbench.units import Dimension, format_quantity
from locbench.vision import prepare_sightings, tag_places

__all__ = ["detection_faults", "excluded_detections", "severity_by_share"]

# The log's own spread where it has one, else the default model: only what lies far beyond either is named.
_NOISE = FusionConfig(name="inspection", tag_noise=TagNoise(source=NoiseSource.LOG))
_SURE = 4.0
# Some wrong fixes are in every camera's log (flipped tilts, misread ids); from this share on they are worth a warning.
# On 20 simulated healthy runs at most 0.4 % lay off the floor, on 6 shoved ones, which have more flips, 1.0 to 1.5 %.
_FEW, _SMALL_SHARE = 3, 0.007
_LARGEST_VIEW_RAD = float(np.radians(95.0))
_DIAGONAL_SLACK = 1.05


@dataclass(frozen=True)
class _Seen:
    """From where detections were made: places (M, 2), NaN where nothing tells, and how unsure they are (M,)."""

    place_m: FloatArray
    std_m: FloatArray


def detection_faults(detections: Detections, field: FieldConfig, truth: PoseTrack | None, file: str) -> list[Diagnosis]:
    """Return what is wrong with the detections as such; `file` is their table's."""
    if not len(detections):
        return []
    seen = _fixes(detections, field)
    behind_of = seen if np.any(np.isfinite(seen.place_m)) or truth is None else _true_places(detections, truth)
    found = [
        _off_the_floor(detections, seen, field, file),
        _from_behind(detections, behind_of, field, file),
        _beyond_the_floor(detections, field, file),
    ]
    return [diagnosis for diagnosis in found if diagnosis is not None]


def excluded_detections(detections: Detections, fusions: Sequence[FusionConfig], file: str) -> list[Diagnosis]:
    """Return how many detections the trust rules of each fusion file take away by excluding their tags."""
    found = [_excluded(detections, fusion, file) for fusion in fusions if fusion.trust.excluded_tags]
    return [diagnosis for diagnosis in found if diagnosis is not None]


def _excluded(detections: Detections, fusion: FusionConfig, file: str) -> Diagnosis | None:
    every = np.column_stack([detections.tag, detections.other_tags])
    excluded = np.isin(every, fusion.trust.excluded_tags)
    count = int(np.sum(np.any(excluded, axis=1)))
    if not count:
        return None
    share = count / len(detections)
    return Diagnosis(
        code=LogFault.EXCLUDED_TAG,
        severity=Severity.WARNING if share > 0.5 else Severity.NOTE,
        where=file,
        evidence=f'"{fusion.name}" excludes tags {_listed(np.unique(every[excluded]))} and with them {count} of '
        f"{len(detections)} detections ({100.0 * share:.0f} %).",
        meaning=f'"{fusion.name}" runs without these detections.',
        remedy="Nothing, if that is meant; else take the ids out of excluded_tags in its [trust].",
        measured=(Measured("detections", float(count)), Measured("share", share)),
    )


def _listed(ids: IntArray) -> str:
    return ", ".join(str(number) for number in ids[:8]) + (", ..." if len(ids) > 8 else "")


def severity_by_share(count: int, share: float) -> Severity:
    """Return how bad so many wrong detections are, that share of all: a few are in every camera's log."""
    return Severity.WARNING if count >= _FEW and share >= _SMALL_SHARE else Severity.NOTE


def _fixes(detections: Detections, field: FieldConfig) -> _Seen:
    sightings = prepare_sightings(detections, field, _NOISE)
    covariance = np.nan_to_num(sightings.fix_covariance[:, :2, :2])
    return _Seen(sightings.fix[:, :2], np.sqrt(np.linalg.eigvalsh(covariance)[:, 1].clip(0.0)))


def _true_places(detections: Detections, truth: PoseTrack) -> _Seen:
    pose = interpolate_poses(truth.time_s, truth.pose, truth.flagged, detections.captured_s)
    return _Seen(pose[:, :2], np.full(len(detections), truth.position_std_m))


def _off_the_floor(detections: Detections, seen: _Seen, field: FieldConfig, file: str) -> Diagnosis | None:
    floor, place = field.floor, seen.place_m
    known = np.isfinite(place[:, 0])
    sides = (floor.x_from - place[:, 0], place[:, 0] - floor.x_to, floor.y_from - place[:, 1], place[:, 1] - floor.y_to)
    outside_m = np.max(sides, axis=0)
    off = known & (outside_m > _SURE * seen.std_m)
    count = int(np.sum(off))
    if not count:
        return None
    share, farthest = count / int(np.sum(known)), float(np.max(outside_m[off]))
    return Diagnosis(
        code=LogFault.OFF_THE_FLOOR,
        severity=severity_by_share(count, share),
        where=file,
        evidence=f"{count} of {int(np.sum(known))} fixes ({100.0 * share:.1f} %) put the robot off the floor by "
        f"more than {_SURE:.0f} times their noise, the farthest by {format_quantity(farthest, Dimension.LENGTH)}; "
        f"tags {_listed(np.unique(detections.tag[off]))}.",
        meaning="These fixes are wrong, and where some are seen to be, others that stay on the floor are too: "
        "without a gate a filter follows them.",
        remedy="Set gate_probability, and maximum_view_angle or maximum_reprojection_ratio, in [trust]. If it is "
        "most of them, look at units, frame and the tags' places first.",
        measured=(
            Measured("fixes", float(count)),
            Measured("share", share),
            Measured("farthest", farthest, dimension=Dimension.LENGTH),
        ),
    )


def _from_behind(detections: Detections, seen: _Seen, field: FieldConfig, file: str) -> Diagnosis | None:
    behind = _behind(detections, seen, field)
    count = int(np.sum(behind))
    if not count:
        return None
    share = count / len(detections)
    whole = [tag for tag in np.unique(detections.tag[behind]) if np.mean(behind[detections.tag == tag]) > 0.5]
    turned = f" Most of what was seen of {_listed(np.array(whole))} is so: the file has it facing the wrong way?"
    return Diagnosis(
        code=LogFault.SEEN_FROM_BEHIND,
        severity=Severity.WARNING if whole and count >= _FEW else severity_by_share(count, share),
        where=file,
        evidence=f"{count} of {len(detections)} detections ({100.0 * share:.1f} %) see a tag from behind its printed "
        f"side, so through its wall; tags {_listed(np.unique(detections.tag[behind]))}.{turned if whole else ''}",
        meaning="They are of another tag than the id says, or the tag's place or facing in the field file is wrong.",
        remedy="Compare the ids and the facing of these tags in the field file with the floor.",
        measured=(Measured("detections", float(count)), Measured("share", share)),
    )


def _behind(detections: Detections, seen: _Seen, field: FieldConfig) -> BoolArray:
    """Return (M,) detections from behind, of tags whose facing the field file gives; the first tag of a fix counts."""
    facing_known = [tag.id for tag in field.tags if "facing" in tag.model_fields_set]
    places = tag_places(detections, field)[:, 0]
    normal = np.column_stack([np.cos(places[:, 3]), np.sin(places[:, 3])])
    before_m = np.sum((seen.place_m - places[:, :2]) * normal, axis=1)
    # comparisons with NaN are false: what is not known accuses nobody
    reported = detections.view_angle_rad > _LARGEST_VIEW_RAD
    placed = before_m < -np.maximum(_SURE * seen.std_m, _nearest_m(field))
    return np.asarray((reported | placed) & np.isin(detections.tag, facing_known))


def _nearest_m(field: FieldConfig) -> float:
    """Return how far behind a tag a place must be at least: a few centimetres may be the survey of the tag."""
    return 0.02 * _diagonal_m(field)


def _diagonal_m(field: FieldConfig) -> float:
    floor = field.floor
    return float(np.hypot(floor.x_to - floor.x_from, floor.y_to - floor.y_from))


def _beyond_the_floor(detections: Detections, field: FieldConfig, file: str) -> Diagnosis | None:
    diagonal = _diagonal_m(field)
    beyond = detections.range_m > _DIAGONAL_SLACK * diagonal
    count, known = int(np.sum(beyond)), int(np.sum(np.isfinite(detections.range_m)))
    if not count:
        return None
    share, farthest = count / known, float(np.max(detections.range_m[beyond]))
    return Diagnosis(
        code=LogFault.BEYOND_THE_FLOOR,
        severity=severity_by_share(count, share),
        where=file,
        evidence=f"{count} of {known} ranges ({100.0 * share:.1f} %) are longer than the floor's diagonal of "
        f"{format_quantity(diagonal, Dimension.LENGTH)}, the longest {format_quantity(farthest, Dimension.LENGTH)}; "
        f"tags {_listed(np.unique(detections.tag[beyond]))}.",
        meaning="From nowhere on this floor a tag is that far away: the readings, their unit or the floor's size "
        "are wrong.",
        remedy="Check the unit of the range column and the floor in the field file; else set maximum_range in [trust].",
        measured=(
            Measured("ranges", float(count)),
            Measured("share", share),
            Measured("longest", farthest, dimension=Dimension.LENGTH),
        ),
    )
