"""Evening out exposure: toward the key frame, by measurement, else by prediction, within its limit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from finishing.evenness.exposure import KEY, LEFT, MEASURED, PREDICTED, even_exposure
from finishing.evenness.reading import Reading
from tests.evenness.test_reading import picture, read

gains = st.lists(st.floats(-0.9, 0.9), min_size=1, max_size=8)
BASE = picture(11)


def of(stops: float) -> Reading:
    return read(BASE * np.float32(2.0**stops))


@given(gains, st.data())
def test_every_frame_comes_to_the_key(stops: list[float], data: st.DataObject) -> None:
    key = data.draw(st.integers(0, len(stops) - 1))
    evened = even_exposure([of(s) for s in stops], [None] * len(stops), key)
    for own, frame in zip(stops, evened, strict=True):
        assert frame.applied == pytest.approx(stops[key] - own, abs=1e-4)
    assert evened[key].applied == 0
    assert evened[key].how == KEY


@given(gains, st.floats(0, 1))
def test_no_correction_goes_beyond_its_limit(stops: list[float], at_most: float) -> None:
    readings: list[Reading | str] = [of(s) for s in stops]
    readings[-1] = "no subject"
    for frame in even_exposure(readings, [3 * s for s in stops], 0, at_most):
        assert abs(frame.applied) <= at_most
        assert frame.limited == ("at_most allows" in frame.why)


@given(gains)
def test_a_corrected_set_needs_no_correction(stops: list[float]) -> None:
    first = even_exposure([of(s) for s in stops], [0.0] * len(stops), 0)
    again = even_exposure(
        [of(s).corrected(None, frame.applied) for s, frame in zip(stops, first, strict=True)], [0.0] * len(stops), 0
    )
    # the law of smoothing moves a frame that is sure to 0.02 by 0.0115 at most, each time
    assert max(abs(frame.applied) for frame in again) <= 0.023
    exact = even_exposure([of(s).corrected(None, -s) for s in stops], [None] * len(stops), 0)
    assert max(abs(frame.applied) for frame in exact) < 1e-5


def test_what_cannot_be_measured_is_predicted_and_says_so() -> None:
    readings: list[Reading | str] = [of(0), of(0.5), "the region is empty in this frame", of(-0.5)]
    evened = even_exposure(readings, [0.0, -0.5, -0.7, 0.5], 0)
    assert evened[1].how == MEASURED
    assert evened[1].why == ""
    assert evened[2].how == PREDICTED
    assert evened[2].measured is None
    assert evened[2].applied == pytest.approx(-0.7, abs=1e-3)
    assert evened[2].why.startswith("the region is empty in this frame")


def test_a_prediction_takes_up_what_agreeing_neighbours_measured() -> None:
    """The light has fallen by half a stop that no exposure knows of."""
    readings: list[Reading | str] = [of(0), of(-0.5), of(-0.5), "97% of the region is clipped", of(-0.5), of(-0.5)]
    evened = even_exposure(readings, [0.0] * 6, 0)
    assert evened[3].applied == pytest.approx(0.5, abs=0.01)
    assert "its neighbours measured beyond the prediction" in evened[3].why


def test_without_measure_and_exposure_a_frame_is_left() -> None:
    evened = even_exposure([of(0), "the region is empty in this frame"], [None, None], 0)
    assert (evened[1].how, evened[1].applied) == (LEFT, 0)
    assert "is not known" in evened[1].why


def test_a_key_that_cannot_be_measured_leaves_prediction_alone() -> None:
    evened = even_exposure(["100% of the region is too dark", of(0.4)], [0.0, -1.0], 0)
    assert evened[0].why == "100% of the region is too dark"
    assert (evened[1].how, evened[1].applied) == (PREDICTED, -1.0)
    assert "the key frame cannot be measured" in evened[1].why


def test_a_turn_of_the_shutter_stays_a_step() -> None:
    """Ambient-lit frames; the shutter is opened by a stop in the middle. Measured with some flicker, the step stays."""
    random = np.random.default_rng(3)
    taken = [0.0] * 6 + [1.0] * 6
    flicker = random.normal(0, 0.02, 12)
    flicker[0] = 0
    dark = picture(11, -4.5, -2.5)
    readings = [read(dark * np.float32(2.0 ** (t + f))) for t, f in zip(taken, flicker, strict=True)]
    evened = even_exposure(readings, [-t for t in taken], 0)
    applied = np.array([frame.applied for frame in evened])
    assert np.abs(applied + taken).max() < 0.08
    assert abs(applied[6] - applied[5] + 1) < 0.06


def test_plain_values() -> None:
    frame = even_exposure([of(0), of(0.25)], [0.0, None], 0)[1]
    assert frame.as_json() == {
        "measured": pytest.approx(-0.25, abs=1e-3), "predicted": None, "applied": pytest.approx(-0.25, abs=1e-3),
        "how": "measured", "why": None, "smoothed": 0.0, "limited": False,
    }  # fmt: skip
