"""The 24-patch chart: found between four corners, fitted, refused where it is none."""

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour.adaptation import white_xyz
from finishing.colour.spaces import D65, SRGB, luminance
from finishing.errors import Problem
from finishing.evenness.chart import field_to_frame, fit_chart, measure_patches
from finishing.evenness.patches import D50, PATCHES, published
from finishing.photographs.encoding import encoding_of_space

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Floats = NDArray[np.float64]
NOT_CLIPPED = np.zeros(24)
SHAPE = colour.SpectralShape(400, 700, 10)


def reflectances() -> Floats:
    """(24, 31): measured spectral reflectances of such a chart (Ohta 1997, in colour-science)."""
    spectra = getattr(colour, "SDS_" + "COLOUR" + "CHECKERS")["cc_ohta"]
    return np.array([one.copy().align(SHAPE).values for one in spectra.values()])


def under(illuminant: str) -> Floats:
    """(24, 3): the chart in linear working light as the CIE 1931 observer sees it under a CIE illuminant, nothing
    adapted."""
    light = colour.SDS_ILLUMINANTS[illuminant].copy().align(SHAPE).values
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(SHAPE).values
    xyz = (reflectances() * light) @ observer / (light @ observer)[1]
    return np.asarray(xyz @ np.linalg.inv(SRGB.to_xyz).T)


def drawn(
    patches: Floats, corners: list[tuple[float, float]], width: int = 900, height: int = 600
) -> NDArray[np.uint8]:
    """The chart photographed: perspective between four corners, black gaps of a tenth between patches, sRGB, 8 bits."""
    import cv2

    cell, gap = 100, 10
    flat = np.full((4 * cell, 6 * cell, 3), 0.02)
    for patch in range(24):
        row, column = divmod(patch, 6)
        inside = (slice(row * cell + gap // 2, (row + 1) * cell - gap // 2),)
        flat[inside[0], column * cell + gap // 2 : (column + 1) * cell - gap // 2] = patches[patch]
    source = np.array([[0, 0], [6 * cell, 0], [6 * cell, 4 * cell], [0, 4 * cell]], np.float32) - 0.5
    target = np.array(corners, np.float32) * np.array([width, height], np.float32) - 0.5
    picture = cv2.warpPerspective(
        flat.astype(np.float32), cv2.getPerspectiveTransform(source, target), (width, height), flags=cv2.INTER_LINEAR
    )
    return np.asarray(np.round(colour.models.eotf_inverse_sRGB(np.clip(picture, 0, 1)) * 255), np.uint8)


SKEWED = [(0.20, 0.25), (0.78, 0.18), (0.83, 0.80), (0.15, 0.72)]


def test_the_published_values() -> None:
    """Against colour-science's own data and its Bradford, from D50 to D65."""
    chart = getattr(colour, "CCS_" + "COLOUR" + "CHECKERS")["cca2014"]
    values = np.array(list(chart.data.values()))
    assert np.abs(np.array([patch[1:] for patch in PATCHES]) - values).max() < 1e-6
    assert list(D50) == [0.345703, 0.358539]
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(chart.illuminant), np.array(white_xyz(D65)), transform="Bradford"
    )
    wanted = colour.xyY_to_XYZ(values) @ (np.linalg.inv(SRGB.to_xyz) @ matrix).T
    assert np.abs(published() - wanted).max() < 2e-5
    # 8-bit sRGB of four patches as colour-science gives them
    codes = np.round(colour.models.eotf_inverse_sRGB(published()) * 255)
    for patch, code in ((1, (197, 144, 127)), (14, (178, 54, 57)), (15, (236, 200, 15)), (21, (121, 121, 121))):
        assert np.abs(codes[patch] - code).max() <= 1


@pytest.mark.parametrize("illuminant", ["A", "D50", "D75", "FL2", "FL11", "LED-B3"])
def test_under_many_lights_the_difference_halves_at_least(illuminant: str) -> None:
    corners = SKEWED
    encoding = encoding_of_space(SRGB)
    means, clipped = measure_patches(drawn(under(illuminant) * 0.8, corners), encoding.tables, None, corners)
    fit = fit_chart(means, clipped)
    assert fit.after[0] <= 0.5 * fit.before[0]
    assert fit.after[0] < 3


@given(st.floats(0.2, 1.1), st.lists(st.floats(-0.12, 0.12), min_size=9, max_size=9))
def test_a_linear_fault_is_undone_exactly(exposure: float, mixing: list[float]) -> None:
    fault = np.eye(3) + np.array(mixing).reshape(3, 3)
    photographed = published() @ fault.T * exposure
    fit = fit_chart(photographed, NOT_CLIPPED)
    assert fit.after[1] < 1e-6
    assert np.abs(fit.matrix @ fault / (fit.matrix @ fault)[0, 0] - np.eye(3)).max() < 1e-6


def test_exposure_is_left_alone() -> None:
    fit = fit_chart(published() * 0.5, NOT_CLIPPED)
    assert np.abs(fit.matrix - np.eye(3)).max() < 1e-9
    assert luminance(fit.matrix @ np.full(3, 0.3)) == pytest.approx(0.3)


def test_patches_are_found_in_perspective() -> None:
    corners = SKEWED
    encoding = encoding_of_space(SRGB)
    means, clipped = measure_patches(drawn(np.clip(published(), 0, 1), corners), encoding.tables, None, corners)
    assert np.abs(means - np.clip(published(), 0, 1)).max() < 0.004
    assert clipped.max() == 0


def test_the_field_is_laid_between_the_corners() -> None:
    to_frame = field_to_frame(SKEWED, 900, 600)
    for (u, v), (x, y) in zip([(0, 0), (6, 0), (6, 4), (0, 4)], SKEWED, strict=True):
        at = to_frame @ [u, v, 1]
        assert at[:2] / at[2] == pytest.approx((x * 900 - 0.5, y * 600 - 0.5))


def test_clipped_patches_are_left_out() -> None:
    corners = SKEWED
    encoding = encoding_of_space(SRGB)
    codes = drawn(under("D50") * 1.5, corners)
    fit = fit_chart(*measure_patches(codes, encoding.tables, None, corners))
    assert 19 in fit.left_out  # the white patch
    assert fit.after[0] < 2
    with pytest.raises(Problem, match="too much of the chart is clipped"):
        fit_chart(*measure_patches(drawn(under("D50") * 6, corners), encoding.tables, None, corners))


@pytest.mark.parametrize(("turn", "says"), [(2, "turned by half"), (1, "between these corners")])
def test_corners_that_begin_at_another_patch(turn: int, says: str) -> None:
    corners = SKEWED
    encoding = encoding_of_space(SRGB)
    codes = drawn(under("D50") * 0.8, corners)
    turned = corners[turn:] + corners[:turn]
    with pytest.raises(Problem, match=says) as caught:
        fit_chart(*measure_patches(codes, encoding.tables, None, turned))
    assert "beginning at the dark skin patch" in str(caught.value)


def test_what_is_no_chart() -> None:
    noise = np.random.default_rng(0).integers(20, 230, (600, 900, 3)).astype(np.uint8)
    encoding = encoding_of_space(SRGB)
    with pytest.raises(Problem, match="no 24-patch chart"):
        fit_chart(*measure_patches(noise, encoding.tables, None, SKEWED))
    tiny = [(0.5, 0.5), (0.52, 0.5), (0.52, 0.52), (0.5, 0.52)]
    with pytest.raises(Problem, match="the chart is too small"):
        measure_patches(noise, encoding.tables, None, tiny)
