import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from naive import naive_distance_to_ellipse

from locbench.config import ShooterConfig
from locbench.config.field import HorizontalOpening, VerticalOpening
from locbench.shots import clean_entry, clean_outline, opening_outline
from locbench.shots.opening import distance_to_ellipse

RIM = HorizontalOpening(kind="horizontal", radius="200 mm")
WINDOW = VerticalOpening(kind="vertical", width="400 mm", height="300 mm")


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


def test_a_clean_entry_never_brings_the_sphere_nearer_to_the_rim_than_its_radius():
    """The rim in space, point by point: distance of every rim point to the line of flight of the centre."""
    shooter, rng = _shooter(), np.random.default_rng(2)
    offsets = rng.uniform(-0.25, 0.25, size=(400, 2))
    angle = np.linspace(0, 2 * np.pi, 2000)
    rim = 0.2 * np.column_stack([np.cos(angle), np.sin(angle), np.zeros(2000)])
    g = shooter.entry_angle
    flight = np.array([0.0, np.cos(g), -np.sin(g)])
    clean = clean_entry(offsets, RIM, shooter)
    for offset, verdict in zip(offsets, clean, strict=True):
        relative = rim - [*offset, 0.0]
        distance = np.linalg.norm(relative - np.outer(relative @ flight, flight), axis=1).min()
        inside = np.hypot(*offset) < 0.2
        if abs(distance - 0.035) > 1e-4:
            assert verdict == (inside and distance > 0.035)


def test_straight_down_the_sphere_must_stay_its_radius_inside():
    shooter = _shooter(entry="89.999 deg")
    edge = np.array([[0.1649, 0.0], [0.0, -0.1649], [0.1651, 0.0], [0.0, 0.1651]])
    assert clean_entry(edge, RIM, shooter).tolist() == [True, True, False, False]


def test_a_flat_shot_cannot_enter_a_rim():
    assert not clean_entry(np.zeros((1, 2)), RIM, _shooter(entry="9 deg"))[0]
    assert len(clean_outline(RIM, _shooter(entry="9 deg"))) == 0


def test_a_window_is_met_sideways_by_the_lateral_miss_and_up_and_down_by_the_other():
    shooter = _shooter(entry="45 deg")
    offsets = np.array([[0.164, 0.0], [0.166, 0.0], [0.0, 0.114], [0.0, -0.116]])
    assert clean_entry(offsets, WINDOW, shooter).tolist() == [True, False, True, False]
    outline = clean_outline(WINDOW, shooter)
    np.testing.assert_allclose(outline.max(axis=0), [0.165, 0.115])
    assert len(clean_outline(VerticalOpening(kind="vertical", width="60 mm", height="300 mm"), shooter)) == 0


@pytest.mark.parametrize("opening", [RIM, WINDOW])
def test_the_clean_outline_parts_clean_from_touching(opening):
    shooter = _shooter()
    outline = clean_outline(opening, shooter)
    np.testing.assert_allclose(outline[0], outline[-1], atol=1e-12)
    assert clean_entry(0.999 * outline, opening, shooter).all()
    assert not clean_entry(1.001 * outline, opening, shooter).any()
    full = opening_outline(opening, shooter)
    assert np.abs(full).max() > np.abs(outline).max()
