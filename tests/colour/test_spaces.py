import numpy as np
import pytest

from finishing.colour import spaces


@pytest.mark.parametrize(
    ("space", "row"),
    [
        (spaces.SRGB, (0.2126, 0.7152, 0.0722)),  # ITU-R BT.709
        (spaces.OPRGB, (0.29734, 0.62736, 0.07529)),  # IEC 61966-2-5
        (spaces.DISPLAY_P3, (0.22897, 0.69174, 0.07929)),  # SMPTE EG 432-1
    ],
)
def test_luminance_rows(space: spaces.ColourSpace, row: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(space.luminance, row, atol=5e-5)


@pytest.mark.parametrize("space", spaces.COLOUR_SPACES.values(), ids=lambda s: s.name)
def test_to_and_from_working_cancel(space: spaces.ColourSpace) -> None:
    np.testing.assert_allclose(space.to_working @ space.from_working, np.eye(3), atol=1e-12)
    np.testing.assert_allclose(space.to_working @ np.ones(3), np.ones(3), atol=1e-12)  # white is white everywhere
    values = np.linspace(-1, 3, 401)
    np.testing.assert_allclose(space.decode(space.encode(values)), values, atol=2e-7)


@pytest.mark.parametrize(("name", "space"), [("sRGB", spaces.SRGB), ("Display P3", spaces.DISPLAY_P3)])
def test_matrices_against_colour_science(name: str, space: spaces.ColourSpace) -> None:
    import colour

    published = colour.RGB_COLOURSPACES[name]
    published.use_derived_transformation_matrices(True)
    np.testing.assert_allclose(space.to_xyz, published.matrix_RGB_to_XYZ, atol=2e-5)


def test_luminance_exact_greys() -> None:
    # Derived here: sRGB code of the grey with the luminance of red, green, blue, yellow (BT.709 weights)
    pixels = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0]], float)
    codes = spaces.SRGB.encode(spaces.luminance(pixels)) * 255
    np.testing.assert_allclose(codes, [127.1, 219.9, 76.0, 246.7], atol=0.1)
