"""Slips of indentation: tabs, and lines that line up with no other."""

import re
from collections.abc import Sequence

from finishing.documents.slip import KEY, Slip, Stop, above, indent, opens

#: A dash, and what begins behind it.
_DASH = re.compile(r"\s*-(?:\s|$)")
_NUMBERED = re.compile(r"(\s*)\d{1,2}[.)]\s+([A-Za-z_][\w.-]*\s*:(?:\s.*|$))")


def tab(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A tab in front of a line, or within it."""
    for at, line in enumerate(lines[: stop.line + 1]):
        if "\t" in indent(line) and line.strip():
            mended = " " * _wanted_column(lines, at) + line.lstrip()
            return Slip(at, line.index("\t"), "a tab stands where YAML wants spaces", mended, "type spaces instead")
    if "'\\t'" in stop.said or "\t" in lines[stop.line][stop.column : stop.column + 1]:
        line = lines[stop.line]
        column = line.find("\t")
        return Slip(stop.line, column, "a tab stands where YAML wants spaces", line.replace("\t", " "))
    return None


def broken_line(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A text that was broken into two lines, the second of which begins too far to the left."""
    simple = "simple key" in stop.said and stop.begun is not None
    at = stop.begun[0] if simple and stop.begun is not None else stop.line
    before = above(lines, at)
    if before is None or not (simple or "but found '<scalar>'" in stop.said):
        return None
    line = lines[at]
    key = KEY.match(lines[before])
    if key is None or not lines[before][key.end() :].strip() or KEY.match(line) or line.lstrip().startswith("- "):
        return None
    if re.fullmatch(r"\s*[A-Za-z_]\w*\s*", line) and opens(lines, at):
        return None  # a key without its colon
    what = "the text of the line above goes on here, too far to the left"
    mended = f"{lines[before].strip()} {line.strip()}"
    return Slip(at, len(indent(line)), what, indent(line) + mended, "keep it in one line", joined=before)


def _column(line: str) -> int:
    """The column of a line's key, behind its dashes."""
    found = re.match(r"\s*(?:-\s+)*", line)
    return found.end() if found else 0


def _wanted_column(lines: Sequence[str], at: int) -> int:
    """Where a line begins that goes on below the one above it: with its key, or a level deeper where that has no
    value of its own."""
    before = above(lines, at)
    if before is None:
        return 0
    if _DASH.match(lines[at]):
        beside = _beside(lines, at)
        if beside is not None:
            return beside
    return _column(lines[before]) + (2 if _has_no_value(lines[before]) else 0)


def _has_no_value(line: str) -> bool:
    return re.search(r":\s*(#.*)?$", line) is not None


def _beside(lines: Sequence[str], at: int) -> int | None:
    """The column of the dashes of the list that a line with a dash belongs to: an open one above it, or one that
    begins below it. Of several the one whose items are alike (keys, or words), then the nearest."""
    before = above(lines, at)
    if before is not None and _has_no_value(lines[before]):
        below = next((one for one in lines[at + 1 :] if one.strip() and "\t" not in indent(one)), "")
        within = _DASH.match(below) and len(indent(below)) >= _column(lines[before])
        return len(indent(below)) if within else None
    own, alike = len(indent(lines[at])), KEY.match(lines[at]) is not None
    found: list[tuple[bool, int, int]] = []
    least = None
    for line in reversed(lines[:at]):
        column = len(indent(line))
        if not line.strip() or line.lstrip().startswith("#") or (least is not None and column >= least):
            continue
        least = column
        if _DASH.match(line):
            found.append(((KEY.match(line) is not None) != alike, abs(column - own), column))
    return min(found)[2] if found else None


def number_for_a_dash(lines: Sequence[str], stop: Stop) -> Slip | None:
    """Items that are numbered, beside others with dashes."""
    at: int | None = stop.line
    first = None
    while at is not None and indent(lines[at]) == indent(lines[stop.line]):
        first = at if _NUMBERED.match(lines[at]) else first
        at = above(lines, at)
    found = _NUMBERED.match(lines[first]) if first is not None and "<block end>" in stop.said else None
    if found is None or first is None:
        return None
    before, rest = found.groups()
    return Slip(first, len(before), "a number stands where a dash belongs", f"{before}- {rest}")


def dash_out_of_line(lines: Sequence[str], stop: Stop) -> Slip | None:
    """An item of a list whose dash stands in another column than those of the others."""
    line, before = lines[stop.line], above(lines, stop.line)
    if before is None or not _DASH.match(line) or not ("<block end>" in stop.said or "mapping values" in stop.said):
        return None
    column = _beside(lines, stop.line)
    if column is None:
        return None
    among_keys = indent(lines[before]) == indent(line) and not _DASH.match(lines[before])
    if among_keys and _first_key(line) not in (_first_key(one) for one in lines if _DASH.match(one) and one != line):
        return None  # a key of the item above it, with a dash too many
    what = "this dash does not line up with those of its list"
    mended = " " * column + line.lstrip()
    return Slip(stop.line, len(indent(line)), what, mended, f"let it begin in column {column + 1}")


def _first_key(line: str) -> str | None:
    found = KEY.match(line)
    return found.group(2) if found else None


def out_of_line(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A key that lines up with no other, or a dash among keys."""
    before = above(lines, stop.line)
    if before is None or not ("<block end>" in stop.said or "mapping values" in stop.said):
        return None
    line = lines[stop.line]
    content = line.lstrip()
    if content.startswith("- ") and KEY.match(lines[before]) and not lines[before].lstrip().startswith("- "):
        mended = indent(lines[before]) + content[2:].lstrip()
        return Slip(stop.line, len(indent(line)), "a dash stands before a key, where there is no list", mended)
    if not KEY.match(line) or _DASH.match(line):
        return None
    column = _wanted_column(lines, stop.line)
    what = "this line does not line up with the key above it"
    return Slip(stop.line, len(indent(line)), what, " " * column + content, f"let it begin in column {column + 1}")
