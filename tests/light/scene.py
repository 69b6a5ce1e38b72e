"""A scene with its two lights apart, drawn here by plain arithmetic: surfaces that reflect, daylight, one strobe.

Nothing of the package's own physics is used. A surface of reflectance R under an ambient irradiance E and a strobe
that gives H gives a camera t·R·E + R·H (light adds; the shutter time multiplies what shines all the while). The strobe
falls off with the square of the distance; the subject throws a shadow in it; the sky gets none of it.
"""

import io
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 720, 480
#: A full-frame sensor's electrons at white and its read noise in electrons: common values, no source.
FULL_WELL, READ_NOISE = 60_000.0, 4.5
FINER = 2


def _waves(x: Floats, y: Floats, seed: int, shortest: float, longest: float, count: int = 11) -> Floats:
    """A smooth texture of mean 0 and about unit spread: waves of these lengths in pixels, in all directions."""
    random = np.random.default_rng(seed)
    total = np.zeros_like(x)
    for _ in range(count):
        length = np.exp(random.uniform(np.log(shortest), np.log(longest)))
        angle, phase = random.uniform(0, 2 * np.pi, 2)
        total += np.sin(2 * np.pi / length * (x * np.cos(angle) + y * np.sin(angle)) + phase)
    return total / np.sqrt(count / 2)


def _step(value: Floats) -> Floats:
    return 1 / (1 + np.exp(-np.clip(value, -40, 40)))


def _inside(x: Floats, y: Floats, cx: float, cy: float, rx: float, ry: float) -> Floats:
    """An ellipse with a border of about a pixel."""
    radius = np.hypot((x - cx) / rx, (y - cy) / ry)
    return _step((1 - radius) * min(rx, ry) * 1.5)


@lru_cache(maxsize=8)
def lights(
    *, shift: tuple[float, float] = (0, 0), degrees: float = 0, step_aside: float = 0, detail: float = 14
) -> tuple[Floats, Floats, Floats]:
    """Ambient at the first shutter and strobe, (height, width, 3) linear, 1 white; and the subject's cover (h, w).

    shift, degrees: of the camera: what lay at the middle lies `shift` pixels to the right and down; step_aside: pixels
    that the subject has gone to the right; detail: the shortest wave of the textures in pixels.
    """
    u = (np.arange(WIDTH * FINER) + 0.5) / FINER - 0.5
    v = (np.arange(HEIGHT * FINER) + 0.5) / FINER - 0.5
    px, py = np.meshgrid(u, v)
    cx, cy, turn = (WIDTH - 1) / 2, (HEIGHT - 1) / 2, np.radians(degrees)
    dx, dy = px - cx - shift[0], py - cy - shift[1]
    x = np.cos(turn) * dx + np.sin(turn) * dy + cx  # back to where the camera first stood
    y = -np.sin(turn) * dx + np.cos(turn) * dy + cy
    sx = x - step_aside  # the subject's own place

    horizon = _step((y - 190 - 12 * np.sin(x / 60)) * 2)
    ground = 0.22 + 0.06 * _waves(x, y, 1, detail, 90)
    ground = np.stack([ground * 1.0, ground * 0.95, ground * 0.75], -1)
    subject = np.maximum(_inside(sx, y, 330, 330, 78, 150), _inside(sx, y, 330, 140, 46, 56))
    coat = 0.38 + 0.10 * _waves(sx, y, 2, detail, 70)
    coat = np.stack([coat * 1.15, coat * 0.75, coat * 0.45], -1)
    reflects = np.clip(ground + subject[..., None] * (coat - ground), 0.02, 0.9)

    sky = np.stack([0.115 + 0 * y, 0.13 + 0.02 * y / HEIGHT, 0.16 - 0.02 * y / HEIGHT], -1)
    sky *= (1 + 0.05 * _waves(x, y, 3, 40, 200))[..., None]
    day = np.array([0.30, 0.33, 0.38]) * (1 + 0.15 * _waves(x, y, 4, 120, 400))[..., None]
    distance2 = ((x - 60) / 300) ** 2 + ((y - 60) / 300) ** 2 + 0.25
    shadow = 1 - 0.9 * _inside(x - step_aside, y, 470, 400, 90, 60) * (1 - subject)
    flash = 1.05 / distance2 * shadow * (0.35 + 0.65 * subject)
    flash = flash[..., None] * np.array([1.0, 0.97, 0.9])

    solid = np.maximum(horizon, subject)[..., None]
    ambient = solid * reflects * day * 0.55 + (1 - solid) * sky
    strobe = solid * reflects * flash
    return _smaller(ambient), _smaller(strobe), _smaller(subject[..., None])[..., 0]


def _smaller(pixels: Floats) -> Floats:
    rows, columns, channels = pixels.shape
    return pixels.reshape(rows // FINER, FINER, columns // FINER, FINER, channels).mean(axis=(1, 3))


def encoded(light: Floats) -> Floats:
    """IEC 61966-2-1, to 0…255."""
    value = np.clip(light, 0, 1)
    return 255 * np.where(value <= 0.0031308, 12.92 * value, 1.055 * value ** (1 / 2.4) - 0.055)


def decoding_tables(levels: int = 256, *, linear: bool = False) -> NDArray[np.float32]:
    """Linear light of each code, (3, levels)."""
    value = np.linspace(0, 1, levels)
    light = value if linear else np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    return np.stack([light] * 3).astype(np.float32)


def photographed(light: Floats, seed: int | None) -> Floats:
    """The light with the noise of a sensor's photons and of its reading; clipped at white."""
    if seed is None:
        return np.clip(light, 0, 1)
    random = np.random.default_rng(seed)
    spread = np.sqrt(np.maximum(light, 0) / FULL_WELL + (READ_NOISE / FULL_WELL) ** 2)
    return np.clip(light + spread * random.standard_normal(light.shape), 0, 1)


def jpeg(light: Floats, seed: int | None, quality: int | None = 95) -> NDArray[np.uint8]:
    """8-bit sRGB codes of the light with noise, through JPEG without chroma subsampling; None leaves JPEG out."""
    from PIL import Image

    codes = np.round(encoded(photographed(light, seed))).astype(np.uint8)
    if quality is None:
        return codes
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=quality, subsampling=0)
    return np.asarray(Image.open(file).convert("RGB"))


def sixteen(light: Floats) -> NDArray[np.uint16]:
    """16-bit linear codes."""
    return np.round(np.clip(light, 0, 1) * 65535).astype(np.uint16)
