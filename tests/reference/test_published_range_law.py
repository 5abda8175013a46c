"""The range of a tag from the size of its image, and how its noise grows.

Z = f W / w (pinhole camera; read in a computer-vision handbook on the web), so that sigma_Z = Z^2 sigma_w / (f W)
(derived), with sigma_w = sqrt 2 sigma_pixel for two independent corners, and sideways Z sigma_pixel / f. The figures
for f = 900 px and W = 0.1651 m were computed.
"""

import numpy as np
import pytest

from locbench.camera.components import Component
from locbench.camera.noise import noise_model
from locbench.camera.observed import Observed
from locbench.config.fusion import TagNoise
from locbench.session import Detections, TagKind

_FOCAL_PX, _WIDTH_M, _PIXEL = 900.0, 0.1651, 0.5


@pytest.mark.parametrize(
    ("z", "width", "per_pixel", "sideways"),
    [(1.0, 148.59, 6.72993, 1.1111), (2.0, 74.295, 26.91971, 2.2222), (4.0, 37.1475, 107.67885, 4.4444)],
)
def test_the_law(z, width, per_pixel, sideways):
    assert _FOCAL_PX * _WIDTH_M / z == pytest.approx(width, abs=1e-4)
    assert 1000.0 * z**2 / (_FOCAL_PX * _WIDTH_M) == pytest.approx(per_pixel, abs=1e-4)
    assert 1000.0 * z / _FOCAL_PX == pytest.approx(sideways, abs=1e-4)


def _seen(z: np.ndarray) -> Observed:
    count = len(z)
    nothing = np.zeros(count)
    value = np.column_stack([z, nothing, nothing])
    found = Detections(
        kind=TagKind.TAG_POSE,
        captured_s=0.1 * np.arange(count),
        arrived_s=0.1 * np.arange(count),
        tag=np.ones(count, dtype=np.int64),
        other_tags=np.empty((count, 0), dtype=np.int64),
        tag_count=np.ones(count, dtype=np.int64),
        row=np.arange(1, count + 1),
        value=value,
        own_covariance=np.full((count, 3, 3), np.nan),
        range_m=z,
        view_angle_rad=nothing,
        reprojection_ratio=np.full(count, np.nan),
        slant=False,
        mount=np.zeros((count, 6)),
    )
    return Observed(
        detections=found,
        components=(Component.ALONG, Component.ACROSS, Component.HEADING),
        tags=np.zeros((count, 4)),
        mounts=np.zeros((count, 6)),
        mount=np.zeros(3),
        pose=np.zeros((count, 3)),
        velocity=np.zeros((count, 3)),
        pose_covariance=np.zeros((count, 3, 3)),
        speed_m_s=nothing,
        turn_rate_rad_s=nothing,
        range_m=z,
        view_angle_rad=nothing,
        signed_view_rad=nothing,
        line_rad=nothing,
        passed=np.zeros(count, dtype=np.int64),
        leg=np.arange(count),
    )


def test_pixel_noise_becomes_the_noise_that_the_model_has_words_for():
    """Corners read with half a pixel of noise: along_at_one_metre is sqrt 2 sigma / (f W), across sigma / f."""
    rng = np.random.default_rng(3)
    z = rng.uniform(0.8, 4.0, 3000)
    width_px = _FOCAL_PX * _WIDTH_M / z + np.sqrt(2.0) * _PIXEL * rng.standard_normal(len(z))
    along = _FOCAL_PX * _WIDTH_M / width_px - z
    across = z * _PIXEL * rng.standard_normal(len(z)) / _FOCAL_PX
    heading = 0.01 * rng.standard_normal(len(z))
    found = noise_model(
        _seen(z), np.column_stack([along, across, heading]), np.zeros((len(z), 3)), TagNoise(view_angle_growth=0.0)
    )
    for key, expected in (
        ("along_at_one_metre", np.sqrt(2.0) * _PIXEL / (_FOCAL_PX * _WIDTH_M)),
        ("across_at_one_metre", _PIXEL / _FOCAL_PX),
    ):
        assert found.value[key] == pytest.approx(expected, abs=5.0 * found.std[key] + 0.02 * expected)
    assert found.value["heading_floor"] == pytest.approx(0.01, rel=0.05)
    assert found.reference_scale == pytest.approx(1.0)
    # all tags are seen face on: growth with the view angle cannot be told, and is not guessed
    assert "view_angle_growth" in found.fixed


@pytest.mark.parametrize("real", [0.3, 1.0])
def test_a_reference_that_is_better_than_stated_widens_what_is_said(real):
    """Half of the variance is said to be the reference's, and it is that or less: the interval holds the camera's."""
    rng = np.random.default_rng(8)
    z = rng.uniform(0.8, 4.0, 1500)
    extra = np.full((1500, 3), 0.01**2)
    residual = np.sqrt(0.01**2 + real * extra) * rng.standard_normal((1500, 3))
    found = noise_model(_seen(z), residual, extra, TagNoise(view_angle_growth=0.0))
    for key in ("along_floor", "across_floor"):
        assert abs(found.value[key] - 0.01) < 2.0 * found.std[key]
    sure = noise_model(_seen(z), residual, 0.0 * extra, TagNoise(view_angle_growth=0.0))
    assert found.std["along_floor"] > 2.0 * sure.std["along_floor"]
