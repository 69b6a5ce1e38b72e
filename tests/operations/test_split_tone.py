import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.operation import Geometry
from finishing.operations.split_tone import SplitTone


@given(st.floats(-0.2, 1.5), st.floats(0.05, 0.95))
def test_lightness_stays_and_each_tint_keeps_to_its_half(lightness: float, balance: float) -> None:
    tone = SplitTone(shadow_hue=250, shadow_chroma=0.03, highlight_hue=85, highlight_chroma=0.02, balance=balance)
    result = tone.reference(np.array([[[lightness, 0.0, 0.0]]]), Geometry(1, 1))[0, 0]
    assert result[0] == lightness
    chroma = np.hypot(*result[1:])
    assert chroma <= 0.03 + 1e-12
    if chroma > 1e-9:
        hue = np.degrees(np.arctan2(result[2], result[1])) % 360
        assert hue == pytest.approx(250 if lightness < balance else 85, abs=1e-6)


def test_smoothstep_weights() -> None:
    # Derived here: t²(3 − 2t) at 0.1, 0.25, 0.5 is 0.028, 0.15625, 0.5
    tone = SplitTone(highlight_hue=0, highlight_chroma=0.1, balance=0.5)
    pixels = np.array([[[0.5 + 0.5 * t, 0, 0] for t in (0.1, 0.25, 0.5)]])
    np.testing.assert_allclose(tone.reference(pixels, Geometry(3, 1))[0, :, 1] / 0.1, [0.028, 0.15625, 0.5])
