"""The drawn scene as frames for the separation."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from finishing.colour.spaces import LUMINANCE
from finishing.light.blending import Blend, BlendSource, Light
from finishing.light.frames import LitFrame
from finishing.light.separation import Separation, separate
from tests.light.scene import Floats, decoding_tables, jpeg, lights, sixteen

#: What JPEG of quality 95 leaves where there is structure, in codes: from its tables, as the reader works it out.
LOSSY_95 = 1.6


def jpeg_frames(
    times: Sequence[float], *, quality: int | None = 95, noise: bool = True, strobes: Sequence[bool] | None = None
) -> list[LitFrame]:
    """8-bit frames of the scene; times over that of the first, which is 1/128 s."""
    ambient, strobe, _ = lights()
    on = strobes or [True] * len(times)
    return [
        jpeg_frame(time * ambient + fired * strobe, time, index, quality=quality, noise=noise, strobes=fired)
        for index, (time, fired) in enumerate(zip(times, on, strict=True))
    ]


def jpeg_frame(
    light: Floats, time: float, index: int, *, quality: int | None = 95, noise: bool = True, strobes: bool = True
) -> LitFrame:
    """One 8-bit frame."""
    codes = jpeg(light, index + 1 if noise else None, quality)
    return LitFrame(f"frame {index}", codes, decoding_tables(), time / 128, strobes, lossy=LOSSY_95 if quality else 0.0)


def linear_frames(times: Sequence[float], strobes: Sequence[bool] | None = None) -> list[LitFrame]:
    """16-bit frames whose codes are light."""
    ambient, strobe, _ = lights()
    tables, on = decoding_tables(65536, linear=True), strobes or [True] * len(times)
    return [
        LitFrame(f"frame {index}", sixteen(time * ambient + fired * strobe), tables, time / 128, fired)
        for index, (time, fired) in enumerate(zip(times, on, strict=True))
    ]


def taken_apart(frames: Sequence[LitFrame]) -> Separation:
    """The separation of frames of the working primaries, on one thread."""
    return separate(frames, LUMINANCE, threads=1)


@lru_cache(maxsize=8)
def scene_apart(
    times: tuple[float, ...], *, quality: int | None = 95, strobes: tuple[bool, ...] | None = None, linear: bool = False
) -> Separation:
    """The scene's frames taken apart; kept, since many tests look at the same ones."""
    return taken_apart(
        linear_frames(times, strobes) if linear else jpeg_frames(times, quality=quality, strobes=strobes)
    )


def both_lights(separation: Separation) -> tuple[Floats, Floats]:
    """Ambient and strobe, (height, width, 3)."""
    shape = (3, separation.height, separation.width)
    ambient, strobe = np.empty(shape, np.float32), np.empty(shape, np.float32)
    separation.rows(ambient, strobe, 0)
    return np.moveaxis(ambient, 0, -1).astype(np.float64), np.moveaxis(strobe, 0, -1).astype(np.float64)


def blended(separation: Separation, ambient: float | None, strobe: float | None = 0.0) -> Floats:
    """The light of a blend, from its 16-bit codes."""
    codes, _, _ = BlendSource(separation, Blend(Light(ambient), Light(strobe))).codes(threads=1)
    return codes / 65535


def rms(values: NDArray[np.floating]) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(values))))
