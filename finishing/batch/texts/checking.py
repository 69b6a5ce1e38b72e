"""Reads users' files and says all that is wrong with them."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.batch.texts.kinds import kind_of
from finishing.errors import Problem, ProblemSet, problems_of

if TYPE_CHECKING:
    from finishing.sessions.session import Session


@dataclass(frozen=True)
class CheckedFile:
    """kind: recipe, session or plan (None where it cannot be told); warnings: what is only doubtful."""

    path: Path
    kind: str | None
    problems: list[Problem]
    warnings: list[Problem]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "file": str(self.path),
            "kind": self.kind,
            "problems": [problem.as_dict() for problem in self.problems],
            "warnings": [problem.as_dict() for problem in self.warnings],
        }


def check_file(path: Path) -> CheckedFile:
    """One file (or a folder with a session.yaml), read as what its keys say it is."""
    if path.is_dir():
        path = path / "session.yaml"
    kind: str | None = None
    try:
        kind = kind_of(path)
        warnings = {"recipe": _recipe, "session": _session, "plan": _plan}[kind](path)
    except (Problem, ProblemSet) as error:
        return CheckedFile(path, kind, problems_of(error), [])
    return CheckedFile(path, kind, [], warnings)


# Each kind is read with what belongs to it: a recipe asks for no session, a plan for no operation.


def _recipe(path: Path) -> list[Problem]:
    from finishing.batch.work.looks import vocabulary
    from finishing.recipes.reading import read_recipe

    read_recipe(path, vocabulary())
    return []


def _session(path: Path) -> list[Problem]:
    from finishing.batch.delivery.unavailable import refuse_unavailable
    from finishing.batch.work.looks import library_names, session_looks
    from finishing.sessions.session import read_session

    session = read_session(path, library_names())
    session_looks(session)
    refuse_unavailable(session)
    return [*session.warnings, *_blends(session), *_small_prints(session)]


def _small_prints(session: "Session") -> list[Problem]:
    """Prints that frames are too small for. Headers are only read where there are prints."""
    if all(one.print_size is None for one in session.value.deliverables.values()):
        return []
    from finishing.batch.delivery.small_prints import small_prints_of_session
    from finishing.batch.work.frame_headers import read_headers

    headers, _ = read_headers(session.chosen)
    return small_prints_of_session(session, headers)


def _blends(session: "Session") -> list[Problem]:
    """What would keep the session's blends from being made, as far as their frames' headers tell. Raises ProblemSet
    where the sources of one are of different set-ups."""
    if not session.blends:
        return []
    from finishing.batch.work.blends import blends_of
    from finishing.batch.work.frame_headers import match_session, read_headers

    headers, unreadable = read_headers(session.chosen)
    blends = blends_of(session, headers, unreadable, match_session(session, headers))
    return [
        refusal.at(session.document.tree.key_place(("blends", name)))
        for name, (blend, _) in blends.items()
        if (refusal := blend.refusal) is not None
    ]


def _plan(path: Path) -> list[Problem]:
    from finishing.sessions.plan import read_plan
    from finishing.sessions.worked_out import work_out

    return list(work_out(read_plan(path)).warnings)
