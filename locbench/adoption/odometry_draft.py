"""Proposes [odometry]: which kind it is, its clock, its columns, and which way its heading grows."""

from collections.abc import Sequence

import numpy as np

from locbench.adoption.drafts import Clock, Draft
from locbench.adoption.entries import ColumnReport, Entry, Given, table_entry, unit_decision
from locbench.adoption.foreign_tables import ForeignColumn
from locbench.adoption.headings import HeadingsFound, Visits, heading_at_marks, heading_by_pods, headings_at_visits
from locbench.adoption.kinds import BY_NAME, TakenColumn, TakenTable
from locbench.adoption.meanings import DIMENSION, POD_SIDES, STEP_WORDS, Meaning
from locbench.adoption.questions import OPEN, Asking, Decision, Evidence, Standing, Strength, decide
from locbench.adoption.tracks import handed_axes, heading_sense, heading_zero, track_of
from locbench.adoption.unit_evidence import angle_unit, length_unit, speed_unit, turn_rate_unit, unit_of_neighbour
from locbench.arrays import FloatArray
from locbench.session.writer import toml_key, toml_text
from locbench.units import Dimension

__all__ = ["draft_odometry"]

_WIDTHS = (16, 32)
_FEWEST_LETTERS = 3
_FLOORS_DRIVEN, _USUAL_FLOOR_M = 10.0, 4.0


def draft_odometry(draft: Draft, clock: Clock | None, visits: Visits | None) -> None:
    """Fill the draft of [odometry]; `clock` is None where no column is one."""
    kind, why = _kind(draft)
    draft.text("kind", kind, why)
    draft.text("file", draft.taken.table.file, "")
    if clock is None:
        draft.missing("time", Meaning.TIME)
    else:
        draft.clock("time", clock)
    times = None if clock is None else clock.times_s
    match kind:
        case "pod_counts":
            _pods(draft)
            _turning(draft, times, visits, needed=_heading_is_needed(draft.given))
        case "velocities":
            _speeds(draft)
            _turning(draft, times, visits, needed=True)
        case "increments":
            _steps(draft)
            _turning(draft, times, visits, needed=True)
        case _:
            _poses(draft, times, visits)


def _kind(draft: Draft) -> tuple[str, str]:
    taken = draft.taken
    if taken.pods:
        return "pod_counts", f"{len(taken.pods)} columns hold counts"
    if taken.column(Meaning.FORWARD_SPEED):
        return "velocities", f'"{taken.columns[Meaning.FORWARD_SPEED].column.name}" is a speed'
    if taken.column(Meaning.FORWARD_STEP):
        return "increments", f'"{taken.columns[Meaning.FORWARD_STEP].column.name}" is a step since the row before'
    return "poses", "it holds x and y, and nothing rawer"


def _heading_is_needed(given: Given) -> bool:
    return given.robot is not None and given.robot.heading_from != "pods"


def _pods(draft: Draft) -> None:
    """Add the pods: the robot file's names where it is known, else names made from the columns'."""
    robot = draft.given.robot
    columns = {taken.column.name: taken for taken in draft.taken.pods}
    names = (
        list(robot.pods) if robot is not None and robot.pods else [_own_name(one.column) for one in draft.taken.pods]
    )
    lone_letter = robot is None and _has_lone_letter(draft.taken.pods)
    if len(set(names)) < len(names) or lone_letter:
        names = list(columns)
    decisions = {name: _pod_column(draft, name, list(columns.values()), names) for name in names}
    used = {decision.value: name for name, decision in decisions.items() if decision.value is not None}
    pairs = ", ".join(f"{toml_key(name)} = {toml_text(decision.written)}" for name, decision in decisions.items())
    questions = tuple(decision.question for decision in decisions.values() if decision.question is not None)
    reasons = tuple(dict.fromkeys(f"{name}: {decision.why}" for name, decision in decisions.items()))
    draft.entries.append(Entry("pods", f"{{ {pairs} }}", reasons, questions))
    counters = {name: taken.column for name, taken in columns.items()}
    counters |= {name: column for name, column in _spare_columns(draft.taken).items() if name in used}
    for name, column in counters.items():
        standing = decisions[used[name]].standing if name in used else Standing.OPEN
        taken_for = f'counts of pod "{used[name]}"' if name in used else "pod counts"
        why = _counter_words(column.numbers)
        draft.reports.append(ColumnReport(draft.taken.table.file, name, taken_for, "counts", why, standing))


def _has_lone_letter(pods: Sequence[TakenColumn]) -> bool:
    """Return whether a single column seems to name a side, and by one letter: in a, b, c that is none."""
    sided = [one.column for one in pods if _own_name(one.column) in POD_SIDES]
    return len(sided) == 1 and not _spells(sided[0], _own_name(sided[0]))


def _spare_columns(taken: TakenTable) -> dict[str, ForeignColumn]:
    """Return the columns of numbers, by name, that are taken for nothing: one of them may be a pod all the same."""
    used = {one.column.name for one in (*taken.pods, *taken.columns.values())}
    return {column.name: column for column in taken.table.columns if column.is_numeric and column.name not in used}


def _own_name(column: ForeignColumn) -> str:
    words = [word for word in column.reading.words if word not in ("enc", "encoder", "pod", "odo", "ticks", "counts")]
    side = next((found for word in words if (found := _side(word)) is not None), None)
    return side or "_".join(words) or column.name


def _side(word: str) -> str | None:
    """Return the side that a word or its usual abbreviation stands for."""
    return next((side for side, spellings in POD_SIDES.items() if word in spellings[:2]), None)


def _pod_column(draft: Draft, pod: str, columns: Sequence[TakenColumn], pods: Sequence[str]) -> Decision:
    exact = [one for one in columns if _names_pod(one.column, pod, pods)]
    by_letter = len(exact) == 1 and not _spells(exact[0].column, pod) and not _several_named(columns, pods)
    alike = [one for one in columns if _names_side(one.column, pod)]
    evidence = Evidence(None, "no column's name says so", Strength.NOTHING)
    if len(exact) == 1:
        strength = Strength.SHOWN if exact[0].by_name and not by_letter else Strength.HINTED
        evidence = Evidence(exact[0].column.name, f'"{exact[0].column.name}" says so', strength)
    elif len(alike) == 1:
        evidence = Evidence(alike[0].column.name, f'"{alike[0].column.name}" means the same', Strength.HINTED)
    asking = Asking(
        f'which column of {draft.taken.table.file} counts the pod "{pod}"?',
        "turn that pod's wheel by hand, motors off, and look which column changes",
        (*(one.column.name for one in columns), *_spare_columns(draft.taken)),
    )
    return decide(f"odometry.pods.{pod}", evidence, asking, draft.given.known_answers)


def _names_pod(column: ForeignColumn, pod: str, pods: Sequence[str]) -> bool:
    """Return whether a column's words hold the pod's name, or letters that begin only this one."""
    words, name = set(column.reading.words), pod.lower()
    if name in words or _own_name(column) in (pod, _side(name)):
        return True
    # a letter or two stand in many names by chance
    if len(name) >= _FEWEST_LETTERS and name in column.name.lower():
        return True
    return any(word.isalpha() and [one for one in pods if one.lower().startswith(word)] == [pod] for word in words)


def _spells(column: ForeignColumn, pod: str) -> bool:
    """Return whether a column's name holds more of a pod's than its first letter."""
    name = column.name.lower()
    return pod.lower() in column.reading.words or (len(pod) >= _FEWEST_LETTERS and pod.lower() in name)


def _several_named(columns: Sequence[TakenColumn], pods: Sequence[str]) -> bool:
    """Return whether columns name two pods: then l and r are sides; the c in a, b, c is a mere letter."""
    return sum(any(_names_pod(one.column, pod, pods) for one in columns) for pod in pods) > 1


def _names_side(column: ForeignColumn, pod: str) -> bool:
    """Return whether a column's words are other words for the pod's side."""
    return any(pod.lower() in words and set(column.reading.words) & set(words) for words in POD_SIDES.values())


def _counter_words(values: FloatArray) -> str:
    steps = np.abs(np.diff(values[np.isfinite(values)]))
    for bits in _WIDTHS:
        if len(steps) and np.any((steps > 0.9 * 2.0**bits) & (steps <= 2.0**bits)) and np.ptp(values) < 2.0**bits:
            return f"whole numbers that wrap around at {2**bits}, which is undone on reading"
    return "whole numbers that go on counting" if np.all(values == np.round(values)) else "numbers that go on counting"


def _speeds(draft: Draft) -> None:
    forward = draft.role("forward", Meaning.FORWARD_SPEED)
    if forward is not None:
        unit = draft.measured("forward", Meaning.FORWARD_SPEED, speed_unit(forward.column), needed=True)
        _beside(draft, Meaning.LEFT_SPEED, unit)


def _steps(draft: Draft) -> None:
    forward = draft.role("forward", Meaning.FORWARD_STEP)
    if forward is not None:
        forward = _as_step(forward)
        travelled = float(np.nansum(np.abs(forward.column.numbers)))
        # a run is some ten times as long as the floor
        evidence = length_unit(forward.column, travelled / _FLOORS_DRIVEN, _USUAL_FLOOR_M)
        unit = unit_decision(
            "odometry.forward", forward, draft.taken.table, DIMENSION[forward.meaning], evidence, draft.given
        )
        draft.column("forward", forward, unit, needed=True)
        _beside(draft, Meaning.LEFT_STEP, unit)


def _as_step(taken: TakenColumn) -> TakenColumn:
    """Return a column of travel, asked about where its name does not say that it counts from row to row."""
    if not taken.by_name or taken.why != BY_NAME or set(taken.column.reading.words) & STEP_WORDS:
        return taken
    why = "it is taken for the travel since the row before; a speed, or the travel since the start, would not do"
    return TakenColumn(taken.column, taken.meaning, why, False)


def _beside(draft: Draft, meaning: Meaning, unit: Decision | None) -> None:
    left = draft.role("left", meaning)
    if left is not None:
        draft.measured("left", meaning, unit_of_neighbour(left.column, DIMENSION[meaning], unit), needed=False)


def _turning(draft: Draft, times: FloatArray | None, visits: Visits | None, *, needed: bool) -> None:
    """Add the heading, or the turn or turn rate where there is none, and the frame that says which way it grows."""
    key, taken = _source_of_turning(draft)
    if taken is None:
        if needed:
            draft.missing("heading", Meaning.HEADING)
        return
    found = _by_marks(key, taken.column.numbers, times, visits)
    if key == "heading" and draft.taken.pods and found.sense.value is None:
        found = _by_pods(draft, taken.column.numbers)
    evidence = turn_rate_unit(taken.column) if key == "turn_rate" else angle_unit(taken.column)
    if evidence.strength is not Strength.SHOWN and found.unit.value is not None:
        evidence = found.unit
    draft.measured(key, taken.meaning, evidence, needed=needed)
    sense = heading_sense("odometry", taken, draft.taken.table, found.sense, draft.given)
    draft.entries.append(table_entry("frame", {"heading_sense": sense}))


def _source_of_turning(draft: Draft) -> tuple[str, TakenColumn | None]:
    heading = draft.role("heading", Meaning.HEADING)
    if heading is not None or draft.taken.pods:
        return "heading", heading
    if draft.taken.column(Meaning.TURN_RATE) and not draft.taken.column(Meaning.FORWARD_STEP):
        return "turn_rate", draft.role("turn_rate", Meaning.TURN_RATE)
    if draft.taken.column(Meaning.TURN_STEP) and not draft.taken.column(Meaning.FORWARD_SPEED):
        return "turn", draft.role("turn", Meaning.TURN_STEP)
    return "heading", None


def _by_marks(key: str, numbers: FloatArray, times: FloatArray | None, visits: Visits | None) -> HeadingsFound:
    if times is None or visits is None:
        return HeadingsFound()
    units: tuple[str, ...] = ("deg", "rad")
    headings = numbers
    if key == "turn":
        headings = np.nancumsum(numbers)
    elif key == "turn_rate":
        mean = (numbers[1:] + numbers[:-1]) / 2.0
        headings = np.concatenate([[0.0], np.nancumsum(mean * np.diff(times))])
    fit = heading_at_marks(headings_at_visits(times, headings, visits), visits.pose[:, 2], units)
    if fit is None:
        return HeadingsFound()
    unit = fit.unit_shown
    if key == "turn_rate":
        unit = Evidence(f"{fit.unit}/s", f"{unit.why}/s", Strength.SHOWN)
    return HeadingsFound(unit=unit, sense=fit.sense_shown)


def _by_pods(draft: Draft, heading: FloatArray) -> HeadingsFound:
    robot = draft.given.robot
    if robot is None or not robot.pods:
        return HeadingsFound()
    columns = {column.name: column for column in draft.taken.table.columns}
    counts: dict[str, FloatArray] = {}
    for pod in robot.pods:
        chosen = _pod_column(draft, pod, draft.taken.pods, list(robot.pods)).value
        if chosen is None or chosen == OPEN:
            return HeadingsFound()
        counts[pod] = columns[chosen].numbers
    return heading_by_pods(counts, robot.pods, heading)


def _poses(draft: Draft, times: FloatArray | None, visits: Visits | None) -> None:
    columns = dict(draft.taken.columns)
    heading = draft.role("heading", Meaning.HEADING)
    if heading is not None:
        columns[Meaning.HEADING] = heading
    track = track_of("odometry", draft.taken.table, columns, times, visits, draft.given)
    add_positions(draft, columns, track.length)
    if heading is None or track.angle is None:
        draft.missing("heading", Meaning.HEADING)
        return
    draft.column("heading", heading, track.angle, needed=True)
    frame = {
        "heading_sense": heading_sense("odometry", heading, draft.taken.table, track.found.sense, draft.given),
        "heading_zero": heading_zero("odometry", heading, draft.taken.table, track.found.zero, draft.given),
        **handed_axes(track, draft.given),
    }
    draft.entries.append(table_entry("frame", frame))


def add_positions(draft: Draft, columns: dict[Meaning, TakenColumn], length: Decision) -> None:
    """Add x and y, in one unit unless the name of y says another."""
    x, y = columns[Meaning.X], columns[Meaning.Y]
    draft.column("x", x, length, needed=True)
    if y.column.reading.unit is not None or x.column.reading.unit is not None:
        evidence = unit_of_neighbour(y.column, Dimension.LENGTH, length)
        length = unit_decision(f"{draft.name}.y", y, draft.taken.table, Dimension.LENGTH, evidence, draft.given)
    draft.column("y", y, length, needed=True)
