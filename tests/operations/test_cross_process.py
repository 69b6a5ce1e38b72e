import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.differentiate import derivative

from finishing.colour import oklab
from finishing.colour.spaces import SRGB
from finishing.colour.transfer import srgb_decode
from finishing.engine.ends import CodedSink, CodedSource, LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.operation import Geometry
from finishing.operations.cross_process import PROCESSES, CrossProcess
from finishing.recipes.recipe import Step

processes = st.sampled_from(sorted(PROCESSES))
every_process = pytest.mark.parametrize("process", PROCESSES)


def finish(operation: CrossProcess, linear: NDArray[np.floating]) -> NDArray[np.float32]:
    """Linear light (height, width, 3) through the engine."""
    height, width = linear.shape[:2]
    sink = LinearSink(height, width)
    planes = np.ascontiguousarray(np.moveaxis(linear, -1, 0), np.float32)
    execute([Step(operation)], LinearSource(planes), sink, Geometry(width, height))
    return np.moveaxis(sink.planes, 0, -1)


@given(processes, st.floats(0.2, 3), st.integers(0, 2))
def test_curves_run_from_black_to_white_and_level_off(process: str, contrast: float, channel: int) -> None:
    operation = CrossProcess(process=process, contrast=contrast)
    layer = PROCESSES[process][channel]
    assert operation.curve(channel, [0, 1]) == pytest.approx([layer.black, layer.white])
    values = operation.curve(channel, np.linspace(-3, 8, 800))
    assert (np.diff(values) > 0).all()
    # toe and shoulder: beyond both ends the slope falls on and on
    assert (np.diff(operation.curve(channel, np.linspace(1, 8, 100)), 2) < 0).all()
    assert (np.diff(operation.curve(channel, np.linspace(-3, 0, 100)), 2) > 0).all()


@every_process
@pytest.mark.parametrize("channel", [0, 1, 2])
def test_steepest_in_the_middle(process: str, channel: int) -> None:
    # SciPy's numerical derivative against the law: s'(0) = 1, so the slope there is scale · contrast
    operation = CrossProcess(process=process)
    layer = PROCESSES[process][channel]
    slopes = derivative(lambda v: operation.curve(channel, v), np.linspace(-0.5, 1.5, 201)).df
    assert np.linspace(-0.5, 1.5, 201)[slopes.argmax()] == pytest.approx(layer.middle, abs=0.011)
    # derived here: (white − black) · c / [s(c(1 − m)) + s(cm)]
    c, m = layer.contrast, layer.middle
    rise = c * (1 - m) / np.hypot(1, c * (1 - m)) + c * m / np.hypot(1, c * m)
    assert slopes.max() == pytest.approx((layer.white - layer.black) * c / rise, rel=1e-3)


def test_slide_as_negative_turns_shadows_blue_and_highlights_yellow_green() -> None:
    dark, light = srgb_decode(np.array([0.2, 0.9]))
    result = finish(CrossProcess(process="slide_as_negative", strength=1), np.array([[[dark] * 3, [light] * 3]]))
    (_, _, dark_hue), (_, _, light_hue) = oklab.oklab_to_oklch(oklab.linear_to_oklab(result))[0]
    assert 230 < dark_hue < 290
    assert 95 < light_hue < 125


def test_negative_as_slide_is_softer_and_warm() -> None:
    operation = CrossProcess(process="negative_as_slide", strength=1)
    ends = [operation.curve(channel, [0, 1]) for channel in range(3)]
    assert max(np.ptp(end) for end in ends) < 0.95
    red, _, blue = (operation.curve(channel, 0.5) for channel in range(3))
    assert red > blue


@every_process
@pytest.mark.parametrize("strength", [0.25, 1.0])
def test_codes_follow_the_curves(process: str, strength: float) -> None:
    codes = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    tables = np.stack([srgb_decode(np.arange(256) / 255).astype(np.float32)] * 3)
    out = np.empty_like(codes)
    operation = CrossProcess(process=process, strength=strength)
    execute([Step(operation)], CodedSource(codes, tables, None), CodedSink(out, SRGB), Geometry(256, 1))
    encoded = np.arange(256) / 255
    curves = [encoded * (1 - strength) + operation.curve(channel, encoded) * strength for channel in range(3)]
    expected = np.stack(curves, axis=-1)
    inside = ((expected >= 0) & (expected <= 1)).all(axis=-1)  # the others are brought into the gamut by their hue
    assert inside.mean() > 0.9
    assert np.abs(out[0] - expected * 255)[inside].max() < 0.51


@every_process
@pytest.mark.parametrize("strength", [0.3, 1.0])
def test_engine_equals_the_reference(process: str, strength: float) -> None:
    linear = np.random.default_rng(3).uniform(-0.5, 8, (4, 103, 3)).astype(np.float32)
    linear[0, 0], linear[0, 1] = 65504, -65504
    operation = CrossProcess(process=process, contrast=2, strength=strength)
    expected = carry_out([Step(operation)], linear, Geometry(103, 4))
    assert finish(operation, linear) == pytest.approx(expected, rel=3e-5, abs=5e-6)
