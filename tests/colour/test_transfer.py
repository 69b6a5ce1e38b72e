import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.colour import transfer


@pytest.mark.parametrize(
    ("encoded", "linear"),
    # IEC 61966-2-1, worked out with colour-science 0.4.7
    [(0.5, 0.21404114), (0.04045, 0.00313081), (1.0, 1.0), (0.0, 0.0)],
)
def test_srgb_decode_at_published_values(encoded: float, linear: float) -> None:
    assert transfer.srgb_decode(encoded) == pytest.approx(linear, abs=1e-8)


def test_srgb_against_colour_science() -> None:
    import colour

    values = np.linspace(0, 1, 1001)
    np.testing.assert_allclose(transfer.srgb_decode(values), colour.models.eotf_sRGB(values), atol=1e-12)
    # colour-science's inverse starts its linear part at the rounded 0.0031308: there the two agree to 3e-8
    np.testing.assert_allclose(transfer.srgb_encode(values), colour.models.eotf_inverse_sRGB(values), atol=5e-8)


def test_eighteen_percent_grey_is_code_118() -> None:
    # IEC 61966-2-1: 18 % grey is code 117.65 of 255
    assert float(transfer.srgb_encode(0.18)) * 255 == pytest.approx(117.65, abs=0.005)


@given(st.floats(-20, 20))
def test_encode_and_decode_cancel_and_mirror(value: float) -> None:
    assert float(transfer.srgb_decode(transfer.srgb_encode(value))) == pytest.approx(value, abs=2e-7, rel=1e-9)
    assert float(transfer.srgb_encode(-value)) == -float(transfer.srgb_encode(value))
    power = transfer.power_decode(transfer.power_encode(value, 2.2), 2.2)
    assert float(power) == pytest.approx(value, abs=1e-9, rel=1e-9)


def test_nan_stays_nan_and_float32_stays_float32() -> None:
    assert np.isnan(transfer.srgb_encode(np.nan))
    assert transfer.srgb_decode(np.zeros(3, np.float32)).dtype == np.float32
