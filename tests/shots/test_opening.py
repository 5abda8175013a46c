import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_distance_to_ellipse

from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.shots import clean_entry, clean_outline, opening_outline
from locbench.shots.opening import distance_to_ellipse

HEAD_ON = np.array([[1.0, 0.0]])


def _goal(opening, facing="180 deg"):
    place = {"name": "east bin", "x": "3.5 m", "y": "2 m", "height": "0.7 m", "facing": facing}
    return Goal.model_validate({**place, "opening": opening})


RIM = _goal({"kind": "horizontal", "radius": "200 mm"})
WINDOW = _goal({"kind": "vertical", "width": "400 mm", "height": "300 mm"})
SLIT = _goal({"kind": "vertical", "width": "60 mm", "height": "300 mm"})


def _clean(offsets, goal, shooter, line=HEAD_ON):
    return clean_entry(offsets, np.broadcast_to(line, (len(offsets), 2)), goal, shooter)


def _shooter(entry="50 deg", diameter="70 mm"):
    return ShooterConfig.model_validate({"name": "s", "projectile": {"diameter": diameter}, "entry_angle": entry})


@given(st.floats(-2, 2), st.floats(-2, 2), st.floats(0.05, 1.5), st.floats(0.05, 1.5))
def test_distance_to_an_ellipse_is_that_to_the_nearest_of_many_points(x, y, a, b):
    found = distance_to_ellipse(np.array([[x, y]]), a, b)[0]
    assert found == pytest.approx(naive_distance_to_ellipse((x, y), a, b), abs=2e-7)


@pytest.mark.parametrize(("point", "expected"), [((0, 0), 0.5), ((1, 0), 0.0), ((0, 0.5), 0.0), ((0.3, 0), 0.48)])
def test_distance_at_special_points(point, expected):
    found = distance_to_ellipse(np.array([point], dtype=float), 1.0, 0.5)[0]
    assert found == pytest.approx(
        expected if point != (0.3, 0) else naive_distance_to_ellipse(point, 1.0, 0.5), abs=1e-7
    )


def test_a_point_hardly_beside_the_centre_of_a_circle_is_a_radius_from_it():
    found = distance_to_ellipse(np.array([[1e-104, 0.0], [0.0, 5e-324], [1e-17, 1e-17]]), 0.3, 0.3)
    assert found == pytest.approx([0.3, 0.3, 0.3])


def test_a_clean_entry_never_brings_the_sphere_nearer_to_the_rim_than_its_radius():
    """The rim in space, point by point: distance of every rim point to the line of flight of the centre."""
    shooter, rng = _shooter(), np.random.default_rng(2)
    offsets = rng.uniform(-0.25, 0.25, size=(400, 2))
    angle = np.linspace(0, 2 * np.pi, 2000)
    rim = 0.2 * np.column_stack([np.cos(angle), np.sin(angle), np.zeros(2000)])
    g = shooter.entry_angle
    flight = np.array([0.0, np.cos(g), -np.sin(g)])
    clean = _clean(offsets, RIM, shooter)
    for offset, verdict in zip(offsets, clean, strict=True):
        relative = rim - [*offset, 0.0]
        distance = np.linalg.norm(relative - np.outer(relative @ flight, flight), axis=1).min()
        inside = np.hypot(*offset) < 0.2
        if abs(distance - 0.035) > 1e-4:
            assert verdict == (inside and distance > 0.035)


def test_straight_down_the_sphere_must_stay_its_radius_inside():
    shooter = _shooter(entry="89.999 deg")
    edge = np.array([[0.1649, 0.0], [0.0, -0.1649], [0.1651, 0.0], [0.0, 0.1651]])
    assert _clean(edge, RIM, shooter).tolist() == [True, True, False, False]


def test_a_flat_shot_cannot_enter_a_rim():
    assert not _clean(np.zeros((1, 2)), RIM, _shooter(entry="9 deg"))[0]
    assert len(clean_outline(RIM, _shooter(entry="9 deg"))) == 0


def test_a_window_is_met_sideways_by_the_lateral_miss_and_up_and_down_by_the_other():
    """Coming down at 45 deg a sphere of radius 35 mm needs 35 / cos 45 deg = 49.5 mm to a horizontal edge."""
    shooter = _shooter(entry="45 deg")
    offsets = np.array([[0.164, 0.0], [0.166, 0.0], [0.0, 0.100], [0.0, -0.101]])
    assert _clean(offsets, WINDOW, shooter).tolist() == [True, False, True, False]
    outline = clean_outline(WINDOW, shooter)
    np.testing.assert_allclose(outline[:, 0].max(), 0.165, atol=1e-9)
    np.testing.assert_allclose(outline[:, 1].max(), 0.15 - 0.035 / np.cos(np.pi / 4), atol=1e-9)
    assert len(clean_outline(SLIT, shooter)) == 0


@pytest.mark.parametrize("bearing_deg", [0, 35, -60])
def test_a_clean_entry_through_a_window_keeps_its_distance_from_every_edge(bearing_deg):
    """The window's edges in space, point by point, met from the front at an angle."""
    shooter, rng = _shooter(entry="50 deg"), np.random.default_rng(bearing_deg + 90)
    bearing, g = np.radians(bearing_deg), shooter.entry_angle
    line = np.array([np.cos(bearing), np.sin(bearing)])
    offsets = rng.uniform(-0.2, 0.2, size=(300, 2))
    along_edge = np.linspace(-1, 1, 1500)
    sides = [np.column_stack([0 * along_edge, 0 * along_edge + s * 0.2, 0.15 * along_edge]) for s in (-1, 1)]
    ends = [np.column_stack([0 * along_edge, 0.2 * along_edge, 0 * along_edge + s * 0.15]) for s in (-1, 1)]
    edges = np.concatenate(sides + ends)
    flight = np.array([*(line * np.cos(g)), -np.sin(g)])
    for offset, verdict in zip(offsets, _clean(offsets, WINDOW, shooter, line), strict=True):
        through = np.array([*(offset[0] * np.array([-line[1], line[0]]) + offset[1] * line), 0.0])
        crossing = through - flight * through[0] / flight[0]
        inside = abs(crossing[1]) < 0.2 and abs(crossing[2]) < 0.15
        relative = edges - crossing
        distance = np.linalg.norm(relative - np.outer(relative @ flight, flight), axis=1).min()
        if abs(distance - 0.035) > 5e-4:
            assert verdict == (inside and distance > 0.035)


def test_a_window_is_not_entered_from_behind():
    shooter = _shooter(entry="45 deg")
    assert _clean(np.zeros((1, 2)), WINDOW, shooter, np.array([[1.0, 0.0]]))[0]
    assert not _clean(np.zeros((1, 2)), WINDOW, shooter, np.array([[-1.0, 0.0]]))[0]
    assert not _clean(np.zeros((1, 2)), WINDOW, shooter, np.array([[0.0, 1.0]]))[0]


@pytest.mark.parametrize("goal", [RIM, WINDOW])
def test_the_clean_outline_parts_clean_from_touching(goal):
    shooter = _shooter()
    outline = clean_outline(goal, shooter)
    np.testing.assert_allclose(outline[0], outline[-1], atol=1e-12)
    assert _clean(0.999 * outline, goal, shooter).all()
    assert not _clean(1.001 * outline, goal, shooter).any()
    full = opening_outline(goal.opening, shooter)
    assert np.abs(full).max() > np.abs(outline).max()
