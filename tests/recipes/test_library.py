"""The looks that come along: documented, passing their own checks, unlike each other, and true to their promises.

They are measured on frames of the sample session, reduced, and on real photographs of people that packages of the
test extra carry. The limits (1 % of chroma, chroma 0.01, 4 degrees of skin hue) are the library's own promises.
"""

import re
from collections.abc import Iterable
from itertools import combinations
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.batch.delivery.measuring import measure
from finishing.batch.opening.picture import finish_picture
from finishing.batch.work.looks import library, library_names, read_look
from finishing.colour import oklab
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSource, LinearSink
from finishing.engine.execution import execute
from finishing.operation import Geometry
from finishing.recipes.check import CheckResult
from finishing.recipes.library import library_folder, recipes_in
from finishing.recipes.recipe import Recipe

Codes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

FRAMES = Path(__file__).parents[2] / "sample_images_synthetic" / "frames"
SESSION = ("A-0004", "B-0009", "C-0010")
PEOPLE = ("astronaut", "portrait")
#: Black and white looks; all others show colour.
GREY = {
    "silver_print", "red_filter_sky", "green_filter_portrait", "orthochromatic", "pushed_grain", "sepia_print",
    "selenium_print", "cyanotype", "platinum_print",
}  # fmt: skip
KEPT = ("one_colour_kept", "colour_and_skin", "colour_in_one_place")
PROMISE = re.compile(r"skin( in the [a-z' ]+)?( gets warmer but)? keeps its hue")
every_look = pytest.mark.parametrize("name", library_names())

#: Places on the coat and on what has its hue, as fractions [left, top, right, bottom] of the frame.
COAT: dict[str, Box] = {
    "A-0002": (0.42, 0.33, 0.50, 0.88),
    "A-0004": (0.40, 0.33, 0.50, 0.88),
    "B-0009": (0.40, 0.38, 0.48, 0.62),
    "C-0010": (0.40, 0.72, 0.62, 0.95),
    "C-0012": (0.45, 0.80, 0.80, 0.95),
}
#: Quinces in the bowl, of nearly the coat's hue.
FRUIT: dict[str, Box] = {"C-0010": (0.42, 0.37, 0.58, 0.45), "C-0012": (0.56, 0.40, 0.82, 0.52)}
#: Trees in the evening sun behind the seated figure, with a few leaves of the coat's hue.
FOLIAGE: Box = (0.0, 0.0, 0.3, 0.5)
DISTRACTORS: dict[str, tuple[Box, ...]] = {
    "A-0004": ((0.05, 0.79, 0.16, 0.83), (0.29, 0.88, 0.35, 0.98)),  # quinces in the crate, the yellow bucket
    "B-0009": ((0.03, 0.57, 0.12, 0.62),),  # quinces in the crate
    "C-0010": ((0.42, 0.37, 0.58, 0.45),),  # quinces in the bowl
}


def frame(path: Path) -> Codes:
    codes = cv2.imread(str(path))
    assert codes is not None
    return np.ascontiguousarray(codes[..., ::-1], np.uint8)


def reduced(codes: Codes, long_edge: int) -> Codes:
    height, width = codes.shape[:2]
    scale = min(1.0, long_edge / max(height, width))
    size = (round(width * scale), round(height * scale))
    return np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_AREA), np.uint8)


def sample_frames(names: Iterable[str]) -> dict[str, Codes]:
    return {name: reduced(frame(FRAMES / f"{name}.jpg"), 600) for name in names}


@pytest.fixture(scope="module")
def coats() -> dict[str, Codes]:
    """Every frame on which the coat's place is known: a dark one of set-up A besides, and an off-centre one of C."""
    return sample_frames(COAT)


@pytest.fixture(scope="module")
def pictures(photographs: dict[str, Codes]) -> dict[str, Codes]:
    """Frames of the sample session and photographs of people, long edge 600 pixels at most."""
    found = sample_frames(SESSION)
    found.update({name: reduced(photographs[name], 600) for name in PEOPLE})
    return found


def source_of(codes: Codes) -> CodedSource:
    table = srgb_decode(np.arange(256) / 255).astype(np.float32)
    return CodedSource(codes, np.tile(table, (3, 1)), None)


def geometry_of(codes: Codes, **more: Any) -> Geometry:
    return Geometry(codes.shape[1], codes.shape[0], **more)


def results_on(look: Recipe, codes: Codes) -> list[CheckResult]:
    return measure(look, source_of(codes), geometry_of(codes))


def chroma_and_hue(linear: NDArray[np.floating[Any]]) -> tuple[Floats, Floats]:
    lab = oklab.linear_to_oklab(linear)
    return np.hypot(lab[..., 1], lab[..., 2]), np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360


def finished(look: Recipe, codes: Codes, **more: Any) -> Floats:
    """Linear light, (height, width, 3), before any file rounds it."""
    sink = LinearSink(*codes.shape[:2])
    execute(look.steps, source_of(codes), sink, geometry_of(codes, **more))
    return np.moveaxis(sink.planes, 0, -1).astype(np.float64)


def part(box: Box, values: NDArray[Any]) -> NDArray[Any]:
    height, width = values.shape[:2]
    left, top, right, bottom = box
    return values[round(top * height) : round(bottom * height), round(left * width) : round(right * width)]


def coat_left(look: Recipe, name: str, codes: Codes, **more: Any) -> float:
    """Mean chroma of the coat, finished over original.

    On pixels of the coat's box that have its hue in the original, buttons and the scarf's reflection left out. The
    tone steps of these looks move lightness alone and their vignettes begin beyond the box, so that any difference
    comes from what takes the colour out.
    """
    before, hue = chroma_and_hue(srgb_decode(codes / 255))
    after, _ = chroma_and_hue(finished(look, codes, **more))
    here, there = part(COAT[name], before), part(COAT[name], after)
    coat = (np.abs(part(COAT[name], hue) - 72) < 14) & (here > 0.03)
    assert coat.mean() > 0.8
    return float(there[coat].mean() / here[coat].mean())


def test_the_library_is_large_and_covers_the_trade() -> None:
    assert len(library_names()) >= 18
    assert set(library_names()) >= GREY | set(KEPT) | {"faded_print", "white_edge", "hand_tinted", "bordered_print"}
    titles = [look.title for look in library()]
    assert len(set(titles)) == len(titles)


@every_look
def test_is_documented(name: str) -> None:
    look = read_look(name)
    assert len(look.about) >= 60
    assert re.search(r"\bSuits\b", look.about) or "for nearly any light" in look.about, (
        "does not say what light it suits"
    )
    assert look.settings, "has nothing that a client may vary"
    lines = recipes_in(library_folder())[name].read_text(encoding="utf-8").splitlines()
    for setting in look.settings:
        at = next(i for i, line in enumerate(lines) if line.startswith(f"  {setting}:"))
        comment = re.search(r" # .{10,}", lines[at]) or re.match(r"  # .{10,}", lines[at - 1])
        assert comment, f"the setting {setting} has no comment"
        assert f"${setting}" in "\n".join(lines), f"the setting {setting} is used nowhere"


@every_look
def test_every_step_does_something_and_every_look_is_checked(name: str) -> None:
    look = read_look(name)
    assert all(not step.operation.changes_nothing() for step in look.steps)
    assert {"clipped_white", "clipped_black", "mean_lightness"} <= {one.check.name for one in look.checks}


@every_look
def test_skin_is_checked_where_it_is_promised(name: str) -> None:
    look = read_look(name)
    limits = [one.check.bounds()[1] for one in look.checks if one.check.name == "skin_hue_shift"]
    promised = PROMISE.search(look.about.lower().replace("\n", " ")) is not None
    assert promised == bool(limits)
    assert all(limit <= 4 for limit in limits)


@every_look
def test_passes_its_checks(name: str, pictures: dict[str, Codes]) -> None:
    look = read_look(name)
    for shown, codes in pictures.items():
        results = results_on(look, codes)
        assert [f"{shown}: {one}" for one in results if not one.passed] == []
        for one in results:  # on people the promise must have been measured, not passed for want of skin
            if one.name == "skin_hue_shift" and shown in (*PEOPLE, "C-0010"):
                assert one.value is not None, shown


@pytest.mark.parametrize("margin", ["0", "0.03", "0.1", "0.2"])
def test_the_paper_of_a_border_is_no_blown_highlight(margin: str, pictures: dict[str, Codes]) -> None:
    """However wide: of the picture alone, the share of white is what it is without a margin, and so is the mean."""
    look = read_look("bordered_print", overrides={"margin": margin})
    for codes in (pictures["B-0009"], pictures["astronaut"]):
        results = {one.name: one for one in results_on(look, codes)}
        assert all(one.passed for one in results.values())
        made = finished(look, codes)
        short = min(made.shape[:2])
        side, below = round(float(margin) * short), round(float(margin) * 1.5 * short)
        inner = made[side : made.shape[0] - below, side : made.shape[1] - side]
        lightness = oklab.linear_to_oklab(inner)[..., 0].mean()
        assert results["mean_lightness"].value == pytest.approx(lightness, abs=0.004)


@pytest.mark.slow
@every_look
def test_passes_its_checks_on_every_frame_and_on_scenes(name: str, photographs: dict[str, Codes]) -> None:
    look = read_look(name)
    shown = {path.stem: frame(path) for path in sorted(FRAMES.glob("*.jpg"))}
    assert len(shown) >= 12
    for title, codes in {**shown, **photographs}.items():
        results = results_on(look, reduced(codes, 900))
        assert [f"{title}: {one}" for one in results if not one.passed] == []


@every_look
def test_grey_looks_are_of_one_colour_and_others_are_not(name: str, pictures: dict[str, Codes]) -> None:
    """A print in one tone has one colour for each lightness: paper and picture apart, hues of L do not scatter."""
    codes = pictures["astronaut"]
    inner = (0.15, 0.15, 0.85, 0.80)
    lab = part(inner, oklab.linear_to_oklab(finished(read_look(name), codes)))
    bands = [lab[(lab[..., 0] >= low) & (lab[..., 0] < low + 0.02)][:, 1:] for low in np.arange(0.3, 0.9, 0.1)]
    scatter = max(float(band.std(axis=0).max()) for band in bands if len(band) > 50)
    assert (scatter < 0.005) == (name in GREY)


def test_looks_differ_visibly(pictures: dict[str, Codes]) -> None:
    codes = reduced(pictures["B-0009"], 150)
    shown = {"the original": linear_to_lab(srgb_decode(codes / 255))}
    for look in library():
        made = finish_picture(look.steps, source_of(codes), geometry_of(codes))
        shown[look.name] = linear_to_lab(srgb_decode(made / 255))
    alike = {
        (one, other): round(float(ciede2000(shown[one], shown[other]).mean()), 2)
        for one, other in combinations(shown, 2)
    }
    assert {pair: value for pair, value in alike.items() if value <= 2} == {}


@pytest.mark.parametrize("shown", COAT)
@pytest.mark.parametrize("name", KEPT)
def test_the_coat_keeps_its_chroma(name: str, shown: str, coats: dict[str, Codes]) -> None:
    assert coat_left(read_look(name), shown, coats[shown]) == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize("shown", FRUIT)
@pytest.mark.parametrize("name", KEPT)
def test_fruit_of_nearly_the_kept_hue_is_kept_whole(name: str, shown: str, coats: dict[str, Codes]) -> None:
    """No grey patches on its greener side: all but a twentieth of it keeps three quarters of its chroma."""
    before, hue = chroma_and_hue(srgb_decode(coats[shown] / 255))
    after, _ = chroma_and_hue(finished(read_look(name), coats[shown]))
    here, there = part(FRUIT[shown], before), part(FRUIT[shown], after)
    fruit = (here > 0.08) & (part(FRUIT[shown], hue) > 76)
    assert fruit.mean() > 0.5
    assert np.percentile((there / np.maximum(here, 1e-6))[fruit], 5) > 0.75


def test_foliage_is_not_flecked_with_the_kept_colour(pictures: dict[str, Codes]) -> None:
    before, hue = chroma_and_hue(srgb_decode(pictures["B-0009"] / 255))
    after, _ = chroma_and_hue(finished(read_look("one_colour_kept"), pictures["B-0009"]))
    of_its_hue = (part(FOLIAGE, before) > 0.03) & (np.abs(part(FOLIAGE, hue) - 77) < 25)
    assert of_its_hue.mean() > 0.1
    assert (part(FOLIAGE, after) > 0.03).mean() < 0.02


@pytest.mark.parametrize("code", [30, 60, 120])
@pytest.mark.parametrize("name", ["white_edge", "hand_tinted"])
def test_the_edge_pales_evenly_on_dark_and_on_light_grounds(name: str, code: int) -> None:
    """From the middle to the corner lightness rises without a step back, and nowhere in a rush.

    A straight ramp has the mean slope throughout, t²(3 − 2t) one and a half times the mean in its middle; white that
    is blended in linear light over a dark ground begins at more than three times.
    """
    flat = np.full((400, 600, 3), code, np.uint8)
    lightness = oklab.linear_to_oklab(finished(read_look(name), flat))[..., 0]
    diagonal = lightness[np.arange(200, 400), (np.arange(300, 600, 1.5)).astype(int)]
    rise = np.diff(np.convolve(diagonal, np.full(25, 1 / 25), "valid"))  # means over the grain
    assert rise.sum() > 0.2
    assert rise.min() > -0.001
    assert rise.max() < 3 * rise.mean()


@pytest.mark.parametrize("size", [(400, 600), (600, 400), (500, 500)])
def test_the_white_edge_is_white_all_the_way_round(size: tuple[int, int]) -> None:
    for code in (30, 120):
        flat = np.full((*size, 3), (code, code // 2, code), np.uint8)
        light = finished(read_look("white_edge"), flat)
        for side in (light[:2], light[-2:], light[:, :2], light[:, -2:]):
            assert side.min() > 0.98
        assert light[size[0] // 2, size[1] // 2].max() < 0.6


@pytest.mark.parametrize("shown", SESSION)
def test_mist_grass_and_wall_go_grey_where_one_colour_is_kept(shown: str, pictures: dict[str, Codes]) -> None:
    """Right of the figure nothing is kept: chroma falls to that of the silver's own tone."""
    corner: Box = (0.60, 0.35, 1.0, 0.98) if shown != "C-0010" else (0.85, 0.05, 1.0, 0.95)
    chroma, _ = chroma_and_hue(finished(read_look("one_colour_kept"), pictures[shown]))
    assert part(corner, chroma).mean() < 0.01
    assert np.percentile(part(corner, chroma), 95) < 0.012


def test_a_mask_keeps_the_coat_and_greys_the_crate_and_the_bucket(pictures: dict[str, Codes]) -> None:
    codes = pictures["A-0004"]
    height, width = codes.shape[:2]
    mask = np.zeros((height, width), np.float32)
    outline = np.array([[0.38, 0.33], [0.52, 0.25], [0.54, 0.90], [0.36, 0.90]]) * (width, height)
    cv2.fillPoly(mask, [outline.astype(np.int32)], 1.0)
    look = read_look("colour_in_one_place", overrides={"kept_where": {"mask": "coat"}})
    assert look.mask_names == {"coat"}
    masks = {"coat": mask}
    assert coat_left(look, "A-0004", codes, masks=masks) == pytest.approx(1, abs=0.01)
    untouched, _ = chroma_and_hue(srgb_decode(codes / 255))
    chroma, _ = chroma_and_hue(finished(look, codes, masks=masks))
    for box in DISTRACTORS["A-0004"]:
        assert part(box, untouched).mean() > 0.07
        assert part(box, chroma).max() < 0.01


@pytest.mark.parametrize(
    ("shown", "kept_where"),
    [
        ("B-0009", {"near": {"point": [0.42, 0.55], "radius": [0.25, 0.5], "soft": 0.05}}),
        ("C-0010", {"not": {"ellipse": {"centre": [0.49, 0.46], "radii": [0.15, 0.16], "soft": 0.02}}}),
    ],
)
def test_a_region_keeps_the_coat_and_greys_the_quinces(
    shown: str, kept_where: dict[str, Any], pictures: dict[str, Codes]
) -> None:
    codes = pictures[shown]
    look = read_look("colour_in_one_place", overrides={"kept_where": kept_where})
    assert coat_left(look, shown, codes) == pytest.approx(1, abs=0.01)
    chroma, _ = chroma_and_hue(finished(look, codes))
    for box in DISTRACTORS[shown]:
        assert part(box, chroma).max() < 0.01


def test_skin_lives_beside_the_kept_colour(pictures: dict[str, Codes]) -> None:
    """The hands keep most of their colour in one look, and are grey in the other."""
    hand: Box = (0.30, 0.60, 0.34, 0.68)
    codes = pictures["C-0010"]
    before, _ = chroma_and_hue(srgb_decode(codes / 255))
    alive, _ = chroma_and_hue(finished(read_look("colour_and_skin"), codes))
    grey, _ = chroma_and_hue(finished(read_look("one_colour_kept"), codes))
    assert part(hand, alive).mean() > 0.7 * part(hand, before).mean()
    assert part(hand, grey).mean() < 0.01


@every_look
def test_settings_can_be_varied(name: str) -> None:
    """Each number may be moved by a tenth toward nothing and still make a sound recipe, of another hash."""
    look = read_look(name)
    numbers = {key: value for key, value in look.settings.items() if re.fullmatch(r"-?[\d.]+", str(value))}
    assert numbers
    for key, value in numbers.items():
        assert read_look(name, overrides={key: str(round(float(value) * 0.9, 5))}).hash != look.hash, key
