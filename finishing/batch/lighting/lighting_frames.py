"""Frames for the separation of strobe and ambient: their exposures, and all for which the sums cannot hold."""

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from finishing import units
from finishing.errors import Problem, ProblemSet
from finishing.exposure.light import within_sync
from finishing.exposure.series import exact_aperture, exact_iso, exact_shutter
from finishing.exposure.values import aperture_value, speed_value, time_value
from finishing.light.frames import LitFrame
from finishing.photographs.headers import Header, read_header
from finishing.photographs.reading import Photograph, read_photograph
from finishing.sessions.frame_names import matches
from finishing.sessions.plan import PlannedExposure, ShootPlan

#: Apertures, sensitivities and shutters that differ by less are the same: half of the finest step cameras are set in.
SAME = 1 / 6
#: How far a file's table may lie from straight for its values to be light itself.
STRAIGHT = 1e-4


@dataclass(frozen=True)
class Asked:
    """How frames and their exposures are given, for what there is to do. shutter: in full; off: how it is said that no
    strobe fired in a frame; doubtful: what may be wrong where frames contradict each other."""

    shutter: str
    off: str
    doubtful: str


LOOSE = Asked(
    "give --shutter for every frame, in their order, or a plan with --plan", "--off",
    "the shutters (--shutter), which frames had no strobes (--off)",
)  # fmt: skip
IN_SESSION = Asked(
    "use frames with their camera's record, or name them for a set-up of the plan", "strobes_off",
    "which sources had no strobes (strobes_off)",
)  # fmt: skip


@dataclass(frozen=True)
class Taken:
    """A frame as it was taken. shutter: seconds as printed; seconds: exact; aperture, iso: None where nothing tells;
    told: where the file's record says otherwise than what it is taken for."""

    path: Path
    header: Header
    shutter: float
    strobes: bool
    aperture: float | None
    iso: float | None
    told: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        """The time behind the printed one."""
        return exact_shutter(self.shutter)


def taken_frames(
    paths: Sequence[Path], shutters: Sequence[float], off: Sequence[Path], plan: ShootPlan | None
) -> list[Taken]:
    """The frames' exposures: shutters as given, else from EXIF, else from the plan's set-up. off: those of the frames
    in which no strobe fired. Raises ProblemSet with all for which the sums cannot hold."""
    if len(paths) < 2:
        raise Problem(
            "one frame does not tell strobe and ambient apart",
            got=f"{len(paths)} frame{'' if len(paths) == 1 else 's'}",
            expected="two frames or more from one tripod, with different shutters, or one without strobes",
            remedy="add a frame with the shutter two stops longer, or one with the strobes off (--off)",
        )
    if shutters and len(shutters) != len(paths):
        raise Problem(
            "there are not as many shutters as frames",
            got=f"{len(shutters)} for {len(paths)} frames",
            expected="one --shutter a frame, in the frames' order, or none",
            remedy="give --shutter for every frame, or leave it out to have the files' own",
        )
    dark = {path.resolve() for path in off}
    strangers = [path for path in off if path.resolve() not in {one.resolve() for one in paths}]
    problems = [
        Problem(
            "a frame without strobes is not among the frames",
            where=str(path),
            remedy="name it among the frames as well",
        )
        for path in strangers
    ]
    doubles = {path.resolve() for path in paths if [one.resolve() for one in paths].count(path.resolve()) > 1}
    problems += [Problem("a frame is named twice", where=str(path), remedy="name it once") for path in sorted(doubles)]
    taken: list[Taken] = []
    for index, path in enumerate(paths):
        try:
            header = read_header(path)
            shutter = shutters[index] if shutters else None
            planned = _planned(header, plan)
            taken.append(_taken(header, shutter, planned, LOOSE, strobes=path.resolve() not in dark, plan=plan))
        except Problem as problem:
            problems.append(problem)
    if problems:
        raise ProblemSet(problems)
    _refuse(taken, plan, LOOSE)
    return _compared(taken, LOOSE)


def taken_in_session(
    headers: Sequence[Header], planned: Sequence[PlannedExposure | None], off: Collection[str], plan: ShootPlan | None
) -> list[Taken]:
    """The same of frames of a session. headers: of the frames; planned: each one's exposure by its set-up, where it has
    one; off: names of those in which no strobe fired. Raises ProblemSet with all for which the sums cannot hold."""
    taken: list[Taken] = []
    problems = []
    for header, exposure in zip(headers, planned, strict=True):
        try:
            taken.append(_taken(header, None, exposure, IN_SESSION, strobes=header.name not in off, plan=plan))
        except Problem as problem:
            problems.append(problem)
    if problems:
        raise ProblemSet(problems)
    _refuse(taken, plan, IN_SESSION)
    return _compared(taken, IN_SESSION)


def _planned(header: Header, plan: ShootPlan | None) -> PlannedExposure | None:
    """The exposure of the one set-up that names a loose frame."""
    setups = plan.setups if plan is not None else ()
    own = [one for one in setups if any(matches(p, header.name, header.path.name) for p in one.frames)]
    return own[0].exposure if len(own) == 1 else None


def _taken(
    header: Header, shutter: float | None, planned: PlannedExposure | None, asked: Asked, *, strobes: bool,
    plan: ShootPlan | None,
) -> Taken:  # fmt: skip
    if header.refusal is not None:
        raise header.refusal
    told = header.metadata
    seconds = shutter or told.exposure_seconds or (planned.shutter if planned else None)
    if seconds is None:
        raise Problem(
            "nothing tells this frame's shutter time",
            where=header.path.name,
            got="no EXIF record" if plan is None else "no EXIF record, and no set-up of the plan that it belongs to",
            remedy=asked.shutter,
        )
    return Taken(
        header.path, header, seconds, strobes,
        told.f_number or (planned.aperture if planned else None), told.iso or (planned.iso if planned else None),
    )  # fmt: skip


def _compared(taken: Sequence[Taken], asked: Asked) -> list[Taken]:
    """The same with what is doubtful of each beside its file's record."""
    # a camera that fires strobes by radio often records that no flash fired: alike in all frames, that says nothing
    some_fired = any(frame.header.metadata.flash_fired for frame in taken if frame.strobes)
    return [replace(frame, told=tuple(_doubts(frame, asked, some_fired=some_fired))) for frame in taken]


def _doubts(frame: Taken, asked: Asked, *, some_fired: bool) -> Iterator[str]:
    own, fired = frame.header.metadata.exposure_seconds, frame.header.metadata.flash_fired
    if own and abs(time_value(exact_shutter(own)) - time_value(frame.seconds)) > SAME:
        yield f"you say {units.format_shutter(frame.shutter)}, the file says {units.format_shutter(own)}"
    if fired and not frame.strobes:
        yield f"you say that no strobe fired in it ({asked.off}), the file says that the flash fired"
    if fired is False and frame.strobes and some_fired:
        yield (
            "the file says that the flash did not fire, unlike in other frames: "
            f"if no strobe lit it, say so with {asked.off}"
        )


def _refuse(taken: Sequence[Taken], plan: ShootPlan | None, asked: Asked) -> None:
    """Raises ProblemSet with all for which the sums cannot hold."""
    problems = [*_one_exposure(taken), *_sizes(taken), *_shutters(taken, asked), *_sync(taken, plan, asked)]
    if problems:
        raise ProblemSet(problems)


def _one_exposure(taken: Sequence[Taken]) -> list[Problem]:
    first = taken[0]
    found = []
    for frame in taken[1:]:
        for what, own, other, told, stops in (
            ("aperture", frame.aperture, first.aperture, units.format_aperture,
             _aperture_stops),
            ("ISO", frame.iso, first.iso, units.format_iso, _speed_stops),
        ):  # fmt: skip
            if own is not None and other is not None and abs(stops(own) - stops(other)) > SAME:
                found.append(_differs(what, frame, first, told, own, other))
    return found


def _aperture_stops(number: float) -> float:
    return aperture_value(exact_aperture(number))


def _speed_stops(number: float) -> float:
    return speed_value(exact_iso(number))


def _differs(what: str, frame: Taken, first: Taken, told: Callable[[float], str], own: float, other: float) -> Problem:
    return Problem(
        f"this frame has another {what} than the first, so the strobes lit it differently",
        where=frame.path.name,
        got=told(own),
        expected=f"{told(other)}, as {first.path.name} has",
        remedy="use frames that differ in the shutter alone",
    )


def _sizes(taken: Sequence[Taken]) -> list[Problem]:
    first = taken[0].header
    return [
        Problem(
            "this frame has another size than the first",
            where=frame.path.name,
            got=f"{frame.header.width} × {frame.header.height} pixels",
            expected=f"{first.width} × {first.height}, as {first.path.name} has",
            remedy="use frames straight from the camera, of one tripod and one orientation",
        )
        for frame in taken[1:]
        if (frame.header.width, frame.header.height) != (first.width, first.height)
    ]


def _shutters(taken: Sequence[Taken], asked: Asked) -> list[Problem]:
    lit = [frame for frame in taken if frame.strobes]
    if not lit:
        return [
            Problem(
                "no frame has the strobes on",
                got=f"{asked.off} for every frame",
                remedy=f"add a frame with the strobes on, or leave {asked.off} out",
            )
        ]
    times = [time_value(frame.seconds) for frame in lit]
    if len(lit) == len(taken) and max(times) - min(times) <= SAME:
        return [
            Problem(
                "the shutters are equal: nothing tells strobe and ambient apart",
                got=", ".join(f"{frame.path.name} {units.format_shutter(frame.shutter)}" for frame in lit),
                expected="shutters a stop apart or more, two is better; or one frame without strobes",
                remedy="add a frame with the shutter two stops longer, or say with "
                f"{asked.off} which frame has no strobes",
            )
        ]
    return []


def _sync(taken: Sequence[Taken], plan: ShootPlan | None, asked: Asked) -> list[Problem]:
    if plan is None or plan.sync is None:
        return []
    return [
        Problem(
            "the shutter is faster than the sync time: it took only a part of the strobe",
            where=frame.path.name,
            got=units.format_shutter(frame.shutter),
            expected=f"{units.format_shutter(plan.sync)} or longer",
            remedy=f"use a frame at the sync time or longer; or say with {asked.off} that no strobe fired in it",
        )
        for frame in taken
        if frame.strobes and not within_sync(frame.shutter, plan.sync)
    ]


def lit_frame(taken: Taken) -> tuple[LitFrame, Photograph]:
    """The frame's pixels for the separation, and the photograph they are from, which tells what is doubtful of the
    frame as well. Raises Problem."""
    photograph = read_photograph(taken.path)
    photograph = replace(photograph, notices=[*taken.told, *photograph.notices])
    frame = LitFrame(
        taken.path.name, photograph.codes, photograph.encoding.tables, taken.seconds, taken.strobes,
        lossy=_lossy(taken.path) if taken.header.format == "jpeg" else 0.0,
    )  # fmt: skip
    return frame, photograph


def is_light(photograph: Photograph) -> bool:
    """Whether the file's values are light itself, straight from the sensor's sums: then nothing is approximate."""
    tables = photograph.encoding.tables
    straight = np.linspace(0, 1, tables.shape[1])
    return bool(tables.shape[1] == 0 or np.abs(tables - straight).max() <= STRAIGHT)


def one_encoding(taken: Sequence[Taken], photographs: Sequence[Photograph]) -> NDArray[np.float64] | None:
    """The frames' common matrix to the working space, None for none. Raises ProblemSet where they are encoded
    differently."""
    first = photographs[0].encoding
    problems = [
        Problem(
            "this frame is encoded in another way than the first",
            where=frame.path.name,
            got=photograph.encoding.description,
            expected=f"{first.description}, as {taken[0].path.name} is",
            remedy="export all of them in one way",
        )
        for frame, photograph in zip(taken[1:], photographs[1:], strict=True)
        if not (
            np.array_equal(photograph.encoding.tables, first.tables)
            and np.allclose(_matrix(photograph), _matrix(photographs[0]), atol=1e-3)
        )
    ]
    if problems:
        raise ProblemSet(problems)
    return first.matrix


def _matrix(photograph: Photograph) -> NDArray[np.float64]:
    return np.eye(3) if photograph.encoding.matrix is None else photograph.encoding.matrix


def _lossy(path: Path) -> float:
    """The standard deviation in codes that a JPEG's quantisation leaves, from its tables. A coefficient rounded to
    steps of q errs by q / √12, and the transform keeps squares (ITU-T T.81); luminance and colours are counted once
    each. Half of that, since most of the fine coefficients of photographs are smaller than a step (measured on drawn
    frames)."""
    from PIL import Image

    with Image.open(path) as image:
        tables = list(getattr(image, "quantization", {}).values())
    squares = [float(np.mean(np.square(np.asarray(table, np.float64)))) for table in tables[:2]]
    if not squares:
        return 0.0
    luminance, colours = squares[0], squares[-1]
    return float(np.sqrt((luminance + colours) / 12) / 2)
