"""Test strips: one image in bands, each with another value of a recipe; or a grid of small whole pictures."""

import math
import os
from collections.abc import Hashable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from finishing.batch.opening.picture import finish_picture, reduced
from finishing.batch.paper.looking_alike import Likeness, alike, alike_in_bands, look_the_same
from finishing.batch.paper.on_trial import OnTrial
from finishing.batch.paper.prints import PIXELS_PER_INCH, Codes, is_pdf, jpeg_of, refuse_ending, write_pages
from finishing.batch.paper.varying import Axis, Varied
from finishing.engine.ends import Source
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.sheets.model import paper_called
from finishing.sheets.placed import Page, pictures_needed
from finishing.sheets.strip import Trial, Value, lay_out_grid, lay_out_strip
from finishing.sheets.typeface import measure

#: The share of the image's width and height that is shown about a subject point unless another is asked for.
WINDOW = 0.5
LEAST_WINDOW = 0.05
#: What is finished to show a small window of an image never gets larger than this many pixels.
_MOST_PIXELS = 40_000_000
#: So many whole pictures of bands are held to compare others with.
_KEPT = 2


@dataclass(frozen=True)
class Window:
    """The part of an image that is shown, in fractions of its width and height."""

    left: float = 0.0
    top: float = 0.0
    side: float = 1.0

    @staticmethod
    def about(subject: tuple[float, float] | None, side: float) -> "Window":
        """A window of this side about a point, moved so that it stays inside; the middle without a point."""
        x, y = subject or (0.5, 0.5)
        return Window(min(max(x - side / 2, 0), 1 - side), min(max(y - side / 2, 0), 1 - side), side)


@dataclass(frozen=True)
class StripReport:
    """files: what was written; values: by the name of what varies, as printed; notices: what there is to tell."""

    files: list[Path]
    values: dict[str, list[str]]
    notices: list[str]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {"files": [str(path) for path in self.files], "values": self.values, "notices": self.notices}


def make_strip(
    varied: Varied,
    image: OnTrial,
    path: Path,
    *,
    window: float | None = None,
    whole: bool = False,
    paper: str = "a4",
    jobs: int | None = None,
    pixels_per_inch: float = PIXELS_PER_INCH,
) -> StripReport:
    """Write the test strip of an image: PNG or PDF, by the path's ending.

    One axis gives bands over the window, edge to edge; `whole`, or two axes, give small pictures, each with the whole
    window, which lies about the image's subject. window: its side as a share of the image's; unless said, all of the
    image with `whole` or without a subject, else half. Raises Problem.
    """
    refuse_ending(path, "a test strip")
    if window is not None and not LEAST_WINDOW <= window <= 1:
        raise Problem(
            "the window has no such size",
            got=f"{window:g}",
            expected=f"a share of the image's width and height, {LEAST_WINDOW:g} to 1",
            remedy="write --window 0.4, for example",
        )
    usual = 1.0 if whole or image.subject is None else WINDOW
    side = usual if window is None else window
    shown = Window.about(image.subject, side)
    in_bands = len(varied.axes) == 1 and not whole
    page = _laid_out(varied, image, shown, paper, in_bands=in_bands)
    ((_, (width, height)), *_) = pictures_needed([page], pixels_per_inch).items()
    opened = image.open(replace(varied.base, checks=()), _edge_needed(image, width, height, shown))
    source, geometry, crop = _brought_to_size(opened.source, opened.geometry, shown, width, height)

    def finished(places: Sequence[int]) -> Codes:
        codes = finish_picture(varied.look(*places).steps, source, geometry)[crop]
        return _filled(codes, width, height)

    choices = list(product(*(range(len(axis.values)) for axis in varied.axes)))
    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        made = pool.map(finished, choices)
        if in_bands:
            strip, same = _in_bands(made, varied.axes[0], width, height)
            pictures: dict[Hashable, Codes] = {"strip": strip}
        else:
            pictures = dict(zip(choices, made, strict=True))
            likeness = Likeness(len(choices))
            same = alike(varied.axes, {places: likeness.number(pictures[places]) for places in choices})

    def picture(key: Hashable, width: int, height: int) -> Codes | bytes:
        return jpeg_of(pictures[key]) if is_pdf(path) else pictures[key]

    files, notices = write_pages(
        [page],
        picture,
        path,
        what="test strip",
        title=varied.base.title,
        originals=image.originals,
        pixels_per_inch=pixels_per_inch,
    )
    values = {axis.name: list(axis.labels) for axis in varied.axes}
    return StripReport(files, values, [*opened.notices, *same, *notices])


def _laid_out(varied: Varied, image: OnTrial, shown: Window, paper: str, *, in_bands: bool) -> Page:
    look = varied.base
    trial = Trial(
        title=look.title,
        subtitle=f"{image.name} · " + ("test strip" if in_bands else "trial prints"),
        notes=tuple(_note(axis, number, of=len(varied.axes)) for number, axis in enumerate(varied.axes)),
        footer=f"{look.name}, version {look.version}" + _window_told(shown),
    )
    values = [[Value(label, n == axis.own_at) for n, label in enumerate(axis.labels)] for axis in varied.axes]
    shape = image.width / image.height
    if in_bands:
        return lay_out_strip(trial, "strip", shape, values[0], paper_called(paper), measure)
    down = values[1] if len(values) > 1 else []
    keys = [[(x, y) if down else (x,) for x in range(len(values[0]))] for y in range(max(1, len(down)))]
    return lay_out_grid(trial, keys, shape, values[0], down, paper_called(paper), measure)


def _note(axis: Axis, number: int, *, of: int) -> str:
    """What varies: edge_vignette.strength from 0.2 to 1 · the recipe has 0.8."""
    direction = ("Across: ", "Down: ")[number] if of > 1 else ""
    told = axis.labels[-1].lstrip("+").replace("−", "-") != axis.values[-1]
    unit = "" if told or not axis.unit else f" of {axis.unit}" if axis.unit.startswith("the ") else f" {axis.unit}"
    return f"{direction}{axis.name} from {axis.labels[0]} to {axis.labels[-1]}{unit} · the recipe has {axis.own}"


def _window_told(shown: Window) -> str:
    if shown.side == 1:
        return ""
    x, y = shown.left + shown.side / 2, shown.top + shown.side / 2
    return f" · shown: {100 * shown.side:.0f} % of the image's width and height, about {x:.2f}, {y:.2f}"


def _edge_needed(image: OnTrial, width: int, height: int, shown: Window) -> int:
    """The long edge with which the image must be decoded for its window to have the pixels it is printed with."""
    scale = min(max(width / image.width, height / image.height) / shown.side, 1)
    return max(1, math.ceil(scale * max(image.width, image.height)))


def _brought_to_size(
    full: Source, geometry: Geometry, shown: Window, width: int, height: int
) -> tuple[Source, Geometry, tuple[slice, slice]]:
    """The image at the size at which its window is as large as it is printed, or as large as it is; and the window."""
    scale = min(max(width / full.width, height / full.height) / shown.side, 1)
    scale = min(scale, math.sqrt(_MOST_PIXELS / (full.width * full.height)))
    size = max(1, round(full.width * scale)), max(1, round(full.height * scale))
    left, top = min(int(shown.left * size[0]), size[0] - 1), min(int(shown.top * size[1]), size[1] - 1)
    part = (
        slice(top, max(top + 1, min(size[1], top + round(shown.side * size[1])))),
        slice(left, max(left + 1, min(size[0], left + round(shown.side * size[0])))),
    )
    return reduced(full, *size), geometry.resized(*size), part


def _filled(codes: Codes, width: int, height: int) -> Codes:
    """The picture at exactly this size; it is there already but for a pixel, or for a window with too few of them."""
    if codes.shape[:2] == (height, width):
        return np.ascontiguousarray(codes)
    enlarged = codes.shape[0] < height or codes.shape[1] < width
    how = cv2.INTER_CUBIC if enlarged else cv2.INTER_AREA
    return np.asarray(cv2.resize(np.ascontiguousarray(codes), (width, height), interpolation=how), np.uint8)


def _in_bands(made: Iterable[Codes], axis: Axis, width: int, height: int) -> tuple[Codes, list[str]]:
    """The bands edge to edge, each from its own finished picture; and which of them look the same."""
    count = len(axis.values)
    strip = np.empty((height, width, 3), np.uint8)
    edges = [round(number * width / count) for number in range(count + 1)]
    likeness, before = Likeness(_KEPT), None
    pictures, same = list[int](), list[bool]()
    for number, codes in enumerate(made):
        strip[:, edges[number] : edges[number + 1]] = codes[:, edges[number] : edges[number + 1]]
        pictures.append(likeness.number(codes))
        if before is not None:
            both = np.s_[:, edges[number - 1] : edges[number + 1]]
            same.append(look_the_same(np.ascontiguousarray(before[both]), np.ascontiguousarray(codes[both])))
        before = codes
    seen: dict[tuple[int, ...], int] = {(number,): picture for number, picture in enumerate(pictures)}
    return strip, [*alike([axis], seen), *alike_in_bands(axis, same, pictures)]
