"""A session laid out as work: which frame belongs to which set-up, gets which looks, and becomes which files."""

import os
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from finishing.batch.looks import library_names, session_looks
from finishing.errors import Problem
from finishing.photographs.headers import Header, read_header
from finishing.recipes.recipe import Recipe
from finishing.sessions.deliverables import Deliverable, file_name
from finishing.sessions.folder import FramePath, matches
from finishing.sessions.matching import FrameFacts, FrameMatch, Matching, match_frames
from finishing.sessions.selection import parse_selection, select_frames
from finishing.sessions.session import PerFrame, Session, read_session
from finishing.sessions.worked_out import WorkedPlan, WorkedSetup, work_out


@dataclass(frozen=True)
class Output:
    """One file to be made: a frame in a look as a deliverable. path: relative to the output folder."""

    look: Recipe
    deliverable_name: str
    deliverable: Deliverable
    path: PurePosixPath


@dataclass(frozen=True)
class FrameWork:
    """One frame with all that is known about it and all that is to be made of it."""

    frame: FramePath
    header: Header | None
    setup: WorkedSetup | None
    match: FrameMatch | None
    says: PerFrame
    rating: int | None
    looks: tuple[Recipe, ...]
    outputs: tuple[Output, ...]
    mask_files: Mapping[str, Path]


@dataclass(frozen=True)
class SessionWork:
    """A whole session as work. unreadable: frames whose headers already say that they cannot be read."""

    session: Session
    plan: WorkedPlan | None
    matching: Matching | None
    frames: tuple[FrameWork, ...]
    unreadable: dict[str, Problem]


def assign(
    path: Path,
    *,
    looks: Sequence[str] = (),
    frames: Sequence[str] = (),
    deliverables: Sequence[str] = (),
    jobs: int | None = None,
) -> SessionWork:
    """Read a session and lay it out. looks, frames, deliverables: keep to these; empty means all.

    Nothing is started here: everything that can be wrong with the user's files is found first.
    Raises Problem or ProblemSet.
    """
    session = read_session(path, library_names())
    headers, unreadable = read_headers(session.chosen, jobs)
    matching = match_session(session, headers)
    worked = work_out(session.plan) if session.plan is not None else None
    recipes = session_looks(session)
    chosen = _chosen_frames(session, frames, matching)
    made = _chosen_deliverables(session, deliverables)
    named = {recipe.name for _, recipe in recipes}
    for look in looks:
        if look not in named:
            raise Problem(
                f'the session has no look "{look}"',
                expected="one of " + ", ".join(sorted(named)),
                remedy="name one of these, or add the look to session.yaml",
            )
    setup_of = matching.setup_of if matching else {}
    ratings = {name: rating for name, rating in _ratings(session, headers).items() if rating is not None}
    wanted = [
        (set(select_frames(entry.frames, session.chosen, setup_of, ratings)), recipe)
        for entry, recipe in recipes
        if not looks or recipe.name in looks
    ]
    work: list[FrameWork] = []
    for frame in chosen:
        own = tuple(recipe for names, recipe in wanted if frame.name in names)
        setup = next((s for s in worked.setups if s.setup.id == setup_of.get(frame.name)), None) if worked else None
        work.append(
            FrameWork(
                frame=frame,
                header=headers.get(frame.name),
                setup=setup,
                match=matching.frames.get(frame.name) if matching else None,
                says=session.of_frame(frame.name),
                rating=ratings.get(frame.name),
                looks=own,
                outputs=tuple(_outputs(session, frame, setup, own, made)),
                mask_files=session.mask_files(frame.name),
            )
        )
    _refuse_collisions(work)
    return SessionWork(session, worked, matching, tuple(work), unreadable)


def read_headers(frames: Sequence[FramePath], jobs: int | None = None) -> tuple[dict[str, Header], dict[str, Problem]]:
    """The headers of many frames, read side by side, and the problems of those that cannot be read."""
    headers: dict[str, Header] = {}
    problems: dict[str, Problem] = {}

    def read(frame: FramePath) -> Header | Problem:
        try:
            return read_header(frame.path)
        except Problem as problem:
            return problem

    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        for frame, found in zip(frames, pool.map(read, frames), strict=True):
            if isinstance(found, Problem):
                problems[frame.name] = found
            else:
                headers[frame.name] = found
    return headers, problems


def match_session(session: Session, headers: dict[str, Header]) -> Matching | None:
    """The session's frames against its plan; None without a plan. A frame without a header is matched by name."""
    if session.plan is None:
        return None
    facts = [_facts(frame, headers.get(frame.name)) for frame in session.chosen]
    return match_frames(session.plan.value, facts, session.value.camera_clock.seconds_ahead)


def _facts(frame: FramePath, header: Header | None) -> FrameFacts:
    if header is None:
        return FrameFacts(frame.name, file_name=frame.path.name)
    told = header.metadata
    return FrameFacts(
        frame.name, told.captured, told.utc_offset_seconds, told.f_number, told.exposure_seconds, told.iso,
        frame.path.name,
    )  # fmt: skip


def _ratings(session: Session, headers: dict[str, Header]) -> dict[str, int | None]:
    """The session's ratings; where it gives none, the frame's own."""
    own: dict[str, int | None] = {name: header.metadata.rating for name, header in headers.items()}
    return {**own, **session.ratings}


def _chosen_frames(session: Session, wanted: Sequence[str], matching: Matching | None) -> list[FramePath]:
    """The frames that --frames names: set-up ids, frame names, patterns; all without it. Raises Problem."""
    if not wanted:
        return session.chosen
    setup_of = matching.setup_of if matching else {}
    for name in wanted:
        known = name == "all" or name in setup_of.values()
        if not known and not any(matches(name, f.name, f.path.name) for f in session.chosen):
            raise Problem(
                f'no frame or set-up of the session has the name "{name}"',
                remedy="use a name that `finishing plan` lists, or a pattern in quotes such as 'A-*'",
            )
    names = set(select_frames(parse_selection(list(wanted)), session.chosen, setup_of))
    return [frame for frame in session.chosen if frame.name in names]


def _chosen_deliverables(session: Session, wanted: Sequence[str]) -> dict[str, Deliverable]:
    all_of_them = session.value.deliverables or {"full": Deliverable()}
    for name in wanted:
        if name not in all_of_them:
            raise Problem(
                f'the session has no deliverable "{name}"',
                expected="one of " + ", ".join(all_of_them),
                remedy="name one of these, or add it to session.yaml",
            )
    return {name: deliverable for name, deliverable in all_of_them.items() if not wanted or name in wanted}


def _outputs(
    session: Session,
    frame: FramePath,
    setup: WorkedSetup | None,
    looks: Iterable[Recipe],
    deliverables: dict[str, Deliverable],
) -> Iterable[Output]:
    for recipe in looks:
        for name, deliverable in deliverables.items():
            path = file_name(
                deliverable,
                session=session.value.session,
                name=name,
                look=recipe.name,
                frame=frame.name,
                setup=setup.setup.id if setup else None,
            )
            yield Output(recipe, name, deliverable, path)


def _refuse_collisions(work: Sequence[FrameWork]) -> None:
    """Two outputs must not have one name, on disks that tell capitals apart and on those that do not."""
    seen: dict[str, str] = {}
    for frame in work:
        for output in frame.outputs:
            key = str(output.path).lower()
            what = f"{frame.frame.name} in {output.look.name} as {output.deliverable_name}"
            if key in seen:
                raise Problem(
                    "two outputs would have the same name",
                    got=f"{output.path}: {seen[key]}, and {what}",
                    remedy="give the deliverable a name pattern with {look} and {frame}, or use each look once",
                )
            seen[key] = what
