import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from finishing.operation import Geometry
from finishing.operations.exposure import Exposure

GEOMETRY = Geometry(1, 1)


@given(st.floats(-10, 10), st.floats(-10, 10), st.floats(0, 8))
def test_stops_add(first: float, second: float, light: float) -> None:
    pixels = np.full((1, 1, 3), light)
    total = first + second
    if abs(total) <= 10:
        one = Exposure(stops=total).reference(pixels, GEOMETRY)
        two = Exposure(stops=second).reference(Exposure(stops=first).reference(pixels, GEOMETRY), GEOMETRY)
        np.testing.assert_allclose(one, two, rtol=1e-12)


def test_a_stop_is_twice_the_light() -> None:
    # ISO 2720: one exposure step is a factor of 2; a third of a stop is 2^(1/3)
    pixels = np.full((1, 1, 3), 0.18)
    np.testing.assert_allclose(Exposure(stops=1).reference(pixels, GEOMETRY), 0.36)
    np.testing.assert_allclose(Exposure(stops=1 / 3).reference(pixels, GEOMETRY), 0.2267857893)
