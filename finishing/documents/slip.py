"""What a slip of the pen is, and what the search for slips knows of lines."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

#: A key at the start of a line, behind the dashes of list items.
KEY = re.compile(r"^(\s*(?:-\s+)*)([A-Za-z_][\w.-]*)\s*:(?=\s|$)")
#: What stands for a value that cannot be told.
UNKNOWN = "…"


@dataclass(frozen=True)
class Slip:
    """line, column: counted from 0; mended: the line as it was meant, None where that cannot be told; joined: the line
    above that it then takes the place of as well."""

    line: int
    column: int
    what: str
    mended: str | None
    why: str = ""
    joined: int | None = None


@dataclass(frozen=True)
class Stop:
    """Where YAML's reader gave up: line, column from 0; said: in its words; begun: where what it was reading began."""

    line: int
    column: int
    said: str
    begun: tuple[int, int] | None


def quoted(text: str) -> str:
    """A text in quotes that hold it as it stands."""
    return "'" + text.replace("'", "''") + "'" if '"' in text or "\\" in text else f'"{text}"'


def indent(line: str) -> str:
    """What a line begins with, up to its text."""
    return line[: len(line) - len(line.lstrip())]


def above(lines: Sequence[str], at: int) -> int | None:
    """The line that says something before a line; None where there is none."""
    return next((i for i in range(at - 1, -1, -1) if lines[i].strip() and not lines[i].lstrip().startswith("#")), None)


def opens(lines: Sequence[str], at: int) -> bool:
    """Whether what stands below a line belongs to it: indented deeper, or a list."""
    below = next((one for one in lines[at + 1 :] if one.strip()), "")
    deeper = len(indent(below)) - len(indent(lines[at]))
    return deeper > 0 or (deeper == 0 and below.lstrip().startswith("- "))
