"""The words and tables of a run sheet, without a medium: terminal and page show the same."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from locbench.drive_kinds import DriveKind
from locbench.report.numbers import (
    DEGREES,
    error_length,
    floor_length,
    number_text,
    plain_text,
    quantity_text,
    survey_length,
)
from locbench.report.runsheet_steps import BoxRow, PartSteps, box_rows, part_steps
from locbench.report.runsheet_toml import mark_lines, rounded_up
from locbench.report.text_tables import NOTHING, Cell, Column, TextTable, label_cell
from locbench.runsheet.expected import PICTURES_PER_S, Expected
from locbench.runsheet.lines import pods_across
from locbench.runsheet.sheet import RunSheet
from locbench.runsheet.survey import Survey
from locbench.units import Dimension, UnitSystem

__all__ = ["BLANKS", "SheetWords", "sheet_words"]

BLANKS = (
    "date and time",
    "floor, surface",
    "robot, weight",
    "battery before / after, V",
    "drives",
    "holds the stop button",
    "tape read by",
    "log file",
)

# what the page's letters of the usual size leave room for, in lines: marks, notes, steps, laps to fill in
_ROOMY_LINES = 48
_LETTERS_OF_A_NOTE = 60
_LAP_LINES = 1.5

_CAUTION = (
    "Before the robot moves: eye protection on, floor clear of people, the program tried first with the wheels off "
    "the ground on blocks, one person at the stop button who does nothing else. The event's rules and the "
    "responsible adult have the last word."
)

_NAMES: Mapping[DriveKind, str] = MappingProxyType(
    {
        DriveKind.TOUR: "Tour of marks",
        DriveKind.STRAIGHT: "Straight lines there and back",
        DriveKind.SPIN: "Turns in place",
        DriveKind.SQUARE: "Square in both senses",
        DriveKind.CAMERA: "Stands and turns before a tag",
    }
)
_ASKS: Mapping[DriveKind, str] = MappingProxyType(
    {
        DriveKind.TOUR: "evaluate",
        DriveKind.STRAIGHT: "calibrate",
        DriveKind.SPIN: "calibrate",
        DriveKind.SQUARE: "calibrate",
        DriveKind.CAMERA: "camera",
    }
)
"""The command that answers what a drive is made for."""

_SERVES: Mapping[DriveKind, str] = MappingProxyType(
    {
        DriveKind.TOUR: (
            "Serves: tuning trust in vision, finding slip (stretches that drift more than the others), checking the "
            "calibration, comparing pod placements on one and the same tour. Six runs are needed before one setting "
            "can be called better than another."
        ),
        DriveKind.STRAIGHT: (
            "Serves: checking the calibration (wheel diameters, the direction in which pods roll), finding slip "
            "(passes of one line that differ), comparing pod placements."
        ),
        DriveKind.SPIN: (
            "Serves: checking the calibration (gyro scale, lever arms of the pods), finding slip while turning, "
            "comparing pod placements."
        ),
        DriveKind.SQUARE: (
            "Serves: checking the calibration (turns against lengths, left against right, which hide each other in one "
            "sense: Borenstein & Feng 1996), finding slip, comparing pod placements."
        ),
        DriveKind.CAMERA: (
            "Serves: tuning trust in vision (noise by range and view angle, latency), checking the calibration (the "
            "camera's mount, the tag's place)."
        ),
    }
)


@dataclass(frozen=True)
class SheetWords:
    """A run sheet in words.

    Attributes
    ----------
    title, answer
        What it is; what it takes and what it gives, in one sentence.
    marks, layout_notes
        What to lay out and survey, and how.
    expected
        How sure the drive makes what it determines.
    log, log_notes, loop
        Tables and columns, clock and rate, and the loop that writes them.
    begin, parts, end
        What to drive and press.
    boxes
        Laps to fill in.
    toml, toml_note
        Lines for the field file, and where they go.
    afterwards
        Which uses it serves, and the command to run.
    caution
        Before anything moves.
    """

    title: str
    answer: str
    marks: TextTable
    layout_notes: tuple[str, ...]
    expected: TextTable
    log: TextTable
    log_notes: tuple[str, ...]
    loop: tuple[str, ...]
    begin: str
    parts: tuple[PartSteps, ...]
    end: str
    boxes: tuple[BoxRow, ...]
    toml: tuple[str, ...]
    toml_note: str
    afterwards: tuple[str, ...]
    caution: str

    @property
    def toml_blocks(self) -> list[str]:
        """The lines for the field file, mark by mark."""
        return "\n".join(self.toml).split("\n\n")

    @property
    def crowded(self) -> bool:
        """Whether it takes smaller letters to get all of it onto one page."""
        steps = sum(len(part.steps) + 1 for part in self.parts)
        notes = sum(map(len, self.layout_notes)) / _LETTERS_OF_A_NOTE
        return len(self.marks.rows) + notes + steps + _LAP_LINES * len(self.boxes) > _ROOMY_LINES

    @property
    def most_presses(self) -> int:
        """Presses in the longest lap."""
        return max(len(row.marks) for row in self.boxes)


def sheet_words(sheet: RunSheet, system: UnitSystem) -> SheetWords:
    """Return everything that the sheet says, in the units of that system."""
    toml = mark_lines(sheet, system)
    return SheetWords(
        title=f"{_NAMES[sheet.plan.kind]} on {plain_text(sheet.ground.field.name)}",
        answer=_answer(sheet, system),
        marks=_marks_table(sheet, system),
        layout_notes=_layout_notes(sheet, system),
        expected=_expected_table(sheet, system),
        log=_log_table(sheet),
        log_notes=_log_notes(sheet, system),
        loop=_loop(sheet),
        begin=_begin(sheet, system),
        parts=tuple(part_steps(sheet, system)),
        end=_end(sheet),
        boxes=tuple(box_rows(sheet)),
        toml=tuple(toml),
        toml_note=_toml_note(sheet),
        afterwards=(
            _SERVES[sheet.plan.kind],
            "Then: locbench adopt TABLES --robot FILE --field FILE --out FOLDER proposes a session from the tables; "
            f"answer its questions, then locbench inspect FOLDER, and locbench {_ASKS[sheet.plan.kind]} FOLDER.",
        ),
        caution=_CAUTION,
    )


def _answer(sheet: RunSheet, system: UnitSystem) -> str:
    minutes = math.ceil(sheet.duration_s / 60.0)
    turns = round(sheet.turning_rad / (2.0 * math.pi))
    amount = [f"{len(sheet.surveys)} marks", f"{sheet.plan.presses} presses"]
    amount += [quantity_text(sheet.path_m, floor_length(system))] if sheet.path_m > 0.0 else []
    amount += [f"{turns} turns"] if turns > 1 else []
    first = sheet.expected[0]
    return (
        f"{', '.join(amount[:-1])} and {amount[-1]} in about {minutes} min tell the {first.what} to within "
        f"{_std_text(first, system)} (one standard deviation)."
    )


def _marks_table(sheet: RunSheet, system: UnitSystem) -> TextTable:
    tape, small = survey_length(system), error_length(system)
    columns = (
        Column("mark", align="left"),
        Column("x", tape.symbol),
        Column("y", tape.symbol),
        Column("heading", "deg"),
        Column("from corners", align="left"),
        Column("mark at", tape.symbol),
        Column("line end at", tape.symbol),
        Column("check", f"{tape.symbol} ± {small.symbol}"),
        Column("place", f"std {small.symbol}"),
        Column("heading", "std deg"),
    )
    rows = tuple(_mark_row(survey, system) for survey in sheet.surveys)
    return TextTable("What to lay out, and how to survey it", columns, rows)


def _mark_row(survey: Survey, system: UnitSystem) -> tuple[Cell, ...]:
    tape, small = survey_length(system), error_length(system)
    pose, line, turned = survey.mark.pose, survey.line, survey.used_heading_rad
    heading = NOTHING if pose.heading_rad is None else Cell(f"{math.degrees(pose.heading_rad) + 0.0:.0f}")
    end = NOTHING
    if line is not None:
        pair = " / ".join(number_text(distance, tape) for distance in line.distances_m)
        end = Cell(pair if line.ahead else f"{pair} rear")
    return (
        label_cell(survey.mark.name),
        Cell(number_text(pose.x_m, tape)),
        Cell(number_text(pose.y_m, tape)),
        heading,
        Cell(" / ".join(corner.value for corner in survey.corners)),
        Cell(" / ".join(number_text(distance, tape) for distance in survey.distances_m)),
        end,
        Cell(f"{survey.check.value} {number_text(survey.check_m, tape)} ± {number_text(survey.check_within_m, small)}"),
        Cell(number_text(rounded_up(survey.used_position_m, small.symbol), small)),
        NOTHING if turned is None else Cell(number_text(rounded_up(turned, DEGREES.symbol), DEGREES)),
    )


def _layout_notes(sheet: RunSheet, system: UnitSystem) -> tuple[str, ...]:
    tape, small, large = sheet.tape, error_length(system), survey_length(system)
    robot = "" if sheet.ground.robot is None else f" of {plain_text(sheet.ground.robot.name)}"
    notes = [
        f"Marks and ways keep {quantity_text(sheet.ground.clearance_m, large)} from the floor's edges; a mark is "
        f"where the reference point{robot} stands. Corners: A at the least x and y, then B, C, D counter-clockwise.",
        "Place: pull the tape from both corners; the mark is where the distances meet. Heading: tape a line from the "
        "mark to its line end, found the same way; rear: the line runs to the robot's rear. Check: from a third "
        "corner the distance must come out within two standard deviations.",
        "Counted with (common practice, no source; standard deviations): tape "
        f"{quantity_text(tape.reading_m, small)} a reading and {1e3 * tape.pulled_per_metre_m:g} per thousand of it, "
        f"robot set into a taped corner {quantity_text(tape.placing_m, small)}, gap between line and its straight "
        f"edge {quantity_text(tape.gap_m, small)} at both ends of {quantity_text(tape.edge_m, large)}, which is "
        f"{quantity_text(tape.placing_heading_rad, DEGREES)}. Where the field file states a mark's own, that is "
        "shown.",
    ]
    new = [plain_text(survey.mark.name) for survey in sheet.surveys if survey.mark.listed is None]
    if new:
        notes.append(f"New, not in the field file yet: {', '.join(new)}.")
    if sheet.plan.kind is DriveKind.STRAIGHT:
        notes.append(
            "Also measure each line from end to end with the tape: its length is what wheels are compared with."
        )
        across = [plain_text(name) for name in pods_across(sheet.ground.robot)]
        if across:
            notes.append(_sideways_note(across))
    if sheet.plan.view is not None:
        notes.append(_view_note(sheet, system))
    if sheet.unused:
        shown = ", ".join(plain_text(name) for name in sheet.unused)
        notes.append(f"Not visited of the field file's marks: {shown}.")
    return tuple(notes)


def _sideways_note(pods: Sequence[str]) -> str:
    return (
        f"Not told by lines driven forward: the wheel diameter of {', '.join(pods)}, and the direction in which the "
        "others roll. For these drive one line sideways too: turned by 90 deg, with two more marks of that heading at "
        "its ends. A robot that cannot drive sideways is pushed along it by hand, switched off."
    )


def _view_note(sheet: RunSheet, system: UnitSystem) -> str:
    view = sheet.plan.view
    if view is None:
        return ""
    places = ", ".join(
        f"{plain_text(place.mark)} {quantity_text(place.range_m, floor_length(system))} at "
        f"{math.degrees(place.view_angle_rad) + 0.0:.0f} deg"
        for place in view.places
    )
    camera = (
        "a camera at the reference point that looks forward"
        if view.camera is None
        else f"camera {plain_text(view.camera)}"
    )
    return f"Range and view angle of tag {view.tag} from {camera}: {places}."


def _expected_table(sheet: RunSheet, system: UnitSystem) -> TextTable:
    columns = (
        Column("what the drive tells", align="left"),
        Column("std"),
        Column("from", align="left"),
    )
    rows = tuple(
        (label_cell(found.what), Cell(_std_text(found, system)), label_cell(found.because)) for found in sheet.expected
    )
    note = "Four times as many laps halve what chance leaves; what the survey leaves stays. Slip and play come on top."
    return TextTable("How sure it will be", columns, rows, note=note)


_SHOWN: Mapping[Dimension, tuple[str, float]] = MappingProxyType(
    {Dimension.RATIO: ("%", 0.01), Dimension.ANGLE: ("deg", math.radians(1.0)), Dimension.TIME: ("ms", 0.001)}
)


def _std_text(found: Expected, system: UnitSystem) -> str:
    small = error_length(system)
    symbol, factor = _SHOWN.get(found.dimension, (small.symbol, small.factor))
    number = found.std / factor
    decimals = max(0, 1 - math.floor(math.log10(number)))
    return f"{number:.{decimals}f} {symbol}"


def _log_table(sheet: RunSheet) -> TextTable:
    robot = sheet.ground.robot
    pods = ["one counter per pod"] if robot is None or not robot.pods else [f"count of {name}" for name in robot.pods]
    turret = robot is not None and any(camera.turns for camera in robot.cameras.values())
    tags = ["shutter time", "arrival time", "tag id", "x, y, z, heading of the tag from the camera"]
    rows = (
        (
            Cell("[odometry]"),
            Cell(f"{sheet.rate.period_s * 1e3:g} ms"),
            label_cell(", ".join(["time", *pods, "gyro heading"])),
        ),
        (
            Cell("[tags]"),
            Cell("tag and picture"),
            Cell(", ".join([*tags, *(["turret yaw at the shutter"] if turret else [])])),
        ),
        (Cell("[marks]"), Cell("press"), Cell("time, name of the mark")),
    )
    columns = (Column("table", align="left"), Column("a row per", align="left"), Column("columns", align="left"))
    return TextTable("What to log", columns, rows)


def _log_notes(sheet: RunSheet, system: UnitSystem) -> tuple[str, ...]:
    rate, pace = sheet.rate, sheet.plan.pace
    notes = [
        f"{rate.rows_per_s:.0f} rows a second: at full speed (no faster than "
        f"{quantity_text(pace.speed_m_s, floor_length(system))}/s and {math.degrees(pace.turn_rate_rad_s):.0f} "
        f"deg/s) one row lost or stamped a row late costs {quantity_text(rate.way_per_row_m, error_length(system))} "
        f"and {quantity_text(rate.turn_per_row_rad, DEGREES)}.",
        "One clock for all tables, one that never jumps, in ms. A camera with a clock of its own: note both readings "
        "at one instant, at the start and at the end.",
    ]
    if sheet.plan.view is not None:
        notes.append(f"Counted with {PICTURES_PER_S:g} pictures a second.")
    return tuple(notes)


def _loop(sheet: RunSheet) -> tuple[str, ...]:
    return (
        f"every {sheet.rate.period_s * 1e3:g} ms, on a timer:",
        "    t = clock()",
        "    odometry row: t, counts, gyro",
        "    for each detection that is new:",
        "        tags row: its shutter time, t, id, x, y, z, heading",
        "    if the mark button went down:",
        "        marks row: t, next name in the list of steps",
        "keep rows in memory; write files at the end",
    )


def _begin(sheet: RunSheet, system: UnitSystem) -> str:
    first = plain_text(sheet.plan.marks[0].name)
    pace = sheet.plan.pace
    return (
        f"Set the robot on {first}, edge against its line. Start the log. Hands off for {pace.standstill_s:g} s: the "
        "gyro's bias is taken from this standstill. Press the mark button. From here on no faster than "
        f"{quantity_text(pace.speed_m_s, floor_length(system))}/s and {math.degrees(pace.turn_rate_rad_s):.0f} deg/s "
        "where a step says no other."
    )


def _end(sheet: RunSheet) -> str:
    return (
        f"Stand 2 s, stop the log. It must hold {sheet.plan.presses} presses. A press on the wrong mark or a push by "
        "hand: note it below, do not repair it."
    )


def _toml_note(sheet: RunSheet) -> str:
    if not sheet.to_write:
        return "The field file has all of these marks with their standard deviations: nothing to add."
    replaced = [plain_text(survey.mark.name) for survey in sheet.to_write if survey.mark.listed is not None]
    note = "Into the field file, once the marks are surveyed:"
    return note if not replaced else f"{note} (instead of the entries of {', '.join(replaced)})"
