import cv2
import numpy as np
import pytest
import skimage.color
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pydantic import ValidationError

from finishing.colour.transfer import srgb_decode, srgb_encode
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.monochrome import FILTERS, Monochrome
from finishing.recipes.recipe import Step

filters = st.sampled_from(sorted(FILTERS))
every_filter = pytest.mark.parametrize("name", FILTERS)


def finish(operation: Monochrome, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


def test_codes_of_the_primaries() -> None:
    # derived here from ITU-R BT.709 weights and the curve of IEC 61966-2-1
    colours = np.array([[[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0]]], float)
    codes = srgb_encode(finish(Monochrome(), colours)) * 255
    assert codes[0, :, 0] == pytest.approx([127.1, 219.9, 76.0, 246.7], abs=0.06)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "portrait", "temple", "flower"])
def test_default_is_the_luminance_of_other_libraries(photographs: dict[str, NDArray[np.uint8]], name: str) -> None:
    linear = srgb_decode(photographs[name] / 255.0)
    grey = finish(Monochrome(), linear)
    assert np.array_equal(grey[..., 0], grey[..., 1])
    assert np.array_equal(grey[..., 0], grey[..., 2])
    # scikit-image and OpenCV, the latter from linear light to the Y of XYZ
    assert grey[..., 0] == pytest.approx(skimage.color.rgb2gray(linear), abs=2e-4)
    other = cv2.cvtColor(linear.astype(np.float32), cv2.COLOR_RGB2XYZ)[..., 1]
    assert grey[..., 0] == pytest.approx(other, abs=1e-4)


@given(filters, st.floats(-0.5, 8), st.floats(0, 1))
def test_greys_stay_as_they_are(name: str, value: float, strength: float) -> None:
    result = Monochrome(filter=name, strength=strength).reference(np.full((1, 1, 3), value), Geometry(1, 1))
    assert result == pytest.approx(np.full((1, 1, 3), value), abs=1e-12)


@every_filter
def test_a_filter_lightens_its_own_colour(name: str) -> None:
    if name == "none":
        return
    own = np.array(FILTERS[name])
    opposite = 1.05 - own
    seen = np.array([[own, opposite]])
    plain, filtered = (finish(Monochrome(filter=f), seen)[0, :, 0] for f in ("none", name))
    assert filtered[0] > plain[0]
    assert filtered[1] < plain[1]


def test_the_redder_the_filter_the_darker_the_sky_and_the_lighter_the_lips() -> None:
    sky, lips = srgb_decode(np.array([[[110, 150, 210]], [[180, 90, 85]]]) / 255.0)
    skies = [finish(Monochrome(filter=f), sky[None])[0, 0, 0] for f in ("none", "yellow", "orange", "red")]
    lip_tones = [finish(Monochrome(filter=f), lips[None])[0, 0, 0] for f in ("none", "yellow", "orange", "red")]
    assert (np.diff(skies) < 0).all()
    assert (np.diff(lip_tones) > 0).all()


@given(filters, st.tuples(*[st.floats(0.1, 2)] * 3))
def test_shares_sum_to_one(name: str, weights: tuple[float, float, float]) -> None:
    assert sum(Monochrome(filter=name, weights=weights).shares()) == pytest.approx(1)


def test_weights_only_count_against_each_other() -> None:
    assert Monochrome(weights=(0.2, 0.4, 0.2)).shares() == pytest.approx((0.25, 0.5, 0.25))


@pytest.mark.parametrize(
    "values", [{"weights": (0, 0, 0)}, {"weights": (-1, 0.5, 0.5)}, {"filter": "red", "weights": (0, 0, 1)}]
)
def test_weights_without_a_picture_are_refused(values: dict[str, object]) -> None:
    with pytest.raises(ValidationError, match="expected the weights"):
        Monochrome.model_validate(values)


@every_filter
@pytest.mark.parametrize("strength", [0.3, 1.0])
def test_engine_equals_the_reference(name: str, strength: float) -> None:
    linear = np.random.default_rng(3).uniform(-0.5, 8, (4, 33, 3)).astype(np.float32)
    operation = Monochrome(filter=name, strength=strength)
    expected = carry_out([Step(operation)], linear, Geometry(33, 4))
    assert finish(operation, linear) == pytest.approx(expected, rel=1e-5, abs=5e-6)
