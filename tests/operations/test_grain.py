import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import integrate, signal, stats

from finishing.engine.ends import LinearSink, LinearSource
from finishing.engine.execution import execute
from finishing.engine.reference import carry_out
from finishing.hashing import plain_hashed
from finishing.operation import Geometry
from finishing.operations.grain import Grain
from finishing.recipes.recipe import Step

LAYERS = ["silver", "colour"]


def finish(operation: Grain, planes: NDArray[np.float32], scale: float = 1.0, **how: int) -> NDArray[np.float32]:
    sink = LinearSink(*planes.shape[1:])
    geometry = Geometry(planes.shape[2], planes.shape[1], scale=scale)
    execute([Step(operation)], LinearSource(planes), sink, geometry, **how)
    return sink.planes


def flat(value: float, height: int = 512, width: int = 640) -> NDArray[np.float32]:
    return np.full((3, height, width), value, np.float32)


@pytest.mark.parametrize("value", [0.9, 0.5, 0.18, 0.01, 1e-4])
def test_rms_density_goes_with_the_root_of_density(value: float) -> None:
    # Nutting's and Selwyn's random-dot model: σ(D) = σ(1) · √D; size 3 of 512 pixels is wider than a pixel
    operation = Grain(strength=0.02, size=3)
    density = -np.log10(finish(operation, flat(value))[0])
    expected = operation.deviation(Geometry(640, 512)) * math.sqrt(-math.log10(value))
    assert density.std() == pytest.approx(expected, rel=0.05)


@pytest.mark.parametrize("layers", LAYERS)
@pytest.mark.parametrize("value", [0.7, 0.18, 0.02])
def test_means_are_kept(layers: str, value: float) -> None:
    result = finish(Grain(strength=0.2, size=1, layers=layers), flat(value))
    # a mean over 327 680 pixels of which a dozen hang together: four of its standard errors
    standard_error = result[0].std() / math.sqrt(result[0].size / 12)
    assert np.abs(result.mean(axis=(1, 2)) - value).max() < 4 * standard_error


def test_a_wider_aperture_sees_less_as_its_side_grows() -> None:
    # Selwyn: σ · √A is constant once the aperture A is wide against the grains
    result = finish(Grain(strength=0.03, size=2), flat(0.1, 1024, 1024))[0]
    blocks = [result.reshape(1024 // n, n, 1024 // n, n).mean(axis=(1, 3)).std() for n in (16, 32)]
    assert blocks[0] / blocks[1] == pytest.approx(2, rel=0.12)


@pytest.mark.parametrize("size", [0.1, 0.8, 3])
def test_what_a_pixel_sees_is_the_integral_over_its_aperture(size: float) -> None:
    # SciPy: the mean correlation of two points of one unit square is that of a triangle-weighted distance
    geometry, operation = Geometry(3000, 2000), Grain(strength=0.1, size=size)
    spread = size / 1000 * 2000 / math.sqrt(8 * math.log(2))
    variance, _ = integrate.quad(lambda t: 2 * (1 - t) * math.exp(-t * t / (4 * spread**2)), 0, 1)
    assert operation.deviation(geometry) == pytest.approx(0.1 * variance, rel=1e-9)


def test_a_preview_has_what_reducing_the_frame_leaves() -> None:
    operation = Grain(strength=0.05, size=2)
    whole = finish(operation, flat(0.2, 1200, 1200))[0]
    reduced = whole.reshape(300, 4, 300, 4).mean(axis=(1, 3))
    preview = finish(operation, flat(0.2, 300, 300), scale=0.25)[0]
    assert preview.std() == pytest.approx(reduced.std(), rel=0.1)


@pytest.mark.parametrize(("size", "layers"), [(0.2, "silver"), (1.5, "silver"), (3, "colour")])
def test_spectrum_is_that_of_the_smoothing_and_has_no_peak(size: float, layers: str) -> None:
    operation = Grain(strength=0.05, size=size, layers=layers)
    field = finish(operation, flat(0.18, 512, 512))[1].astype(np.float64)
    power = np.abs(np.fft.fft2(field - field.mean())) ** 2
    taps = operation.taps(Geometry(512, 512))
    both = np.concatenate([taps[:0:-1], taps])
    # SciPy's answer of the filter along either axis
    _, answer = signal.freqz(both, worN=2 * np.pi * np.arange(512) / 512, whole=False)
    expected = np.outer(np.abs(answer) ** 2, np.abs(answer) ** 2)
    strong = expected > 1e-3 * expected.max()
    strong[0, 0] = False
    ratio = power[strong] / expected[strong]
    ratio /= ratio.mean()
    # the power of noise at one frequency is exponentially distributed: of n of them the largest is near log n
    assert ratio.max() < math.log(ratio.size) + 7
    assert ratio.std() == pytest.approx(1, abs=0.1)


def test_hash_is_even_and_rows_are_no_copies_of_each_other() -> None:
    bits = np.unpackbits(plain_hashed(np.arange(1 << 16, dtype=np.uint32)).view(np.uint8))
    assert bits.mean() == pytest.approx(0.5, abs=0.002)
    low = plain_hashed(np.arange(1 << 16, dtype=np.uint32)) & 0xFF
    assert stats.chisquare(np.bincount(low, minlength=256)).pvalue > 1e-4
    rows = finish(Grain(strength=0.1, size=0.1), flat(0.18, 64, 2048))[0].astype(np.float64)
    rows = (rows - rows.mean()) / rows.std()
    spectra = np.fft.rfft(rows[:, :])
    for distance in (3, 7, 20):
        shifted = np.fft.irfft(spectra[:-distance] * spectra[distance:].conj()) / rows.shape[1]
        assert np.abs(shifted).max() < 0.13


@pytest.mark.parametrize("layers", LAYERS)
def test_same_at_every_strip_height_and_thread_count(layers: str) -> None:
    planes = np.random.default_rng(6).random((3, 67, 91)).astype(np.float32)
    operation = Grain(strength=0.1, size=3, layers=layers)
    whole = finish(operation, planes, strip_rows=67)
    for rows, threads in ((1, 1), (5, 2), (32, 2)):
        assert np.array_equal(finish(operation, planes, strip_rows=rows, threads=threads), whole)


def test_white_stays_clean_and_signs_stay() -> None:
    planes = np.random.default_rng(7).uniform(1, 8, (3, 40, 50)).astype(np.float32)
    assert np.array_equal(finish(Grain(strength=0.4), planes), planes)
    planes = np.random.default_rng(8).uniform(-0.5, 1, (3, 40, 50)).astype(np.float32)
    result = finish(Grain(strength=0.4, size=3), planes)
    assert (np.sign(result) == np.sign(planes)).all()
    assert not finish(Grain(strength=0.4), flat(0.0, 9, 9)).any()


def test_silver_keeps_hues_and_another_seed_is_another_pattern() -> None:
    planes = np.stack([flat(v, 60, 60)[0] for v in (0.4, 0.2, 0.1)])
    result = finish(Grain(), planes)
    assert result[0] / result[1] == pytest.approx(np.full((60, 60), 2.0), rel=1e-5)
    fields = [finish(Grain(seed=seed), flat(0.18, 256, 256))[0].ravel() for seed in (1, 2)]
    assert abs(np.corrcoef(fields)[0, 1]) < 0.03
    dyes = finish(Grain(layers="colour"), flat(0.18, 256, 256)).reshape(3, -1)
    assert np.abs(np.corrcoef(dyes) - np.eye(3)).max() < 0.03


@pytest.mark.parametrize("layers", LAYERS)
@pytest.mark.parametrize("scale", [1.0, 0.37])
def test_engine_equals_the_reference(layers: str, scale: float) -> None:
    planes = np.random.default_rng(9).uniform(-0.5, 8, (3, 31, 45)).astype(np.float32)
    planes[:, 10:] /= 8
    operation = Grain(strength=0.3, size=3, layers=layers, seed=77)
    expected = carry_out([Step(operation)], np.moveaxis(planes, 0, -1), Geometry(45, 31, scale=scale))
    assert np.moveaxis(finish(operation, planes, scale), 0, -1) == pytest.approx(expected, rel=1e-5, abs=1e-6)
