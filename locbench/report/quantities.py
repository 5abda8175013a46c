"""What every number of the results is called, and its SI unit: one list for the CSV files and the method notes."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from locbench.results import BandShots, EstimatorResult, PooledEstimator, Results
from locbench.results.models import Record
from locbench.statistics import UncertainNumber

__all__ = [
    "ALL_SESSIONS",
    "QUANTITIES",
    "NamedNumber",
    "estimator_numbers",
    "fields_of",
    "result_numbers",
    "seen_numbers",
    "shot_numbers",
]

ALL_SESSIONS = "(all sessions pooled)"


@dataclass(frozen=True)
class Quantity:
    """How a number is called in a sentence, and its SI unit as the CSV files write it ("1" for a plain ratio)."""

    words: str
    unit: str


QUANTITIES: Mapping[str, Quantity] = MappingProxyType(
    {
        "position_rms_m": Quantity("position error, root mean square", "m"),
        "position_mean_m": Quantity("position error, mean", "m"),
        "position_cep50_m": Quantity("position error, half are below", "m"),
        "position_r95_m": Quantity("position error, 95 % are below", "m"),
        "position_max_m": Quantity("position error, largest", "m"),
        "position_last_m": Quantity("position error at the end", "m"),
        "heading_rms_rad": Quantity("heading error, root mean square", "rad"),
        "heading_max_rad": Quantity("heading error, largest", "rad"),
        "segment_length_m": Quantity("segment length", "m"),
        "position_per_metre": Quantity("position drift per metre", "1"),
        "heading_per_metre_rad": Quantity("heading drift per metre", "rad/m"),
        "heading_per_turn_rad": Quantity("heading drift per turn", "rad/turn"),
        "position_per_minute_m": Quantity("position drift per minute", "m/min"),
        "nees_mean": Quantity("normalised error squared, mean (NEES)", "1"),
        "nis_mean": Quantity("normalised innovation squared, mean (NIS)", "1"),
        "nis_median": Quantity("normalised innovation squared, typical over honest", "1"),
        "jump_rms_m": Quantity("jump of the position at a fix, root mean square", "m"),
        "jump_max_m": Quantity("jump of the position at a fix, largest", "m"),
        "jump_max_rad": Quantity("jump of the heading at a fix, largest", "rad"),
        "share": Quantity("share of the time on target", "1"),
        "kick_rms_rad": Quantity("kick of the aim at a fix, root mean square", "rad"),
        "kick_max_rad": Quantity("kick of the aim at a fix, largest", "rad"),
        "residual_rms_m": Quantity("fix against the belief just before, root mean square", "m"),
        "residual_median_m": Quantity("fix against the belief just before, half are below", "m"),
        "residual_heading_rms_rad": Quantity("heading of a fix against the belief, root mean square", "rad"),
        "range_m": Quantity("range of the shots", "m"),
        "miss_rms_m": Quantity("miss, root mean square", "m"),
        "lateral_rms_m": Quantity("miss to the side, root mean square", "m"),
        "along_rms_m": Quantity("miss along the line of fire, root mean square", "m"),
        "hit_probability": Quantity("share of clean hits", "1"),
        "bias_x_m": Quantity("position error at a mark, mean along x", "m"),
        "bias_y_m": Quantity("position error at a mark, mean along y", "m"),
        "accuracy_m": Quantity("position accuracy at a mark", "m"),
        "repeatability_m": Quantity("position repeatability at a mark", "m"),
        "heading_accuracy_rad": Quantity("heading accuracy at a mark", "rad"),
        "heading_repeatability_rad": Quantity("heading repeatability at a mark", "rad"),
        "difference": Quantity("difference between two estimators", "1"),
        "between_session_std_m": Quantity("spread between sessions", "m"),
    }
)


@dataclass(frozen=True)
class NamedNumber:
    """A number with the session, estimator and section ("truth", "drift", ...) it belongs to."""

    session: str
    estimator: str
    section: str
    field: str
    number: UncertainNumber

    @property
    def quantity(self) -> Quantity:
        """What it is called and its unit."""
        return QUANTITIES[self.field]


def fields_of(record: Record) -> Iterator[tuple[str, UncertainNumber]]:
    """Yield field name and number of every uncertain number of a record."""
    for name in type(record).model_fields:
        value = getattr(record, name)
        if isinstance(value, UncertainNumber):
            yield name, value


def shot_numbers(band: BandShots) -> Iterator[tuple[str, UncertainNumber]]:
    """Yield field name and number of everything known about one band."""
    return fields_of(band)


def seen_numbers(band: BandShots) -> Iterator[tuple[str, UncertainNumber]]:
    """Yield field name and number of the shots seen from a band where they are too few to be its figures."""
    if band.needed and band.seen is not None:
        yield from fields_of(band.seen)


def estimator_numbers(session: str, estimator: str, result: EstimatorResult | PooledEstimator) -> Iterator[NamedNumber]:
    """Yield every number of one estimator, the shots' left out."""
    sections: dict[str, Record | None] = {"marks": result.marks, "truth": result.truth}
    if isinstance(result, EstimatorResult):
        sections["drift"] = result.drift
    sections["consistency"] = result.consistency
    if isinstance(result, EstimatorResult):
        sections["corrections"] = result.corrections
        sections["tag_residuals"] = result.tag_residuals
    for section, record in sections.items():
        if record is not None:
            for field, number in fields_of(record):
                yield NamedNumber(session, estimator, section, field, number)
    if isinstance(result, EstimatorResult):
        yield from _aim_numbers(session, estimator, result)
    if isinstance(result, PooledEstimator):
        yield NamedNumber(session, estimator, "pooled", "between_session_std_m", result.between_session_std_m)


def _aim_numbers(session: str, estimator: str, result: EstimatorResult) -> Iterator[NamedNumber]:
    for target in result.on_target:
        yield NamedNumber(session, estimator, f"on_target: {target.goal}", "share", target.share)
    for goal in [] if result.corrections is None else result.corrections.goals:
        for field, number in fields_of(goal):
            yield NamedNumber(session, estimator, f"corrections: {goal.goal}", field, number)


def result_numbers(results: Results) -> Iterator[NamedNumber]:
    """Yield every number of the results, session by session, pooled ones last; the shots' come with their band."""
    groups: list[tuple[str, Mapping[str, EstimatorResult | PooledEstimator]]] = [
        (session.name, session.estimators) for session in results.sessions
    ]
    if results.pooled is not None:
        groups.append((ALL_SESSIONS, results.pooled.estimators))
    for session, estimators in groups:
        for name, result in estimators.items():
            yield from estimator_numbers(session, name, result)
            for band in result.shots:
                section = f"shots: {band.band}, {band.goal}"
                for field, number in (*shot_numbers(band), *seen_numbers(band)):
                    yield NamedNumber(session, name, section, field, number)
    for record in results.comparisons:
        section = f"{record.measure} against {record.against}"
        yield NamedNumber(record.session or ALL_SESSIONS, record.estimator, section, "difference", record.difference)
    for found in results.at_marks:
        for field, number in fields_of(found):
            yield NamedNumber(ALL_SESSIONS, found.estimator, f"at mark {found.mark}", field, number)
