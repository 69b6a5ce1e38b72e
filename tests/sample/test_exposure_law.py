"""The law of the drawn light: signal = (ambient x t + heads) x ISO / 100 / N^2 x 1.44, and meters that agree.

Derived here, by plain arithmetic, from ISO 2720's reflected-light meter (K = 12.5): an 18 % card whose luminance
satisfies the meter gives a signal of 0.18.
"""

from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray

from finishing.sample import components, photograph
from finishing.sample.exposing import signal
from finishing.sample.scenario import SETUPS, Frame, Setup, fallen, frame_of
from finishing.sample.scene import GREY_CARD
from finishing.sample.staging import SIGNAL, stage

Floats = NDArray[np.float32]
WIDTH = 96


@lru_cache(maxsize=4)
def drawn(name: str = "A-0003") -> tuple[Floats, dict[str, Floats]]:
    """A frame's light at a small size."""
    setup, _ = frame_of(name)
    return components(setup.id, name, WIDTH)


def joined(ambient: Floats, heads: dict[str, Floats]) -> Floats:
    """As the sensor's arithmetic takes it."""
    return np.concatenate([ambient, *heads.values()], axis=-1)


def decoded(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """IEC 61966-2-1, from codes to light."""
    v = picture / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def test_frame_is_the_sum_of_its_lights() -> None:
    ambient, heads = drawn()
    whole = signal(joined(ambient, heads), 1 / 125, 8.0, 100)
    parts = signal(joined(ambient, {}), 1 / 125, 8.0, 100).astype(np.float64)
    for light in heads.values():
        parts = parts + signal(joined(np.zeros_like(ambient), {"one": light}), 1 / 125, 8.0, 100)
    np.testing.assert_allclose(whole, parts, rtol=2e-6, atol=1e-9)


def test_a_stop_of_shutter_doubles_the_ambient_alone() -> None:
    ambient, heads = drawn()
    off = {name: np.zeros_like(light) for name, light in heads.items()}
    short, long = (signal(joined(ambient, off), t, 8.0, 100) for t in (1 / 128, 1 / 64))
    np.testing.assert_array_equal(long, 2 * short)
    dark = np.zeros_like(ambient)
    short, long = (signal(joined(dark, heads), t, 8.0, 100) for t in (1 / 128, 1 / 64))
    np.testing.assert_array_equal(long, short)


def test_a_stop_of_aperture_halves_both() -> None:
    ambient, heads = drawn()
    wide, closed = (signal(joined(ambient, heads), 1 / 128, n, 100) for n in (4.0, 4.0 * 2**0.5))
    np.testing.assert_allclose(closed, wide / 2, rtol=1e-6)


def test_strobes_off_leaves_the_ambient() -> None:
    ambient, heads = drawn()
    light = joined(ambient, heads)
    np.testing.assert_array_equal(
        signal(light, 1 / 125, 8.0, 100, fires=False), signal(joined(ambient, {}), 1 / 125, 8.0, 100)
    )


def test_the_photograph_is_the_signal_through_the_srgb_curve() -> None:
    ambient, heads = drawn()
    values = signal(joined(ambient, heads), 1 / 125, 8.0, 100)
    picture = photograph(ambient, heads, 1 / 125, 8.0, 100)
    # half a code is at most 1/510 of the encoded range; the curve's slope there is at most 2.28
    assert np.abs(decoded(picture) - np.clip(values, 0, 1)).max() < 2.3 / 510 + 1e-6
    assert picture[values >= 1].min() == 255


def test_the_tripod_sequence_differs_in_shutter_alone() -> None:
    names = ("A-0002", "A-0003", "A-0004")
    frames = [frame_of(name)[1] for name in names]
    assert len({frame.seconds for frame in frames}) == 2
    assert sum(not frame.fires for frame in frames) == 1
    setup, first = frame_of(names[0])
    reference, heads = drawn(names[0])
    for name in names[1:]:
        _, frame = frame_of(name)
        ambient, others = drawn(name)
        # daylight falls a little from frame to frame; the heads and the scene stay
        drop = 2 ** (fallen(setup, frame) - fallen(setup, first))
        np.testing.assert_allclose(ambient * drop, reference, rtol=1e-4, atol=1e-3)
        for head, light in heads.items():
            np.testing.assert_array_equal(others[head], light)


def readings(setup: Setup, frame: Frame) -> list[float]:
    """f-numbers of a flash meter at the subject, held toward each head: by throwing darts at the head's face."""
    table = stage(setup, frame, 60, 40).heads
    generator = np.random.default_rng(5)
    found = []
    for row in table:
        centre, aim, u, v = row[0:3], row[3:6], row[6:9], row[9:12]
        at = np.array(setup.meter)
        darts = generator.uniform(-1, 1, (20_000, 2))
        to = centre + darts[:, :1] * u + darts[:, 1:] * v - at
        d = np.linalg.norm(to, axis=1)
        receptor = (to @ (centre - at)) / d / np.linalg.norm(centre - at)
        leaving = np.clip(-(to @ aim) / d, 0, None) ** row[17]
        lux_seconds = float(np.mean(leaving / d**2 * receptor) * (row[14:17] @ [0.2126, 0.7152, 0.0722]))
        card = 0.18 * lux_seconds / np.pi  # candela seconds a square metre of an 18 % card
        found.append((card * SIGNAL * setup.iso / 100 / 0.18) ** 0.5)
    return found


@pytest.mark.parametrize("setup", SETUPS, ids=lambda s: s.id)
def test_heads_read_as_planned(setup: Setup) -> None:
    for head, f_number in zip(setup.heads, readings(setup, setup.frames[0]), strict=True):
        assert abs(2 * np.log2(f_number / head.reads)) < 0.1, head.name


def test_the_grey_card_agrees_with_the_meters() -> None:
    """The card in A-0001 faces the key: key alone puts it at 0.18, the ambient two stops below."""
    from finishing.sample import material_map

    setup, frame = frame_of("A-0001")
    width = 240
    card = material_map("A", "A-0001", width) == GREY_CARD
    assert card.sum() > 20
    ambient, heads = components("A", "A-0001", width)
    luma = np.array([0.2126, 0.7152, 0.0722])
    off = np.zeros_like(ambient)
    key = signal(joined(off, {"key": heads["key"]}), frame.seconds, setup.aperture, setup.iso)[card] @ luma
    day = signal(joined(ambient, {}), frame.seconds, setup.aperture, setup.iso)[card] @ luma
    assert abs(np.log2(np.median(key) / 0.18)) < 0.5
    assert abs(np.log2(np.median(day) / 0.18) - setup.ambient) < 0.6


@pytest.mark.parametrize("setup", SETUPS, ids=lambda s: s.id)
def test_ambient_reads_as_planned(setup: Setup) -> None:
    """An 18 % card facing the camera in the open, lit by the drawn sky and ground: summed by throwing darts."""
    from finishing.sample.sky import GROUND, SCALE, sky_radiance

    frame = setup.frames[0]
    air = stage(setup, frame, 60, 40).air
    normal = np.array([0.0, 0.26, -0.966])
    generator = np.random.default_rng(7)
    ways = generator.normal(size=(20_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    facing = np.clip(ways @ normal, 0, None)
    light = np.array(
        [
            sky_radiance(float(x), float(y), float(z), air) if y > 0 else tuple(air[GROUND : GROUND + 3])
            for x, y, z in ways
        ]
    )
    irradiance = 4 * np.pi * np.mean(light * facing[:, None], axis=0) * air[SCALE]
    luminance = float(0.18 / np.pi * irradiance @ [0.2126, 0.7152, 0.0722])
    got = np.log2(luminance * SIGNAL * setup.seconds * setup.iso / 100 / setup.aperture**2 / 0.18)
    assert abs(got - (setup.ambient - fallen(setup, frame))) < 0.1


def test_daylight_falls_within_a_setup() -> None:
    for setup in SETUPS:
        falls = [fallen(setup, frame) for frame in setup.frames]
        assert falls == sorted(falls)
        steps = np.diff(falls)
        assert (steps > 0).all()
        assert (steps < 0.5).all()
