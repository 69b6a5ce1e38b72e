import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pydantic import ValidationError

from finishing.colour.adaptation import white_xyz
from finishing.colour.spaces import D65, SRGB
from finishing.colour.white import CAT16, chromaticity
from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.white_balance import WhiteBalance
from finishing.recipes.recipe import Step

kelvins = st.floats(2000, 25000)
duvs = st.floats(-0.02, 0.02)


def finish(operation: WhiteBalance, planes: NDArray[np.float32]) -> NDArray[np.float32]:
    sink = LinearSink(*planes.shape[1:])
    execute([Step(operation)], LinearSource(planes), sink, Geometry(planes.shape[2], planes.shape[1]))
    return sink.planes


def balanced(operation: WhiteBalance, colour_in: object) -> NDArray[np.float64]:
    return operation.reference(np.array([[colour_in]], np.float64), Geometry(1, 1))[0, 0]


def light(kelvin: float, duv: float = 0.0) -> NDArray[np.float64]:
    """Linear working light of luminance 1 of that chromaticity."""
    return np.linalg.solve(SRGB.to_xyz, white_xyz(chromaticity(kelvin, duv)))


@pytest.mark.parametrize("kelvin", [5000, 5500, 6500, 7500, 12000, 25000])
def test_daylight_is_that_of_colour_science(kelvin: float) -> None:
    assert chromaticity(kelvin, 0) == pytest.approx(colour.temperature.CCT_to_xy_CIE_D(kelvin), abs=1e-7)


def test_daylight_of_the_standard() -> None:
    # CIE 15, four digits
    assert chromaticity(5500, 0) == pytest.approx((0.33243, 0.34744), abs=2e-4)
    assert chromaticity(6500, 0) == pytest.approx((0.3127, 0.3290), abs=2e-4)


@pytest.mark.parametrize("kelvin", [2000, 2856, 3200, 4000])
def test_glowing_light_has_its_own_temperature(kelvin: float) -> None:
    # colour-science: Ohno (2013) from the CIE 1931 observer; Kang et al. (2002) as a second fit of the same locus
    found, duv = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(chromaticity(kelvin, 0)))
    assert found == pytest.approx(kelvin, rel=5e-4)
    assert duv == pytest.approx(0, abs=2e-4)
    assert chromaticity(kelvin, 0) == pytest.approx(colour.temperature.CCT_to_xy_Kang2002(kelvin), abs=1e-3)


@pytest.mark.parametrize("kelvin", [2200, 3000, 4000])
@pytest.mark.parametrize("duv", [-0.018, -0.005, 0.01, 0.02])
def test_duv_is_that_of_colour_science(kelvin: float, duv: float) -> None:
    found = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(chromaticity(kelvin, duv)))
    assert found[0] == pytest.approx(kelvin, rel=2e-3)
    assert found[1] == pytest.approx(duv, abs=3e-4)


def test_line_of_light_has_no_jump() -> None:
    points = np.array([chromaticity(kelvin, 0.0) for kelvin in np.geomspace(2000, 25000, 4000)])
    steps = np.hypot(*np.diff(points, axis=0).T)
    assert steps.max() < 3e-4
    assert (np.diff(points[:, 0]) < 0).all()


@given(kelvins, duvs)
def test_matrix_is_that_of_colour_science(kelvin: float, duv: float) -> None:
    source = white_xyz(chromaticity(kelvin, duv))
    if min(CAT16 @ source) < 0.05:
        return
    expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(source, white_xyz(D65), transform="CAT16")
    in_xyz = SRGB.to_xyz @ WhiteBalance(kelvin=kelvin, duv=duv).matrix @ np.linalg.inv(SRGB.to_xyz)
    assert in_xyz == pytest.approx(expected, abs=2e-9)


@given(st.floats(2600, 25000), duvs, st.floats(0.001, 8))
def test_the_light_itself_becomes_white_of_the_same_luminance(kelvin: float, duv: float, brightness: float) -> None:
    result = balanced(WhiteBalance(kelvin=kelvin, duv=duv, strength=1), brightness * light(kelvin, duv))
    if (kelvin, duv) != (6504, 0):
        assert result == pytest.approx([brightness] * 3, rel=1e-9)


@given(st.tuples(*[st.floats(0.1, 0.9)] * 3))
def test_a_measured_grey_becomes_grey_of_its_own_luminance(grey: tuple[float, float, float]) -> None:
    operation = WhiteBalance(grey=grey)
    if min(CAT16 @ operation.light()) < 0.05:
        return
    assert balanced(operation, grey) == pytest.approx([SRGB.luminance @ grey] * 3, rel=1e-9)


def test_a_grey_may_be_written_as_a_colour() -> None:
    assert WhiteBalance(grey="#b8aa96").grey == pytest.approx(SRGB.decode(np.array([0xB8, 0xAA, 0x96]) / 255))
    assert WhiteBalance(grey="#777777").changes_nothing()


def test_warmer_kelvin_cools_and_the_other_way_round() -> None:
    red, _, blue = balanced(WhiteBalance(kelvin=4800), [0.5, 0.5, 0.5])
    assert red < 0.5 < blue
    red, _, blue = balanced(WhiteBalance(kelvin=8000), [0.5, 0.5, 0.5])
    assert blue < 0.5 < red
    red, green, blue = balanced(WhiteBalance(duv=0.01), [0.5, 0.5, 0.5])
    assert green < min(red, blue)


def test_daylight_of_the_working_white_is_neutral() -> None:
    assert WhiteBalance(kelvin=6504).changes_nothing()
    # next door to it hardly a jump: derived here, D65 is rounded to 1e-4 in xy; half a code of 8 bits is 0.003
    assert balanced(WhiteBalance(kelvin=6504.001), [0.5, 0.5, 0.5]) == pytest.approx([0.5] * 3, abs=5e-4)


def test_half_the_strength_leaves_half_the_correction() -> None:
    whole, half = (WhiteBalance(kelvin=3500, strength=s).matrix for s in (1, 0.5))
    assert half == pytest.approx((whole + np.eye(3)) / 2)


@given(kelvins, duvs, st.floats(0, 1))
def test_matrix_stays_bounded(kelvin: float, duv: float, strength: float) -> None:
    assert np.abs(WhiteBalance(kelvin=kelvin, duv=duv, strength=strength).matrix).max() < 25


@pytest.mark.parametrize(
    "operation", [WhiteBalance(kelvin=2000, duv=0.02), WhiteBalance(grey="#203a80"), WhiteBalance(kelvin=9000)]
)
def test_engine_equals_the_reference(operation: WhiteBalance) -> None:
    planes = np.random.default_rng(2).uniform(-0.5, 8, (3, 5, 37)).astype(np.float32)
    expected = carry_out([Step(operation)], np.moveaxis(planes, 0, -1), Geometry(37, 5))
    assert np.moveaxis(finish(operation, planes), 0, -1) == pytest.approx(expected, rel=1e-5, abs=2e-5)


@pytest.mark.parametrize("grey", ["#000000", "grey", [0.1, 0.2], [0.1, "x", 0.2], [-1, -1, -1]])
def test_what_is_no_grey_is_refused(grey: object) -> None:
    with pytest.raises(ValidationError, match="expected a colour"):
        WhiteBalance(grey=grey)


def test_two_lights_at_once_are_refused() -> None:
    with pytest.raises(ValidationError, match="take one of them out"):
        WhiteBalance(grey="#b8aa96", kelvin=5000)


@pytest.mark.parametrize("grey", ["#b8aa96", [0.48, 0.401, 0.3]])
def test_a_grey_goes_out_and_comes_back(grey: object) -> None:
    operation = WhiteBalance.model_validate({"grey": grey})
    assert WhiteBalance.model_validate(operation.model_dump(mode="json")) == operation
