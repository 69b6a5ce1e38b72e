"""A frame's light, part by part, and the photograph that is their sum.

The law: signal = (ambient x shutter time + sum of the heads) x ISO / 100 / N^2 x 1.44, white at 1. Opening the
shutter by a stop doubles the ambient's share alone; closing the aperture by a stop halves both.
"""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from finishing.sample.scenario import Frame, Setup, frame_of

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]
    Bytes = NDArray[np.uint8]
    Whole = NDArray[np.int32]

#: Pixels along the long edge of the invented camera's sensor; noise is scaled from it.
SENSOR_PIXELS = 6000


def _find(setup_id: str, frame_name: str) -> tuple[Setup, Frame]:
    setup, frame = frame_of(frame_name)
    if setup.id != setup_id:
        raise KeyError(f"frame {frame_name} belongs to set-up {setup.id}, not {setup_id}")
    return setup, frame


def height_for(frame: Frame, width: int) -> int:
    """Height in pixels of a frame of this width: 2:3 lying, 3:2 standing."""
    return round(width * 1.5) if frame.upright else round(width / 1.5)


def components(setup_id: str, frame_name: str, width: int) -> "tuple[Floats, dict[str, Floats]]":
    """The light of a frame: the ambient and each head by name, apart.

    Arrays are (height, width, 3) float32, linear Rec. 709 primaries: the ambient in candela a square metre, a
    head in candela seconds a square metre. KeyError where there is no such frame in the set-up.
    """
    import numpy as np

    from finishing.sample.renderer import draw_strips
    from finishing.sample.staging import stage

    setup, frame = _find(setup_id, frame_name)
    height = height_for(frame, width)
    light = np.concatenate([s.light for s in draw_strips(stage(setup, frame, width, height), width, height)])
    heads = {head.name: light[..., 3 + 3 * i : 6 + 3 * i] for i, head in enumerate(setup.heads)}
    return light[..., :3], heads


def material_map(setup_id: str, frame_name: str, width: int) -> "Whole":
    """The material of every pixel, (height, width), numbered as in `finishing.sample.scene`; -1 at mixed edges."""
    import numpy as np

    from finishing.sample.renderer import draw_strips
    from finishing.sample.staging import stage

    setup, frame = _find(setup_id, frame_name)
    height = height_for(frame, width)
    return np.concatenate([s.materials for s in draw_strips(stage(setup, frame, width, height), width, height)])


def photograph(
    ambient: "Floats",
    heads: "dict[str, Floats]",
    seconds: float,
    f_number: float,
    iso: float,
    noise_seed: int | None = None,
) -> "Bytes":
    """The 8-bit sRGB picture of an exposure of these components.

    heads: those that fire (leave one out to switch it off); seconds: shutter time; noise_seed: None for a sensor
    without noise. Values above white clip, as a sensor does. Returns (height, width, 3) uint8.
    """
    import numpy as np

    from finishing.sample import exposing

    light = np.concatenate([ambient, *heads.values()], axis=-1)
    values = exposing.signal(light, seconds, f_number, iso)
    scale = max(values.shape[:2]) / SENSOR_PIXELS
    return exposing.develop(values, 0, iso, noise_seed, scale)


def picture_strips(name: str, long_edge: int, told: Callable[[float], None] | None = None) -> "Iterator[Bytes]":
    """A frame as the camera took it, as strips of 8-bit sRGB rows from the top; told: share done, 0 to 1."""
    from finishing.sample import exposing
    from finishing.sample.renderer import draw_strips
    from finishing.sample.staging import stage

    setup, frame = frame_of(name)
    short = round(long_edge / 1.5)
    width, height = (short, long_edge) if frame.upright else (long_edge, short)
    seed = int(name.rpartition("-")[2])
    for strip in draw_strips(stage(setup, frame, width, height), width, height):
        values = exposing.signal(strip.light, frame.seconds, frame.aperture or setup.aperture, setup.iso, frame.fires)
        if told is not None:
            told((strip.first + len(strip.light)) / height)
        yield exposing.develop(values, strip.first, setup.iso, seed, long_edge / SENSOR_PIXELS)
