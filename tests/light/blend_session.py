"""A session of drawn frames with known lights, and a blend in it, on disk."""

from pathlib import Path

from finishing.colour.spaces import LINEAR, SRGB
from finishing.photographs.exif import Exif, rational, short, text, write_exif
from finishing.photographs.writing import OutputSettings, write_photograph
from tests.light.scene import Floats, jpeg, sixteen
from tests.light.scene import lights as whole_scene

WIDTH, HEIGHT = 360, 240

PLAN = """\
place: {name: Example orchard, date: 2026-09-19}
sync: 1/200
setups:
  - id: C
    title: By the gate
    frames: C-00*
    exposure: {aperture: f/8, shutter: 1/125, iso: 100}
    ambient: -1.5
    strobes: [{name: key, reads: f/8}]
  - id: D
    frames: D-*
    exposure: {aperture: f/5.6, shutter: 1/60, iso: 100}
"""

SESSION = """\
session: Gate at dusk
frames: [frames/*]
plan: plan.yaml
looks:
  - {look: plain, frames: [C, D]}
blends:
  C-blend:
    sources: [C-0012, C-0013]
    light: {ambient: +0.7, strobe: -0.3}
per_frame:
  C-0012: {subject: [0.458, 0.68], rating: 4}
deliverables:
  light: {format: tiff, bits: 16, profile: linear}
"""

LOOKS = {
    "plain": "look: Plain\nsteps: [{exposure: {stops: 0}}]\n",
    "darker": "look: Darker\nsteps: [{exposure: {stops: -1}}]\n",
}


def lights() -> tuple[Floats, Floats]:
    """Ambient and strobe of the middle of the scene, (HEIGHT, WIDTH, 3) linear: sky, ground, subject and its shadow."""
    ambient, strobe, _ = whole_scene()
    return ambient[120:360, 180:540], strobe[120:360, 180:540]


def exif(seconds: float, *, f_number: float = 8, iso: int = 100, taken: str = "2026:09:19 19:05:00") -> bytes:
    """A camera's record."""
    photo = {
        0x829A: rational(1, round(1 / seconds)), 0x829D: rational(round(f_number * 10), 10), 0x8827: short(iso),
        0x9003: text(taken),
    }  # fmt: skip
    return write_exif(Exif("<", {}, photo))


def write_frame(path: Path, light: Floats, record: bytes) -> Path:
    """A frame: .tif is 16-bit and linear, .jpg is sRGB with a sensor's noise."""
    path.parent.mkdir(parents=True, exist_ok=True)
    linear = path.suffix == ".tif"
    codes = sixteen(light) if linear else jpeg(light, sum(path.name.encode()), None)
    settings = OutputSettings(
        format="tiff" if linear else "jpeg", space=LINEAR if linear else SRGB, quality=95, compression="none"
    )
    write_photograph(path, codes, settings=settings, exif=record)
    return path


def write_blend_session(folder: Path, *, ending: str = "tif", session: str = SESSION) -> Path:
    """Two frames of set-up C from one tripod, 1/125 and 1/30, a plain one of D, and what is written of them."""
    ambient, strobe = lights()
    frames = folder / "frames"
    write_frame(frames / f"C-0012.{ending}", ambient + strobe, exif(1 / 125))
    write_frame(frames / f"C-0013.{ending}", 4 * ambient + strobe, exif(1 / 30, taken="2026:09:19 19:05:20"))
    write_frame(frames / "D-0001.jpg", 2 * ambient, exif(1 / 60, f_number=5.6))
    (folder / "plan.yaml").write_text(PLAN)
    (folder / "session.yaml").write_text(session)
    (folder / "recipes").mkdir()
    for name, look in LOOKS.items():
        (folder / "recipes" / f"{name}.yaml").write_text(look)
    return folder


def rewrite(folder: Path, *changes: tuple[str, str]) -> None:
    """Change session.yaml."""
    path = folder / "session.yaml"
    written = path.read_text()
    for old, new in changes:
        assert old in written, old
        written = written.replace(old, new)
    path.write_text(written)
