import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource
from finishing.engine.execution import execute
from finishing.operation import Geometry
from finishing.operations.edge_vignette import EdgeVignette
from finishing.recipes.recipe import Step

TABLES = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)


def finish(
    codes: NDArray[np.uint8], vignette: EdgeVignette, subject: tuple[float, float] | None = None
) -> NDArray[np.uint8]:
    out = np.empty_like(codes)
    geometry = Geometry(codes.shape[1], codes.shape[0], subject)
    execute([Step(vignette)], CodedSource(codes, TABLES, None), CodedSink(out, SRGB), geometry)
    return out


def distances(width: int, height: int) -> NDArray[np.float64]:
    """d of the law for an ellipse about the frame's centre, pixel centres at half pixels."""
    x = (np.arange(width) + 0.5 - width / 2) / (width / 2)
    y = (np.arange(height) + 0.5 - height / 2) / (height / 2)
    return np.hypot(x[None, :], y[:, None]) / np.sqrt(2)


def test_white_edge_over_middle_grey() -> None:
    # Derived here: over code 118 (18 % grey), smoothstep 0.5…1, strength 1, in linear light. At the corner t = 1,
    # in the middle of an edge d = 1/√2, t = 0.41421, weight = t²(3 − 2t) = 0.37258.
    codes = np.full((1001, 1501, 3), 118, np.uint8)
    out = finish(codes, EdgeVignette(toward="white", strength=1, starts_at=0.5, reaches=1.0))
    assert out[500, 750].tolist() == [118] * 3
    assert out[0, 0, 0] >= 254
    grey = float(srgb_decode(118 / 255))
    expected = float(SRGB.encode(grey * (1 - 0.37258) + 0.37258)) * 255
    assert int(out[500, 0, 0]) == pytest.approx(expected, abs=1)


def test_means_rise_outward(photographs: dict[str, NDArray[np.uint8]]) -> None:
    flat = np.full((400, 600, 3), 90, np.uint8)
    out = finish(flat, EdgeVignette(toward="white", strength=0.8, starts_at=0.3, reaches=0.95))[..., 0].astype(float)
    rings = (distances(600, 400) * 50).astype(int)
    means = np.bincount(rings.ravel(), out.ravel()) / np.bincount(rings.ravel())
    assert (np.diff(means) >= -0.05).all()
    dark = finish(photographs["temple"], EdgeVignette(toward="black", strength=1, starts_at=0.4, reaches=1.0))
    assert (dark.astype(int) <= photographs["temple"]).all()


@pytest.mark.parametrize("name", ["astronaut", "coffee", "portrait", "temple", "flower"])
@pytest.mark.parametrize("toward", ["white", "black", "#c8a21b"])
def test_inside_is_untouched_bit_for_bit(photographs: dict[str, NDArray[np.uint8]], name: str, toward: str) -> None:
    codes = photographs[name]
    out = finish(codes, EdgeVignette(toward=toward, strength=0.9, starts_at=0.55, reaches=1.0))
    inside = distances(codes.shape[1], codes.shape[0]) <= 0.55
    assert np.array_equal(out[inside], codes[inside])
    assert not np.array_equal(out[~inside], codes[~inside])


def test_rectangle_keeps_the_middle_and_reaches_the_edges() -> None:
    codes = np.full((300, 300, 3), 60, np.uint8)
    out = finish(codes, EdgeVignette(toward="white", strength=1, starts_at=0.8, reaches=1.0, shape="rectangle"))
    assert (out[80:220, 80:220] == 60).all()
    assert (out[[0, -1]] >= 250).all()
    assert (out[:, [0, -1]] >= 250).all()


def test_centre_on_the_subject_moves_the_untouched_part() -> None:
    codes = np.full((100, 200, 3), 100, np.uint8)
    vignette = EdgeVignette(toward="black", strength=1, starts_at=0.2, reaches=0.9, centre="subject")
    out = finish(codes, vignette, subject=(0.2, 0.5))
    assert out[50, 40, 0] == 100
    assert out[50, 195, 0] < 40
    assert np.array_equal(finish(codes, vignette), finish(codes, vignette.model_copy(update={"centre": "frame"})))


@given(st.floats(0, 1), st.floats(0, 1.5), st.floats(0, 1.5), st.sampled_from(["ellipse", "rectangle"]))
def test_result_lies_between_the_pixel_and_the_colour(strength: float, start: float, length: float, shape: str) -> None:
    vignette = EdgeVignette(toward="white", strength=strength, starts_at=start, reaches=start + length, shape=shape)
    pixels = np.full((9, 13, 3), 0.3)
    out = vignette.reference(pixels, Geometry(13, 9))
    assert out.min() >= 0.3 - 1e-12
    assert out.max() <= 0.3 + strength * 0.7 + 1e-12
