import math

import coloraide
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from finishing.colour import oklab
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.toning import TONERS, Toning
from finishing.recipes.recipe import Step

toners = st.sampled_from([*TONERS, "dye"])
every_toner = pytest.mark.parametrize("toner", [*TONERS, "dye"])


def finish(operation: Toning, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def toned(operation: Toning, lightness: float, a: float = 0.0, b: float = 0.0) -> NDArray[np.float64]:
    return operation.reference(np.array([[[lightness, a, b]]]), Geometry(1, 1))[0, 0]


@given(toners, st.floats(-0.5, 2), st.floats(-0.2, 0.2), st.floats(0, 2))
def test_lightness_never_changes(toner: str, lightness: float, a: float, strength: float) -> None:
    result = toned(Toning(toner=toner, strength=strength), lightness, a)
    assert result[0] == lightness
    assert np.isfinite(result).all()


@given(st.floats(0.01, 1), st.floats(0, 359), st.floats(0, 0.2))
def test_chroma_goes_with_lightness_times_density(lightness: float, hue: float, chroma: float) -> None:
    # derived here: D = −log₁₀ Y of the grey Y = L³; L·D is largest at L = 1/e, where D = 3 log₁₀ e
    density = -math.log10(lightness**3)
    largest = 1 / math.e * 3 * math.log10(math.e)
    _, a, b = toned(Toning(toner="dye", hue=hue, chroma=chroma), lightness)
    assert math.hypot(a, b) == pytest.approx(chroma * lightness * density / largest, abs=1e-9)


def test_a_dyed_tone_has_the_dye_s_hue_for_another_library() -> None:
    linear = finish(Toning(toner="dye", hue=200, chroma=0.06), np.full((1, 1, 3), 0.05))[0, 0]
    found = coloraide.Color("srgb-linear", [float(value) for value in linear]).convert("oklch")
    assert found["h"] == pytest.approx(200, abs=0.01)
    # the peak is at L = 1/e, Y = e⁻³ = 0.0498
    assert found["c"] == pytest.approx(0.06, abs=1e-5)
    assert found["l"] == pytest.approx(0.05 ** (1 / 3), abs=1e-5)


@every_toner
def test_paper_white_and_black_stay_neutral(toner: str) -> None:
    for lightness in (0.0, 1.0, 1.5):
        assert np.hypot(*toned(Toning(toner=toner, strength=2), lightness)[1:]) < 1e-4


@pytest.mark.parametrize(("toner", "hues"), [("sepia", (50, 85)), ("cyanotype", (235, 262)), ("gold", (250, 266))])
def test_toners_have_the_colours_of_their_names(toner: str, hues: tuple[float, float]) -> None:
    for lightness in np.linspace(0.05, 0.95, 19):
        _, _, hue = oklab.oklab_to_oklch(toned(Toning(toner=toner), lightness))
        assert hues[0] <= hue <= hues[1]


def test_selenium_takes_the_dense_silver_and_gold_the_thin() -> None:
    chroma = {
        toner: [math.hypot(*toned(Toning(toner=toner), lightness)[1:]) for lightness in (0.2, 0.7)]
        for toner in ("selenium", "gold", "sepia")
    }
    assert chroma["selenium"][0] > 2 * chroma["selenium"][1]
    assert chroma["gold"][1] > chroma["gold"][0]


@every_toner
def test_full_strength_replaces_the_frame_s_colours_and_half_keeps_half(toner: str) -> None:
    plain, coloured = (toned(Toning(toner=toner), 0.5, *ab) for ab in ((0, 0), (0.1, -0.05)))
    assert np.array_equal(plain, coloured)
    half = toned(Toning(toner=toner, strength=0.5), 0.5, 0.1, -0.05)
    assert half == pytest.approx((plain + np.array([0.5, 0.1, -0.05])) / 2)
    assert toned(Toning(toner=toner, strength=2), 0.5)[1:] == pytest.approx(2 * plain[1:])


@every_toner
def test_toned_greys_can_be_shown(toner: str) -> None:
    # within the sRGB gamut but for the deepest tones, so that nothing is cut to flat colour
    greys = np.repeat(np.linspace(0.006, 1, 200)[None, :, None], 3, axis=2)
    linear = finish(Toning(toner=toner), greys)
    assert linear.min() > -0.004
    assert linear.max() <= 1.0001


@every_toner
@pytest.mark.parametrize("strength", [0.4, 1.0, 1.6])
def test_engine_equals_the_reference(toner: str, strength: float) -> None:
    random = np.random.default_rng(4)
    linear = np.concatenate([random.uniform(-0.5, 8, (3, 41, 3)), random.random((3, 41, 3))]).astype(np.float32)
    operation = Toning(toner=toner, hue=130, strength=strength)
    expected = carry_out([Step(operation)], linear, Geometry(41, 6))
    assert finish(operation, linear) == pytest.approx(expected, rel=2e-5, abs=1e-5)
