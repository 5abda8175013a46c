"""The floor of a run sheet from above, as shapes that the page's template draws. Black lines only: it is printed."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from locbench.report.numbers import plain_text
from locbench.runsheet.marks import PlannedMark
from locbench.runsheet.moves import Move
from locbench.runsheet.sheet import RunSheet
from locbench.runsheet.survey import Corner, corner_place

__all__ = ["Picture", "Shape", "Text", "floor_picture"]

# the picture's longer side in its own units, in which letters are some 11 high
_SIZE = 400.0
_MARGIN = 26.0
_ARROW = 9.0
_HEADING = 24.0
_TAG = 16.0
_NAME = 17.0
_OUTWARDS = 12.0
_ALL_ROUND = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
# where on a leg its number and its arrow stand: apart from those of the way back over the same line
_NUMBER_AT, _ARROW_AT = 0.36, 0.62


@dataclass(frozen=True)
class Shape:
    """A polyline (`closed`: a polygon) of "x,y" pairs, drawn in the style of that name."""

    style: str
    points: str
    closed: bool = False


@dataclass(frozen=True)
class Text:
    """A text centred on a point."""

    style: str
    x: str
    y: str
    text: str


@dataclass(frozen=True)
class Ring:
    """A circle."""

    style: str
    x: str
    y: str
    radius: str


@dataclass(frozen=True)
class Picture:
    """Shapes in a box of that width and height; `alternative` says in words what is seen."""

    width: str
    height: str
    shapes: tuple[Shape, ...]
    rings: tuple[Ring, ...]
    texts: tuple[Text, ...]
    alternative: str


@dataclass(frozen=True)
class _Canvas:
    """From the field frame to the picture: x to the right, y up."""

    left_m: float
    top_m: float
    scale: float

    def at(self, x_m: float, y_m: float) -> tuple[float, float]:
        return _MARGIN + (x_m - self.left_m) * self.scale, _MARGIN + (self.top_m - y_m) * self.scale


def floor_picture(sheet: RunSheet) -> Picture:
    """Return the floor with tags, goals, marks with headings, and the numbered way."""
    floor, area = sheet.ground.field.floor, sheet.ground.area
    width, height = floor.x_to - floor.x_from, floor.y_to - floor.y_from
    canvas = _Canvas(floor.x_from, floor.y_to, _SIZE / max(width, height))
    corners = [canvas.at(*corner_place(floor, corner)) for corner in Corner]
    shapes = [
        Shape("floor", _points(corners), closed=True),
        Shape("area", _points([canvas.at(*area.at(*share)) for share in _ALL_ROUND]), closed=True),
    ]
    texts = list(_corner_names(sheet, canvas))
    rings: list[Ring] = []
    _add_tags(sheet, canvas, shapes, texts)
    _add_goals(sheet, canvas, rings, texts)
    _add_way(sheet, canvas, shapes, texts)
    _add_marks(sheet, canvas, shapes, rings, texts)
    names = ", ".join(plain_text(mark.name) for mark in sheet.plan.marks)
    return Picture(
        width=_number(width * canvas.scale + 2.0 * _MARGIN),
        height=_number(height * canvas.scale + 2.0 * _MARGIN),
        shapes=tuple(shapes),
        rings=tuple(rings),
        texts=tuple(texts),
        alternative=f"The floor from above: corners A to D, tags, goals, the marks {names} and the numbered way",
    )


def _corner_names(sheet: RunSheet, canvas: _Canvas) -> Iterator[Text]:
    floor = sheet.ground.field.floor
    for corner in Corner:
        x, y = canvas.at(*corner_place(floor, corner))
        right = 1.0 if corner in (Corner.B, Corner.C) else -1.0
        down = 1.0 if corner in (Corner.A, Corner.B) else -1.0
        yield _text("corner", x + _OUTWARDS * right, y + _OUTWARDS * down, corner.value)


def _add_tags(sheet: RunSheet, canvas: _Canvas, shapes: list[Shape], texts: list[Text]) -> None:
    for tag in sheet.ground.field.tags:
        x, y = canvas.at(tag.x, tag.y)
        # the printed side looks along its facing; up is down in pictures
        ahead = (math.cos(tag.facing), -math.sin(tag.facing))
        side = (-ahead[1] * _TAG / 2.0, ahead[0] * _TAG / 2.0)
        shapes.append(Shape("tag", _points([(x - side[0], y - side[1]), (x + side[0], y + side[1])])))
        texts.append(_text("small", x - 10.0 * ahead[0], y - 10.0 * ahead[1], str(tag.id)))


def _add_goals(sheet: RunSheet, canvas: _Canvas, rings: list[Ring], texts: list[Text]) -> None:
    for goal in sheet.ground.field.goals:
        x, y = canvas.at(goal.x, goal.y)
        rings.append(Ring("goal", _number(x), _number(y), "9"))
        texts.append(_text("small", x, y + 18.0, plain_text(goal.name)))


def _add_way(sheet: RunSheet, canvas: _Canvas, shapes: list[Shape], texts: list[Text]) -> None:
    number = 0
    drawn: set[tuple[str, str]] = set()
    for part in sheet.plan.parts:
        for move in part.moves:
            number += 1
            start, end = (sheet.plan.mark(name).pose for name in (move.start, move.end))
            if move.length_m == 0.0 or (move.start, move.end) in drawn:
                continue
            # the way back over a leg has its own arrow, but one line
            if (move.end, move.start) not in drawn:
                shapes.append(Shape("way", _points([canvas.at(start.x_m, start.y_m), canvas.at(end.x_m, end.y_m)])))
            drawn.add((move.start, move.end))
            _add_arrow(move, canvas.at(start.x_m, start.y_m), canvas.at(end.x_m, end.y_m), shapes)
            x, y = _between(canvas.at(start.x_m, start.y_m), canvas.at(end.x_m, end.y_m), _NUMBER_AT)
            texts.append(_text("number", x, y, str(number)))


def _add_arrow(move: Move, start: tuple[float, float], end: tuple[float, float], shapes: list[Shape]) -> None:
    length = math.dist(start, end)
    along = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    tip = _between(start, end, _ARROW_AT)
    style = "arrow" if move.length_m > 0.0 else "arrow backwards"
    shapes.append(Shape(style, _points(_arrowhead(tip, along)), closed=True))


def _add_marks(sheet: RunSheet, canvas: _Canvas, shapes: list[Shape], rings: list[Ring], texts: list[Text]) -> None:
    for group in _by_place(sheet.plan.marks):
        pose = group[0].pose
        x, y = canvas.at(pose.x_m, pose.y_m)
        rings.append(Ring("mark", _number(x), _number(y), "4"))
        headings = [heading for mark in group if (heading := mark.pose.heading_rad) is not None]
        for heading in headings:
            ahead = (math.cos(heading), -math.sin(heading))
            tip = (x + _HEADING * ahead[0], y + _HEADING * ahead[1])
            shapes.append(Shape("heading", _points([(x, y), tip])))
            shapes.append(Shape("heading", _points(_arrowhead(tip, ahead))))
        free = _free_direction([*headings, *_ways_from(group, sheet)])
        texts.append(
            _text(
                "name",
                x + _NAME * math.cos(free),
                y - _NAME * math.sin(free),
                " ".join(plain_text(mark.name) for mark in group),
            )
        )


def _ways_from(group: Sequence[PlannedMark], sheet: RunSheet) -> Iterator[float]:
    """Yield the directions of the ways that begin or end at a place."""
    here = group[0].pose
    names = {mark.name for mark in group}
    for part in sheet.plan.parts:
        for move in part.moves:
            if move.length_m != 0.0 and names & {move.start, move.end}:
                other = sheet.plan.mark(move.end if move.start in names else move.start).pose
                yield math.atan2(other.y_m - here.y_m, other.x_m - here.x_m)


def _free_direction(taken: Sequence[float]) -> float:
    """Return the direction, of sixteen, that is furthest from all of those: there a name covers nothing."""
    candidates = [-math.pi / 2.0 + number * math.pi / 8.0 for number in range(16)]
    return max(candidates, key=lambda way: min((_apart(way, other) for other in taken), default=0.0))


def _apart(first: float, second: float) -> float:
    # rounded, so that of two as free the first is taken whatever the last digit says
    return round(abs(math.remainder(first - second, 2.0 * math.pi)), 6)


def _by_place(marks: Sequence[PlannedMark]) -> list[list[PlannedMark]]:
    groups: dict[tuple[float, float], list[PlannedMark]] = {}
    for mark in marks:
        groups.setdefault((round(mark.pose.x_m, 3), round(mark.pose.y_m, 3)), []).append(mark)
    return list(groups.values())


def _arrowhead(tip: tuple[float, float], along: tuple[float, float]) -> list[tuple[float, float]]:
    back = (tip[0] - _ARROW * along[0], tip[1] - _ARROW * along[1])
    side = (-along[1] * _ARROW / 2.5, along[0] * _ARROW / 2.5)
    return [(back[0] + side[0], back[1] + side[1]), tip, (back[0] - side[0], back[1] - side[1])]


def _between(start: tuple[float, float], end: tuple[float, float], share: float) -> tuple[float, float]:
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


def _points(points: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def _text(style: str, x: float, y: float, text: str) -> Text:
    return Text(style, _number(x), _number(y), text)


def _number(value: float) -> str:
    return f"{value:.1f}"
