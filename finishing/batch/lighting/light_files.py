"""Strobe and ambient of frames, loose ones or a session's blends: taken apart, shown, blended anew, written."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing import units
from finishing.batch.delivery.records import SOFTWARE
from finishing.batch.lighting.all_or_none import all_or_none
from finishing.batch.lighting.light_page import page_of, stops_picture
from finishing.batch.lighting.lighting_frames import IN_SESSION, LOOSE, Taken, taken_frames
from finishing.batch.lighting.taking_apart import Apart, taken_apart, what_to_know
from finishing.batch.memory.ledger import hash_file
from finishing.batch.work.assignment import assign
from finishing.batch.work.blends import BlendWork, one_problem, recorded_blend
from finishing.colour.spaces import LINEAR
from finishing.errors import Problem, ProblemSet
from finishing.light.blending import AMBIENT_ALONE, STROBE_ALONE, Blend, BlendSource
from finishing.light.curve import CurveDoubt
from finishing.light.drawing import sentence
from finishing.light.separation import error_gain
from finishing.light.stops_map import Level, shares
from finishing.part_files import clear_left, cleared_words
from finishing.photographs.records import FinishRecord, output_metadata
from finishing.photographs.tiff_out import codes_with_room
from finishing.photographs.writing import OutputSettings, write_bytes, write_photograph
from finishing.sessions.blends import light_words, listed
from finishing.sessions.plan import ShootPlan, read_plan

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

AMBIENT, STROBE, BLEND, MAP, REPORT = "ambient.tif", "strobe.tif", "blend.tif", "stops.png", "report.json"
FILES = (AMBIENT, STROBE, BLEND, MAP, REPORT)
#: Steps of `progress` that a scene takes.
STEPS = 4
Progress = Callable[[str], None]


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


@dataclass(frozen=True)
class BlendsReport:
    """What came out of a session's blends. made: reports by blend; failed: the others, with their problems."""

    made: dict[str, LightReport]
    failed: dict[str, Problem]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "blends": {name: report.facts for name, report in self.made.items()},
            "failed": [{"frame": name, **problem.as_dict()} for name, problem in self.failed.items()],
        }


@dataclass(frozen=True)
class _Scene:
    """What is made of the frames of one tripod."""

    taken: Sequence[Taken]
    plan: ShootPlan | None
    blend: Blend
    subject: tuple[float, float] | None
    out: Path

    @property
    def place(self) -> tuple[float, float]:
        return self.subject or (0.5, 0.5)


def light_frames(
    request: LightRequest, *, threads: int | None = None, progress: Progress = lambda line: None
) -> LightReport:
    """Take the frames apart and write what was asked for. Raises Problem or ProblemSet where the sums cannot hold, the
    frames do not lie on each other, or an output is there already; nothing is written then."""
    plan = read_plan(request.plan).value if request.plan else None
    taken = taken_frames(request.frames, request.shutters, request.off, plan)
    _refuse([request.out], request.frames, again=request.again)
    scene = _Scene(taken, plan, request.blend, request.subject, request.out)
    with taken_apart(taken, LOOSE, threads=threads) as apart:
        progress(f"strobe and ambient of {len(taken)} frames taken apart")
        return _write_all(scene, apart, threads, progress)


def light_session(
    path: Path,
    out: Path,
    *,
    again: bool = False,
    threads: int | None = None,
    begin: Callable[[int], None] = lambda blends: None,
    progress: Progress = lambda line: None,
) -> BlendsReport:
    """The same for every blend of a session, each into a folder of its name, one after the other; as the frames came,
    not evened out.

    begin: told how many steps there will be. Raises Problem or ProblemSet where the session or one of its files is
    wrong, it has no blends, or an output is there already; a blend that cannot be made is reported, the others are.
    """
    work = assign(path, evened=False)
    blends = [frame for frame in work.frames if frame.blend is not None]
    if not blends:
        raise Problem(
            "this session has no blends",
            where=work.session.document.place(),
            remedy="write them under blends: in session.yaml, or name frames: finishing light FRAME FRAME --out DIR",
        )
    originals = [frame.path for frame in work.session.frames]
    _refuse([out / frame.frame.name for frame in blends], originals, again=again)
    begin(STEPS * len(blends))
    report = BlendsReport({}, {})
    for frame in blends:
        name, blend = frame.frame.name, frame.blend
        assert blend is not None
        try:
            report.made[name] = _light_blend(blend, frame.says.subject, out / name, name, threads, progress)
        except (Problem, ProblemSet) as error:
            problem = one_problem(error) if isinstance(error, ProblemSet) else error
            report.failed[name] = problem.at(name)
            progress(f"{name}: failed")
    return report


def _light_blend(
    blend: BlendWork, subject: tuple[float, float] | None, out: Path, name: str, threads: int | None, progress: Progress
) -> LightReport:
    if blend.refusal is not None:
        raise blend.refusal
    scene = _Scene(blend.taken, blend.plan, blend.light, subject, out)

    def told(line: str) -> None:
        progress(f"{name}: {line}")

    with taken_apart(blend.taken, IN_SESSION, threads=threads) as apart:
        told("strobe and ambient taken apart")
        return _write_all(scene, apart, threads, told)


def _write_all(scene: _Scene, apart: Apart, threads: int | None, progress: Progress) -> LightReport:
    doubt = apart.doubt(scene.blend, scene.place)
    notices = what_to_know(apart, scene.plan, doubt)
    page = page_of(apart, scene.subject, doubt)
    summary = sentence(page.level, page.said_place)
    picture = stops_picture(page)
    facts = {
        "summary": summary,
        "exact": apart.exact,
        "encoding": apart.encoding,
        "approximate_by": None if doubt is None else _curve_facts(doubt),
        **_facts(apart, page.level, scene),
        "map": {name: round(share, 4) for name, share in shares(page.found).items()},
    }
    level = page.level
    del page
    apart = apart.lean()
    hashes = [hash_file(frame.path) for frame in scene.taken]
    cut = {}
    if told := cleared_words(clear_left([scene.out])):
        notices.append(told)
    with all_or_none(scene.out, FILES) as aside:
        for name, blend in ((AMBIENT, AMBIENT_ALONE), (STROBE, STROBE_ALONE), (BLEND, scene.blend)):
            room = codes_with_room(apart.separation.height, apart.separation.width, "uint16")
            codes, above, below = BlendSource(apart.separation, blend, apart.matrix).codes(threads, room)
            cut[name] = {"above_white": round(above, 6), "below_black": round(below, 6)}
            _write(aside / name, codes, apart, blend, hashes)
            del codes, room
            progress(f"{name} written")
        if cut[BLEND]["above_white"] > 0.001:
            notices.append(f"{cut[BLEND]['above_white']:.1%} of the blend lies above white and was cut there")
        write_bytes(aside / MAP, picture)
        facts |= {"cut": cut, "notices": notices}
        write_bytes(aside / REPORT, (json.dumps(facts, indent=2, ensure_ascii=False) + "\n").encode())
    return LightReport(level, summary, facts, notices, [scene.out / name for name in FILES])


def _refuse(folders: Sequence[Path], frames: Sequence[Path], *, again: bool) -> None:
    originals = {path.resolve() for path in frames}
    other = "name another folder with --out"
    problems: list[Problem] = []
    for folder in folders:
        if folder.exists() and not folder.is_dir():
            problems.append(Problem("a file has the name of the folder to write to", where=str(folder), remedy=other))
        for target in (folder / name for name in FILES):
            if target.resolve() in originals:
                what, remedy = "the output would take the place of a frame", other
            elif target.is_dir():
                what, remedy = "a folder has the name of the output", f"{other}, or rename this one"
            elif target.exists() and not again:
                what, remedy = "the output exists already", f"{other}, or overwrite it with --again"
            else:
                continue
            problems.append(Problem(what, where=str(target), remedy=remedy))
    if problems:
        raise ProblemSet(problems)


def _curve_facts(doubt: CurveDoubt) -> dict[str, Any]:
    stops = doubt.stops_at_place
    return {
        "contrast_more_or_less": 0.1,
        "stops_at_subject": None if stops is None else round(stops, 3),
        "blend_codes_rms": round(doubt.blend_codes, 2),
    }


def _words(name: str, apart: Apart, blend: Blend) -> str:
    names = [frame.header.name for frame in apart.taken]
    if name == BLEND:
        lights = (("ambient", blend.ambient), ("strobe", blend.strobe))
        told = ", ".join(light_words(name, light.stops, light.white) for name, light in lights)
        return f"Blend of {listed(names)}, {told}, against {names[0]}"
    return f"{'Ambient' if name == AMBIENT else 'Strobe'} alone, of {listed(names)}, as it lit {names[0]}"


def _write(target: Path, codes: "NDArray[np.uint16]", apart: Apart, blend: Blend, hashes: Sequence[str]) -> None:
    height, width = codes.shape[:2]
    record = FinishRecord(
        apart.metadata, apart.taken[0].path.name, hashes[0], width, height, "linear", "image/tiff", SOFTWARE,
        description=_words(target.name, apart, blend),
        blend=recorded_blend(apart.taken, blend, hashes),
    )  # fmt: skip
    exif, xmp = output_metadata(record)
    settings = OutputSettings(format="tiff", space=LINEAR, compression="none")
    write_photograph(target, codes, settings=settings, exif=exif, xmp=xmp)


def _facts(apart: Apart, level: Level, scene: _Scene) -> dict[str, Any]:
    taken, separation = apart.taken, apart.separation
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
            "place": [round(part, 4) for part in scene.place],
            "given": scene.subject is not None,
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
            for name, light in (("ambient", scene.blend.ambient), ("strobe", scene.blend.strobe))
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
