"""The map of strobe over ambient, its numbers and its page."""

import io
import math
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from PIL import Image

from finishing.colour.spaces import LUMINANCE
from finishing.light.curve import curve_doubt
from finishing.light.drawing import BANDS, FINER, MARGIN, MARK, Page, draw_page, sentence
from finishing.light.stops_map import LEVELS, Level, level_at, shares, stops_map
from tests.light.frames_of_scene import rms, scene_apart
from tests.light.scene import HEIGHT, WIDTH, lights

FONTS = Path(matplotlib.__file__).parent / "mpl-data" / "fonts" / "ttf"
COAT = (330 / WIDTH, 330 / HEIGHT)


def truth_at(place: tuple[float, float]) -> float:
    ambient, strobe, _ = lights()
    y, x = np.ogrid[:HEIGHT, :WIDTH]
    inside = (x + 0.5 - place[0] * WIDTH) ** 2 + (y + 0.5 - place[1] * HEIGHT) ** 2 < (0.03 * WIDTH) ** 2
    return math.log2((strobe[inside] @ LUMINANCE).mean() / (ambient[inside] @ LUMINANCE).mean())


@pytest.mark.parametrize("place", [COAT, (0.45, 0.3), (0.1, 0.8)])
def test_level_at_a_place(place: tuple[float, float]) -> None:
    ambient, _, _ = lights()
    exact = level_at(scene_apart((1, 4), linear=True), LUMINANCE, place)
    assert exact.over_ambient == pytest.approx(truth_at(place), abs=0.02)
    assert exact.strobe - exact.ambient == pytest.approx(exact.over_ambient)
    row, column = int(place[1] * HEIGHT), int(place[0] * WIDTH)
    near = ambient[row - 10 : row + 10, column - 10 : column + 10] @ LUMINANCE
    assert exact.ambient == pytest.approx(math.log2(near.mean() / 0.18), abs=0.2)
    noisy = level_at(scene_apart((1, 4)), LUMINANCE, place)
    assert noisy.over_ambient == pytest.approx(truth_at(place), abs=0.05)
    assert 0 < noisy.doubt < 0.2


def test_map_tells_what_each_place_got() -> None:
    ambient, strobe, _ = lights()
    found = stops_map(scene_apart((1, 4)), LUMINANCE)
    truth = np.log2(np.maximum(strobe @ LUMINANCE, 1e-6) / (ambient @ LUMINANCE))
    # where the light changes no more than the smoothing bears
    calm = np.abs(np.gradient(truth)).max(axis=0) < 0.02
    calm &= found.told & (truth > -2)
    assert calm.mean() > 0.2
    assert rms((found.stops - truth)[calm]) < 0.1
    sky = truth < -8
    assert np.quantile(found.stops[sky], 0.98) < -2


def test_shares_are_those_of_the_scene() -> None:
    ambient, strobe, _ = lights()
    found = shares(stops_map(scene_apart((1, 4), linear=True), LUMINANCE))
    assert list(found) == ["below -2", "-2 to -1", "-1 to 0", "0 to 1", "1 to 2", "above 2"]
    assert sum(found.values()) == pytest.approx(1)
    truth = np.log2(np.maximum(strobe @ LUMINANCE, 1e-6) / (ambient @ LUMINANCE))
    assert found["below -2"] == pytest.approx((truth < -2).mean(), abs=0.03)
    assert found["above 2"] == pytest.approx((truth >= 2).mean(), abs=0.03)


def page(times: tuple[int, ...] = (1, 4), place: tuple[float, float] = COAT) -> tuple[Page, bytes]:
    separation = scene_apart(times)
    over = separation.overview
    drawn = Page(
        over.ambient, over.strobe, stops_map(separation, LUMINANCE), over.clipped, over.moved_mask, place,
        level_at(separation, LUMINANCE, place), True, "frame 0 · 1/125", ["From two frames"],
    )  # fmt: skip
    return drawn, draw_page(drawn, FONTS / "DejaVuSans.ttf", FONTS / "DejaVuSans-Bold.ttf")


def test_page_shows_the_bands_where_they_are() -> None:
    _, data = page()
    image = Image.open(io.BytesIO(data))
    assert image.info[MARK[0]] == MARK[1]
    pixels = np.asarray(image.convert("RGB")).astype(float)
    ambient, strobe, _ = lights()
    truth = np.log2(np.maximum(strobe @ LUMINANCE, 1e-6) / (ambient @ LUMINANCE))
    scale, top = 1000 / WIDTH, MARGIN + 92 - 16
    hits, right = 0, 0
    generator = np.random.default_rng(1)
    for _ in range(400):
        x, y = int(generator.integers(30, WIDTH - 30)), int(generator.integers(30, HEIGHT - 30))
        near = truth[y - 12 : y + 13, x - 12 : x + 13]
        if np.digitize(near.min() - 0.25, LEVELS) != np.digitize(near.max() + 0.25, LEVELS):
            continue
        found = pixels[round(top + y * scale), round(MARGIN + x * scale)]
        band = np.array(BANDS[int(np.digitize(truth[y, x], LEVELS))], float)
        hits += 1
        # the picture darkens the band and keeps its colour
        ratio = found / band
        right += bool(ratio.max() < 1.03 and ratio.min() > 0.9 * ratio.max())
    assert hits > 40
    assert right > 0.9 * hits  # over the others lies a line, a plate, or the subject's ring


def test_page_is_the_same_bytes_each_time() -> None:
    assert page()[1] == page()[1]


def test_page_of_an_upright_frame() -> None:
    drawn, _ = page()
    upright = Page(
        np.ascontiguousarray(drawn.ambient.transpose(0, 2, 1)), np.ascontiguousarray(drawn.strobe.transpose(0, 2, 1)),
        type(drawn.found)(*(np.ascontiguousarray(part.T) for part in (drawn.found.stops, drawn.found.doubt,
                                                                     drawn.found.told))),
        drawn.clipped.T.copy(), drawn.moved.T.copy(), (0.5, 0.5), Level(None, -1.0, None, None), False, "frame",
    )  # fmt: skip
    image = Image.open(io.BytesIO(draw_page(upright, FONTS / "DejaVuSans.ttf", FONTS / "DejaVuSans-Bold.ttf")))
    assert image.size[1] > image.size[0] * 0.8
    assert FINER == 2


@pytest.mark.parametrize(
    ("level", "words"),
    [
        (Level(0.8, 0.0, -0.8, 0.1), "At the subject the strobe is 0.8 stop over the ambient."),
        (Level(-2.04, -2.0, 0.0, 0.1), "At the subject the strobe is 2.0 stops under the ambient."),
        (Level(0.03, -2.0, -2.0, 0.1), "At the subject strobe and ambient are in balance."),
        (Level(None, None, -2.0, None), "At the subject there is the ambient alone."),
        (Level(None, None, None, None), "At the subject there is no light to measure."),
    ],
)
def test_sentence(level: Level, words: str) -> None:
    assert sentence(level, True) == words
    assert sentence(level, False).startswith("In the middle of the frame")


def test_unknown_curve_is_told_in_numbers() -> None:
    separation = scene_apart((1, 4), linear=True)
    neutral = curve_doubt(separation, LUMINANCE, COAT, 0, 0)
    far = curve_doubt(separation, LUMINANCE, COAT, 3, -1)
    assert 0 < neutral.blend_codes < far.blend_codes
    # at the coat's own light, by hand: frames bent about the middle tone, taken apart, compared
    ambient, strobe, _ = lights()
    a, s = (light[310:350, 310:350].mean(axis=(0, 1)) @ LUMINANCE for light in (ambient, strobe))
    worst = 0.0
    for contrast in (0.9, 1.1):
        one, four = (0.18 * (light / 0.18) ** contrast for light in (a + s, 4 * a + s))
        # the sky, which gets no strobe, says how much longer the second frame seems to be
        bent_a = (four - one) / (4 ** max(contrast, 1) - 1)
        worst = max(worst, abs(math.log2((one - bent_a) / bent_a) - math.log2(s / a)))
    assert neutral.stops_at_place == pytest.approx(worst, rel=0.2)
