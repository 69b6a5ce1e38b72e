"""Checks on pictures whose answers are known, on strips, and what is said when one cannot be read."""

import math
from typing import Any

import numpy as np
import pytest
import yaml
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.colour.spaces import DISPLAY_P3
from finishing.colour.transfer import srgb_decode
from finishing.documents.tree import parse_tree
from finishing.errors import Problem, ProblemSet
from finishing.operation import Geometry, parameters_of
from finishing.recipes.checks import CHECKS, CheckResult, Requirement, read_check
from tests.colour.other_ways import oklab_of_lch

WIDTH, HEIGHT = 60, 40
GEOMETRY = Geometry(WIDTH, HEIGHT, subject=(0.25, 0.5))
#: Light skin of the 24-patch chart in 8-bit sRGB (colour-science, data after November 2014, D50 to sRGB by Bradford).
SKIN = srgb_decode(np.array([197, 144, 127]) / 255)
every_check = pytest.mark.parametrize("name", CHECKS)


def read(text: str) -> Requirement:
    tree = parse_tree(f"checks:\n  - {text}", "look.yaml")
    return read_check(tree, ("checks", 0), tree.data["checks"][0])


def planes(pixels: NDArray[np.float64]) -> NDArray[np.float32]:
    return np.ascontiguousarray(np.moveaxis(pixels, -1, 0).astype(np.float32))


def measure(
    text: str,
    finished: NDArray[np.float64],
    original: NDArray[np.float64] | None = None,
    *,
    strip: int = HEIGHT,
    geometry: Geometry = GEOMETRY,
) -> CheckResult:
    """A check on linear light (height, width, 3); the original is the same picture unless given."""
    measured = read(text).begin(geometry)
    lab = planes(oklab.linear_to_oklab(finished if original is None else original))
    light = planes(finished)
    for top in reversed(range(0, geometry.height, strip)):
        part = slice(top, top + strip)
        measured.add(lab[:, part].copy(), light[:, part].copy(), top)
    return measured.result()


def flat(*rgb: float) -> NDArray[np.float64]:
    return np.full((HEIGHT, WIDTH, 3), rgb, np.float64)


def scene(seed: int = 2) -> NDArray[np.float64]:
    """Noise from below black to above white, skin on the left."""
    pixels = np.random.default_rng(seed).uniform(-0.1, 1.2, (HEIGHT, WIDTH, 3))
    pixels[:, : WIDTH // 2] = SKIN * np.random.default_rng(seed).uniform(0.7, 1.2, (HEIGHT, WIDTH // 2, 1))
    pixels[:3], pixels[3:5] = 1.3, -0.01
    return pixels


@every_check
def test_is_named_documented_and_shown_by_an_example(name: str) -> None:
    kind = CHECKS[name]
    assert kind.name == name
    assert kind.summary.endswith(".")
    assert kind.__doc__
    assert len(kind.__doc__) > 50
    assert isinstance(read(kind.example).check, kind)
    kind.model_validate(
        {**({"hue": 75} if name == "kept_colour_area" else {}), **yaml.safe_load(f"{{{kind.limit_example}}}")}
    )
    for facts in parameters_of(kind):
        assert facts.about, f"{name}.{facts.name} has no description"
        assert facts.expected.strip() != "a value", f"{name}.{facts.name} does not say what is expected"


@every_check
def test_goes_through_yaml_and_back(name: str) -> None:
    requirement = read(CHECKS[name].example)
    assert read(yaml.safe_dump({name: requirement.values()}, default_flow_style=True)) == requirement
    assert read("{" + requirement.describe() + "}") == requirement


@every_check
@pytest.mark.parametrize("rows", [1, 7])
def test_strips_in_any_order_give_the_same_bits(name: str, rows: int) -> None:
    example = CHECKS[name].example
    assert measure(example, scene(), strip=rows) == measure(example, scene())


@every_check
def test_pixels_are_not_changed(name: str) -> None:
    light = planes(scene())
    lab = planes(oklab.linear_to_oklab(scene()))
    kept = light.copy(), lab.copy()
    measured = read(CHECKS[name].example).begin(GEOMETRY)
    measured.add(lab, light, 0)
    measured.result()
    assert np.array_equal(light, kept[0])
    assert np.array_equal(lab, kept[1])


@pytest.mark.parametrize(("name", "at_end"), [("clipped_white", 255), ("clipped_black", 0)])
def test_clipped_pixels_are_those_that_an_8_bit_file_holds_at_its_end(name: str, at_end: int) -> None:
    pixels = scene()
    pixels[20, :] = srgb_decode(np.array([[254.4, 255, 255], [254.6, 255, 300], [0.4, 0, -3], [0.6, 0, 0]] * 15) / 255)
    codes = np.rint(np.clip(np.asarray(_encode(pixels)), 0, 1) * 255)
    share = (codes == at_end).all(axis=-1).mean()
    result = measure(f"{name}: {{at_most: 0.1}}", pixels)
    assert result.value == pytest.approx(share, abs=1e-12)
    assert 0.05 < share < 0.1
    assert result.passed
    assert not measure(f"{name}: {{at_most: 0.05}}", pixels).passed
    assert measure(f"{name}: {{between: [0.05, 0.1]}}", pixels).passed
    assert not measure(f"{name}: {{at_least: 0.1}}", pixels).passed


def _encode(linear: NDArray[np.float64]) -> NDArray[np.floating]:
    from finishing.colour.transfer import srgb_encode

    return srgb_encode(linear)


def test_where_counts_only_the_region_and_by_weight() -> None:
    pixels = flat(0.2, 0.2, 0.2)
    pixels[:, :30] = 1
    box = "where: {box: {sides: [0, 0, 0.75, 1], soft: 0}}"
    assert measure(f"clipped_white: {{at_most: 0.5, {box}}}", pixels).value == pytest.approx(30 / 45)
    soft = "where: {gradient: [0, 0, 1, 0]}"
    region = read(f"clipped_white: {{at_most: 0.5, {soft}}}").where
    assert region is not None
    weights = region.reference(pixels, GEOMETRY)
    expected = weights[:, :30].sum() / weights.sum()
    assert measure(f"clipped_white: {{at_most: 0.5, {soft}}}", pixels).value == pytest.approx(expected, abs=1e-6)


def test_where_finds_its_colours_in_the_original() -> None:
    original, finished = flat(0.2, 0.2, 0.2), flat(1, 1, 1)
    original[:, :15] = SKIN
    finished[:, :10] = 0.5
    text = "clipped_white: {at_most: 0.5, where: skin}"
    assert read(text).looks_at_original
    assert measure(text, finished, original).value == pytest.approx(5 / 15)


def test_outside_gamut_depends_on_the_space_of_the_file() -> None:
    """Display P3's green has a negative red in sRGB; white beyond 1 is clipped, not outside."""
    pixels = flat(0.3, 0.3, 0.3)
    pixels[:10] = DISPLAY_P3.to_working @ [0.02, 0.9, 0.02]
    pixels[10:14] = 2
    pixels[14:16] = (1.2, 0.5, 0.5)
    assert measure("outside_gamut: {at_most: 0.3}", pixels).value == pytest.approx(12 / 40)
    assert measure("outside_gamut: {at_most: 0, space: display_p3}", pixels).value == pytest.approx(2 / 40)
    assert not measure("outside_gamut: {at_most: 0.29}", pixels).passed


def turned(pixels: NDArray[np.float64], degrees: float, lighter: float = 0) -> NDArray[np.float64]:
    lch = oklab.oklab_to_oklch(oklab.linear_to_oklab(pixels))
    return oklab.oklab_to_linear(oklab_of_lch(lch + np.array([lighter, 0, degrees])))


@pytest.mark.parametrize("degrees", [-12.0, 0.0, 4.0, 30.0])
def test_skin_shifts_are_those_that_were_made(degrees: float) -> None:
    original = flat(0.1, 0.2, 0.4)
    original[:, :20] = SKIN
    finished = turned(original, 100, 0.3)
    finished[:, :20] = turned(original[:, :20], degrees, 0.05)
    hue = measure("skin_hue_shift: {at_most: 10}", finished, original)
    assert hue.value == pytest.approx(degrees, abs=1e-3)
    assert hue.passed == (abs(degrees) <= 10)
    assert measure("skin_hue_shift: {between: [-20, -10]}", finished, original).passed == (degrees == -12)
    lightness = measure("skin_lightness_shift: {at_most: 0.06}", finished, original)
    assert lightness.value == pytest.approx(0.05, abs=1e-5)
    assert lightness.passed
    assert not measure("skin_lightness_shift: {at_most: 0.04}", finished, original).passed


def test_skin_shift_without_skin_passes_and_says_so() -> None:
    result = measure("skin_hue_shift: {at_most: 5}", flat(0.1, 0.2, 0.4))
    assert result == CheckResult(
        "skin_hue_shift", None, "at most 5 either way", "degrees", True, None, "no skin found here"
    )
    original = flat(0.1, 0.2, 0.4)
    original[:, 40:] = SKIN
    assert measure("skin_hue_shift: {at_most: 5, where: {near: subject}}", turned(original, 20), original).value is None
    assert not measure("skin_hue_shift: {at_most: 5}", turned(original, 20), original).passed


def test_skin_gone_grey_fails() -> None:
    result = measure("skin_hue_shift: {at_most: 5}", flat(0.4, 0.4, 0.4), flat(*SKIN))
    assert not result.passed
    assert str(result) == "skin_hue_shift: the finished skin is grey and has no hue (at most 5° either way): failed"


def test_mean_lightness_is_that_of_oklab() -> None:
    """Mid grey of 18 % reflectance has L = ∛0.18 = 0.5646, since OkLab's L of a grey is the cube root of its light."""
    pixels = flat(0.18, 0.18, 0.18)
    result = measure("mean_lightness: {between: [0.5, 0.6]}", pixels)
    assert result.value == pytest.approx(0.18 ** (1 / 3), abs=1e-6)
    assert str(result) == "mean_lightness: 0.56 (between 0.5 and 0.6): passed"
    assert measure("mean_lightness: {at_least: 0}", scene()).value == pytest.approx(
        oklab.linear_to_oklab(scene())[..., 0].mean(), abs=1e-5
    )


def test_kept_colour_area_counts_the_finished_frame() -> None:
    lch = np.zeros((HEIGHT, WIDTH, 3))
    lch[...] = (0.7, 0.03, 75)
    lch[:8] = (0.7, 0.12, 80)
    lch[8:12] = (0.7, 0.12, 120)
    finished = oklab.oklab_to_linear(oklab_of_lch(lch))
    result = measure("kept_colour_area: {hue: 75, width: 40, chroma_above: 0.05, at_least: 0.1}", finished, scene())
    assert result.value == pytest.approx(8 / 40)
    assert result.passed
    two = "kept_colour_area: {hue: [75, 120], width: 40, chroma_above: 0.05, at_most: 0.1}"
    assert measure(two, finished).value == pytest.approx(12 / 40)
    wide = "kept_colour_area: {hue: 75, width: 100, chroma_above: 0, at_least: 0.9}"
    assert measure(wide, finished).value == pytest.approx(1)


def test_only_the_picture_is_measured() -> None:
    light = flat(1, 1, 1)
    light[1:3, 2:5] = 0.2
    picture = (2, 1, 5, 3)
    for text, value in (
        ("clipped_white: {at_most: 0}", 0.0),
        ("clipped_white: {at_most: 1, where: {box: {sides: [0, 0, 1, 1], soft: 0}}}", 0.0),
        ("mean_lightness: {at_most: 1}", float(oklab.linear_to_oklab(light[1, 2])[0])),
    ):
        measured = read(text).begin(GEOMETRY, picture)
        lab = planes(oklab.linear_to_oklab(light))
        for row in range(HEIGHT):
            measured.add(lab[:, row : row + 1], planes(light)[:, row : row + 1], row)
        assert measured.result().value == pytest.approx(value, abs=1e-5)
    nothing = read("clipped_white: {at_most: 0}").begin(GEOMETRY, (3, 3, 3, 3))
    nothing.add(lab, planes(light), 0)
    assert nothing.result().value is None


def test_an_empty_region_is_nothing_to_measure() -> None:
    result = measure("clipped_white: {at_most: 0, where: {hue: 140}}", flat(1, 1, 1))
    assert result.value is None
    assert result.passed
    assert "the region is empty in this frame" in str(result)


def test_rows_that_were_forgotten_are_noticed() -> None:
    measured = read("clipped_white: {at_most: 0.1}").begin(GEOMETRY)
    measured.add(None, planes(scene())[:, :10].copy(), 0)
    with pytest.raises(ValueError, match="row 10 was never measured"):
        measured.result()


def test_a_frame_without_subject_point_is_told_at_once() -> None:
    with pytest.raises(Problem, match="this frame has no subject point"):
        read("clipped_white: {at_most: 0.02, where: {ellipse: subject}}").begin(Geometry(6, 4))


def test_a_reduced_picture_gives_nearly_the_same_means(photographs: dict[str, NDArray[np.uint8]]) -> None:
    """Means stay; a portrait at a quarter of its size, averaged in linear light."""
    import cv2

    linear: NDArray[Any] = srgb_decode(photographs["portrait"] / 255)
    original, finished = linear, turned(linear, 6, 0.04)
    results = []
    for size in (1, 4):
        width, height = linear.shape[1] // size, linear.shape[0] // size
        pictures = [
            cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA) for picture in (finished, original)
        ]
        geometry = Geometry(width, height, subject=(0.5, 0.4))
        results.append(
            [
                measure(f"{name}: {{at_most: 1, where: {{near: subject}}}}", *pictures, geometry=geometry, strip=height)
                for name in ("mean_lightness", "skin_hue_shift", "skin_lightness_shift")
            ]
        )
    for full, reduced, off in zip(*results, (0.01, 0.5, 0.005), strict=True):
        assert full.value is not None
        assert reduced.value is not None
        assert math.isclose(full.value, reduced.value, abs_tol=off)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "clipped_whites: {at_most: 0.02}",
            """look.yaml:2:5: unknown check "clipped_whites"
    expected: one of clipped_black, clipped_white, kept_colour_area, mean_lightness, outside_gamut, skin_hue_shift, \
skin_lightness_shift
    do this:  did you mean "clipped_white"?""",
        ),
        (
            "clipped_white: {at_most: 2 %}",
            """look.yaml:2:30: "at_most" is written as a percentage
    found:    2 %
    expected: a number from 0 to 1
    do this:  write at_most: 0.02""",
        ),
        (
            "clipped_white: {where: {ellipse: subject}}",
            """look.yaml:2:20: "clipped_white" cannot be read
    found:    {where: {ellipse: subject}}
    expected: a limit: at_most, at_least or between
    do this:  add at_most: 0.02, for example""",
        ),
        (
            "skin_hue_shift: {at_least: 3}",
            """look.yaml:2:22: unknown key "at_least"
    expected: one of at_most, between, where
    do this:  did you mean "at_most"?""",
        ),
        (
            "skin_hue_shift: {}",
            """look.yaml:2:21: "skin_hue_shift" cannot be read
    found:    a mapping (key: value)
    expected: a limit: at_most or between
    do this:  add at_most: 5, for example""",
        ),
        (
            "mean_lightness: {at_least: 0.6, at_most: 0.4}",
            """look.yaml:2:21: "mean_lightness" cannot be read
    found:    {at_least: 0.6, at_most: 0.4}
    expected: limits that a value can keep
    do this:  let the lower one be the smaller""",
        ),
        (
            "kept_colour_area: {at_least: 0.1}",
            """look.yaml:2:23: "hue" is missing in "kept_colour_area"
    expected: a hue: an angle from 0 to 360 degrees (OkLCh), or a colour such as "#c8a21b", or a list of up to 8 of them
    do this:  add hue: 75""",
        ),
        (
            "clipped_white",
            """look.yaml:2:5: a check names one thing to measure
    found:    clipped_white
    expected: - check: {at_most: limit}
    do this:  write - clipped_white: {at_most: 0.02, where: {ellipse: subject}}, for example""",
        ),
    ],
)
def test_faults_are_told_with_their_place(text: str, message: str) -> None:
    with pytest.raises((Problem, ProblemSet)) as caught:
        read(text)
    assert str(caught.value) == message


def test_faults_of_the_region_and_of_the_limit_are_told_together() -> None:
    with pytest.raises(ProblemSet) as caught:
        read("clipped_white: {at_most: 3, where: {elipse: subject}}")
    assert [problem.what for problem in caught.value.problems] == [
        '"at_most" cannot be read',
        'unknown region "elipse"',
    ]


@pytest.mark.parametrize(
    ("result", "told"),
    [
        (CheckResult("clipped_white", 0.0463, "at most 0.02", "of the pixels", False),
         "clipped_white: 4.6 % (at most 2 %): failed"),
        (CheckResult("clipped_white", 0.02004, "at most 0.02", "of the pixels", False),
         "clipped_white: 2.004 % (at most 2 %): failed"),  # not 2 % of at most 2 %
        (CheckResult("skin_hue_shift", -5.04, "at most 5 either way", "degrees", False),
         "skin_hue_shift: −5.04° (at most 5° either way): failed"),
        (CheckResult("skin_hue_shift", 2.06, "between -3 and 6", "degrees", True),
         "skin_hue_shift: +2.1° (between −3° and 6°): passed"),
        (CheckResult("mean_lightness", 1.0673, "at most 0.9", "OkLab lightness", False),
         "mean_lightness: 1.07 (at most 0.9): failed"),
    ],
)  # fmt: skip
def test_results_are_told_as_people_read_them(result: CheckResult, told: str) -> None:
    assert str(result) == told
