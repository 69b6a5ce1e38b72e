"""A small session on disk: frames are empty files, since nothing here reads pixels."""

from collections.abc import Callable
from pathlib import Path

import pytest

PLAN = """\
place: {name: Example orchard, latitude: 47.4, longitude: 8.6, date: 2026-09-19, utc_offset: "+02:00"}
sync: 1/200
setups:
  - id: A
    title: Standing by the ladder, low sun from camera left
    frames: A-*
    exposure: {aperture: f/8, shutter: 1/125, iso: 100}
    ambient: -2
    strobes:
      - {name: key, modifier: medium softbox, position: camera left, power: 1/1, reads: f/8}
      - {name: rim, modifier: reflector, position: behind the subject, power: 1/4, reads: f/5.6}
  - id: B
    from: "18:50"
    to: "19:10"
    exposure: {aperture: f/11, shutter: 1/200, iso: 100}
    ambient: -2
    strobes:
      - {name: key, power: 1/2, reads: f/11}
"""

SESSION = """\
session: Orchard at dusk
frames: [frames/*.jpg]
plan: plan.yaml
camera_clock: {ahead_by: "00:01:30"}
rights: {creator: A. Example, copyright: "© 2026 A. Example", usage: Client use only, contact: studio@example.org}
looks:
  - look: saffron
    frames: all
    with: {kept_hue: 75}
  - {look: dawn, frames: [B, A-0002]}
  - {look: dawn, frames: {rating_at_least: 3}}
match:
  exposure: {to: A-0003, measure: {ellipse: [0.5, 0.4, 0.2, 0.3]}, at_most: 1.0}
  white_balance: {grey_card: {frame: A-0001, box: [0.46, 0.60, 0.54, 0.70]}}
per_frame:
  B-0002: {subject: [0.42, 0.38], masks: {coat: masks/coat.png}, crop: {aspect: 4:5}, rating: 4, skip: false}
  B-0003: {skip: on}
deliverables:
  web: {format: jpeg, long_edge: 2048, profile: srgb, quality: 90, subsampling: 4:2:0, sharpen: screen}
  print: {format: tiff, bits: 16, profile: oprgb, pixels_per_inch: 300}
"""

FRAMES = ("A-0001", "A-0002", "A-0003", "B-0001", "B-0002", "B-0003")

Write = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Write:
    """Writes the session (with replacements: old text, new text, …) and goes to its folder; gives the file."""
    monkeypatch.chdir(tmp_path)

    def writer(*changes: tuple[str, str], plan: str = PLAN) -> Path:
        text = SESSION
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new)
        Path("frames").mkdir(exist_ok=True)
        Path("masks").mkdir(exist_ok=True)
        for name in FRAMES:
            Path("frames", f"{name}.jpg").touch()
        Path("masks", "coat.png").touch()
        Path("plan.yaml").write_text(plan, encoding="utf-8")
        Path("session.yaml").write_text(text, encoding="utf-8")
        return Path("session.yaml")

    return writer
