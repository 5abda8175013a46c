"""Pictures: what is drawn is what was given, and every axis says what it shows."""

import matplotlib as mpl
import numpy as np
import pytest
from hand_built import FILTER, MARKUP_NAME, SCRIPT_NAME, evaluation
from matplotlib.figure import Figure

from locbench.report import plot_drift, plot_error_over_time, plot_field, plot_misses
from locbench.report.figures import session_pictures
from locbench.report.style import estimator_styles, figure_svg, shortened
from locbench.report.time_plots import tick_times
from locbench.units import UnitSystem

METRIC, IMPERIAL = UnitSystem.METRIC, UnitSystem.IMPERIAL
NAMES = ["dead_reckoning", FILTER, MARKUP_NAME]


@pytest.fixture
def session(evaluation_a):
    return evaluation_a.tracks.sessions[0]


def legend_texts(owner) -> list[str]:
    legend = owner.get_legend() if hasattr(owner, "get_legend") else owner.legends[0]
    return [text.get_text() for text in legend.get_texts()]


def test_field_draws_the_paths_given(session):
    drawn = plot_field(session, METRIC)
    track = session.estimators[FILTER]
    np.testing.assert_allclose(drawn.paths[FILTER].get_xdata(), [0.7, 1.5, np.nan, 3.0])
    np.testing.assert_allclose(drawn.reference.get_ydata(), session.reference_y_m)
    np.testing.assert_allclose(drawn.visits.get_xdata(), [0.7])
    (ellipse,) = drawn.ellipses[FILTER]
    assert ellipse.get_center() == (1.5, 0.9)
    assert ellipse.get_width() == pytest.approx(2.0 * track.ellipses[0].semi_major_m)
    assert ellipse.get_angle() == pytest.approx(np.degrees(0.3))


def test_field_labels_and_legend(session):
    axes = plot_field(session, METRIC).axes
    assert axes.get_title() == f"{SCRIPT_NAME}: paths on the floor"
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("x [m]", "y [m]")
    assert axes.get_aspect() == 1.0
    texts = legend_texts(axes)
    assert texts[3] == "dense truth"
    assert {*NAMES, "mark", "stop on a mark", "believed, 95 %", "goal"} <= set(texts)
    written = {text.get_text() for text in axes.texts}
    assert {"$M$", "S1", "5", "east bin"} <= written


def test_field_in_feet(session):
    drawn = plot_field(session, IMPERIAL)
    assert drawn.axes.get_xlabel() == "x [ft]"
    np.testing.assert_allclose(drawn.paths[FILTER].get_xdata()[:2], np.array([0.7, 1.5]) / 0.3048)


def test_field_shows_floor_and_goals_however_wild_the_paths_are(session):
    wild = session.estimators[FILTER].model_copy(update={"x_m": [0.7, 90.0, None, 3.0]})
    drawn = plot_field(session.model_copy(update={"estimators": {FILTER: wild}}), METRIC)
    low, high = drawn.axes.get_xlim()
    assert -1.0 < low < 0.0
    assert 4.43 < high < 5.5


def test_field_can_be_drawn_on_given_axes(session):
    figure = Figure()
    axes = figure.subplots()
    assert plot_field(session, METRIC, axes).figure is figure


def test_errors_over_time_are_those_given(session):
    drawn = plot_error_over_time(session, METRIC)
    np.testing.assert_allclose(drawn.errors[FILTER].get_ydata(), [4.0, 20.0, np.nan, 30.0])
    panel = drawn.panels[FILTER]
    np.testing.assert_allclose(panel.believed.get_ydata(), [10.0, 30.0, np.nan, 40.0])
    np.testing.assert_allclose(tick_times(panel.accepted), [5.0, 20.0, 40.0, 50.0])
    np.testing.assert_allclose(tick_times(panel.refused), [10.0, 30.0])
    np.testing.assert_allclose(tick_times(panel.hurt), [20.0])
    assert "dead_reckoning" not in drawn.panels


def test_error_axes_say_what_they_show(session):
    drawn = plot_error_over_time(session, METRIC)
    assert drawn.axes.get_title() == f"{SCRIPT_NAME}: position error against dense truth"
    assert (drawn.axes.get_xlabel(), drawn.axes.get_ylabel()) == ("time since start [s]", "error [mm]")
    assert legend_texts(drawn.axes) == NAMES
    panel = drawn.panels[FILTER]
    assert panel.axes.get_ylabel() == "error [mm]"
    assert panel.strip.get_xlabel() == "time since start [s]"
    assert [label.get_text() for label in panel.strip.get_yticklabels()] == ["hurt (1)", "taken (4)", "refused (2)"]
    assert legend_texts(panel.axes) == ["error", "believed, 95 %"]
    assert plot_error_over_time(session, IMPERIAL).axes.get_ylabel() == "error [in]"


def test_errors_at_marks_when_there_is_no_truth(evaluation_b):
    drawn = plot_error_over_time(evaluation_b.tracks.sessions[0], METRIC)
    assert "at the mark visits" in drawn.axes.get_title()
    assert drawn.panels[FILTER].strip.get_yticklabels()[0].get_text() == "hurt (1)"


def test_without_anything_to_judge_by_no_count_of_hurting_fixes_is_claimed(evaluation_b):
    session = evaluation_b.tracks.sessions[0]
    track = session.estimators[FILTER]
    unjudged = track.corrections.model_copy(update={"verdict": [None] * len(track.corrections.verdict)})
    estimators = {FILTER: track.model_copy(update={"corrections": unjudged})}
    drawn = plot_error_over_time(session.model_copy(update={"estimators": estimators}), METRIC)
    assert drawn.panels[FILTER].strip.get_yticklabels()[0].get_text() == "hurt (unknown)"


def test_thousands_of_fixes_stay_a_small_picture(session):
    count = 50_000
    track = session.estimators[FILTER]
    fixes = track.corrections.model_copy(
        update={
            "time_s": [0.01 * i for i in range(count)],
            "outcome": ["accepted"] * count,
            "verdict": ["hurt"] * count,
            "error_after_m": [0.01] * count,
        }
    )
    many = track.model_copy(update={"corrections": fixes})
    drawn = plot_error_over_time(session.model_copy(update={"estimators": {FILTER: many}}), METRIC)
    assert [label.get_text() for label in drawn.panels[FILTER].strip.get_yticklabels()][:2] == [
        f"hurt ({count})",
        f"taken ({count})",
    ]
    assert len(figure_svg(drawn.figure)) < 1_000_000


def test_drift_points_are_those_given(session):
    drawn = plot_drift(session, METRIC)
    np.testing.assert_allclose(drawn.points[FILTER].get_offsets(), [[2.5, 20.0], [4.0, 50.0]])
    assert drawn.axes.get_xlabel() == "driven between them [m]"
    assert drawn.axes.get_ylabel() == "position error gained [mm]"
    assert legend_texts(drawn.axes) == NAMES


def test_landing_points_are_those_given(session):
    drawn = plot_misses(session, METRIC)
    assert list(drawn.panels) == [("east bin", "near"), ("east bin", "far")]
    far = drawn.panels["east bin", "far"]
    np.testing.assert_allclose(far.hollow[FILTER].get_offsets(), [[-200.0, 100.0], [2000.0, 0.0]])
    assert len(far.filled[FILTER].get_offsets()) == 0
    near = drawn.panels["east bin", "near"]
    np.testing.assert_allclose(near.filled[FILTER].get_offsets(), [[20.0, -10.0]])
    np.testing.assert_allclose(np.max(near.outline.get_ydata()), 180.0)
    np.testing.assert_allclose(np.max(near.clean.get_ydata()), 126.0)


def test_miss_panels_are_seen_from_the_robot(session):
    drawn = plot_misses(session, METRIC)
    axes = drawn.panels["east bin", "far"].axes
    left, right = axes.get_xlim()
    assert left > 0.0 > right
    assert axes.get_aspect() == 1.0
    assert axes.get_title() == "east bin, far"
    assert axes.get_xlabel() == "lateral, left is + [mm]"
    assert axes.get_ylabel() == "along, beyond is + [mm]"
    texts = legend_texts(drawn.figure)
    assert {*NAMES, "opening", "centre must pass inside", "hollow: not a clean entry"} == set(texts)


def test_shots_beyond_the_panel_are_counted(session):
    panel = plot_misses(session, METRIC).panels["east bin", "far"]
    assert panel.beyond == 3
    assert "3 more outside this panel" in {text.get_text() for text in panel.axes.texts}


def test_landings_without_a_shooter_are_not_called_misses(session):
    track = session.estimators[FILTER]
    unknown = [point.model_copy(update={"inside": None}) for point in track.landings]
    one = session.model_copy(update={"estimators": {FILTER: track.model_copy(update={"landings": unknown})}})
    drawn = plot_misses(one, METRIC)
    assert "hollow: not a clean entry" not in legend_texts(drawn.figure)


def test_estimators_differ_without_colour():
    looks = [(str(style.line), style.marker) for style in estimator_styles(f"filter {i}" for i in range(35)).values()]
    assert len(set(looks)) == 35


def test_pictures_without_content_are_left_out(evaluation_d):
    session = evaluation_d.tracks.sessions[0]
    assert plot_error_over_time(session, METRIC) is None
    assert plot_drift(session, METRIC) is None
    assert plot_misses(session, METRIC) is None
    assert len(list(session_pictures(session, METRIC))) == 1


@pytest.mark.parametrize("name", ["$\\frac$ a", "_hidden", "a\x00b\x1b", "机器人", "<&>"])
def test_any_name_can_be_drawn(name):
    hostile = evaluation("A", name=name).tracks.sessions[0]
    hostile = hostile.model_copy(update={"estimators": {name: hostile.estimators[FILTER]}})
    for picture in session_pictures(hostile, METRIC):
        assert "\x00" not in picture.svg
        assert picture.svg.rstrip().endswith("</svg>")
    if name == "_hidden":
        assert "_hidden" in legend_texts(plot_error_over_time(hostile, METRIC).axes)


def test_settings_of_the_library_stay_untouched_and_no_figure_is_kept(session):
    before = dict(mpl.rcParams)
    list(session_pictures(session, METRIC))
    assert dict(mpl.rcParams) == before
    from matplotlib import pyplot

    assert pyplot.get_fignums() == []


def test_the_same_input_gives_the_same_picture(session):
    first = [picture.svg for picture in session_pictures(session, METRIC)]
    assert first == [picture.svg for picture in session_pictures(session, METRIC)]


def test_every_panel_has_numbers_on_its_time_axis(session):
    drawn = plot_error_over_time(session, METRIC)
    drawn.figure.draw_without_rendering()
    panels = [axes for panel in drawn.panels.values() for axes in (panel.axes, panel.strip)]
    for axes in (drawn.axes, *panels):
        assert any(label.get_visible() and label.get_text() for label in axes.get_xticklabels())


def test_time_counts_from_the_start_of_the_log(session):
    def later(times):
        return [1.7e9 + time for time in times]

    tracks = {}
    for name, track in session.estimators.items():
        moved = {"time_s": later(track.time_s)}
        for key in ("truth_error", "mark_error", "corrections"):
            part = getattr(track, key)
            moved[key] = None if part is None else part.model_copy(update={"time_s": later(part.time_s)})
        tracks[name] = track.model_copy(update=moved)
    epoch = session.model_copy(update={"estimators": tracks})
    drawn = plot_error_over_time(epoch, METRIC)
    np.testing.assert_allclose(drawn.errors[FILTER].get_xdata(), [0.0, 30.0, 60.0, 88.0])
    np.testing.assert_allclose(tick_times(drawn.panels[FILTER].hurt), [20.0])
    assert drawn.start_s == 1.7e9
    captions = [picture.caption for picture in session_pictures(epoch, METRIC)]
    assert "The start is at 1700000000.000 s on the log's clock." in captions[1]
    assert "The start is at" not in list(session_pictures(session, METRIC))[1].caption


def test_long_names_are_shortened_in_the_middle(session):
    assert shortened("x" * 50) == "x" * 50
    assert shortened("0123456789", 5) == "01…89"
    assert shortened("0123456789", 6) == "012…89"
    long = session.model_copy(update={"name": "Tuesday " * 20 + "run 3"})
    for title in (
        plot_field(long, METRIC).axes.get_title(),
        plot_error_over_time(long, METRIC).axes.get_title(),
        plot_drift(long, METRIC).axes.get_title(),
        plot_misses(long, METRIC).figure.get_suptitle(),
    ):
        assert "Tuesday run 3: " in title
        assert len(title.partition(": ")[0]) == 50


def test_long_estimator_names_leave_room_for_the_picture(session):
    names = [f"{'a very long name ' * 12}{index}" for index in range(3)]
    renamed = dict(zip(names, session.estimators.values(), strict=True))
    long = session.model_copy(update={"estimators": renamed})
    assert len(list(session_pictures(long, METRIC))) == 4
    assert max(len(text) for text in legend_texts(plot_error_over_time(long, METRIC).axes)) == 32


def test_tags_only_can_be_seen():
    assert estimator_styles(["tags_only"])["tags_only"].width > 1.0


def test_errors_that_are_all_zero_can_be_drawn(session):
    tracks = {}
    for name, track in session.estimators.items():
        none = track.truth_error.model_copy(update={"position_m": [0.0] * 4, "believed_95_m": [0.0] * 4})
        points = [point.model_copy(update={"length_m": 0.0, "position_error_m": 0.0}) for point in track.drift]
        tracks[name] = track.model_copy(update={"truth_error": none, "drift": points})
    still = session.model_copy(update={"estimators": tracks})
    assert len(list(session_pictures(still, METRIC))) == 4
    low, high = plot_drift(still, METRIC).axes.get_xlim()
    assert low == 0.0 < high
