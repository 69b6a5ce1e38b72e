"""Regions against what other libraries draw and resample, and against published colours."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.colour import oklab, transfer
from finishing.operation import Geometry
from finishing.regions.box import Box
from finishing.regions.ellipse import Ellipse
from finishing.regions.gradient import Gradient
from finishing.regions.hue import HueRange
from finishing.regions.mask import FrameMask, SubjectMask
from finishing.regions.near import Near
from finishing.regions.polygon import Polygon
from finishing.regions.radial import Radial
from finishing.regions.ranges import ChromaRange, LightnessRange
from finishing.regions.region import Region
from finishing.regions.skin import Skin
from tests.colour.other_ways import oklab_of_xyz

WIDTH, HEIGHT = 320, 240
GEOMETRY = Geometry(WIDTH, HEIGHT, subject=(0.4, 0.55))

STAR = [
    (0.5 + (0.15 if i % 2 else 0.35) * np.cos(i * np.pi / 5), 0.5 + (0.2 if i % 2 else 0.4) * np.sin(i * np.pi / 5))
    for i in range(10)
]
CROSSED = [(0.2, 0.2), (0.8, 0.8), (0.8, 0.2), (0.2, 0.8)]
PENTAGRAM = [(0.5 + 0.4 * np.cos(a), 0.5 + 0.4 * np.sin(a)) for a in np.arange(5) * 4 * np.pi / 5 - np.pi / 2]


def weights_of(region: Region, geometry: Geometry = GEOMETRY) -> NDArray[np.float32]:
    weights = np.empty((geometry.height, geometry.width), np.float32)
    region.prepare(geometry)(weights, None, 0)
    return weights


def away_from_edges(drawn: NDArray[np.bool_], pixels: int = 1) -> NDArray[np.bool_]:
    """Where a drawn shape is the same all around, so that the rule for edge pixels does not matter."""
    kernel = np.ones((2 * pixels + 1, 2 * pixels + 1), np.uint8)
    picture = drawn.astype(np.uint8)
    return np.asarray(cv2.dilate(picture, kernel) == cv2.erode(picture, kernel))


@pytest.mark.parametrize("points", [STAR, CROSSED, PENTAGRAM], ids=["star", "crossed", "pentagram"])
def test_polygons_are_what_opencv_fills(points: list[tuple[float, float]]) -> None:
    """OpenCV's fillPoly fills by the even-odd rule and paints its outline; coordinates in 1/256 pixel."""
    corners = np.array(points) * (WIDTH, HEIGHT) - 0.5
    drawn = np.zeros((HEIGHT, WIDTH), np.uint8)
    cv2.fillPoly(drawn, [np.round(corners * 256).astype(np.int32)], 1, shift=8)
    sure = away_from_edges(drawn > 0)
    weights = weights_of(Polygon(points=points, soft=0))
    assert set(np.unique(weights)) == {0, 1}
    assert np.array_equal(weights[sure], drawn[sure])
    assert sure.mean() > 0.9


def test_polygon_is_what_scikit_image_draws() -> None:
    from skimage.draw import polygon2mask

    corners = np.array(STAR)[:, ::-1] * (HEIGHT, WIDTH) - 0.5
    drawn = polygon2mask((HEIGHT, WIDTH), corners)
    assert (weights_of(Polygon(points=STAR, soft=0)) != drawn).sum() <= 8  # pixels right on the outline


@pytest.mark.parametrize("points", [STAR, CROSSED], ids=["star", "crossed"])
def test_soft_edge_of_a_polygon_follows_its_outline_at_equal_distance(points: list[tuple[float, float]]) -> None:
    """OpenCV's exact Euclidean distance transform of the filled shape, on a grid four times finer."""
    finer = 4
    fine = weights_of(Polygon(points=points, soft=0), Geometry(WIDTH * finer, HEIGHT * finer))
    distance = cv2.distanceTransform(1 - fine.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / finer
    distance = (distance[1::finer, 1::finer] + distance[2::finer, 2::finer]) / 2
    soft = 0.1
    t = np.clip(1 - distance / (soft * HEIGHT), 0, 1)
    away = np.abs(weights_of(Polygon(points=points, soft=soft)) - t * t * (3 - 2 * t))
    assert away.max() < 0.03  # at sharp tips, of which the drawn shape loses a third of a pixel
    assert away.mean() < 0.002


def test_ellipse_is_what_scikit_image_draws() -> None:
    from skimage.draw import ellipse

    drawn = np.zeros((HEIGHT, WIDTH), np.float32)
    drawn[ellipse(0.45 * HEIGHT - 0.5, 0.55 * WIDTH - 0.5, 0.3 * HEIGHT, 0.2 * WIDTH, shape=drawn.shape)] = 1
    weights = weights_of(Ellipse(centre=(0.55, 0.45), radii=(0.2, 0.3), soft=0))
    assert (weights != drawn).sum() <= 4  # skimage leaves out pixels right on the outline


def test_circle_is_as_large_as_its_formula_says() -> None:
    """Area πr², and of a soft edge along t²(3 − 2t) from r to R: half the ring to first order, exactly
    ∫ 2πρ·w(ρ) dρ = 2π(r·h/2 + 3h²/20) with h = R − r (derived here)."""
    radius, soft = 0.2 * HEIGHT, 0.15 * HEIGHT
    hard = weights_of(Near(radius=0.2, soft=0)).sum(dtype=np.float64)
    whole = weights_of(Near(radius=0.2, soft=0.15)).sum(dtype=np.float64)
    assert hard == pytest.approx(np.pi * radius**2, rel=0.005)
    assert whole - hard == pytest.approx(2 * np.pi * (radius * soft / 2 + 3 * soft**2 / 20), rel=0.005)
    assert np.array_equal(
        weights_of(Radial(centre="subject", full_to=0.2, gone_at=0.35)), weights_of(Near(radius=0.2, soft=0.15))
    )


def test_near_is_round_in_upright_and_wide_frames_and_ellipse_follows_the_frame() -> None:
    for width, height in ((320, 240), (240, 320)):
        geometry = Geometry(width, height, subject=(0.5, 0.5))
        round_one = weights_of(Near(radius=0.3, soft=0.1), geometry)
        size = min(width, height)
        middle = round_one[(height - size) // 2 : (height + size) // 2, (width - size) // 2 : (width + size) // 2]
        np.testing.assert_allclose(middle, middle.T, atol=1e-5)
        long_one = weights_of(Ellipse(radii=(0.25, 0.25), soft=0), geometry) > 0
        assert long_one.any(axis=0).sum() == width / 2
        assert long_one.any(axis=1).sum() == height / 2


def test_box_of_whole_pixels_is_that_slice() -> None:
    drawn = np.zeros((HEIGHT, WIDTH))
    drawn[24:120, 32:160] = 1
    assert np.array_equal(weights_of(Box(sides=(0.1, 0.1, 0.5, 0.5), soft=0)), drawn)
    soft = weights_of(Box(sides=(0.1, 0.1, 0.5, 0.5), soft=0.05))
    assert np.array_equal(soft == 1, drawn == 1)
    # 12 pixels of soft edge from the side at pixel index 159.5: half-way at 165.5, gone at 171.5
    np.testing.assert_allclose(soft[60, 165:167], [0.5 + 0.0622, 0.5 - 0.0622], atol=1e-3)
    assert soft[60, 171] > 0 == soft[60, 172]


def test_gradient_is_half_way_in_the_middle() -> None:
    weights = weights_of(Gradient(full_at=(0.5, 0.25), gone_at=(0.5, 0.75)))
    assert (weights[:60] == 1).all()
    assert (weights[180:] == 0).all()
    np.testing.assert_allclose(weights[119] + weights[120], 1, atol=1e-6)
    slanted = weights_of(Gradient(full_at=(0.25, 0.25), gone_at=(0.75, 0.75)))
    np.testing.assert_allclose(slanted + slanted[::-1, ::-1], 1, atol=1e-5)


@pytest.mark.parametrize("size", [(7, 11), (240, 320), (500, 333), (1, 5), (9, 1), (1, 1)])
def test_mask_is_resampled_as_opencv_does(size: tuple[int, int]) -> None:
    """Bilinear between pixel middles, the outermost values going on to the border: OpenCV's INTER_LINEAR."""
    mask = np.random.default_rng(3).random(size).astype(np.float32)
    geometry = Geometry(WIDTH, HEIGHT, masks={"coat": mask, "subject": mask})
    expected = cv2.resize(mask, (WIDTH, HEIGHT), interpolation=cv2.INTER_LINEAR)
    assert np.abs(weights_of(FrameMask(which="coat"), geometry) - expected).max() < 2e-5
    assert np.array_equal(weights_of(FrameMask(which="coat"), geometry), weights_of(SubjectMask(), geometry))


def test_mask_is_resampled_as_scipy_does() -> None:
    from scipy.ndimage import zoom

    mask = np.random.default_rng(4).random((24, 40)).astype(np.float32)
    expected = zoom(mask.astype(float), (10, 8), order=1, mode="nearest", grid_mode=True)
    weights = weights_of(FrameMask(which="coat"), Geometry(WIDTH, HEIGHT, masks={"coat": mask}))
    assert np.abs(weights - expected).max() < 1e-6


def test_mask_of_the_frame_s_own_size_comes_through_bit_for_bit() -> None:
    mask = np.random.default_rng(5).random((HEIGHT, WIDTH)).astype(np.float32)
    assert np.array_equal(weights_of(FrameMask(which="m"), Geometry(WIDTH, HEIGHT, masks={"m": mask})), mask)


@pytest.mark.parametrize("bits", [8, 16])
def test_mask_file_beside_the_recipe(tmp_path: Path, bits: int) -> None:
    largest = 2**bits - 1
    codes = np.array([[0, largest // 3], [largest, largest // 5]], f"uint{bits}")
    cv2.imwrite(str(tmp_path / "half.png"), codes)
    mask = FrameMask(which="half.png").beside(tmp_path)
    assert np.array_equal(weights_of(mask, Geometry(2, 2)), (codes / largest).astype(np.float32))
    cv2.imwrite(str(tmp_path / "half.png"), 255 - codes.astype(np.uint8))
    (tmp_path / "half.png").touch()
    assert mask.mask(Geometry(2, 2)).shape == (2, 2)


def hue_circle(lightness: float = 0.7, chroma: float = 0.1) -> NDArray[np.float32]:
    """One row of 3600 OkLab pixels, one for each tenth of a degree."""
    angle = np.radians(np.arange(3600) / 10)
    return np.stack([np.full(3600, lightness), chroma * np.cos(angle), chroma * np.sin(angle)])[:, None].astype(
        np.float32
    )


def colour_weights(region: Region, planes: NDArray[np.float32]) -> NDArray[np.float32]:
    weights = np.empty(planes.shape[1:], np.float32)
    region.prepare(Geometry(planes.shape[2], planes.shape[1]))(weights, planes, 0)
    return weights


@pytest.mark.parametrize("keep", [0.0, 75.0, 181.0, 355.0])
def test_hue_range_runs_with_the_angle(keep: float) -> None:
    weights = colour_weights(HueRange(keep=keep, width=40, soft=10), hue_circle())[0]
    away = np.abs((np.arange(3600) / 10 - keep + 180) % 360 - 180)
    assert (weights[away < 19.99] == 1).all()
    assert (weights[away > 30.01] == 0).all()
    t = np.clip((30 - away) / 10, 0, 1)
    np.testing.assert_allclose(weights, t * t * (3 - 2 * t), atol=1e-5)


def test_hue_range_of_a_colour_holds_that_colour_and_no_grey() -> None:
    colour = oklab.linear_to_oklab(transfer.srgb_decode(np.array([0xC8, 0xA2, 0x1B]) / 255))
    grey = oklab.linear_to_oklab(np.array([0.18, 0.18, 0.18]))
    planes = np.stack([colour, grey], axis=-1)[:, None].astype(np.float32)
    assert colour_weights(HueRange(keep="#c8a21b", width=10, soft=5), planes).tolist() == [[1, 0]]


def test_ranges_are_open_at_their_ends() -> None:
    planes = np.zeros((3, 1, 5), np.float32)
    planes[0, 0] = [-0.2, 0.0, 0.5, 1.0, 1.6]
    planes[1, 0] = [0.0, 0.1, 0.2, 0.5, 0.8]
    assert colour_weights(LightnessRange(at_least=0.5, soft=0), planes).tolist() == [[0, 0, 1, 1, 1]]
    assert colour_weights(LightnessRange(at_most=0.5, soft=0), planes).tolist() == [[1, 1, 1, 0, 0]]
    assert colour_weights(ChromaRange(at_least=0.15, soft=0), planes).tolist() == [[0, 0, 1, 1, 1]]
    assert colour_weights(LightnessRange(at_least=0.6, soft=0.2), planes)[0, 2] == pytest.approx(0.5, abs=1e-6)


def chart_in_oklab(name: str) -> dict[str, NDArray[np.float64]]:
    """A chart's patches under D65 (Bradford adaptation), from the data of the colour-science library."""
    import colour

    chart = colour.CCS_COLOURCHECKERS[name]
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return {
        patch: oklab_of_xyz(
            colour.chromatic_adaptation(
                colour.xyY_to_XYZ(xyY),
                colour.xy_to_XYZ(chart.illuminant),
                colour.xy_to_XYZ(white),
                transform="Bradford",
            )
        )
        for patch, xyY in chart.data.items()
    }


def skin_weights(patches: dict[str, NDArray[np.float64]]) -> dict[str, float]:
    planes = np.stack(list(patches.values()), axis=-1)[:, None].astype(np.float32)
    return dict(zip(patches, colour_weights(Skin(), planes)[0].tolist(), strict=True))


def charts(patches: int) -> list[str]:
    import colour

    return sorted({name for name, chart in colour.CCS_COLOURCHECKERS.items() if len(chart.data) == patches})


@pytest.mark.parametrize("name", charts(24))
def test_skin_patches_of_the_24_patch_chart_are_skin_and_its_other_colours_hardly(name: str) -> None:
    weights = skin_weights(chart_in_oklab(name))
    skins = {patch: weight for patch, weight in weights.items() if "skin" in patch}
    assert set(skins.values()) == {1}
    assert len(skins) == 2
    others = {patch: weight for patch, weight in weights.items() if weight > 0 and patch not in skins}
    assert set(others) <= {"orange", "orange yellow"}  # of skin's hue, but stronger
    assert max(others.values(), default=0) < 0.25


@pytest.mark.parametrize("name", charts(140))
def test_the_fourteen_skin_patches_of_the_140_patch_chart_are_skin(name: str) -> None:
    weights = skin_weights(chart_in_oklab(name))
    assert [patch for column in "DEFGHIJ" for patch in (f"{column}7", f"{column}8") if weights[patch] < 0.95] == []
    assert sum(weight > 0.5 for weight in weights.values()) < 30


@pytest.mark.filterwarnings("ignore")  # the library tells of every spectrum that it resamples
def test_complexion_samples_of_cie_13_3_and_jis_z_8726_are_skin() -> None:
    import colour
    from colour.quality.datasets.tcs import SDS_TCS

    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    samples = {
        name: oklab_of_xyz(colour.sd_to_XYZ(sample, observer, light) / 100)
        for samples in SDS_TCS.values()
        for name, sample in samples.items()
    }
    weights = skin_weights(samples)
    assert weights["TCS13"] == 1
    assert weights["TCS09"] < 0.05  # strong red
    assert weights["TCS04"] == weights["TCS12"] == 0  # green, blue
    if "TCS15" in weights:
        assert weights["TCS15"] == 1


#: left, top, right, bottom of what is skin and of what is not, as seen in the pictures.
PLACES = {
    "astronaut": {"skin": [(195, 105, 245, 165)], "else": [(0, 0, 70, 60), (380, 280, 500, 330), (80, 300, 130, 420)]},
    "portrait": {
        "skin": [(225, 220, 330, 320), (230, 150, 330, 178)],
        "else": [(400, 20, 510, 330), (60, 400, 200, 460)],
    },
}


@pytest.mark.parametrize("name", PLACES)
def test_skin_of_real_portraits(name: str, photographs: dict[str, NDArray[np.uint8]]) -> None:
    """Faces are mostly in; backdrop, flag, uniform and the orange suit mostly out."""
    picture = photographs[name]
    lab = oklab.linear_to_oklab(transfer.srgb_decode(picture / 255))
    planes = np.ascontiguousarray(np.moveaxis(lab, -1, 0).astype(np.float32))
    weights = colour_weights(Skin(), planes)
    for left, top, right, bottom in PLACES[name]["skin"]:
        assert weights[top:bottom, left:right].mean() > 0.85
    for left, top, right, bottom in PLACES[name]["else"]:
        assert weights[top:bottom, left:right].mean() < 0.12
