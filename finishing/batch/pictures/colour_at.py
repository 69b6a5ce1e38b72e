"""The colour at a place of a picture, in the numbers that recipes take."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from finishing.batch.opening.picture import exact_source_of
from finishing.colour import oklab, transfer
from finishing.photographs.reading import read_reduced

#: The picture is looked at with this many pixels along its long edge, or a few more.
LONG_EDGE = 1500
#: What is averaged: a disc of this radius, in fractions of the short side. A colour is told, not a pixel's noise.
RADIUS = 0.006
#: Below this chroma a hue means nothing.
LEAST_CHROMA = 0.02


@dataclass(frozen=True)
class ColourAt:
    """place: x and y in fractions. code: #rrggbb of sRGB, cut to it. lightness, chroma, hue: OkLCh, hue in degrees."""

    place: tuple[float, float]
    code: str
    lightness: float
    chroma: float
    hue: float

    def lines(self) -> list[str]:
        """As the command prints it."""
        x, y = self.place
        told = f"at {x:g},{y:g}: {self.code}, lightness {self.lightness:.2f}, chroma {self.chroma:.3f}"
        if self.chroma < LEAST_CHROMA:
            return [f"{told}: nearly grey, no hue to keep or turn"]
        hue = round(self.hue) % 360
        return [f"{told}, hue {hue}°", f"a look keeps or turns it with hue {hue} (--with kept_hue={hue}, say)"]

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "at": list(self.place), "colour": self.code, "lightness": round(self.lightness, 4),
            "chroma": round(self.chroma, 4), "hue": round(self.hue, 2),
        }  # fmt: skip


def colour_at(path: Path, place: tuple[float, float]) -> ColourAt:
    """The mean light of a small disc. Raises Problem where the picture cannot be read."""
    source = exact_source_of(read_reduced(path, LONG_EDGE))
    x, y = place[0] * source.width - 0.5, place[1] * source.height - 0.5
    radius = max(RADIUS * min(source.width, source.height), 0.75)
    top, bottom = max(int(np.ceil(y - radius)), 0), min(int(y + radius), source.height - 1)
    rows = np.empty((3, bottom - top + 1, source.width), np.float32)
    source.read(rows, top)
    down, across = np.arange(top, bottom + 1)[:, None], np.arange(source.width)[None, :]
    inside = (across - x) ** 2 + (down - y) ** 2 <= radius**2
    light = rows[:, inside].astype(np.float64).mean(axis=1)
    lightness, a, b = oklab.linear_to_oklab(light)
    codes = np.round(np.clip(transfer.srgb_encode(light), 0, 1) * 255).astype(int)
    return ColourAt(
        place,
        "#" + "".join(f"{code:02x}" for code in codes),
        float(lightness),
        float(np.hypot(a, b)),
        float(np.degrees(np.arctan2(b, a)) % 360),
    )
