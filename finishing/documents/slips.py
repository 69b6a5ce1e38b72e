"""Slips of the pen that make a text no YAML: what each really is, where, and the line as it was meant.

Each function looks for one slip in the lines up to where YAML's reader gave up. The list of them is at the end.
"""

import re
from collections.abc import Callable, Iterator, Sequence

from finishing.documents.lining_up import broken_line, dash_out_of_line, number_for_a_dash, out_of_line, tab
from finishing.documents.names import of_the_trade
from finishing.documents.slip import KEY, UNKNOWN, Slip, Stop, above, indent, opens, quoted

_RUN_ON = re.compile(r"^(\s*(?:-\s+)*)([A-Za-z_]\w*):([^\s:/\\].*)$")
_CLOSING = {"{": "}", "[": "]"}


def _value_starts(line: str) -> Iterator[int]:
    """The columns at which a value (or a key) can start."""
    yield from (found.end() for found in re.finditer(r"(?:^\s*(?:-\s+)*|:\s+|[\[{,]\s*|:\s*(?=[\[{]))", line))


def _quote_end(line: str, start: int) -> int | None:
    """The column of the quote that closes the one at `start`; None where the line has none."""
    mark, at = line[start], start + 1
    while at < len(line):
        if mark == '"' and line[at] == "\\":
            at += 1
        elif line[at] == mark:
            if mark == "'" and line[at + 1 : at + 2] == "'":
                at += 1
            else:
                return at
        at += 1
    return None


def _quotes(line: str) -> Iterator[tuple[int, int | None]]:
    """The quoted values of a line, from quote to quote; the last may be left open."""
    behind = -1
    for start in _value_starts(line):
        if start > behind and line[start : start + 1] in ("'", '"'):
            end = _quote_end(line, start)
            yield start, end
            if end is None:
                return
            behind = end


def _quote_left_open(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A quote that its own line does not close, and that goes on over what is plainly not of its text: YAML stumbles
    over the next quote, lines further down."""
    at = 0
    while at <= stop.line:
        open_at = next((start for start, end in _quotes(lines[at]) if end is None), None)
        if open_at is None:
            at += 1
            continue
        closed = _closing_line(lines, at, lines[at][open_at])
        if closed is None:
            line = lines[at]
            close = _end_of_value(line, open_at + 1, flow=_in_flow(line, open_at))
            mended = line[:close].rstrip() + line[open_at] + line[close:]
            return Slip(at, open_at, "this quote is never closed", mended)
        at = closed + 1
    return None


def _closing_line(lines: Sequence[str], opened: int, mark: str) -> int | None:
    """The line that closes a quote which its own line leaves open; None where a key comes first, or where what stands
    behind the next quote says that it was meant to open another text."""
    for at in range(opened + 1, len(lines)):
        line = lines[at]
        if KEY.match(line) or re.match(r"\s*-\s", line):
            return None
        end = _quote_end(mark + line, 0)
        if end is not None:
            rest = line[end:].lstrip()
            return at if not rest or rest[0] in ",}]:#" else None
    return None


def _quote_broken_off(lines: Sequence[str], stop: Stop) -> Slip | None:
    line = lines[stop.line]
    for start, end in _quotes(line):
        rest = "" if end is None else line[end + 1 :].lstrip()
        if end is None or not rest or rest[0] in ",}]:#":
            continue
        missing = _pair_behind(stop.line, line, start, end)
        if missing is not None:
            return missing
        inside = line[start + 1 : end]
        meant = re.search(r",\s*(?:[\w.-]+:\s*)?$", inside)  # what follows is a value of its own
        if meant and _in_flow(line, start):
            at = min(start + 1 + meant.start(), _end_of_value(line, start + 1, flow=True))
            return Slip(stop.line, start, "this quote is never closed", line[:at] + line[start] + line[at:])
        last = line.rfind(line[start])
        close = last if last > end else _end_of_value(line, end + 1, flow=_in_flow(line, start))
        inner = line[start + 1 : close]
        mended = line[:start] + quoted(inner) + line[close + 1 if last > end else close :]
        return Slip(stop.line, end, "the quote closes here, in the middle of the text", mended)
    return None


def _pair_behind(at: int, line: str, start: int, end: int) -> Slip | None:
    """A text in quotes with a key behind it, or with another text in a list: what is missing is what parts the two."""
    opens = [line[column] for column in _opening(line) if column < start]
    behind = line[end + 1 :].lstrip()
    key = re.match(r"[A-Za-z_][\w.-]*:(?=\s|$)", behind)
    listed = opens[-1:] == ["["] and re.match(r"\s+[\"']", line[end + 1 :])
    if opens and (key or listed):
        return Slip(at, end + 1, "a comma is missing here", f"{line[: end + 1]},{line[end + 1 :]}")
    if key:
        why = f"write {behind.rstrip()} in a line of its own"
        return Slip(at, end + 1, "a second key stands in this line", None, why)
    return None


def _in_flow(line: str, column: int) -> bool:
    """Whether a column stands inside of braces or brackets that its line opens."""
    return any(opens < column for opens in _opening(line))


def _opening(line: str) -> Iterator[int]:
    yield from (start for start in _value_starts(line) if line[start : start + 1] in ("{", "["))


def _end_of_value(line: str, start: int, *, flow: bool) -> int:
    """Where a plain value that begins at a column is meant to end."""
    found = re.search(r",\s*[\w.-]+:\s|\s*[}\]]" if flow else r"\s+#\s|\s*$", line[start:])
    return start + found.start() if found else len(line)


def _hash(lines: Sequence[str], stop: Stop) -> Slip | None:
    for at, line in enumerate(lines[: stop.line + 1]):
        found = re.search(r":\s+(#[^\s,}\]]+)", line)
        if found and _in_flow(line, found.start()):
            start, end = found.span(1)
            mended = line[:start] + quoted(found.group(1)) + line[end:]
            return Slip(at, start, "a # behind a space starts a remark, and what follows is not read", mended)
    return None


def _brackets(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A brace or bracket too many, too few, or of the other kind."""
    stack: list[tuple[str, int, int]] = []
    for at, line in enumerate(lines):
        behind = dict(_quotes(line))
        starts, column = set(_value_starts(line)), 0
        while column < len(line):
            char = line[column]
            if column in behind:
                column = behind[column] or len(line)
            elif char == "#" and (column == 0 or line[column - 1].isspace()):
                break
            elif char in _CLOSING and (stack or column in starts):
                stack.append((char, at, column))
            elif char in "}]" and stack:
                opens, _, _ = stack.pop()
                if char != _CLOSING[opens]:
                    return _other_bracket(at, line, column, opens, stack)
            elif char in "}]" and at == stop.line and column == stop.column:
                return Slip(at, column, f"a {char} too many", line[:column] + line[column + 1 :])
            column += 1
        if stack and at + 1 >= stop.line and _goes_on(lines, at, stack[0][1]):
            kept = re.sub(r"\s+#\s.*$|\s+$", "", line)
            closers = "".join(_CLOSING[opens] for opens, _, _ in reversed(stack))
            opens, opened, place = stack[-1]
            mended = kept.rstrip(",") + closers
            what = f"this {opens} is never closed"
            return Slip(opened, place, what, mended if opened == at else None, f"add {closers} behind line {at + 1}"
                        if opened != at else "")  # fmt: skip
    return None


def _goes_on(lines: Sequence[str], at: int, opened: int) -> bool:
    """Whether the line below one with open brackets no longer belongs into them."""
    below = next((line for line in lines[at + 1 :] if line.strip() and not line.lstrip().startswith("#")), None)
    if below is None:
        return True
    starts_anew = re.match(r"\s*(-\s|[A-Za-z_][\w.-]*\s*:(\s|$))", below) is not None
    return starts_anew and len(indent(below)) <= len(indent(lines[opened])) + 4


def _other_bracket(at: int, line: str, column: int, opens: str, stack: list[tuple[str, int, int]]) -> Slip:
    wanted = _CLOSING[opens]
    if stack and _CLOSING[stack[-1][0]] == line[column]:
        return Slip(at, column, f"a {wanted} is missing here", line[:column] + wanted + line[column:])
    mended = line[:column] + wanted + line[column + 1 :]
    return Slip(at, column, f"a {line[column]} closes what {opens} has opened", mended)


def _no_space(lines: Sequence[str], stop: Stop) -> Slip | None:
    for at in range(stop.line, max(stop.line - 4, -1), -1):
        found = _RUN_ON.match(lines[at])
        if found:
            before, key, value = found.groups()
            what = "a space is missing behind the colon"
            return Slip(at, len(before) + len(key), what, f"{before}{key}: {value}")
    return None


def _no_colon_before_brace(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A key without its colon in front of pairs in braces."""
    for at in range(stop.line, max(stop.line - 4, -1), -1):
        found = re.search(r"(?:^\s*(?:-\s+)*|[{,]\s*)([A-Za-z_]\w*)(\s+)\{\s*[A-Za-z_][\w.]*\s*:\s", lines[at])
        if found and not any(start < found.start(1) < (end or len(lines[at])) for start, end in _quotes(lines[at])):
            line, column = lines[at], found.end(1)
            what = f'a colon is missing behind "{found.group(1)}"'
            return Slip(at, column, what, f"{line[:column]}: {line[found.end(2) :]}")
    return None


def _no_space_behind_dash(lines: Sequence[str], stop: Stop) -> Slip | None:
    for at in range(stop.line, max(stop.line - 4, -1), -1):
        found = re.match(r"(\s*)-([A-Za-z_]\w*:(?:\s.*|$))", lines[at])
        if found:
            before, rest = found.groups()
            return Slip(at, len(before) + 1, "a space is missing behind the dash", f"{before}- {rest}")
    return None


def _reserved(lines: Sequence[str], stop: Stop) -> Slip | None:
    """Signs that mean something to YAML at the start of a value."""
    token = "cannot start any token" in stop.said
    alias = "alias" in stop.said or "anchor" in stop.said or "tag" in stop.said
    line, column = (stop.line, stop.column) if token or stop.begun is None else stop.begun
    if not (token or alias) or line >= len(lines) or column >= len(lines[line]) or lines[line][column] == "\t":
        return None
    text = lines[line]
    stars = re.match(r"\*{1,5}(?=\s*(?:$|[,}#]))", text[column:])
    if stars and re.search(r"\brating(_at_least)?:\s*$", text[:column]):
        mended = f"{text[:column]}{len(stars.group())}{text[column + stars.end() :]}"
        return Slip(line, column, "stars are written as a number", mended)
    flow = _in_flow(text, column)
    end = _end_of_value(text, column, flow=flow)
    if flow and "," in text[column:end]:
        end = column + text[column:end].index(",")
    what = f"a text that begins with {text[column]} needs quotes"
    key = re.match(r"[^\s:][^:]*(?=:(\s|$))", text[column:]) if not text[:column].strip(" -") else None
    if key is not None:  # its colon stays outside
        end = column + key.end()
    return Slip(line, column, what, text[:column] + quoted(text[column:end]) + text[end:])


def _escape(lines: Sequence[str], stop: Stop) -> Slip | None:
    if "escape" not in stop.said:
        return None
    line = lines[stop.line]
    what = "a backslash means something else inside of double quotes"
    column = line.rfind("\\", 0, stop.column + 1)
    return Slip(stop.line, max(column, 0), what, line.replace("\\", "/"), "paths take a /")


def _second_colon(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A text with a colon and a space in it, or a semicolon for a comma."""
    line = lines[stop.line]
    if "but got ':'" not in stop.said and "mapping values" not in stop.said:
        return None
    colons = [found.start() for found in re.finditer(r":(?=\s)", line[: stop.column + 2])]
    if len(colons) < 2:
        return None
    start = colons[-2] + 1 + len(line[colons[-2] + 1 :]) - len(line[colons[-2] + 1 :].lstrip())
    apart = re.search(r";(?=\s*[\w.-]+\s*$)", line[start : colons[-1]])
    if apart:
        at = start + apart.start()
        return Slip(stop.line, at, "a semicolon stands where a comma belongs", line[:at] + "," + line[at + 1 :])
    if line[start] == "(" and ")" in line[colons[-1] :]:
        close = line.index(")", colons[-1])
        mended = f"{line[:start]}{{{line[start + 1 : close]}}}{line[close + 1 :]}"
        return Slip(stop.line, start, "round brackets stand where braces belong", mended)
    run_on = re.fullmatch(r"(.*\S)\s+([A-Za-z_][\w.-]*)\s*", line[start : colons[-1]])
    if run_on and _in_flow(line, start) and _ends(run_on.group(1), run_on.group(2), line[colons[-1] + 1 :]):
        at = start + run_on.end(1)
        return Slip(stop.line, at, "a comma is missing here", f"{line[:at]},{line[at:]}")
    end = _end_of_value(line, colons[-1] + 1, flow=_in_flow(line, start))
    mended = line[:start] + quoted(line[start:end]) + line[end:]
    return Slip(stop.line, colons[-1], "a text with a colon and a space in it needs quotes", mended)


def _ends(value: str, key: str, behind: str) -> bool:
    """Whether a value in braces cannot go on with a word and a colon, so that these begin another pair: it is a number
    or a setting, the other's value is in braces or brackets, or it is one word and the other a number behind a word
    of the trade. behind: what stands behind the colon."""
    number = r"[+-]?\d*\.?\d+\s*%?|\$\w+"
    pair = of_the_trade(key) and re.match(rf"\s*(?:{number})\s*[,}}\]]", behind) and re.fullmatch(r"[\w.#-]+", value)
    return re.fullmatch(number, value) is not None or behind.lstrip()[:1] in ("{", "[") or bool(pair)


def _no_comma(lines: Sequence[str], stop: Stop) -> Slip | None:
    """Two entries in braces or brackets of which the first ends with its own brace or bracket, and nothing that parts
    them."""
    line = lines[stop.line]
    before = line[: stop.column].rstrip()
    if "expected ','" not in stop.said or before[-1:] not in ("}", "]") or line[stop.column : stop.column + 1] in "}]":
        return None
    return Slip(stop.line, len(before), "a comma is missing here", f"{before},{line[len(before) :]}")


def _no_colon(lines: Sequence[str], stop: Stop) -> Slip | None:
    """A key without its colon, which swallows the line below it."""
    swallowed = "mapping values" in stop.said or "could not find" in stop.said
    for at in (above(lines, stop.line), stop.line) if swallowed else ():
        found = None if at is None else re.fullmatch(r"(\s*(?:-\s+)*)([A-Za-z_]\w*)((?:\s+\S.*)?)", lines[at])
        if found and at is not None:
            before, key, rest = found.groups()
            mended = f"{before}{key}: {rest.strip() or UNKNOWN}"
            if not rest.strip() and opens(lines, at):
                mended = f"{before}{key}:"
            return Slip(at, len(before) + len(key), "a colon is missing behind the key", mended)
    return None


#: In the order in which they are looked for.
SLIPS: tuple[Callable[[Sequence[str], Stop], Slip | None], ...] = (
    tab, _hash, _quote_left_open, _quote_broken_off, _escape, _reserved, _no_colon_before_brace, _brackets, _no_comma,
    _no_space, _no_space_behind_dash, _second_colon, number_for_a_dash, broken_line, _no_colon,
    dash_out_of_line, out_of_line,
)  # fmt: skip
