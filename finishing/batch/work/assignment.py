"""A session laid out as work: which frame belongs to which set-up, gets which looks, and becomes which files."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from finishing.batch.memory.lost_frames import told_as_lost
from finishing.batch.work.blends import BlendWork
from finishing.batch.work.foundation import Foundation, frames_and_blends, lay_foundation
from finishing.documents.names import did_you_mean
from finishing.errors import Problem, ProblemSet
from finishing.evenness.correction import NONE, Correction
from finishing.photographs.headers import Header
from finishing.recipes.recipe import Recipe
from finishing.sessions.deliverables import Deliverable, file_name, is_profile_file
from finishing.sessions.folder import OUTPUT_FOLDER, FramePath
from finishing.sessions.frame_names import matches, open_range, unknown_frame
from finishing.sessions.matching import FrameMatch, Matching
from finishing.sessions.selection import parse_selection, select_frames
from finishing.sessions.session import PerFrame, Session
from finishing.sessions.worked_out import WorkedPlan, WorkedSetup, work_out

if TYPE_CHECKING:
    from finishing.batch.evening.evening_out import Evenness

__all__ = [
    "PICKED", "FrameWork", "Output", "SessionWork", "assign", "frames_and_blends", "picked_looks",
    "unknown_picks",
]  # fmt: skip

#: In place of names of frames: those that the client picked, in the looks that were picked for them.
PICKED = "picked"


@dataclass(frozen=True)
class Output:
    """One file to be made: a frame in a look as a deliverable. path: relative to the output folder. profile_file: the
    printer's profile, where the deliverable names one."""

    look: Recipe
    deliverable_name: str
    deliverable: Deliverable
    path: PurePosixPath
    profile_file: Path | None = None


@dataclass(frozen=True)
class FrameWork:
    """One frame with all that is known about it and all that is to be made of it.

    blend: what it is made of, None for a frame of its own file. A blend's header, set-up and match are those of its
    first source; so is its correction, without the colour part where the blend has a white balance of its own. Its
    sources are measured and evened out as any frames are; the blend itself is not measured, since its light was chosen.
    Open a frame's picture with `finishing.batch.opening.opened.open_frame`, whichever it is.
    """

    frame: FramePath
    header: Header | None
    setup: WorkedSetup | None
    match: FrameMatch | None
    says: PerFrame
    rating: int | None
    looks: tuple[Recipe, ...]
    outputs: tuple[Output, ...]
    mask_files: Mapping[str, Path]
    correction: Correction = NONE
    blend: BlendWork | None = None


@dataclass(frozen=True)
class SessionWork:
    """A whole session as work. unreadable: frames whose headers already say that they cannot be read; evenness: what is
    evened out, None where the session asks for nothing of the kind."""

    session: Session
    plan: WorkedPlan | None
    matching: Matching | None
    frames: tuple[FrameWork, ...]
    unreadable: dict[str, Problem]
    evenness: "Evenness | None" = None

    @property
    def warnings(self) -> list[Problem]:
        """What is only doubtful, which whoever works on the session tells: files that were left out, for instance."""
        return [*self.session.warnings, *(self.evenness.warnings if self.evenness else ())]


def assign(
    path: Path,
    *,
    looks: Sequence[str] = (),
    frames: Sequence[str] = (),
    deliverables: Sequence[str] = (),
    jobs: int | None = None,
    evened: bool = True,
    outputs: Path | None = None,
) -> SessionWork:
    """Read a session and lay it out. looks, frames, deliverables: keep to these; empty means all. evened: whether what
    the session asks for under `match` is measured; outputs: the folder whose ledger remembers what was measured,
    finished/ beside the session unless given.

    Nothing is started here: everything that can be wrong with the user's files is found first.
    Raises Problem or ProblemSet.
    """
    foundation = lay_foundation(path, jobs, outputs)
    session, headers, matching = foundation.session, foundation.headers, foundation.matching
    worked = work_out(session.plan) if session.plan is not None else None
    chosen = _chosen_frames(foundation, frames, outputs)
    made = _chosen_deliverables(foundation, deliverables)
    named = {recipe.name for _, recipe in foundation.looks}
    for look in looks:
        if look not in named:
            raise Problem(
                f'the session has no look "{look}"',
                expected="one of " + ", ".join(sorted(named)),
                remedy=did_you_mean(look, named) or "name one of these, or add the look to session.yaml",
            )
    setup_of, ratings = foundation.setup_of, foundation.ratings
    only = picked_looks(session) if PICKED in frames else {}
    wanted = foundation.wanted()
    unknown = unknown_picks(session, only, wanted)
    if unknown:
        raise ProblemSet(unknown)
    evenness = _evenness(foundation, chosen, jobs, outputs) if evened else None
    numbers = {frame.name: number for number, frame in enumerate(foundation.everything, 1)}
    work: list[FrameWork] = []
    for frame in chosen:
        own = tuple(
            recipe
            for names, recipe in wanted
            if frame.name in names
            and (not looks or recipe.name in looks)
            and (frame.name not in only or recipe.name in only[frame.name])
        )
        of, _ = foundation.blends.get(frame.name, (None, None))
        taken_for = of.sources[0].name if of else frame.name
        correction = evenness.correction(taken_for) if evenness else NONE
        setup = next((s for s in worked.setups if s.setup.id == setup_of.get(frame.name)), None) if worked else None
        work.append(
            FrameWork(
                frame=frame,
                header=headers.get(frame.name),
                setup=setup,
                match=matching.frames.get(taken_for) if matching else None,
                says=session.of_frame(frame.name),
                rating=ratings.get(frame.name),
                looks=own,
                outputs=tuple(_outputs(session, frame, setup, own, made, numbers[frame.name])),
                mask_files=session.mask_files(frame.name),
                correction=of.correction(correction) if of else correction,
                blend=of,
            )
        )
    return SessionWork(session, worked, matching, tuple(work), dict(foundation.unreadable), evenness)


def _evenness(
    foundation: Foundation, chosen: Sequence[FramePath], jobs: int | None, outputs: Path | None
) -> "Evenness | None":
    session = foundation.session
    if session.value.match.exposure is None and session.value.match.white_balance is None:
        return None
    from finishing.batch.evening.evening_out import even_out
    from finishing.batch.evening.measured import Measurements

    wanted = {frame.name for frame in chosen}
    wanted.update(blend.sources[0] for name, blend in session.blends.items() if name in wanted)
    known = Measurements(outputs or session.folder / OUTPUT_FOLDER)
    return even_out(session, foundation.headers, foundation.matching, wanted, jobs, known)


def _chosen_frames(foundation: Foundation, wanted: Sequence[str], outputs: Path | None) -> list[FramePath]:
    """The frames that --frames names: set-up ids, frame names, patterns, `picked`; all without it. Raises Problem."""
    everything, setup_of = foundation.everything, foundation.setup_of
    if not wanted:
        return everything
    problems: list[Problem] = []
    for name in wanted:
        known = name in ("all", PICKED) or name in setup_of.values()
        cut = None if known else open_range(name, [f.name for f in everything], None)
        if cut is not None:
            problems.append(cut)
        elif not known and not any(matches(name, f.name, f.path.name) for f in everything):
            if any(matches(name, f.name, f.path.name) for f in foundation.session.frames):
                skipped = Problem(
                    f'"{name}" is skipped in session.yaml',
                    where=foundation.session.document.place("per_frame"),
                    remedy="take out skip: yes of that frame under per_frame, or leave it out of --frames",
                )
                problems.append(skipped)
                continue
            names = [frame.name for frame in everything]
            empty = _no_frames_of(foundation, name)
            problems.append(empty or unknown_frame(name, names, None, other=set(setup_of.values())))
    if problems:
        session = foundation.session
        raise ProblemSet(told_as_lost(problems, outputs or session.folder / OUTPUT_FOLDER, session))
    chosen = set(select_frames(parse_selection(list(wanted)), everything, setup_of))
    chosen.update(picked_looks(foundation.session) if PICKED in wanted else ())
    return [frame for frame in everything if frame.name in chosen]


def _no_frames_of(foundation: Foundation, name: str) -> Problem | None:
    """The problem of a set-up of the plan that has no frames; None for any other name."""
    plan = foundation.session.plan
    index = next((i for i, one in enumerate(plan.value.setups) if one.id == name), None) if plan is not None else None
    if plan is None or index is None:
        return None
    return Problem(
        f'no frame of the session belongs to set-up "{name}"',
        where=plan.place("setups", index),
        remedy="correct its frames (or from and to) in the plan; `finishing plan` shows which frame goes where",
    )


def picked_looks(session: Session) -> dict[str, tuple[str, ...]]:
    """The looks that the client picked, by frame. Raises Problem where there are none."""
    picked = {frame.name: session.of_frame(frame.name).picked for frame in frames_and_blends(session)}
    picked = {name: looks for name, looks in picked.items() if looks}
    if not picked:
        raise Problem(
            "no frame of the session is picked",
            where=session.document.place("per_frame"),
            remedy="bring the client's answer in with `finishing picks`, or write picked: [a look] under per_frame",
        )
    return picked


def unknown_picks(
    session: Session, picked: Mapping[str, Sequence[str]], wanted: Sequence[tuple[set[str], Recipe]]
) -> list[Problem]:
    """A look that was picked for a frame must be one that the session gives it."""
    problems = []
    for frame, looks in picked.items():
        known = [recipe.name for names, recipe in wanted if frame in names]
        problems += [
            session.document.problem(
                f'the look "{look}" is picked for a frame that does not have it',
                "per_frame", frame, "picked",
                got=look,
                expected="one of " + ", ".join(known) if known else "none: the session gives this frame no look",
                remedy="correct picked, or give the frame that look under looks",
            )
            for look in looks if look not in known
        ]  # fmt: skip
    return problems


def _chosen_deliverables(foundation: Foundation, wanted: Sequence[str]) -> dict[str, Deliverable]:
    all_of_them = foundation.deliverables
    for name in wanted:
        if name not in all_of_them:
            raise Problem(
                f'the session has no deliverable "{name}"',
                expected="one of " + ", ".join(all_of_them),
                remedy=did_you_mean(name, all_of_them) or "name one of these, or add it to session.yaml",
            )
    return {name: deliverable for name, deliverable in all_of_them.items() if not wanted or name in wanted}


def _outputs(
    session: Session,
    frame: FramePath,
    setup: WorkedSetup | None,
    looks: Iterable[Recipe],
    deliverables: dict[str, Deliverable],
    number: int,
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
                number=number,
            )
            profile_file = session.folder / deliverable.profile if is_profile_file(deliverable.profile) else None
            yield Output(recipe, name, deliverable, path, profile_file)
