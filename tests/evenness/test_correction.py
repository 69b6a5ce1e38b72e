"""A frame's correction as a value: rounded, told, and the same to the engine as to the arithmetic."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from finishing.evenness.correction import NONE, Correction, correction_of
from finishing.evenness.white import balanced


def test_nothing_is_nothing() -> None:
    assert correction_of() == NONE
    assert correction_of(1e-6, np.eye(3) + 1e-9, "grey card in A-0001") == NONE
    assert NONE.changes_nothing
    assert NONE.white_text is None
    assert NONE.as_json() == {"stops": 0.0, "matrix": None, "white": None}


def test_it_is_told_in_a_line() -> None:
    correction = correction_of(0.33333, np.diag([1.1, 1.0, 0.9]), "grey card in A-0001")
    assert correction.stops == 0.3333
    assert correction.white_text == "grey card in A-0001: 1.1 0 0; 0 1 0; 0 0 0.9"


@given(st.floats(-2, 2), st.tuples(*[st.floats(0.8, 1.25)] * 3))
def test_gain_and_matrix_together(stops: float, gains: tuple[float, float, float]) -> None:
    correction = correction_of(stops, balanced(np.array(gains)))
    pixels = np.random.default_rng(0).uniform(-0.1, 2, (5, 7, 3))
    assert np.allclose(correction.apply(pixels), pixels @ correction.matrix.T * correction.gain)
    assert isinstance(hash(correction), int)
    assert Correction(correction.stops, correction.rows) == correction
