"""CIELAB and CIEDE2000 against the published pairs and another implementation."""

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.oklab import LINEAR_SRGB_TO_XYZ

# Sharma, Wu and Dalal 2005, table 1: L*, a*, b* of two colours and their difference, to four places.
PAIRS = np.array(
    [
        [50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425],
        [50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615],
        [50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412],
        [50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000],
        [50, -1.1848, -84.8006, 50, 0, -82.7485, 1.0000],
        [50, -0.9009, -85.5211, 50, 0, -82.7485, 1.0000],
        [50, 0, 0, 50, -1, 2, 2.3669],
        [50, -1, 2, 50, 0, 0, 2.3669],
        [50, 2.4900, -0.0010, 50, -2.4900, 0.0009, 7.1792],
        [50, 2.4900, -0.0010, 50, -2.4900, 0.0010, 7.1792],
        [50, 2.4900, -0.0010, 50, -2.4900, 0.0011, 7.2195],
        [50, 2.4900, -0.0010, 50, -2.4900, 0.0012, 7.2195],
        [50, -0.0010, 2.4900, 50, 0.0009, -2.4900, 4.8045],
        [50, -0.0010, 2.4900, 50, 0.0010, -2.4900, 4.8045],
        [50, -0.0010, 2.4900, 50, 0.0011, -2.4900, 4.7461],
        [50, 2.5, 0, 50, 0, -2.5, 4.3065],
        [50, 2.5, 0, 73, 25, -18, 27.1492],
        [50, 2.5, 0, 61, -5, 29, 22.8977],
        [50, 2.5, 0, 56, -27, -3, 31.9030],
        [50, 2.5, 0, 58, 24, 15, 19.4535],
        [50, 2.5, 0, 50, 3.1736, 0.5854, 1.0000],
        [50, 2.5, 0, 50, 3.2972, 0, 1.0000],
        [50, 2.5, 0, 50, 1.8634, 0.5757, 1.0000],
        [50, 2.5, 0, 50, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)


@pytest.mark.parametrize("pair", PAIRS, ids=range(1, len(PAIRS) + 1))
def test_the_published_pairs(pair: np.ndarray) -> None:
    assert ciede2000(pair[:3], pair[3:6]) == pytest.approx(pair[6], abs=1e-4)
    assert ciede2000(pair[3:6], pair[:3]) == pytest.approx(pair[6], abs=1e-4)


def test_all_pairs_are_there() -> None:
    assert PAIRS.shape == (34, 7)


def test_against_colour_science() -> None:
    random = np.random.default_rng(4)
    first = random.random((40, 50, 3)) * [100, 200, 200] - [0, 100, 100]
    second = first + random.normal(size=first.shape) * 15
    np.testing.assert_allclose(ciede2000(first, second), colour.delta_E(first, second, method="CIE 2000"), atol=1e-9)
    xyz = random.random((500, 3)) @ LINEAR_SRGB_TO_XYZ.T
    white = colour.XYZ_to_xy(LINEAR_SRGB_TO_XYZ.sum(axis=1))
    linear = xyz @ np.linalg.inv(LINEAR_SRGB_TO_XYZ).T
    np.testing.assert_allclose(linear_to_lab(linear), colour.XYZ_to_Lab(xyz, white), atol=1e-6)


def test_greys_have_no_chroma_and_white_is_100() -> None:
    levels = np.linspace(0, 1, 33)
    lab = linear_to_lab(np.repeat(levels[:, None], 3, axis=1))
    np.testing.assert_allclose(lab[:, 1:], 0, atol=1e-11)
    assert lab[0, 0] == pytest.approx(0, abs=1e-12)
    assert lab[-1, 0] == pytest.approx(100, abs=1e-12)
    assert linear_to_lab([0.18418651851244416] * 3)[0] == pytest.approx(50, abs=1e-9)  # ((50 + 16) / 116)³, CIE 15


colours = st.tuples(*(st.floats(0, 1) for _ in range(3)))


@given(colours, colours)
def test_a_difference_is_a_distance_without_a_direction(one: tuple[float, ...], other: tuple[float, ...]) -> None:
    first, second = linear_to_lab(one), linear_to_lab(other)
    assert ciede2000(first, first) == 0
    assert 0 <= ciede2000(first, second) < 120
    assert ciede2000(first, second) == pytest.approx(ciede2000(second, first), abs=1e-9)
