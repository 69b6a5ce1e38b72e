"""Reads users' files and says all that is wrong with them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.batch.texts.kinds import kind_of
from finishing.errors import Problem, ProblemSet, problems_of

if TYPE_CHECKING:
    from finishing.batch.work.foundation import Foundation
    from finishing.documents import Document
    from finishing.recipes.recipe import Recipe
    from finishing.sessions.plan import ShootPlan


@dataclass(frozen=True)
class CheckedFile:
    """kind: recipe, session or plan (None where it cannot be told); warnings: what is only doubtful; failing: why a run
    would fail frames and blends by name, and finish the others."""

    path: Path
    kind: str | None
    problems: list[Problem]
    warnings: list[Problem]
    failing: dict[str, Problem] = field(default_factory=dict)

    @property
    def frames_failing(self) -> int:
        """How many frames and blends these are; one may fail in several looks."""
        return sum(not any(name.startswith(f"{other} in ") for other in self.failing) for name in self.failing)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "file": str(self.path),
            "kind": self.kind,
            "problems": [problem.as_dict() for problem in self.problems],
            "warnings": [problem.as_dict() for problem in self.warnings],
            "failing": [{"frame": name, **problem.as_dict()} for name, problem in self.failing.items()],
        }


def check_file(path: Path) -> CheckedFile:
    """One file (or a folder with a session.yaml), read as what its keys say it is."""
    from finishing.sessions.session import session_file

    kind: str | None = None
    try:
        path = session_file(path)
        kind = kind_of(path)
        problems, warnings, failing = {"recipe": _recipe, "session": _session, "plan": _plan}[kind](path)
    except (Problem, ProblemSet) as error:
        return CheckedFile(path, kind, problems_of(error), [])
    return CheckedFile(path, kind, ProblemSet(problems).problems, warnings, failing)


#: What is wrong, what is only doubtful, and what a run would fail by name.
Checked = tuple[list[Problem], list[Problem], dict[str, Problem]]

# Each kind is read with what belongs to it: a recipe asks for no session, a plan for no operation.


def _recipe(path: Path) -> Checked:
    from finishing.batch.work.looks import vocabulary
    from finishing.recipes.reading import idle_settings, read_recipe

    read_recipe(path, vocabulary())
    return [], idle_settings(path, vocabulary()), {}


def _session(path: Path) -> Checked:
    """All that `finishing run` would refuse, and what is only doubtful, which is told once nothing is wrong."""
    from finishing.batch.delivery.unavailable import unavailable
    from finishing.batch.memory.ledger import ledger_problem
    from finishing.batch.memory.lost_frames import lost_frames_in, lost_frames_problem
    from finishing.batch.memory.owners import anothers_problem_in
    from finishing.batch.work.foundation import examine, outputs_of
    from finishing.sessions.folder import OUTPUT_FOLDER

    foundation, problems = examine(path)
    problems = [*problems, *unavailable(foundation.session)]
    ledger = ledger_problem(foundation.session.folder / OUTPUT_FOLDER)
    problems += [ledger] if ledger is not None else []
    if problems:
        return problems, [], {}
    problems, warnings = _cards(foundation)
    outputs = foundation.session.folder / OUTPUT_FOLDER
    others = anothers_problem_in(outputs, foundation.session, (path for path, *_ in outputs_of(foundation)))
    lost = list(lost_frames_in(outputs, foundation.session).values())
    gone = lost_frames_problem(lost, outputs, foundation.session)
    warnings += [one for one in (others, gone) if one is not None]
    failing = _failing(foundation)
    plan = foundation.session.plan
    told = [*foundation.session.warnings, *(_doubts(plan) if plan is not None else ())]
    told += [*_not_evened_out(foundation), *warnings]
    told += [*_blends(foundation, failing), *_picks(foundation)]
    told += _packets(foundation)
    return problems, [*told, *_print_warnings(foundation)], failing


def _failing(foundation: "Foundation") -> dict[str, Problem]:
    """Why frames and blends that get a look would fail, as far as their headers tell, and what the session names of
    masks and subjects; a blend at its place in the session."""
    wanted = foundation.wanted()
    finished = set[str]().union(*(names for names, _ in wanted))
    keys = foundation.session.document.tree.key_place
    failing: dict[str, Problem] = {}
    for frame in foundation.everything:
        header = foundation.headers.get(frame.name)
        problem = header.refusal if header is not None else foundation.unreadable.get(frame.name)
        if problem is not None and frame.name in finished:
            failing[frame.name] = (
                problem.at(keys(("blends", frame.name))) if frame.name in foundation.blends else problem
            )
        elif frame.name in finished:
            failing.update(_lacking(foundation, frame.name, [look for names, look in wanted if frame.name in names]))
    return failing


def _lacking(foundation: "Foundation", name: str, looks: Sequence["Recipe"]) -> dict[str, Problem]:
    """Why looks cannot be done on a frame that lacks a mask or its subject point: the first by the frame's name,
    further ones by frame and look, as a run tells them."""
    from finishing.regions.mask_files import no_such_mask
    from finishing.regions.places import no_subject

    session = foundation.session
    says, place = session.of_frame(name), session.document.tree.key_place
    failing: dict[str, Problem] = {}
    for look in looks:
        regions = look.regions_looked_at
        asked = sorted({mask for region in regions for mask in region.mask_names} - says.masks.keys())
        told = None
        if asked:
            at = place(("per_frame", name, "masks")) if says.masks else f"{name} in {look.name}"
            told = no_such_mask(asked[0], says.masks).at(at)
        elif says.subject is None and any(region.needs_subject for region in regions):
            told = no_subject().at(f"{name} in {look.name}")
        if told is not None:
            failing[f"{name} in {look.name}" if failing else name] = told
    return failing


def _cards(foundation: "Foundation") -> tuple[list[Problem], list[Problem]]:
    """Grey cards and charts that cannot be measured. Pixels are looked at, but of the frames that show them alone."""
    white = foundation.session.value.match.white_balance
    if white is None or not white.cards():
        return [], []
    from finishing.batch.evening.cards import neutral_whites
    from finishing.batch.evening.measured import Measurements
    from finishing.sessions.folder import OUTPUT_FOLDER

    measurements = Measurements(foundation.session.folder / OUTPUT_FOLDER)
    setup_of = foundation.matching.setup_of if foundation.matching else {}
    try:
        setups = sorted(set(setup_of.values()))
        return [], neutral_whites(foundation.session, {}, setup_of, setups, measurements).warnings
    except ProblemSet as error:
        return error.problems, []


def _not_evened_out(foundation: "Foundation") -> list[Problem]:
    """Set-ups that have no key frame, while others have."""
    match = foundation.session.value.match
    if match.exposure is None and match.white_balance is None:
        return []
    from finishing.batch.evening.evening_out import not_evened_out

    wanted = {frame.name for frame in foundation.everything}
    wanted.update(blend.sources[0] for blend in foundation.session.blends.values())
    return not_evened_out(foundation.session, foundation.headers, foundation.matching, wanted)


def _print_warnings(foundation: "Foundation") -> list[Problem]:
    """Prints that frames and blends are too small for; of those alone that get a look, as in a run."""
    session = foundation.session
    if all(one.print_size is None for one in session.value.deliverables.values()):
        return []
    from finishing.batch.delivery.print_sizes import print_warnings_of_session

    finished = set[str]().union(*(names for names, _ in foundation.wanted()))
    frames = [frame for frame in foundation.everything if frame.name in finished]
    return print_warnings_of_session(session, frames, foundation.headers)


def _blends(foundation: "Foundation", failing: Collection[str]) -> list[Problem]:
    """What would keep blends from being made that nobody asks for yet, and what is doubtful of their sources, as far as
    their frames' headers tell. failing: those that are asked for and told already."""
    told = []
    for name, (blend, _) in foundation.blends.items():
        place = foundation.session.document.tree.key_place(("blends", name))
        if blend.refusal is not None and name not in failing:
            told.append(blend.refusal.at(place))
        told += [Problem(f"{one.path.name}: {doubt}", where=place) for one in blend.taken for doubt in one.told]
    return told


def _packets(foundation: "Foundation") -> list[Problem]:
    """Packets beside frames that cannot be used."""
    return [
        Problem(notice.split(": ")[0], where=name, remedy=notice.partition(": ")[2])
        for name, header in sorted(foundation.headers.items())
        for notice in header.beside
    ]


def _picks(foundation: "Foundation") -> list[Problem]:
    """What `finishing run --frames picked` would refuse."""
    from finishing.batch.work.assignment import unknown_picks

    session = foundation.session
    picked = {frame.name: session.of_frame(frame.name).picked for frame in foundation.everything}
    return unknown_picks(session, picked, foundation.wanted())


def _plan(path: Path) -> Checked:
    from finishing.sessions.plan import read_plan

    return [], _doubts(read_plan(path)), {}


def _doubts(plan: "Document[ShootPlan]") -> list[Problem]:
    """What is doubtful in a plan: exposures that cannot be, for instance."""
    from finishing.sessions.worked_out import work_out

    return work_out(plan).warnings
