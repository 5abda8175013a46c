"""The run sheet on paper and in the terminal: the same words, complete, harmless, lines that can be pasted."""

import io
import re
import tomllib
from html import unescape
from pathlib import Path

import pytest
from page_outline import outline
from rich.console import Console

from locbench.config import FieldConfig
from locbench.drive_kinds import DriveKind
from locbench.errors import OutputError
from locbench.jobs.runsheet import lay_out
from locbench.report.runsheet_page import runsheet_html, write_runsheet
from locbench.report.runsheet_terminal import print_runsheet
from locbench.report.runsheet_words import sheet_words
from locbench.units import UnitSystem

ROOT = Path(__file__).parents[2]
FIELD, ROBOT = ROOT / "configs" / "field_orchard.toml", ROOT / "configs" / "robot_three_pods.toml"
METRIC, IMPERIAL = UnitSystem.METRIC, UnitSystem.IMPERIAL
# what `lay_out` and `print_runsheet` gave when a person read it through; change it on purpose only
GOLDEN = Path(__file__).with_name("runsheet_straight.txt")
SECTIONS = ["layout", "sure", "drive", "log", "after", "toml", "fill"]
HOSTILE = """name = "<script>alert(1)</script> [bold]floor"
[floor]
x_from = "0 m"
x_to = "4 m"
y_from = "0 m"
y_to = "4 m"
[[tags]]
id = 7
x = "4 m"
y = "2 m"
facing = "180 deg"
[[goals]]
name = "<b>bin</b>"
x = "4.2 m"
y = "2 m"
height = "900 mm"
opening = { kind = "horizontal", radius = "180 mm" }
[[marks]]
name = '"M&1'
x = "1 m"
y = "1 m"
heading = "0 deg"
"""


def sheet(kind, system=METRIC, field=FIELD, robot=ROBOT):
    return lay_out(field, kind, robot, system)


def printed(found, system=METRIC):
    out = io.StringIO()
    print_runsheet(found, Console(file=out, width=100, color_system=None), system)
    return out.getvalue()


def visible(text):
    return " ".join(unescape(re.sub(r"<style>.*?</style>|<[^>]*>", " ", text, flags=re.DOTALL)).split())


def test_the_text_is_the_one_that_was_read_through():
    assert printed(sheet(DriveKind.STRAIGHT)) == GOLDEN.read_text(encoding="utf-8")


@pytest.mark.parametrize("system", UnitSystem)
@pytest.mark.parametrize("kind", DriveKind)
def test_the_page_has_every_section_and_no_script(kind, system):
    text = runsheet_html(sheet(kind, system), system)
    tags = outline(text).tags
    assert re.findall(r'<h2 id="(\w+)">', text) == SECTIONS
    assert [name for name, _ in tags if name in ("script", "link", "iframe", "object", "img")] == []
    assert [key for _, attributes in tags for key in attributes if key.startswith("on") or key in ("href", "src")] == []
    assert "default-src 'none'" in text
    assert text == runsheet_html(sheet(kind, system), system)


@pytest.mark.parametrize("kind", DriveKind)
def test_page_and_terminal_say_the_same(kind):
    found = sheet(kind)
    words = sheet_words(found, METRIC)
    page, terminal = visible(runsheet_html(found, METRIC)), " ".join(printed(found).split())
    notes = [words.answer, words.caution, words.begin, words.end, words.toml_note, *words.layout_notes]
    steps = [step for part in words.parts for step in (part.title, *part.steps)]
    for line in [*notes, *steps, *words.log_notes, *words.afterwards, *words.toml]:
        assert " ".join(line.split()) in page
        assert " ".join(line.split()) in terminal
    for survey in found.surveys:
        assert all(f"{distance:.3f}" in page and f"{distance:.3f}" in terminal for distance in survey.distances_m)


@pytest.mark.parametrize("kind", DriveKind)
def test_there_is_a_box_for_every_press_after_the_first(kind):
    found = sheet(kind)
    words = sheet_words(found, METRIC)
    assert sum(len(row.marks) for row in words.boxes) == found.plan.presses - 1
    page = runsheet_html(found, METRIC)
    laps = page[page.index('<table class="laps">') :]
    assert laps.count('<td class="lap">') == len(words.boxes)


@pytest.mark.parametrize("kind", DriveKind)
def test_the_picture_shows_every_mark_tag_and_goal(kind):
    found = sheet(kind)
    text = runsheet_html(found, METRIC)
    svg = text[text.index("<svg") : text.index("</svg>")]
    names = " ".join(re.findall(r'<text class="name"[^>]*>([^<]*)</text>', svg)).split()
    assert sorted(names) == sorted(mark.name for mark in found.plan.marks)
    assert svg.count('class="tag"') == len(found.ground.field.tags)
    assert svg.count('class="goal"') == len(found.ground.field.goals)
    driven = {(m.start, m.end) for part in found.plan.parts for m in part.moves if m.length_m != 0.0}
    assert svg.count('class="arrow') == len(driven)


@pytest.mark.parametrize("system", UnitSystem)
@pytest.mark.parametrize("kind", DriveKind)
def test_the_lines_for_the_field_file_can_be_pasted_and_are_then_used(kind, system, tmp_path):
    found = sheet(kind, system)
    words = sheet_words(found, system)
    pasted = tmp_path / "field.toml"
    pasted.write_text(FIELD.read_text() + "\n" + "\n".join(words.toml) + "\n")
    FieldConfig.model_validate(tomllib.loads(pasted.read_text()))
    again = sheet(kind, system, pasted)
    assert sheet_words(again, system).toml == ()
    if kind is not DriveKind.TOUR:
        assert {mark.name for mark in again.plan.marks} == {mark.name for mark in found.plan.marks}
    unit = "in" if system is IMPERIAL else "m"
    assert all(line.endswith(f' {unit}"') for line in words.toml if line.startswith(("x =", "y =")))


def test_stds_are_rounded_up_in_the_lines_to_paste():
    found = sheet(DriveKind.SPIN)
    marks = tomllib.loads("\n".join(sheet_words(found, METRIC).toml))["marks"]
    for mark, survey in zip(marks, found.surveys, strict=True):
        assert 0.0 <= float(mark["position_std"].split()[0]) - survey.position_std_m * 1e3 < 0.11


def test_user_texts_stay_texts(tmp_path):
    field = tmp_path / "field.toml"
    field.write_text(HOSTILE)
    for kind in DriveKind:
        found = sheet(kind, METRIC, field, None)
        page = runsheet_html(found, METRIC)
        outline(page)
        assert "<script" not in page
        assert "<b>" not in page
        assert "<script>alert(1)</script> [bold]floor" in printed(found)
    words = sheet_words(sheet(DriveKind.TOUR, METRIC, field, None), METRIC)
    # the mark lacks its standard deviations, so its entry is written anew
    assert '"M&1' in words.toml_note
    assert '"M&1' in [mark["name"] for mark in tomllib.loads("\n".join(words.toml))["marks"]]


def test_an_empty_floor_needs_no_robot_and_no_marks(tmp_path):
    field = tmp_path / "field.toml"
    field.write_text(HOSTILE[: HOSTILE.index("[[tags]]")])
    found = sheet(DriveKind.TOUR, IMPERIAL, field, None)
    assert all((mark.pose.x_m / 0.0508) == pytest.approx(round(mark.pose.x_m / 0.0508)) for mark in found.plan.marks)
    assert "one counter per pod" in printed(found, IMPERIAL)


def test_a_page_is_written_over_but_nothing_else_is(tmp_path):
    found = sheet(DriveKind.SPIN)
    out = tmp_path / "new" / "sheet.html"
    write_runsheet(found, out, METRIC)
    write_runsheet(sheet(DriveKind.SQUARE), out, METRIC)
    assert "Square in both senses" in out.read_text()
    assert [path.name for path in out.parent.iterdir()] == ["sheet.html"]
    other = tmp_path / "notes.html"
    other.write_text("mine")
    with pytest.raises(OutputError, match="this file is no run sheet"):
        write_runsheet(found, other, METRIC)
    assert other.read_text() == "mine"
    with pytest.raises(OutputError, match=r"must be an \.html file"):
        write_runsheet(found, tmp_path / "sheet.pdf", METRIC)
