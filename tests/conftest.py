"""Shared by all tests: pictures that packages of the test extra carry, and how hypothesis is set."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from numpy.typing import NDArray

settings.register_profile("finishing", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=50)
# A build must not fail on one change's examples and pass on the next one's; new examples are sought while developing.
settings.register_profile("ci", settings.get_profile("finishing"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "finishing")


@pytest.fixture(scope="session")
def photographs() -> dict[str, NDArray[np.uint8]]:
    """Real photographs, 8-bit RGB, read from installed packages: portraits, still life, scenes."""
    import matplotlib
    import skimage
    import sklearn
    from PIL import Image

    paths = {
        "astronaut": Path(skimage.__file__).parent / "data" / "astronaut.png",
        "coffee": Path(skimage.__file__).parent / "data" / "coffee.png",
        "portrait": Path(matplotlib.__file__).parent / "mpl-data" / "sample_data" / "grace_hopper.jpg",
        "temple": Path(sklearn.__file__).parent / "datasets" / "images" / "china.jpg",
        "flower": Path(sklearn.__file__).parent / "datasets" / "images" / "flower.jpg",
    }
    found = {name: path for name, path in paths.items() if path.is_file()}
    assert {"astronaut", "portrait"} <= set(found)
    return {name: np.asarray(Image.open(path).convert("RGB")) for name, path in found.items()}


def write_frame(
    path: Path, *, seconds: float | None = None, taken: str | None = None, size: tuple[int, int] = (300, 200)
) -> None:
    """A small frame: a soft sky over a field with an orange figure; with a camera's record where seconds are given."""
    from PIL import Image

    width, height = size
    x, y = np.meshgrid(np.linspace(0, 1, width), np.linspace(0, 1, height))
    sky = np.stack([0.55 + 0.2 * y, 0.6 + 0.15 * y, 0.75 - 0.1 * y], axis=-1)
    field = np.stack([0.30 + 0.1 * x, 0.34 + 0.05 * x, 0.2 + 0 * x], axis=-1)
    pixels = np.where((y < 0.55)[..., None], sky, field)
    pixels[(np.abs(x - 0.45) < 0.12) & (y > 0.25)] = (0.85, 0.55, 0.12)
    image = Image.fromarray(np.round(pixels * 255).astype(np.uint8))
    exif = Image.Exif()
    if seconds is not None:
        photo = exif.get_ifd(0x8769)
        photo[0x829A] = seconds
        photo[0x829D] = 8.0
        photo[0x8827] = 100
        exif[0x0110] = "Example Camera"
        if taken:
            photo[0x9003] = taken
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, quality=92, exif=exif)


SESSION = """\
session: Orchard test
frames: [frames/*.jpg]
plan: plan.yaml
camera_clock: {ahead_by: "00:01:30"}
rights: {creator: A. Example, copyright: "© 2026 A. Example", usage: Client use only, contact: studio@example.org}
looks:
  - {look: faded_print, frames: all}
  - {look: one_colour_kept, frames: [A, C-0004], with: {kept_hue: 60}}
per_frame:
  A-0002: {subject: [0.45, 0.5], rating: 4}
deliverables:
  web: {format: jpeg, long_edge: 150, profile: srgb, quality: 90}
  full: {format: png, profile: display_p3}
"""
PLAN = """\
place: {name: Example orchard, latitude: 47.4, longitude: 8.6, date: 2026-09-19, utc_offset: "+02:00"}
sync: 1/200
setups:
  - id: A
    title: Standing by the ladder
    frames: A-*
    exposure: {aperture: f/8, shutter: 1/125, iso: 100}
    ambient: -2
    strobes:
      - {name: key, modifier: medium softbox, position: camera left, power: 1/1, reads: f/8}
      - {name: rim, modifier: reflector, position: behind the subject, power: 1/4, reads: f/5.6}
  - id: C
    title: By the gate
    from: "19:00"
    to: "19:30"
    exposure: {aperture: f/5.6, shutter: 1/60, iso: 200}
    ambient: 0
"""


# The session's own recipes go before the library's, so that tests do not hang on what the library holds.
RECIPES = {
    "faded_print": """\
look: Faded print
steps:
  - exposure: {stops: 0.15}
  - tone_curve: {points: [[0, 0.11], [0.5, 0.53], [1, 0.955]]}
  - edge_vignette: {toward: "#2c2620", strength: 0.3, starts_at: 0.55, reaches: 1.15}
""",
    "one_colour_kept": """\
look: One colour kept
settings: {kept_hue: 72}
steps:
  - hue_isolation: {keep: $kept_hue, width: 34, softness: 16, rest: 0}
""",
}


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A small session: two frames of set-up A by name, one of C by time, one stray without a record."""
    folder = tmp_path / "shoot"
    write_frame(folder / "frames" / "A-0001.jpg", seconds=1 / 125, taken="2026:09:19 18:50:00")
    write_frame(folder / "frames" / "A-0002.jpg", seconds=1 / 60, taken="2026:09:19 18:52:00", size=(200, 300))
    write_frame(folder / "frames" / "C-0004.jpg", seconds=1 / 60, taken="2026:09:19 19:05:00")
    write_frame(folder / "frames" / "Z-0009.jpg")
    (folder / "session.yaml").write_text(SESSION)
    (folder / "plan.yaml").write_text(PLAN)
    (folder / "recipes").mkdir()
    for name, text in RECIPES.items():
        (folder / "recipes" / f"{name}.yaml").write_text(text)
    return folder
