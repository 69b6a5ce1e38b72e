"""What went wrong, where, what was found, what was expected, and what to do about it.

Every error that a user can cause is a `Problem`. It knows its place (a file with line and
column, or a frame's name) and prints as a short paragraph a photographer can act on. A file
with several faults raises one `ProblemSet`, so that all of them can be mended in one go.
"""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Place:
    """Where in a user's file something stands; lines and columns count from 1."""

    file: str
    line: int | None = None
    column: int | None = None

    def __str__(self) -> str:
        parts = [self.file]
        if self.line is not None:
            parts.append(str(self.line))
            if self.column is not None:
                parts.append(str(self.column))
        return ":".join(parts)


class Problem(Exception):
    """One thing that is wrong.

    what: one sentence without a full stop at the end.
    where: a `Place`, a frame's name, or None when there is no better place than the command line.
    got, expected, remedy: short phrases, each optional; the remedy is an instruction.
    """

    def __init__(
        self,
        what: str,
        *,
        where: Place | str | None = None,
        got: str | None = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.what = what
        self.where = where
        self.got = got
        self.expected = expected
        self.remedy = remedy
        super().__init__(str(self))

    def __reduce__(self) -> tuple[object, ...]:
        """Problems cross process borders whole (an exception is rebuilt from its positional arguments)."""
        return (_rebuild, (self.what, self.where, self.got, self.expected, self.remedy))

    def at(self, where: Place | str) -> "Problem":
        """The same problem, told with a place."""
        return Problem(self.what, where=where, got=self.got, expected=self.expected, remedy=self.remedy)

    def __str__(self) -> str:
        head = f"{self.where}: {self.what}" if self.where is not None else self.what
        lines = [head]
        for label, text in (("found", self.got), ("expected", self.expected), ("do this", self.remedy)):
            if text:
                lines.append(f"    {label + ':':<10}{text}")
        return "\n".join(lines)

    def as_dict(self) -> dict[str, str | int | None]:
        """For `--json`: the same facts under fixed names."""
        place = self.where if isinstance(self.where, Place) else None
        return {
            "what": self.what,
            "where": None if self.where is None else str(self.where),
            "file": place.file if place else None,
            "line": place.line if place else None,
            "column": place.column if place else None,
            "found": self.got,
            "expected": self.expected,
            "remedy": self.remedy,
        }


class DiskFull(Problem):
    """There is no room left for a file. What comes after it would meet the same."""


def _rebuild(
    what: str, where: Place | str | None, got: str | None, expected: str | None, remedy: str | None
) -> Problem:
    return Problem(what, where=where, got=got, expected=expected, remedy=remedy)


class ProblemSet(Exception):
    """All that is wrong with a user's files, in the order of their places."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = sorted(problems, key=lambda p: _order(p.where))
        super().__init__("\n".join(str(p) for p in self.problems))

    def __reduce__(self) -> tuple[object, ...]:
        return (ProblemSet, (self.problems,))


def _order(where: Place | str | None) -> tuple[str, int, int]:
    if isinstance(where, Place):
        return (where.file, where.line or 0, where.column or 0)
    return (where or "", 0, 0)


def problems_of(error: Problem | ProblemSet) -> list[Problem]:
    """The single problems of either kind of error."""
    return error.problems if isinstance(error, ProblemSet) else [error]


def install_extra(extra: str) -> str:
    """The remedy where an optional part of the program is missing: what to type. It is installed from its own folder,
    not from an index of packages, so that is where it has to be typed."""
    return f"in the folder of this program (where its README.md is), run: pip install '.[{extra}]'"


def fault_of_the_program(where: str, error: Exception) -> Problem:
    """What a frame is told when it meets something that the program did not foresee; the others go on."""
    if isinstance(error, MemoryError):
        return Problem(
            "there was not enough memory for this frame", where=where, remedy="close other programs, or use --jobs 1"
        )
    return Problem(
        "this frame met a fault of the program itself",
        where=where,
        got=f"{type(error).__name__}: {error}",
        remedy="finish the other frames and report this text together with the frame",
    )
