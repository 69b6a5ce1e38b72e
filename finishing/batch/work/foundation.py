"""What a session rests on: its files read, its frames' headers, its plan, its looks; and all that is wrong with them.

Whoever carries a session out and whoever only checks it ask here, so that both refuse the same things, all at once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from finishing.batch.memory.lost_frames import told_as_lost
from finishing.batch.work.blends import BlendWork, blends_of
from finishing.batch.work.frame_headers import Headers, clocks_of_session, match_session
from finishing.batch.work.looks import library_names, looks_and_problems
from finishing.documents.names import nearest
from finishing.errors import Place, Problem, ProblemSet
from finishing.photographs.headers import Header
from finishing.recipes.recipe import Recipe
from finishing.sessions.blends import FrameBlend, setup_of_blend, setup_problems
from finishing.sessions.deliverables import Deliverable, file_name
from finishing.sessions.evening import stranger_problems
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.folder import OUTPUT_FOLDER, FramePath
from finishing.sessions.frame_names import matches
from finishing.sessions.matching import Matching
from finishing.sessions.selection import select_frames
from finishing.sessions.session import Examined, LookForFrames, Session, examine_session


@dataclass(frozen=True)
class Foundation:
    """headers, unreadable: by the frame's name, blends among them; matching: None without a plan; blends: with the
    header that each has as a frame; looks: the entries of the session with their recipes."""

    session: Session
    headers: Mapping[str, Header]
    unreadable: Mapping[str, Problem]
    matching: Matching | None
    blends: Mapping[str, tuple[BlendWork, Header | None]]
    looks: Sequence[tuple[LookForFrames, Recipe]]

    @property
    def everything(self) -> list[FramePath]:
        """All that is finished: the frames sorted by name, then the blends, so that a blend that is added leaves every
        frame its number."""
        return frames_and_blends(self.session)

    @property
    def setup_of(self) -> dict[str, str]:
        """Set-ups by frame and by blend."""
        setup_of = dict(self.matching.setup_of) if self.matching else {}
        for name, blend in self.session.blends.items():
            setup = setup_of_blend(blend, setup_of) or self._setup_by_name(blend)
            if setup is not None:
                setup_of[name] = setup
        return setup_of

    def _setup_by_name(self, blend: FrameBlend) -> str | None:
        """The set-up of a blend of which no source is there, by their names: so that a look for the set-up is one for
        the blend as well, which then fails by name instead of being passed over."""
        plan = self.session.plan
        for setup in plan.value.setups if plan is not None else ():
            if any(matches(pattern, source) for pattern in setup.frames for source in blend.sources):
                return setup.id
        return None

    @property
    def ratings(self) -> dict[str, int]:
        """The session's ratings; where it gives none, the frame's own (a blend's header has its first source's)."""
        own = {name: header.metadata.rating for name, header in self.headers.items()}
        return {name: rating for name, rating in {**own, **self.session.ratings}.items() if rating is not None}

    @property
    def deliverables(self) -> dict[str, Deliverable]:
        """What is delivered; whole JPEG files where the session names nothing."""
        return self.session.value.deliverables or {"full": Deliverable()}

    def wanted(self) -> list[tuple[set[str], Recipe]]:
        """The names of the frames that get each look."""
        everything, setup_of, ratings = self.everything, self.setup_of, self.ratings
        return [
            (set(select_frames(entry.frames, everything, setup_of, ratings)), recipe) for entry, recipe in self.looks
        ]


def frames_and_blends(session: Session) -> list[FramePath]:
    """The frames sorted by name, then the blends."""
    return [*session.chosen, *session.blended]


def lay_foundation(path: Path, jobs: int | None = None, outputs: Path | None = None) -> Foundation:
    """Read a session with all that belongs to it. outputs: the folder whose ledger knows what was there once, finished/
    beside the session unless given. Raises Problem or ProblemSet with all that is wrong."""
    foundation, problems = examine(path, jobs, outputs)
    if problems:
        raise ProblemSet(problems)
    return foundation


def examine(path: Path, jobs: int | None = None, outputs: Path | None = None) -> tuple[Foundation, list[Problem]]:
    """A session as far as it can be read, and all that is wrong with it as told without a pixel. What only follows
    from another fault is not told. Raises Problem or ProblemSet where nothing of it can be understood."""
    reader = Headers(jobs)
    examined = examine_session(path, library_names(), reader.finished_among)
    session = examined.session
    problems = told_as_lost(examined.problems, outputs or session.folder / OUTPUT_FOLDER, session)
    looks, wrong = looks_and_problems(session, _told_looks(examined))
    if session.value.looks or not any(nearest(str(at[0]), ["looks"]) for at in examined.faulty if at):
        problems += wrong  # else the session has looks, but under a key that cannot be read
    headers, unreadable = reader.of(session.chosen)
    matching: Matching | None = None
    matched = not examined.lacks("frames", "camera_clock")
    if matched:
        try:
            clocks_of_session(session, headers)
            matching = None if examined.lacks("plan") else match_session(session, headers)
        except ProblemSet as error:
            problems += error.problems
            matched = False
    matched = matched and not examined.lacks("plan")
    blends: dict[str, tuple[BlendWork, Header | None]] = {}
    setup_of = matching.setup_of if matching else {}
    if matched and not examined.lacks("match"):
        problems += stranger_problems(session.document, session.value.match, setup_of, planned=session.plan is not None)
    if matched and not examined.lacks("blends"):
        apart = setup_problems(session.document, session.blends, setup_of)
        problems += apart
        blends = {} if apart else blends_of(session, headers, unreadable, matching)
    for name, (blend, header) in blends.items():
        if header is not None:
            headers[name] = header
        elif blend.refusal is not None:
            unreadable[name] = blend.refusal
    foundation = Foundation(session, headers, unreadable, matching, blends, looks)
    if matched and not examined.lacks("looks", "deliverables", "per_frame", "blends"):
        problems += collisions(foundation)
    return foundation, problems


def _told_looks(examined: Examined) -> set[int]:
    """The entries under `looks` of which it is told already that there is no such look."""
    places = {problem.where for problem in examined.problems}
    document = examined.session.document
    entries = range(len(document.value.looks))
    return {index for index in entries if document.place("looks", index, "look") in places}


def collisions(foundation: Foundation) -> list[Problem]:
    """Two outputs must not have one name, on disks that tell capitals and accents apart and on those that do not. Told
    once a deliverable."""
    seen: dict[str, str] = {}
    found: dict[str, Problem] = {}
    for path, frame, look, name in outputs_of(foundation):
        what = f"{frame} in {look} as {name}"
        other = seen.setdefault(as_disks_compare(path), what)
        if other is not what:
            deliverable = foundation.deliverables[name]
            found.setdefault(name, _collision(foundation.session, name, deliverable, f"{path}: {other}, and {what}"))
    return list(found.values())


def outputs_of(foundation: Foundation) -> Iterator[tuple[str, str, str, str]]:
    """All that a whole run makes: the path below the output folder, the frame, the look, the deliverable."""
    session, setup_of = foundation.session, foundation.setup_of
    numbers = {frame.name: number for number, frame in enumerate(foundation.everything, 1)}
    wanted = foundation.wanted()
    for frame in numbers:
        for names, recipe in wanted:
            for name, deliverable in foundation.deliverables.items() if frame in names else ():
                path = file_name(
                    deliverable, session=session.value.session, name=name, look=recipe.name, frame=frame,
                    setup=setup_of.get(frame), number=numbers[frame],
                )  # fmt: skip
                yield str(path), frame, recipe.name, name


def _collision(session: Session, name: str, deliverable: Deliverable, got: str) -> Problem:
    keys, at = session.document.tree.key_places, ("deliverables", name)
    place: Place | None = keys.get((*at, "name")) or keys.get(at) or session.document.place("looks")
    remedy = "give the deliverable a name pattern with {look} and {frame}, or use each look once"
    if deliverable.name is None:
        remedy = "name each look once for a frame; copy a recipe under another name to use it with other settings"
    return Problem("two outputs would have the same name", where=place, got=got, remedy=remedy)
