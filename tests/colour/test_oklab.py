import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour import oklab
from tests.colour.other_ways import oklab_of_lch, oklab_of_xyz


@pytest.mark.parametrize(
    ("xyz", "lab"),
    # Ottosson, "A perceptual color space for image processing", table of test values
    [((0.95, 1, 1.089), (1, 0, 0)), ((1, 0, 0), (0.450, 1.236, -0.019)), ((0, 1, 0), (0.922, -0.671, 0.263)),
     ((0, 0, 1), (0.153, -1.415, -0.449))],
)  # fmt: skip
def test_published_values(xyz: tuple[float, ...], lab: tuple[float, ...]) -> None:
    np.testing.assert_allclose(oklab_of_xyz(xyz), lab, atol=1.1e-3)


@pytest.mark.parametrize(
    ("linear", "chroma", "hue"),
    # coloraide 8.13: red, yellow, green, blue of sRGB
    [((1, 0, 0), 0.257683, 29.2339), ((1, 1, 0), 0.211006, 109.7692), ((0, 1, 0), 0.294827, 142.4953),
     ((0, 0, 1), 0.313214, 264.0520)],
)  # fmt: skip
def test_hue_and_chroma_of_primaries(linear: tuple[float, ...], chroma: float, hue: float) -> None:
    lch = oklab.oklab_to_oklch(oklab.linear_to_oklab(linear))
    assert lch[1] == pytest.approx(chroma, abs=1e-6)
    assert lch[2] == pytest.approx(hue, abs=1e-4)


@given(st.tuples(*[st.floats(-0.5, 2)] * 3))
def test_against_coloraide(linear: tuple[float, float, float]) -> None:
    from coloraide import Color

    expected = Color("srgb-linear", linear).convert("oklab").coords()
    # coloraide takes cube roots with their sign, as we do; tiny cone responses amplify rounding
    np.testing.assert_allclose(oklab.linear_to_oklab(linear), expected, atol=2e-5)


@given(st.tuples(*[st.floats(-1, 8)] * 3))
def test_there_and_back(linear: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(oklab.oklab_to_linear(oklab.linear_to_oklab(linear)), linear, atol=1e-9)
    lab = oklab.linear_to_oklab(linear)
    np.testing.assert_allclose(oklab_of_lch(oklab.oklab_to_oklch(lab)), lab, atol=1e-12)


@given(st.floats(0, 8))
def test_greys_have_no_chroma(grey: float) -> None:
    assert oklab.oklab_to_oklch(oklab.linear_to_oklab([grey] * 3))[1] < 1e-7
