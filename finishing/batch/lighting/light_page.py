"""What the strobes did to a scene, as it is shown: on a page of its own (`stops.png`), and on contact sheets."""

import numpy as np
from numpy.typing import NDArray

from finishing import units
from finishing.batch.lighting.lighting_frames import Taken
from finishing.batch.lighting.taking_apart import Apart
from finishing.light.curve import CurveDoubt
from finishing.light.drawing import Page, draw_page
from finishing.light.stops_map import level_at, stops_map
from finishing.sheets.typeface import face, printable


def page_of(apart: Apart, subject: tuple[float, float] | None, doubt: CurveDoubt | None) -> Page:
    """The page of a scene. subject: its place in fractions of the frame, None for the middle."""
    separation, luminance = apart.separation, apart.luminance
    over, place = separation.overview, subject or (0.5, 0.5)
    notes = [f"From {from_words(apart.taken)}"]
    if doubt is not None:
        at = "" if doubt.stops_at_place is None else f", to {max(doubt.stops_at_place, 0.05):.1f} stop at this place"
        notes.append(f"Approximate{at}: the camera's curve is not known")
    return Page(
        _working(over.ambient, apart.matrix), _working(over.strobe, apart.matrix), stops_map(separation, luminance),
        over.clipped, over.moved_mask, place, level_at(separation, luminance, place), subject is not None,
        printable(caption_of(apart.taken[0])), [printable(note) for note in notes],
    )  # fmt: skip


def _working(light: NDArray[np.float32], matrix: NDArray[np.float64] | None) -> NDArray[np.float32]:
    if matrix is None:
        return light
    return np.asarray(np.tensordot(matrix.astype(np.float32), light, 1), np.float32)


def stops_picture(page: Page) -> bytes:
    """The page as a PNG file."""
    return draw_page(page, face(False).path, face(True).path)


def caption_of(first: Taken) -> str:
    """The first frame with its exposure: C-0012 · 1/125 · f/8 · ISO 100."""
    exposure = [units.format_shutter(first.shutter)]
    exposure += [units.format_aperture(first.aperture)] if first.aperture else []
    exposure += [units.format_iso(first.iso)] if first.iso else []
    return f"{first.header.name} · {' · '.join(exposure)}" + ("" if first.strobes else " · with the strobe added")


def from_words(taken: "tuple[Taken, ...]") -> str:
    """The frames with what sets them apart: C-0012 at 1/125, C-0013 at 1/30 without strobes."""
    return ", ".join(
        f"{f.header.name} at {units.format_shutter(f.shutter)}{'' if f.strobes else ' without strobes'}" for f in taken
    )
