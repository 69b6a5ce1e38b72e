"""What is told of a text that is no YAML, and how one reads on.

YAML's own reader says where it gave up, which is often a line or more behind the slip. The first slip of the list that
is found in the lines up to there, and that leads to another line than the one that is there, is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import yaml

from finishing.documents.slip import UNKNOWN, Slip, Stop, indent
from finishing.documents.slips import SLIPS
from finishing.errors import Place, Problem


@dataclass(frozen=True)
class Told:
    """What is wrong with a text that is no YAML. mended: the text with that put right, so that one can read on; None
    where the slip is not known or there is no telling how it is put right. known: whether the slip is known."""

    problem: Problem
    mended: str | None
    known: bool


def syntax_problem(text: str, error: yaml.YAMLError, file: str) -> Told:
    """The problem of a text that YAML's reader refuses."""
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    begun = getattr(error, "context_mark", None)
    said = " ".join(str(part) for part in (getattr(error, "context", None), getattr(error, "problem", None)) if part)
    lines = text.splitlines() or [""]
    line, column = (mark.line, mark.column) if mark else (0, 0)
    stop = Stop(
        min(line, len(lines) - 1), column, said or str(error), (begun.line, begun.column) if begun is not None else None
    )
    for look in SLIPS:
        slip = look(lines, stop)
        if slip is not None and (slip.joined is not None or slip.mended != lines[slip.line]):
            return Told(_told(slip, lines, file), _mended(slip, lines), known=True)
    place = Place(file, line + 1, column + 1)
    if "multiple documents" in said or "another document" in said or "single document" in said:
        remedy = "keep one document in a file; remove ---"
        return Told(Problem("a second document starts here", where=place, remedy=remedy), None, known=True)
    hint = "check the indentation, colons, brackets and quotes on this line and the one above it"
    return Told(Problem("this line is not valid YAML", where=place, got=said, remedy=hint), None, known=False)


def _mended(slip: Slip, lines: Sequence[str]) -> str | None:
    """The text as it was meant, each line where it was."""
    if slip.mended is None:
        return None
    kept = list(lines)
    if slip.joined is None:
        kept[slip.line] = slip.mended.removesuffix(UNKNOWN)
    else:
        kept[slip.joined], kept[slip.line] = indent(lines[slip.joined]) + slip.mended.strip(), ""
    return "\n".join([*kept, ""])


def _told(slip: Slip, lines: Sequence[str], file: str) -> Problem:
    remedy = slip.why
    if slip.mended is not None:
        # where the indentation is the point, the spaces are shown
        written = slip.mended.strip() if indent(slip.mended) == indent(lines[slip.line]) else f'"{slip.mended}"'
        remedy = f"{slip.why}; write {written}" if slip.why else f"write {written}"
    return Problem(
        slip.what,
        where=Place(file, slip.line + 1, slip.column + 1),
        got=lines[slip.line].strip() or None,
        remedy=remedy,
    )
