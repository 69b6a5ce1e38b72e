"""Reads users' files and says all that is wrong with them."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishing.batch.kinds import kind_of
from finishing.errors import Problem, ProblemSet, problems_of


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
    from finishing.batch.looks import vocabulary
    from finishing.recipes.reading import read_recipe

    read_recipe(path, vocabulary())
    return []


def _session(path: Path) -> list[Problem]:
    from finishing.batch.looks import library_names, session_looks
    from finishing.batch.unavailable import refuse_unavailable
    from finishing.sessions.session import read_session

    session = read_session(path, library_names())
    session_looks(session)
    refuse_unavailable(session)
    return list(session.warnings)


def _plan(path: Path) -> list[Problem]:
    from finishing.sessions.plan import read_plan
    from finishing.sessions.worked_out import work_out

    return list(work_out(read_plan(path)).warnings)
