"""Strobe and ambient of loose frames: taken apart, shown, blended anew, written."""

import json
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from finishing import units
from finishing.batch.ledger import hash_file
from finishing.batch.lighting_frames import Taken, is_light, lit_frame, one_encoding, taken_frames
from finishing.batch.records import SOFTWARE
from finishing.colour.spaces import LINEAR, LUMINANCE
from finishing.errors import Problem, ProblemSet
from finishing.light.blending import AMBIENT_ALONE, STROBE_ALONE, Blend, BlendSource, Light
from finishing.light.curve import CurveDoubt, curve_doubt
from finishing.light.drawing import Page, draw_page, sentence
from finishing.light.separation import Separation, error_gain, separate
from finishing.light.stops_map import Level, level_at, shares, stops_map
from finishing.photographs.records import FinishRecord, output_metadata
from finishing.photographs.writing import OutputSettings, write_bytes, write_photograph
from finishing.sessions.plan import ShootPlan, read_plan

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from finishing.photographs.metadata import FrameMetadata

AMBIENT, STROBE, BLEND, MAP, REPORT = "ambient.tif", "strobe.tif", "blend.tif", "stops.png", "report.json"
#: Errors of one light over those of a frame from which on the report warns; more of the picture moving than this is no
#: subject that moved.
NOISY, MOST_MOVED = 3.0, 0.5


@dataclass(frozen=True)
class LightRequest:
    """What is asked for. shutters: seconds as printed, one a frame, or none; off: frames without strobes; plan: a
    plan's file; subject: fractions of width and height, None for the middle; again: overwrite outputs."""

    frames: Sequence[Path]
    out: Path
    shutters: Sequence[float] = ()
    off: Sequence[Path] = ()
    plan: Path | None = None
    blend: Blend = field(default_factory=Blend)
    subject: tuple[float, float] | None = None
    again: bool = False


@dataclass(frozen=True, eq=False)
class LightReport:
    """What came out. level: the two lights at the subject; facts: all there is to say, as plain values; notices: what
    the photographer should know; outputs: files written."""

    level: Level
    summary: str
    facts: dict[str, Any]
    notices: list[str]
    outputs: list[Path]


def light_frames(
    request: LightRequest, *, threads: int | None = None, progress: Callable[[str], None] = lambda line: None
) -> LightReport:
    """Take the frames apart and write what was asked for. Raises Problem or ProblemSet where the sums cannot hold, the
    frames do not lie on each other, or an output is there already; nothing is written then."""
    plan = read_plan(request.plan).value if request.plan else None
    taken = taken_frames(request.frames, request.shutters, request.off, plan)
    targets = [request.out / name for name in (AMBIENT, STROBE, BLEND, MAP, REPORT)]
    _refuse(targets, request)
    workers = threads or os.cpu_count() or 1
    with ThreadPoolExecutor(min(workers, len(taken))) as pool:
        read = list(pool.map(lit_frame, taken))
    progress(f"{len(taken)} frames read")
    matrix = one_encoding(taken, [photograph for _, photograph in read])
    luminance = LUMINANCE if matrix is None else np.asarray(LUMINANCE @ matrix, np.float64)
    exact = all(is_light(photograph) for _, photograph in read)
    encoding = read[0][1].encoding.description
    metadata = read[0][1].metadata
    told = [f"{frame.path.name}: {notice}" for frame, (_, photograph) in zip(taken, read, strict=True)
            for notice in photograph.notices]  # fmt: skip
    separation = separate([frame for frame, _ in read], luminance, threads=threads)
    del read
    _check(separation, taken)
    progress("strobe and ambient taken apart")
    place = request.subject or (0.5, 0.5)
    level = level_at(separation, luminance, place)
    doubt = None
    if not exact:
        stops = request.blend.ambient.stops or 0.0, request.blend.strobe.stops or 0.0
        doubt = curve_doubt(separation, luminance, place, *stops)
    notices = [*_notices(separation, taken, plan, doubt), *told]
    summary = sentence(level, request.subject is not None)
    page = _page(separation, taken, matrix, luminance, place, level, request, doubt)
    levels = shares(stops_map(separation, luminance))
    separation = separation.lean()
    source_hash = hash_file(taken[0].path)
    cut = {}
    for target, blend in zip(targets, (AMBIENT_ALONE, STROBE_ALONE, request.blend), strict=False):
        codes, above, below = BlendSource(separation, blend, matrix).codes(threads)
        cut[target.name] = {"above_white": round(above, 6), "below_black": round(below, 6)}
        _write(target, codes, _words(target.name, taken, blend), taken[0], metadata, source_hash)
        del codes
        progress(f"{target.name} written")
    if cut[BLEND]["above_white"] > 0.001:
        notices.append(f"{cut[BLEND]['above_white']:.1%} of the blend lies above white and was cut there")
    write_bytes(targets[3], page)
    facts = {
        "summary": summary,
        "exact": exact,
        "encoding": encoding,
        "approximate_by": None if doubt is None else _curve_facts(doubt),
        **_facts(separation, taken, level, place, request),
        "map": {name: round(share, 4) for name, share in levels.items()},
        "cut": cut,
        "notices": notices,
    }
    write_bytes(targets[4], (json.dumps(facts, indent=2, ensure_ascii=False) + "\n").encode())
    return LightReport(level, summary, facts, notices, targets)


def _refuse(targets: Sequence[Path], request: LightRequest) -> None:
    frames = {path.resolve() for path in request.frames}
    problems = [
        Problem(
            "the output would take the place of a frame", where=str(target), remedy="name another folder with --out"
        )
        if target.resolve() in frames
        else Problem(
            "the output exists already",
            where=str(target),
            remedy="name another folder with --out, or overwrite it with --again",
        )
        for target in targets
        if target.resolve() in frames or (target.exists() and not request.again)
    ]
    if problems:
        raise ProblemSet(problems)


def _check(separation: Separation, taken: Sequence[Taken]) -> None:
    """Raises ProblemSet where the frames are not of one scene from one place."""
    problems = [
        Problem(
            "this frame does not lie on the first: they are not of one scene, or the camera moved too far",
            where=frame.path.name,
            got=f"agreement {found.agreement:.2f} of 1, {found.shift[0]:+.0f} and {found.shift[1]:+.0f} pixels, "
            f"{found.degrees:+.1f}°",
            expected=f"a frame from the same tripod as {taken[0].path.name}",
            remedy="use frames that were taken from one tripod, one after the other",
        )
        for frame, found in zip(taken[1:], separation.alignments, strict=True)
        if not found.found
    ]
    moved = float(separation.overview.moved_mask.mean())
    if not problems and moved > MOST_MOVED:
        problems.append(
            Problem(
                "the frames contradict each other nearly everywhere",
                got=f"{moved:.0%} of the picture",
                expected="one light that follows the shutter and one that does not",
                remedy="check the shutters (--shutter), which frames had no strobes (--off), and that neither the "
                "strobes' power nor the daylight changed in between",
            )
        )
    if problems:
        raise ProblemSet(problems)


def _notices(
    separation: Separation, taken: Sequence[Taken], plan: ShootPlan | None, doubt: CurveDoubt | None
) -> list[str]:
    told = []
    if doubt is not None:
        told.append(_approximate(doubt))
    ambient, strobe = error_gain([frame.seconds for frame in taken], [frame.strobes for frame in taken])
    if max(ambient, strobe) > NOISY:
        told.append(
            f"the shutters lie near each other: noise in the ambient is {ambient:.1f} times that of a frame, in the "
            f"strobe {strobe:.1f} times; two stops apart it would be 0.5 and 1.4"
        )
    for frame, check in zip(taken[1:], separation.shutters, strict=True):
        if check.excess_stops:
            told.append(
                f"{frame.path.name}: where no strobe falls, it is {units.format_stops(check.excess_stops, 2)} stops "
                f"off what its shutter says against {taken[0].path.name}; that was taken into account"
            )
    over = separation.overview
    if over.moved_mask.any():
        told.append(
            f"something moved between the frames: {over.moved_mask.mean():.1%} of the picture keeps the light of "
            f"{separation.frames[separation.base].name}, split into strobe and ambient as around it"
        )
    lost = float((over.clipped == 2).mean())
    if lost > 0.001:
        told.append(f"{lost:.1%} of the picture is clipped in all but one frame: there the split is an estimate")
    for what, values in (("aperture", [f.aperture for f in taken]), ("ISO", [f.iso for f in taken])):
        if any(value is None for value in values):
            told.append(f"not every frame tells its {what}: it was taken to be the same in all")
    if plan is None and all(frame.strobes for frame in taken):
        told.append("without a plan nobody checked that the shutters are no faster than the sync time")
    return told


def _approximate(doubt: CurveDoubt) -> str:
    at = "" if doubt.stops_at_place is None else f"strobe over ambient by up to {doubt.stops_at_place:.2f} stop and "
    return (
        "approximate: the camera's curve is not known and was taken for the file's profile; a tenth more or less "
        f"contrast changes {at}the blend by {doubt.blend_codes:.1f} codes of 255; "
        "a 16-bit linear TIFF or a raw file is exact"
    )


def _curve_facts(doubt: CurveDoubt) -> dict[str, Any]:
    stops = doubt.stops_at_place
    return {
        "contrast_more_or_less": 0.1,
        "stops_at_subject": None if stops is None else round(stops, 3),
        "blend_codes_rms": round(doubt.blend_codes, 2),
    }


def _page(
    separation: Separation, taken: Sequence[Taken], matrix: "NDArray[np.float64] | None",
    luminance: "NDArray[np.float64]", place: tuple[float, float], level: Level, request: LightRequest,
    doubt: CurveDoubt | None,
) -> bytes:  # fmt: skip
    from finishing.sheets.typeface import face, printable

    over = separation.overview
    ambient, strobe = over.ambient, over.strobe
    if matrix is not None:
        ambient, strobe = (
            np.asarray(np.tensordot(matrix.astype(np.float32), light, 1), np.float32) for light in (ambient, strobe)
        )
    first = taken[0]
    exposure = [units.format_shutter(first.shutter)]
    exposure += [units.format_aperture(first.aperture)] if first.aperture else []
    exposure += [units.format_iso(first.iso)] if first.iso else []
    caption = f"{first.header.name} · {' · '.join(exposure)}" + ("" if first.strobes else " · with the strobe added")
    others = ", ".join(
        f"{f.header.name} at {units.format_shutter(f.shutter)}{'' if f.strobes else ' without strobes'}" for f in taken
    )
    notes = [f"From {others}"]
    if doubt is not None:
        at = "" if doubt.stops_at_place is None else f", to {max(doubt.stops_at_place, 0.05):.1f} stop at this place"
        notes.append(f"Approximate{at}: the camera's curve is not known")
    page = Page(
        ambient, strobe, stops_map(separation, luminance), over.clipped, over.moved_mask, place, level,
        request.subject is not None, printable(caption), [printable(note) for note in notes],
    )  # fmt: skip
    return draw_page(page, face(False).path, face(True).path)


def _words(name: str, taken: Sequence[Taken], blend: Blend) -> str:
    others = ", ".join(frame.header.name for frame in taken)
    if name == BLEND:
        ambient, strobe = (_light_words(light) for light in (blend.ambient, blend.strobe))
        return f"Blend of {others}: ambient {ambient}, strobe {strobe}, in stops against {taken[0].header.name}"
    return f"{'Ambient' if name == AMBIENT else 'Strobe'} alone, of {others}, as it lit {taken[0].header.name}"


def _light_words(light: Light) -> str:
    told = "none" if light.stops is None else units.format_stops(light.stops, 2)
    if isinstance(light.white, tuple):
        return f"{told} × " + "/".join(units.format_number(gain, 3) for gain in light.white)
    return told if light.white is None else f"{told} at {units.format_number(light.white, 0)} K"


def _write(
    target: Path, codes: "NDArray[np.uint16]", words: str, first: Taken, metadata: "FrameMetadata", source_hash: str
) -> None:
    height, width = codes.shape[:2]
    exif, xmp = output_metadata(
        FinishRecord(
            metadata, first.path.name, source_hash, width, height, "linear", "image/tiff", SOFTWARE, description=words
        )
    )
    settings = OutputSettings(format="tiff", space=LINEAR, compression="none")
    write_photograph(target, codes, settings=settings, exif=exif, xmp=xmp)


def _facts(
    separation: Separation, taken: Sequence[Taken], level: Level, place: tuple[float, float], request: LightRequest
) -> dict[str, Any]:
    over = separation.overview
    ambient, strobe = error_gain([frame.seconds for frame in taken], [frame.strobes for frame in taken])
    frames = []
    for index, frame in enumerate(taken):
        facts: dict[str, Any] = {
            "frame": frame.path.name,
            "shutter": units.format_shutter(frame.shutter),
            "seconds": frame.seconds,
            "strobes": frame.strobes,
            "aperture": frame.aperture,
            "iso": frame.iso,
        }
        if index:
            found, check = separation.alignments[index - 1], separation.shutters[index - 1]
            facts["alignment"] = {
                "right_pixels": round(found.shift[0], 2) + 0.0,
                "down_pixels": round(found.shift[1], 2) + 0.0,
                "degrees": round(found.degrees, 4) + 0.0,
                "scale": round(found.scale, 6),
                "largest_pixels": round(found.largest, 2),
                "agreement": round(found.agreement, 3),
                "laid_over": separation.frames[index].placed is not None,
            }
            facts["off_its_shutter_stops"] = round(check.excess_stops, 3)
        frames.append(facts)
    return {
        "frames": frames,
        "subject": {
            "place": [round(part, 4) for part in place],
            "given": request.subject is not None,
            "strobe_over_ambient_stops": _rounded(level.over_ambient),
            "doubt_stops": _rounded(level.doubt),
            "strobe_over_middle_tone_stops": _rounded(level.strobe),
            "ambient_over_middle_tone_stops": _rounded(level.ambient),
        },
        "blend": {
            name: {
                "stops": light.stops,
                "white": list(light.white) if isinstance(light.white, tuple) else light.white,
            }
            for name, light in (("ambient", request.blend.ambient), ("strobe", request.blend.strobe))
        },
        "error_over_that_of_a_frame": {"ambient": round(ambient, 3), "strobe": round(strobe, 3)},
        "noise_variance": {
            "floor": float(f"{separation.noise.floor:.4g}"),
            "per_light": float(f"{separation.noise.per_light:.4g}"),
            "per_square": float(f"{separation.noise.per_square:.4g}"),
        },
        "moved_share": round(float(over.moved_mask.mean()), 5),
        "clipped_share": {
            "in_some_frames": round(float((over.clipped > 0).mean()), 5),
            "not_to_be_told_apart": round(float((over.clipped == 2).mean()), 5),
        },
    }


def _rounded(stops: float | None) -> float | None:
    return None if stops is None else round(stops, 3) + 0.0
