"""Survey uncertainties against surveys simulated reading by reading."""

import numpy as np
import pytest
from floors import floor_field, floors
from hypothesis import given, settings

from locbench.drive_kinds import DriveKind
from locbench.runsheet.marks import PlannedMark, Pose
from locbench.runsheet.sheet import run_sheet
from locbench.runsheet.survey import Corner, Tape, corner_place, surveyed

TAPE = Tape()
DRAWS = 20_000


def _intersection(near, corners, distances):
    """Meeting point (N, 2) of circles (N, 2 radii) about two corners, the one nearest to `near`: closed form."""
    first, second = corners
    base = second - first
    length = np.hypot(*base)
    along = (distances[:, 0] ** 2 - distances[:, 1] ** 2 + length**2) / (2.0 * length)
    across = np.sqrt(np.maximum(distances[:, 0] ** 2 - along**2, 0.0))
    unit = base / length
    normal = np.array([-unit[1], unit[0]])
    side = np.sign((near - first) @ normal)
    return first + along[:, np.newaxis] * unit + side * across[:, np.newaxis] * normal


def _readings(rng, distances, tape):
    stds = [tape.reading_std_m(distance) for distance in distances]
    return distances + rng.normal(size=(DRAWS, 2)) * stds


@pytest.mark.parametrize(
    ("x", "y", "heading"),
    [(0.4, 0.4, 0.0), (2.0, 2.0, 45.0), (3.6, 0.5, 90.0), (0.7, 3.2, -135.0), (2.0, 0.4, 180.0), (1.3, 2.9, 10.0)],
)
def test_stds_are_those_of_simulated_surveys(x, y, heading):
    rng = np.random.default_rng(5)
    floor = floor_field().floor
    survey = surveyed(PlannedMark("R1", Pose(x, y, np.radians(heading))), floor, TAPE)
    corners = np.array([corner_place(floor, corner) for corner in survey.corners])
    mark, end = np.array([x, y]), np.array([survey.line.x_m, survey.line.y_m])
    places = _intersection(mark, corners, _readings(rng, survey.distances_m, TAPE))
    ends = _intersection(end, corners, _readings(rng, survey.line.distances_m, TAPE))
    spread = np.sqrt(np.mean((places - mark) ** 2))
    way = (ends - places) if survey.line.ahead else (places - ends)
    turned = np.arctan2(way[:, 1], way[:, 0]) - np.radians(heading)
    turned = (turned + np.pi) % (2.0 * np.pi) - np.pi
    assert survey.survey_position_m == pytest.approx(spread, rel=0.03)
    assert survey.survey_heading_rad == pytest.approx(np.std(turned), rel=0.03)
    assert abs(np.mean(turned)) < 0.05 * np.std(turned)
    placed = places - mark + rng.normal(scale=TAPE.placing_m, size=(DRAWS, 2))
    gaps = rng.normal(scale=TAPE.gap_m, size=(DRAWS, 2))
    edge = turned + (gaps[:, 0] - gaps[:, 1]) / TAPE.edge_m
    assert survey.position_std_m == pytest.approx(np.sqrt(np.mean(placed**2)), rel=0.03)
    assert survey.heading_std_rad == pytest.approx(np.std(edge), rel=0.03)
    check = np.linalg.norm(places - corner_place(floor, survey.check), axis=1)
    read = check + rng.normal(size=DRAWS) * TAPE.reading_std_m(survey.check_m)
    assert np.mean(np.abs(read - survey.check_m) < survey.check_within_m) == pytest.approx(0.954, abs=0.01)


@given(field=floors())
@settings(max_examples=40)
def test_every_mark_is_fixed_from_two_corners_and_its_line_lies_on_the_floor(field):
    sheet = run_sheet(field, None, DriveKind.TOUR, "field.toml", 0.05)
    floor = field.floor
    for survey in sheet.surveys:
        place = np.array([survey.mark.pose.x_m, survey.mark.pose.y_m])
        for corner, distance in zip(
            (*survey.corners, survey.check), (*survey.distances_m, survey.check_m), strict=True
        ):
            assert distance == pytest.approx(np.linalg.norm(place - corner_place(floor, corner)))
        assert len({*survey.corners, survey.check}) == 3
        line = survey.line
        assert floor.x_from <= line.x_m <= floor.x_to
        assert floor.y_from <= line.y_m <= floor.y_to
        ahead = np.array([line.x_m, line.y_m]) - place
        sense = 1.0 if line.ahead else -1.0
        heading = survey.mark.pose.heading_rad
        np.testing.assert_allclose(sense * ahead / np.linalg.norm(ahead), [np.cos(heading), np.sin(heading)], atol=1e-9)
        assert 0.25 < np.linalg.norm(ahead) < TAPE.line_m + 1e-9
        assert 0.0015 < survey.position_std_m < 0.1
        assert 0.0 < survey.heading_std_rad < 0.2


def test_a_mark_without_heading_has_no_line():
    survey = surveyed(PlannedMark("R1", Pose(1.0, 1.0, None)), floor_field().floor, TAPE)
    assert survey.line is None
    assert survey.heading_std_rad is None


def test_corners_go_round_counter_clockwise():
    places = np.array([corner_place(floor_field(4.0, 3.0, (1.0, 2.0)).floor, corner) for corner in Corner])
    np.testing.assert_array_equal(places, [[1, 2], [5, 2], [5, 5], [1, 5]])


def test_the_field_files_own_stds_go_before():
    sheet = run_sheet(
        floor_field(marks=[(1, 1, 0), (3, 1, 90), (3, 3, 180), (1, 3, -90), (2, 2, 45), (2, 1, 135)]),
        None,
        DriveKind.TOUR,
        "field.toml",
        0.05,
    )
    assert {survey.used_position_m for survey in sheet.surveys} == {0.002}
    assert {round(np.degrees(survey.used_heading_rad), 9) for survey in sheet.surveys} == {0.3}
