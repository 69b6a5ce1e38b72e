"""The blends on a contact sheet: their pictures in looks, a ladder of the ambient, and a page on what the strobes did.

All of it comes from one separation a blend.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from finishing import units
from finishing.batch.delivery.records import setup_line
from finishing.batch.lighting.light_page import caption_of, from_words, page_of
from finishing.batch.lighting.lighting_frames import IN_SESSION
from finishing.batch.lighting.taking_apart import taken_apart
from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.opened import edge_to_open, to_working
from finishing.batch.opening.picture import finish_picture, fitted, kept_of, reduced
from finishing.batch.work.assignment import FrameWork
from finishing.batch.work.blends import BlendWork, one_problem
from finishing.engine.ends import LinearSource, Source
from finishing.errors import Problem, ProblemSet
from finishing.exposure.series import shutter_by_stops
from finishing.light.blending import Blend, Light, reduced_lights
from finishing.light.drawing import Page, draw_figure, draw_refusal, figure_size, light_codes
from finishing.operation import Geometry
from finishing.recipes.recipe import Recipe
from finishing.sessions.blends import light_words
from finishing.sheets import layout, model, placed
from finishing.sheets.fitting import Measure
from finishing.sheets.light_page import LightPage, Shown, lay_out_light
from finishing.sheets.typeface import face

#: The rungs of the ladder: the ambient in stops against the first source.
LADDER = (-2.0, -1.0, 0.0, 1.0)
#: Pictures on the page of a blend.
STOPS, TAKEN, AMBIENT, STROBE = "stops", "as taken", "ambient alone", "strobe alone"

Codes = NDArray[np.uint8]
Sizes = Mapping[Hashable, tuple[int, int]]


class Rung(NamedTuple):
    """The key of a picture of the ladder."""

    name: str
    look: str
    ambient_stops: float


class OfLight(NamedTuple):
    """The key of a picture that shows light, in no look: it is not marked, and its tones are not told."""

    name: str
    what: str


def pages_of_blends(
    blends: Sequence[FrameWork], sheet: model.Sheet, pages: Sequence[placed.Page], measure: Measure
) -> list[placed.Page]:
    """The pages that stand behind those of a contact sheet: the ladders, then a page for each blend.

    sheet, pages: the contact sheet's own, for titles, what is told of tones, and how the paper lies.
    """
    paper = model.Paper(pages[0].width_mm, pages[0].height_mm)
    several = len(sheet.column_titles) > 1
    ladders = model.Sheet(
        title="Blends: the ambient, stop by stop",
        subtitle="Against the first frame of each blend, the strobe staying as the blend has it",
        footer=sheet.footer,
        groups=tuple(_ladder(one, several=several) for one in blends),
        histograms=sheet.histograms,
        clipping=sheet.clipping,
    )
    count = len(layout.lay_out(ladders, paper, measure))
    total = len(pages) + count + len(blends)
    placed_ladders = layout.lay_out(ladders, paper, measure, before=len(pages), after=len(blends))
    first = total - len(blends) + 1
    own = [lay_out_light(_light(one, sheet), paper, measure, first + i, total) for i, one in enumerate(blends)]
    return [*placed_ladders, *own]


def _ladder(frame: FrameWork, *, several: bool) -> model.Group:
    """A blend's ladder: a row a look."""
    blend = frame.blend
    assert blend is not None
    strobe = light_words("strobe", blend.written.light.strobe)
    detail = f"from {from_words(blend.taken)} · {strobe}"
    rows = tuple(tuple(_rung(frame, blend, look, stops, several=several) for stops in LADDER) for look in frame.looks)
    return model.Group(frame.frame.name, rows, detail)


def _rung(frame: FrameWork, blend: BlendWork, look: Recipe, stops: float, *, several: bool) -> model.Cell:
    assert frame.header is not None
    kept = framing_of(frame.says, frame.header.width, frame.header.height)
    own = blend.written.light.ambient
    lines = [_ambient(stops), _shutter(blend, stops), look.title if several else ""]
    return model.Cell(
        Rung(frame.frame.name, look.name, stops), kept.width, kept.height,
        tuple(line for line in lines if line),
        alerts=("as the blend has it",) if own is not None and abs(own - stops) < 0.005 else (),
    )  # fmt: skip


def _ambient(stops: float) -> str:
    """A rung: ambient −1 stop, ambient 0."""
    return light_words("ambient", stops) if stops else "ambient 0"


def _shutter(blend: BlendWork, stops: float) -> str:
    """The time that would have let in so much ambient: as at 1/250; nothing where there is none such."""
    taken = blend.taken[0].shutter
    try:
        time = units.format_shutter(shutter_by_stops(taken, stops))
        return f"as at {time}" if stops else f"as taken, {units.format_shutter(taken)}"
    except ValueError:
        return ""


def _light(frame: FrameWork, sheet: model.Sheet) -> LightPage:
    blend, header, name = frame.blend, frame.header, frame.frame.name
    assert blend is not None
    assert header is not None
    across, down = figure_size(header.width, header.height)
    parts = [f"from {from_words(blend.taken)}"]
    if frame.setup is not None:
        parts.append(f"set-up {frame.setup.setup.id}: {setup_line(frame.setup)}")
    taken = caption_of(blend.taken[0])
    return LightPage(
        running=sheet.title,
        heading=f"{name}: what the strobe did, in stops over the ambient",
        detail=" · ".join(parts),
        figure=OfLight(name, STOPS),
        figure_shape=across / down,
        pictures=(
            Shown(OfLight(name, TAKEN), "As taken", taken),
            Shown(OfLight(name, AMBIENT), "Ambient alone", "what the shutter let in"),
            Shown(OfLight(name, STROBE), "Strobe alone", "what the heads gave"),
        ),
        shape=header.width / header.height,
        footer=sheet.footer,
    )


def blend_pictures(frame: FrameWork, needed: Sizes) -> dict[Hashable, Codes | Problem]:
    """All pictures of one blend that a sheet shows, from one separation. needed: by key, the sizes they must fit in.
    A look that fails on it has its problem.

    Raises Problem where the blend cannot be made.
    """
    blend = frame.blend
    assert blend is not None
    if blend.refusal is not None:
        raise blend.refusal
    looks = {recipe.name: recipe for recipe in frame.looks}
    of_light = [key for key in needed if isinstance(key, OfLight)]
    of_looks = {key: _of_look(key, blend, looks) for key in needed if not isinstance(key, OfLight)}
    edge = max((max(needed[key]) for key in of_looks), default=1)
    page = None
    try:
        with taken_apart(blend.taken, IN_SESSION, threads=1) as apart:
            if of_light:
                page = page_of(apart, frame.says.subject, apart.doubt(blend.light, frame.says.subject or (0.5, 0.5)))
            separation, own = apart.separation, to_working(frame, apart.matrix)
            full = separation.width
            size = fitted(full, separation.height, edge_to_open(frame, edge))
            lights = reduced_lights(separation, *size, own)
            del apart, separation
    except ProblemSet as error:
        raise one_problem(error) from error
    opened: dict[Blend, tuple[Source, Geometry]] = {}
    made: dict[Hashable, Codes | Problem] = {}
    for key, (look, light) in of_looks.items():
        if light not in opened:
            opened[light] = kept_of(frame, LinearSource(lights.blend(light)), lights.ambient.shape[2] / full)
        source, whole = opened[light]
        scale = min(needed[key][0] / source.width, needed[key][1] / source.height, 1)
        small = max(1, round(source.width * scale)), max(1, round(source.height * scale))
        try:
            made[key] = finish_picture(look.steps, reduced(source, *small), whole.resized(*small))
        except Problem as problem:
            made[key] = problem
    if page is not None:
        made.update({key: _of_page(key, page, frame, needed[key]) for key in of_light})
    return made


def _of_look(key: Any, blend: BlendWork, looks: Mapping[str, Recipe]) -> tuple[Recipe, Blend]:
    """The look and the lights of a picture."""
    light = blend.light
    if isinstance(key, Rung):
        return looks[key.look], replace(light, ambient=Light(key.ambient_stops, light.ambient.white))
    return looks[key[1]], light


def _of_page(key: OfLight, page: Page, frame: FrameWork, size: tuple[int, int]) -> Codes:
    assert frame.header is not None
    if key.what == STOPS:
        figure = draw_figure(page, frame.header.width, frame.header.height, face(False).path, face(True).path)
        return _fitted(figure, *size)
    light = {TAKEN: page.ambient + page.strobe, AMBIENT: page.ambient, STROBE: page.strobe}[key.what]
    return light_codes(light, *size)


def refused_pictures(frame: FrameWork, problem: Problem, needed: Sizes) -> dict[Hashable, Codes]:
    """What stands in place of the figure of a blend that failed: why."""
    assert frame.header is not None
    told = ". ".join(part[:1].upper() + part[1:] for part in (problem.what, problem.got, problem.remedy) if part)
    size = frame.header.width, frame.header.height
    return {
        key: _fitted(draw_refusal(told, *size, face(False).path, face(True).path), *needed[key])
        for key in needed
        if isinstance(key, OfLight) and key.what == STOPS
    }


def _fitted(codes: Codes, width: int, height: int) -> Codes:
    scale = min(width / codes.shape[1], height / codes.shape[0])
    size = min(width, max(1, round(codes.shape[1] * scale))), min(height, max(1, round(codes.shape[0] * scale)))
    smaller = size[0] < codes.shape[1]
    return np.asarray(cv2.resize(codes, size, interpolation=cv2.INTER_AREA if smaller else cv2.INTER_CUBIC), np.uint8)
