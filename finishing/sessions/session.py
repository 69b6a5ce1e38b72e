"""The session: one shoot's folder, its frames, and what is to be made of them (`session.yaml`).

Reading a session reads its plan too and checks all names that one part gives to another: frames, set-ups,
looks, files. Whether settings can be carried out is the business of whoever carries them out: the models
keep everything that was written, and `model_fields_set` of each tells it from the defaults.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from finishing.documents import Document
from finishing.documents.fields import (
    Aspect,
    Box,
    Flag,
    Point,
    Text,
    number,
    texts,
    whole_number,
)
from finishing.documents.names import same_word, unknown_name
from finishing.documents.partial import read_partly
from finishing.documents.reading import Model
from finishing.documents.telling import shape
from finishing.documents.tree import Path_
from finishing.errors import Place, Problem, ProblemSet, problems_of
from finishing.recipes.library import recipes_in
from finishing.sessions.blends import Blends, FrameBlend, blend_problems
from finishing.sessions.clocks import CameraClocks, clock_problems, clock_warnings
from finishing.sessions.deliverables import Deliverable, deliverable_problems, idle_settings
from finishing.sessions.evening import Match, match_problems
from finishing.sessions.folder import FinishedAmong, Found, FramePath, find_files, inside_file, none_finished
from finishing.sessions.frame_names import matches, open_range, unknown_frame
from finishing.sessions.plan import ShootPlan, read_plan, setup_ids
from finishing.sessions.selection import EVERYTHING, FrameSelection, Selection

Globs = Annotated[
    tuple[str, ...], texts("a pattern of file names such as frames/*.jpg, or a list of them", "[frames/*.jpg]")
]
LookNames = Annotated[tuple[str, ...], texts("the name of a look, or a list of them", "[faded_print]")]
Rating = Annotated[int, whole_number(-1, 5, "stars", example="4")]
Straighten = Annotated[float, number(-45, 45, "degrees", example="0.8")]


class Rights(Model):
    """Who made it, whose it is, what may be done with it, whom to ask (IPTC Photo Metadata)."""

    creator: Text | None = None
    copyright: Text | None = None
    usage: Text | None = None
    contact: Text | None = None


class LookForFrames(Model):
    """One look for some frames. settings (written `with`): values of the recipe's settings, as written."""

    look: Text
    frames: FrameSelection = EVERYTHING
    settings: Annotated[dict[str, Any], Field(alias="with", default_factory=dict)]


class Crop(Model):
    """What is kept of a frame; one of the two. aspect: width over height, the largest such part about the subject
    point (without one, about the middle); box: fractions of the straightened frame."""

    aspect: Aspect | None = None
    box: Box | None = None


#: What holds for a blend as it does for its first source, unless the session says otherwise: its rating, and the places
#: in the frame, since all of it was taken from one tripod.
HELD_BY_BLENDS = ("subject", "masks", "crop", "straighten", "rating")


class PerFrame(Model):
    """What holds for one frame. subject: its centre; masks: files by name; straighten: degrees that the picture is
    turned clockwise, before it is cropped; rating: as XMP has it, -1 (rejected) to 5; picked: looks that the client
    chose; note: what the client said; skip: leave the frame out. subject and masks are places in the frame as it was
    photographed."""

    subject: Point | None = None
    masks: dict[str, Text] = Field(default_factory=dict)
    crop: Crop | None = None
    straighten: Straighten | None = None
    rating: Rating | None = None
    picked: LookNames = ()
    note: Text | None = None
    skip: Flag = False


class SessionFile(Model):
    """What is read from session.yaml."""

    session: Text
    frames: Globs
    plan: Text | None = None
    camera_clock: CameraClocks = ()
    rights: Rights = Rights()
    looks: tuple[LookForFrames, ...] = ()
    match: Match = Match()
    blends: Blends
    per_frame: dict[str, PerFrame] = Field(default_factory=dict)
    deliverables: dict[str, Deliverable] = Field(default_factory=dict)


@dataclass(frozen=True)
class Session:
    """A session that holds together: every name in it means something.

    document: session.yaml; frames: all that its patterns find, sorted by name, skipped ones too;
    plan: the plan's document, None without one; warnings: what is doubtful.
    """

    document: Document[SessionFile]
    frames: tuple[FramePath, ...]
    plan: Document[ShootPlan] | None
    warnings: tuple[Problem, ...] = ()

    @property
    def value(self) -> SessionFile:
        """What was written."""
        return self.document.value

    @property
    def folder(self) -> Path:
        """The folder of session.yaml; every path in it starts there."""
        return self.document.path.parent

    @property
    def chosen(self) -> list[FramePath]:
        """The frames that are not skipped, sorted by name."""
        return [frame for frame in self.frames if not self.of_frame(frame.name).skip]

    @property
    def blends(self) -> dict[str, FrameBlend]:
        """The blends that are not skipped, by name, sorted."""
        return {name: self.value.blends[name] for name in sorted(self.value.blends) if not self._says(name).skip}

    @property
    def blended(self) -> list[FramePath]:
        """The blends as frames. There is no file of that name: a blend is made of its sources."""
        return [FramePath(name, self.folder / name, name) for name in self.blends]

    @property
    def ratings(self) -> dict[str, int]:
        """The ratings that the session gives; a frame's own metadata may have others."""
        names = [*self.value.per_frame, *self.blends]
        return {name: int(rating) for name in names if (rating := self.of_frame(name).rating) is not None}

    def of_frame(self, name: str) -> PerFrame:
        """What the session says of one frame, all defaults where it says nothing; of a blend, what it says of its
        first source, and under the blend's own name instead of that, key by key."""
        own = self._says(name)
        if name not in self.value.blends:
            return own
        first = self._says(self.value.blends[name].sources[0])
        held = {key: getattr(first, key) for key in HELD_BY_BLENDS if key not in own.model_fields_set}
        return own.model_copy(update=held)

    def _says(self, name: str) -> PerFrame:
        return self.value.per_frame.get(name, PerFrame())

    def mask_files(self, name: str) -> dict[str, Path]:
        """The mask files of one frame by their names."""
        return {mask: self.folder / file for mask, file in self.of_frame(name).masks.items()}


@dataclass(frozen=True)
class Examined:
    """A session as far as it can be read, and all that is wrong with it and its plan. faulty: where something lacks in
    what was read, as paths in session.yaml, `plan` included: what follows from that must not be told as wrong."""

    session: Session
    problems: list[Problem]
    faulty: frozenset[Path_]

    def lacks(self, *keys: str) -> bool:
        """Whether something below one of these keys on the left of the file cannot be relied on."""
        return any(path[:1] == (key,) for path in self.faulty for key in keys)


def read_session(
    path: Path, known_looks: Iterable[str] | None = None, finished_among: FinishedAmong = none_finished
) -> Session:
    """Read and check a session (the file, or the folder with a session.yaml) with its plan and its frames.

    known_looks: names of looks in the library; looks in the session's own recipes/ are known as well. None
    leaves names of looks unchecked. finished_among: looks into the files for such as are finished. Raises Problem (no
    such file) or ProblemSet (all that is wrong, the plan's faults included).
    """
    examined = examine_session(path, known_looks, finished_among)
    if examined.problems:
        raise ProblemSet(examined.problems)
    return examined.session


def session_file(path: Path) -> Path:
    """The session.yaml of a folder, or the file that is named itself. Raises Problem for a folder without one."""
    file = path / "session.yaml"
    if not path.is_dir() or file.is_file():
        return file if path.is_dir() else path
    upward = ".." in path.parts  # whose parent, as it is written, lies below
    above = (path.resolve() if upward else path.absolute()).parent
    near = next(
        (one.name for one in sorted(path.iterdir()) if same_word(one.stem, ["session"]) and one.is_file()), None
    )
    if (above / "session.yaml").is_file():
        remedy = f"it lies in the folder above: name {path.parent if path.name and not upward else above}"
    elif near is not None:
        remedy = f"rename {near}, or name it itself: {path / near}"
    else:
        remedy = f"name the folder of the session, or write a first one: finishing init {path}"
    raise Problem("there is no session.yaml in this folder", where=Place(str(path)), remedy=remedy)


#: What a session cannot do without, for one that lacks it and is looked at all the same.
_STAND_INS = {"session": "Session", "frames": ["*"]}


def examine_session(
    path: Path, known_looks: Iterable[str] | None = None, finished_among: FinishedAmong = none_finished
) -> Examined:
    """The same, of a session that may be faulty. Raises Problem or ProblemSet where nothing of it can be understood."""
    file = session_file(path)
    partly = read_partly(file, SessionFile, _STAND_INS, whole=("blends",))
    document, problems, faulty = partly.document, list(partly.problems), set(partly.faulty)
    found = Found([], [], [])
    if document.tree.at(("frames",)) is not None:
        found = find_files(document, document.value.frames, "frames", finished_among)
        problems += found.problems
        faulty.update({("frames",)} if found.problems else ())
    frames = found.frames
    plan, setups, wrong = _plan(document)
    problems += wrong
    faulty.update({("plan",)} if wrong else ())
    wrong = clock_problems(document, document.value.camera_clock, [frame.name for frame in frames])
    problems += wrong
    faulty.update({("camera_clock",)} if wrong else ())
    problems += _looks(document, known_looks)
    problems += deliverable_problems(document, document.value.deliverables, partly.faulty)
    problems += [*_masks(document), *_crops(document)]
    if frames:  # names of frames are only checked against frames
        names = [frame.name for frame in frames]
        blends = {*document.value.blends, *(str(at[1]) for at in partly.faulty if at[:1] == ("blends",) and at[1:])}
        problems += _per_frame(document, [*names, *blends])
        wrong = _blends(document, names, setups or ())
        problems += wrong
        faulty.update({("blends",)} if wrong else ())
        if setups is not None or document.value.plan is None:
            wrong = match_problems(document, document.value.match, names, _skipped(document.value), setups)
            faulty.update({("match",)} if wrong else ())
            problems += [*wrong, *_selections(document, frames, blends, setups or ())]
    warnings = [*found.warnings, *clock_warnings(document, document.value.camera_clock)]
    warnings += idle_settings(document, document.value.deliverables)
    if plan is not None:
        warnings += _unused_patterns(plan, frames)
    return Examined(Session(document, tuple(frames), plan, tuple(warnings)), problems, frozenset(faulty))


def _plan(document: Document[SessionFile]) -> tuple[Document[ShootPlan] | None, list[str] | None, list[Problem]]:
    """The plan, the ids of its set-ups (also of a faulty one; None where they cannot be told), and what is wrong."""
    if document.value.plan is None:
        return None, None, []
    file = inside_file(document, document.value.plan, "plan")
    if isinstance(file, Problem):
        return None, None, [file]
    try:
        plan = read_plan(file)
    except (Problem, ProblemSet) as error:
        return None, setup_ids(file), problems_of(error)
    return plan, [setup.id for setup in plan.value.setups], []


def _unused_patterns(plan: Document[ShootPlan], frames: list[FramePath]) -> list[Problem]:
    problems: list[Problem] = []
    for i, setup in enumerate(plan.value.setups):
        listed = isinstance(plan.tree.at(("setups", i, "frames")), list)
        for j, pattern in enumerate(setup.frames):
            at: Path_ = ("setups", i, "frames", j) if listed else ("setups", i, "frames")
            cut = open_range(pattern, [frame.name for frame in frames], plan.place(*at))
            if cut is not None:
                problems.append(cut)
            elif not any(matches(pattern, frame.name, frame.path.name) for frame in frames):
                what = f'no frame of the session is named so for set-up "{setup.id}"'
                remedy = "correct the pattern, or leave it if its frames are still to come"
                problems.append(plan.problem(what, *at, remedy=remedy))
    return problems


def _looks(document: Document[SessionFile], known_looks: Iterable[str] | None) -> list[Problem]:
    problems: list[Problem] = []
    folder = document.path.parent / "recipes"
    own = [p.stem for p in folder.glob("*.y*ml")] if folder.is_dir() else []
    for i, entry in enumerate(document.value.looks):
        at = ("looks", i, "look")
        if "/" in entry.look or "\\" in entry.look or entry.look.endswith((".yaml", ".yml")):
            file = inside_file(document, entry.look, *at)
            if isinstance(file, Problem):
                problems.append(file)
        elif known_looks is not None:
            library = set(known_looks)
            if entry.look not in library and entry.look not in own:
                mine, place = recipes_in(folder), document.place(*at)
                problems.append(
                    unknown_name("look", entry.look, library, place, listed_by="finishing looks", besides=mine)
                )
    return problems


def _masks(document: Document[SessionFile]) -> list[Problem]:
    problems: list[Problem] = []
    for name, entry in document.value.per_frame.items():
        for mask, text in entry.masks.items():
            file = inside_file(document, text, "per_frame", name, "masks", mask)
            if isinstance(file, Problem):
                problems.append(file)
    return problems


#: A box thinner than this, in fractions of the frame, is a slip of the pen.
_LEAST_BOX = 0.01


def _crops(document: Document[SessionFile]) -> list[Problem]:
    problems: list[Problem] = []
    for name, entry in document.value.per_frame.items():
        crop, at = entry.crop, ("per_frame", name, "crop")
        if crop is None:
            continue
        if (crop.aspect is None) == (crop.box is None):
            what = "a crop needs an aspect or a box" if crop.box is None else "a crop by aspect and by box at once"
            remedy = "write crop: {aspect: 4:5}, or crop: {box: [left, top, right, bottom]}"
            problems.append(document.problem(what, *at, remedy=remedy))
        elif crop.box is not None and not (
            crop.box[2] - crop.box[0] >= _LEAST_BOX and crop.box[3] - crop.box[1] >= _LEAST_BOX
        ):
            problems.append(
                document.problem(
                    "nothing is left of the frame inside this box",
                    *at, "box",
                    got=shape(document.tree.at((*at, "box"))),
                    expected="[left, top, right, bottom] with left before right and top before bottom",
                    remedy="write crop: {box: [0.1, 0.1, 0.9, 0.9]}, for example",
                )
            )  # fmt: skip
    return problems


def _per_frame(document: Document[SessionFile], names: list[str]) -> list[Problem]:
    keys = document.tree.key_place
    # a source that is not there fails its blend, which says so
    known = {*names, *(source for blend in document.value.blends.values() for source in blend.sources)}
    return [
        unknown_frame(name, names, keys(("per_frame", name))) for name in document.value.per_frame if name not in known
    ]


def _blends(document: Document[SessionFile], names: list[str], setups: Iterable[str]) -> list[Problem]:
    return blend_problems(document, document.value.blends, names, _skipped(document.value), setups)


def _skipped(value: SessionFile) -> list[str]:
    return [name for name, says in value.per_frame.items() if says.skip]


def _selections(
    document: Document[SessionFile], frames: list[FramePath], blends: Iterable[str], setups: Iterable[str]
) -> list[Problem]:
    problems: list[Problem] = []
    for i, entry in enumerate(document.value.looks):
        selection: Selection = entry.frames
        listed = isinstance(document.tree.at(("looks", i, "frames")), list)
        for j, name in enumerate(selection.names):
            place = document.place("looks", i, "frames", j) if listed else document.place("looks", i, "frames")
            cut = None if name in setups else open_range(name, [*(frame.name for frame in frames), *blends], place)
            if cut is not None:
                problems.append(cut)
                continue
            if name in setups or any(matches(name, frame.name, frame.path.name) for frame in frames):
                continue
            if any(matches(name, blend) for blend in blends):
                continue
            problems.append(unknown_frame(name, [*(frame.name for frame in frames), *blends], place, other=setups))
    return problems
