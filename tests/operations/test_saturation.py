import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour import oklab
from finishing.operation import Geometry
from finishing.operations.saturation import Saturation


@given(st.floats(0, 4), st.tuples(*[st.floats(0.01, 1)] * 3))
def test_only_chroma_changes(amount: float, linear: tuple[float, float, float]) -> None:
    from coloraide import Color

    pixel = oklab.linear_to_oklab(np.array([[linear]]))
    result = Saturation(amount=amount).reference(pixel, Geometry(1, 1))[0, 0]
    lightness, chroma, _ = Color("srgb-linear", linear).convert("oklch").coords()
    np.testing.assert_allclose(result[0], lightness, atol=1e-6)
    np.testing.assert_allclose(np.hypot(*result[1:]), amount * chroma, atol=1e-5)
