"""The screen, the tables and the pictures of `locbench slip`."""

import csv
import io
import re

import numpy as np
import pytest
from changed_sessions import ROOT
from rich.console import Console

from locbench.jobs.slip import slip
from locbench.report.slip import factor_lines, print_slip, write_slip
from locbench.report.slip_plots import plot_parity, plot_slip_map, slip_pictures
from locbench.report.slip_tables import slip_csv
from locbench.report.slip_words import checkable_words, event_words, greatest_first, slip_headline
from locbench.results import Estimated, SlipRecord, read_slip
from locbench.slip.kinds import SlipChannel, SlipFault

ODD = "$left_1\u202e<b>"


@pytest.fixture(scope="module")
def record():
    return slip([ROOT / "logs_demo" / "orchard_shoved"])


@pytest.fixture(scope="module")
def odd(record):
    """The same with a pod and a session of names that mean something to a terminal, to XML or to a formula."""
    text = record.model_dump_json(by_alias=True)
    return SlipRecord.model_validate_json(
        text.replace('"left"', f'"{ODD}"').replace("Orchard, shoved", "Orchard $x_1$ [red]<&>")
    )


def _screen(record, width=100):
    console = Console(file=io.StringIO(), width=width, highlight=False)
    print_slip(record, ["a session"], console)
    return console.file.getvalue()


def _without_events(record):
    return record.model_copy(update={"events": [], "sessions": [record.sessions[0].model_copy(update={"events": 0})]})


def test_the_first_line_names_the_event_that_cost_most(record):
    line = slip_headline(record)
    worst = max(
        record.events, key=lambda one: max([one.position_error_m, *(miss.miss_m for miss in one.details[0].misses)])
    )
    assert line.startswith(f"{len(record.events)} events in Orchard, shoved")
    assert f"at {worst.start_s:.1f} s {worst.candidates[0]} lost {1000 * worst.slip_m:.0f}" in line
    assert "cross" in line
    assert greatest_first(record.events)[0] == worst


def test_no_event_says_what_is_not_known(record):
    line = slip_headline(_without_events(record))
    assert line.startswith("No slip found in Orchard, shoved")
    assert "cross" in line
    blind = record.sessions[0].model_copy(update={"channels": [SlipChannel.PARITY], "events": 0})
    line = slip_headline(record.model_copy(update={"events": [], "sessions": [blind]}))
    assert "Not known: a slip of cross" in line


def test_nothing_checkable_says_so(record):
    nothing = record.redundancy.model_copy(update={"count": 0, "sensors": {}, "why": "there are no pods"})
    bare = _without_events(record).model_copy(
        update={"redundancy": nothing, "isolable_sets": [], "detectable": [], "undetectable": []}
    )
    session = bare.sessions[0].model_copy(update={"channels": [], "parity": []})
    bare = bare.model_copy(update={"sessions": [session]})
    assert slip_headline(bare) == "Nothing can tell of a slip in Orchard, shoved: there are no pods."
    assert checkable_words(bare)[0] == "Nothing by the sensors: there are no pods"
    tagged = bare.model_copy(update={"sessions": [session.model_copy(update={"channels": [SlipChannel.COUNTER]})]})
    assert "Nothing checks the odometry: there are no pods" in slip_headline(tagged)
    assert "judged by nothing" in _screen(bare).replace("\n", " ")


def test_what_can_be_told_is_said_plainly(record):
    words = " ".join(checkable_words(record))
    assert "With left, right, cross and gyro there are 4 measurements, 1 more than three motions need" in words
    assert "A slip of left or right and a jump of the gyro look alike" in words
    assert "A slip of cross is invisible without tags or marks" in words
    assert "would show a slip of cross" in words


def test_every_event_stands_on_the_screen_with_its_numbers(record):
    screen = _screen(record, 140)
    for number, event in enumerate(record.events, start=1):
        assert re.search(rf"\b{number} +{event.start_s:.1f}–{event.end_s:.1f}", screen)
    assert f"doubted_factor = {record.doubted_factor.factor:.1f}" in screen
    assert "locbench evaluate" in screen
    assert "robot switched off" in screen


def test_long_logs_show_the_greatest_events_and_count_the_rest(record):
    many = record.model_copy(update={"events": [record.events[number % 3] for number in range(40)]})
    many = SlipRecord.model_validate_json(many.model_dump_json(by_alias=True))
    assert "15 more cost less; with --out, events.csv has all of them" in _screen(many)


def test_a_narrow_terminal_loses_no_number(record):
    wide = set(re.findall(r"\d+\.\d+ ± \d+\.\d+|\d+ ± \d+", _screen(record, 160)))
    narrow = set(re.findall(r"\d+\.\d+ ± \d+\.\d+|\d+ ± \d+", _screen(record, 80)))
    assert wide
    assert wide <= narrow


def test_odd_names_reach_the_screen_as_they_are(odd):
    screen = _screen(odd, 160)
    assert "$left_1 <b>" in screen
    assert "\u202e" not in screen
    assert "[red]" in screen


def test_faults_of_counters_are_named(record):
    event = record.events[0].model_copy(
        update={"fault": SlipFault.STUCK, "channel": SlipChannel.COUNTER, "candidates": ["left"], "alone": True}
    )
    event = event.model_copy(update={"details": [event.details[1]]})
    assert "counter stuck" in event_words(event)
    screen = _screen(record.model_copy(update={"events": [event]}), 140)
    assert "left: counter stuck" in screen
    assert "check its cable and plug" in screen


def test_of_several_candidates_none_is_accused(record):
    event = next(one for one in record.events if len(one.details) > 1).model_copy(update={"alone": True})
    names = f"{', '.join(event.candidates[:-1])} or {event.candidates[-1]}"
    assert f"at {event.start_s:.1f} s {names}, told by" in event_words(event)
    assert f"; if {event.candidates[0]}" in event_words(event)


def test_a_clock_with_an_epoch_of_its_own_is_shown_from_its_start(record):
    late = 1.7e9
    session = record.sessions[0].model_copy(update={"start_s": late})
    events = [
        one.model_copy(update={"start_s": one.start_s + late, "end_s": one.end_s + late}) for one in record.events
    ]
    moved = record.model_copy(update={"sessions": [session], "events": events})
    screen = _screen(moved, 140)
    assert "seconds since its start" in screen
    # the slip of the cross pod
    assert re.search(r"\b4 +43\.1–43\.2", screen)
    assert slip_headline(moved) == slip_headline(record)


def test_gains_and_gyros_have_their_own_words(record):
    detail = record.events[0].details[0]
    gained = detail.model_copy(
        update={"sensor": "left", "kind": "pod", "lost": Estimated(value=-0.02, std=0.001, unit="m")}
    )
    event = record.events[0].model_copy(update={"details": [gained], "candidates": ["left"], "alone": True})
    assert "left counted 20.0 ± 1.0 mm too much" in event_words(event)


def test_no_event_gives_no_factor(record):
    told = record.doubted_factor.model_copy(update={"factor": None, "why": "no event"})
    assert factor_lines(record.model_copy(update={"doubted_factor": told})) is None


def test_without_marks_and_tags_the_next_step_is_a_run_sheet_with_its_cautions(record):
    why = {SlipChannel.TAGS: "none", SlipChannel.MARKS: "none"}
    session = record.sessions[0].model_copy(update={"channels": [SlipChannel.PARITY], "why": why})
    screen = _screen(record.model_copy(update={"sessions": [session]}))
    assert "locbench runsheet" in screen
    assert "eye protection" in screen


def test_tables_hold_every_candidate(record):
    texts = slip_csv(record)
    rows = list(csv.DictReader(io.StringIO(texts["events.csv"])))
    assert len(rows) == sum(len(event.details) for event in record.events)
    assert float(rows[0]["lost"]) == record.events[0].details[0].lost.value
    pods = {row["pod"]: row for row in csv.DictReader(io.StringIO(texts["pods.csv"]))}
    assert float(pods["left"]["lost_m"]) == record.pods["left"].lost.value
    checked = {row["sensor"]: row for row in csv.DictReader(io.StringIO(texts["redundancy.csv"]))}
    assert checked["left"]["alike"] == "right gyro"
    assert checked["cross"]["least"] == ""


def test_a_spreadsheet_takes_no_name_for_a_formula(record):
    text = record.model_dump_json(by_alias=True).replace('"left"', '"=1+2"')
    texts = slip_csv(SlipRecord.model_validate_json(text))
    for name, column in (("events.csv", "candidate"), ("pods.csv", "pod"), ("redundancy.csv", "sensor")):
        cells = {row[column] for row in csv.DictReader(io.StringIO(texts[name]))}
        assert "'=1+2" in cells
        assert "=1+2" not in cells


def test_the_timeline_draws_the_record(record):
    session = record.sessions[0]
    drawn = plot_parity(record, session)
    (line,), (series,) = drawn.lines, session.parity
    assert np.asarray(line.get_xdata()) == pytest.approx([point.time_s - session.start_s for point in series.points])
    assert np.asarray(line.get_ydata()) == pytest.approx([max(point.ratio, 0.01) for point in series.points])
    assert len(drawn.spans) == len(record.events)
    assert "limit" in [text.get_text() for text in drawn.axes.get_legend().get_texts()]
    assert "[s]" in drawn.axes.get_xlabel()


def test_the_map_draws_every_event_where_it_happened(record):
    drawn = plot_slip_map(record, record.sessions[0])
    places = np.vstack([np.asarray(points.get_offsets()) for points in drawn.points.values()])
    expected = np.array([[event.x_m, event.y_m] for event in record.events])
    assert np.sort(places, axis=0) == pytest.approx(np.sort(expected, axis=0))
    assert len(np.asarray(drawn.path.get_xdata())) == len(record.sessions[0].map.path)
    assert "m]" in drawn.axes.get_xlabel()


def test_pictures_of_odd_names_and_of_no_events(odd, record):
    assert set(slip_pictures(odd)) == {"slip_timeline_1.svg", "slip_map_1.svg"}
    assert all(text.startswith("<?xml") for text in slip_pictures(_without_events(record)).values())


def test_the_folder_holds_what_is_said_and_an_older_picture_goes(record, tmp_path):
    out = tmp_path / "out"
    two = record.model_copy(update={"sessions": [record.sessions[0], record.sessions[0]]})
    assert "slip_map_2.svg" in write_slip(two, out)
    written = write_slip(record, out)
    assert sorted(path.name for path in out.iterdir()) == sorted(written)
    assert read_slip(out / "slip.json") == record
