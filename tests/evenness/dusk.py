"""A small drawn session with known faults: frames of one scene, each with its own gain, cast and noise.

The scene is plain NumPy: a sky, a field, a figure with skin in light and shade, a dark coat, and a grey card. Casts are
drawn with Bradford by colour-science, another adaptation than the one that takes them out.
"""

import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 480, 320
#: The figure, as a region of the session, and the card, as a box.
FIGURE = "{ellipse: [0.45, 0.52, 0.12, 0.30]}"
CARD = (0.70, 0.55, 0.80, 0.70)
# IEC 61966-2-1 and ITU-R BT.709, as colour-science has them.
TO_XYZ = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ)
FROM_XYZ = np.linalg.inv(TO_XYZ)
D65 = colour.xy_to_XYZ((0.3127, 0.3290))


@dataclass(frozen=True)
class Fault:
    """stops: of gain; kelvin: the light as it shows, 6504 neutral; seconds: what the camera says; moved: of the figure,
    in fractions of the width."""

    stops: float = 0.0
    kelvin: float = 6504.0
    seconds: float | None = 1 / 125
    moved: float = 0.0


def scene(moved: float = 0.0) -> Floats:
    """Linear light (HEIGHT, WIDTH, 3), the card at 0.18."""
    x, y = np.meshgrid((np.arange(WIDTH) + 0.5) / WIDTH, (np.arange(HEIGHT) + 0.5) / HEIGHT)
    sky = np.stack([0.30 + 0.25 * y, 0.36 + 0.2 * y, 0.55 - 0.1 * y], axis=-1)
    grass = 0.6 + 0.4 * np.sin(140 * x + 30 * np.sin(50 * y)) * np.cos(90 * y)
    field = np.stack([0.10 * grass, 0.13 * grass, 0.05 * grass], axis=-1)
    light = np.where((y < 0.5)[..., None], sky, field)
    u, v = (x - 0.45 - moved) / 0.12, (y - 0.52) / 0.30
    figure = u**2 + v**2 < 1
    modelling = 0.55 + 0.45 * np.clip(-u, -1, 1) + 0.1 * np.sin(60 * v)
    skin = modelling[..., None] * np.array([0.40, 0.24, 0.16])
    coat = (0.5 + 0.5 * modelling)[..., None] * np.array([0.17, 0.08, 0.03])
    light = np.where(figure[..., None], np.where((v < -0.1)[..., None], skin, coat), light)
    left, top, right, bottom = CARD
    card = (x > left - 0.02) & (x < right + 0.02) & (y > top - 0.02) & (y < bottom + 0.02)
    light[card] = 0.18
    return np.asarray(light)


def cast(kelvin: float) -> Floats:
    """3×3 on linear light: the scene under light of this kelvin instead of D65."""
    if kelvin == 6504.0:
        return np.eye(3)
    white = colour.xy_to_XYZ(colour.temperature.CCT_to_xy_CIE_D(kelvin))
    adapted = colour.adaptation.matrix_chromatic_adaptation_VonKries(D65, white, transform="Bradford")
    return np.asarray(FROM_XYZ @ adapted @ TO_XYZ)


def photographed(fault: Fault, seed: int | None) -> NDArray[np.uint8]:
    """The scene as a camera with this fault files it: gain, cast, photon and read noise, clipped, sRGB, 8 bits."""
    light = scene(fault.moved) @ cast(fault.kelvin).T * 2.0**fault.stops
    if seed is not None:
        noise = np.random.default_rng(seed).standard_normal(light.shape)
        light = light + noise * np.sqrt(np.maximum(light, 0) / 4000 + (4 / 4000) ** 2)
    encoded = colour.models.eotf_inverse_sRGB(np.clip(light, 0, 1))
    return np.asarray(np.round(encoded * 255), np.uint8)


def write(path: Path, codes: NDArray[np.uint8], seconds: float | None, second: int) -> None:
    """A JPEG with the exposure f/8, ISO 100 and a capture time, or without a record where seconds is None."""
    from PIL import Image

    image = Image.fromarray(codes)
    exif = Image.Exif()
    if seconds is not None:
        photo = exif.get_ifd(0x8769)
        photo[0x829A] = seconds
        photo[0x829D], photo[0x8827] = 8.0, 100
        photo[0x9003] = f"2026:09:19 19:{second // 60:02d}:{second % 60:02d}"
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, quality=95, subsampling=0, exif=exif)


PLAN = """\
sync: 1/200
setups:
  - {id: A, frames: A-*, exposure: {aperture: f/8, shutter: 1/125, iso: 100}}
  - {id: B, frames: B-*, exposure: {aperture: f/8, shutter: 1/125, iso: 100}}
"""


def write_session(folder: Path, faults: dict[str, Fault], match: str, *, plan: str = PLAN, per_frame: str = "") -> Path:
    """Frames with faults, a plan and a session that evens out as `match` says."""
    for number, (name, fault) in enumerate(faults.items()):
        write(folder / "frames" / f"{name}.jpg", photographed(fault, number), fault.seconds, number * 20)
    (folder / "plan.yaml").write_text(plan)
    (folder / "recipes").mkdir(exist_ok=True)
    (folder / "recipes" / "plain.yaml").write_text("look: Plain\nsteps: [{exposure: {stops: 0}}]\n")
    (folder / "session.yaml").write_text(
        "session: Faults\nframes: [frames/*.jpg]\nplan: plan.yaml\n"
        f"match:\n{match}"
        "looks: [{look: plain, frames: all}]\ndeliverables: {full: {format: png}}\n" + per_frame
    )
    return folder


def card_of(codes: NDArray[np.uint8]) -> Floats:
    """Mean linear light of the card in a picture of the scene."""
    left, top, right, bottom = CARD
    part = codes[int(top * HEIGHT) : int(bottom * HEIGHT), int(left * WIDTH) : int(right * WIDTH)]
    return np.asarray(colour.models.eotf_sRGB(part / 255).reshape(-1, 3).mean(axis=0))
