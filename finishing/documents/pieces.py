"""What YAML reads without a word, although something else was meant: told, and read as it was meant.

Inside of braces a piece without a colon is a key without a value to YAML. To a photographer it is the rest of a text
with a comma in it, a decimal comma, or a pair whose colon lacks its space.
"""

import re
from dataclasses import dataclass
from typing import Any

import yaml

from finishing.documents.names import of_the_trade
from finishing.documents.slip import quoted
from finishing.errors import Place, Problem

#: Opening quotes as mail programs and word processors set them.
CURLY = "“”„‟‘’‚"
_STRAIGHT = str.maketrans({**dict.fromkeys("“”„‟", '"'), **dict.fromkeys("‘’‚", "'")})
_RUN_ON = re.compile(r"([A-Za-z_]\w*):([^ ].*)", re.DOTALL)
_EQUALS = re.compile(r"([A-Za-z_]\w*)\s*=\s*(.*)", re.DOTALL)
_NO_COLON = re.compile(r"([A-Za-z_]\w*)\s+(\S.*)", re.DOTALL)
#: A quantity, which is no part of a text: f/8, 1/125 s, 4:5, 45 degrees.
_QUANTITY = re.compile(r"[+-]?(?:[fF]/?|ISO\s*|\d+[/:])?\d*\.?\d+\s*(?:[%°\"]|[A-Za-z]{0,7})|\$\w+")
#: A number that can be nothing else: a percentage, or with a point; one or several.
_NUMBER = re.compile(r"[+-]?(?:\d*\.\d+%?|\d+(?:\.\d+)?%)(?:, [+-]?(?:\d*\.\d+%?|\d+(?:\.\d+)?%))*")
#: A number with a unit behind it.
_WITH_UNIT = re.compile(r"[+-]?\d+\.\d+\s*(?:[A-Za-z°%×\"'].{0,20})")
#: A number with commas before each three of its digits.
_GROUPS = re.compile(r"(?:ISO ?|1/)?[1-9]\d{0,2}(?:,\d{3})+")
#: Spaces that look like one and are none to YAML.
_ODD_SPACES = re.compile("^[ \t]*[\u00a0\u2000-\u200b\u202f\u3000][ \t\u00a0\u2000-\u200b\u202f\u3000]*", re.MULTILINE)


@dataclass(frozen=True)
class Pair:
    """What a piece of a mapping was meant as. joined: it goes on with the value before it; problem: None where the
    slip is told already, or by the field that the value is of."""

    key: str
    value: str
    problem: Problem | None
    joined: bool = False


def with_plain_spaces(text: str, file: str) -> tuple[str, list[Problem]]:
    """A text whose lines begin with spaces that YAML knows, each in the place of one, and a problem for each line in
    which that was not so."""
    problems = []
    for found in _ODD_SPACES.finditer(text):
        line = text.count("\n", 0, found.start()) + 1
        remedy = f"delete the {len(found.group())} spaces before the text of this line and type them anew"
        what = "this line begins with spaces that only look like spaces"
        problems.append(Problem(what, where=Place(file, line, 1), got="no-break spaces, from a mail or a web page",
                                remedy=remedy))  # fmt: skip
    return _ODD_SPACES.sub(lambda found: " " * len(found.group()), text), problems


def is_piece(text: str, key: yaml.Node, value: yaml.Node) -> bool:
    """Whether a pair of a mapping in braces has no colon, so that YAML made a key without a value of it."""
    empty = isinstance(value, yaml.ScalarNode) and not value.style and value.value == ""
    return empty and isinstance(key, yaml.ScalarNode) and ":" not in text[key.end_mark.index : value.start_mark.index]


def meant(text: str, key: yaml.ScalarNode, before: tuple[str, Any, Any] | None, file: str) -> Pair | None:
    """What a piece was meant as; None where there is no telling. before: the pair in front of it, and the node of its
    value."""
    word = key.value
    place = Place(file, key.start_mark.line + 1, key.start_mark.column + 1)
    for pattern, what in (
        (_RUN_ON, "a space is missing behind the colon"),
        (_EQUALS, "an equals sign stands where a colon belongs"),
    ):
        found = pattern.fullmatch(word) if not key.style else None
        if found:
            name, value = found.group(1), found.group(2).strip()
            if found.group(2)[:1] == "\u00a0":
                what = "the space behind the colon only looks like one; type it anew"
            problem = _problem(what, place, word, text, key, key, f"{name}: {value}")
            return Pair(name, value if _is_open(value) else _unquoted(value), problem)
    if before is not None and not getattr(before[2], "style", None) and _is_open(before[1]):  # told with its key
        return Pair(before[0], _unquoted(f"{before[1]}, {word}"), None, joined=True)
    without = None if key.style else _without_colon(text, key, before, place)
    if without is not None:
        return without
    if before is None or not isinstance(before[1], str) or not isinstance(before[2], yaml.ScalarNode):
        return None
    name, value, node = before
    if not node.style and node.value[:1] and node.value[0] in CURLY:
        return Pair(name, straight(f"{value}, {word}"), None, joined=True)
    if _NUMBER.fullmatch(value) and _NUMBER.fullmatch(word):
        whole = f"{value}, {word}"
        what = f'brackets are missing around the numbers of "{name}"'
        return Pair(name, whole, _problem(what, place, whole, text, node, key, f"[{whole}]"), joined=True)
    tight = text[key.start_mark.index - 1] == ","
    if _GROUPS.fullmatch(f"{value},{word}"):
        # a decimal comma or one between the thousands: the field knows which, and tells
        return Pair(name, f"{value},{word}", None, joined=True)
    if re.search(r"\d$", value) and (word.isdecimal() or (tight and _WITH_UNIT.fullmatch(f"{value}.{word}"))):
        whole = f"{value}.{word}"
        what = f'a decimal comma: "{name}" takes a point'
        return Pair(name, whole, _problem(what, place, f"{value},{word}", text, node, key, whole), joined=True)
    whole = f"{value}, {word}"
    what = f'the comma ends the text of "{name}"'
    return Pair(name, whole, _problem(what, place, whole, text, node, key, quoted(whole)), joined=True)


def _is_open(value: Any) -> bool:
    """Whether a value begins with a quote that is not closed: one of a run-on pair, in which YAML sees no quote."""
    quote = value[:1] if isinstance(value, str) else ""
    return quote in ("'", '"') and not (len(value) > 1 and value.endswith(quote))


def _unquoted(value: str) -> str:
    whole = len(value) > 1 and value[0] in ("'", '"') and value[0] == value[-1]
    return value[1:-1] if whole else value


def _without_colon(text: str, key: yaml.ScalarNode, before: tuple[str, Any, Any] | None, place: Place) -> Pair | None:
    """A piece as a pair whose colon is missing: a word with a quantity before or behind it, or one of the trade's.
    Behind a text it may as well be the rest of that, and both are told."""
    found = _NO_COLON.fullmatch(key.value)
    number = before is not None and _QUANTITY.fullmatch(str(before[1])) is not None
    if not found or not (number or _QUANTITY.fullmatch(found.group(2)) or of_the_trade(found.group(1))):
        return None
    name, value = found.groups()
    what = f'a colon is missing behind "{name}"'
    problem = _problem(what, place, key.value, text, key, key, f"{name}: {value}")
    node = None if before is None else before[2]
    if before is None or not isinstance(node, yaml.ScalarNode) or node.style or number:
        return Pair(name, value, problem)
    if before[1] is None or node.value[:1] in CURLY:
        return None
    whole = f"{before[1]}, {key.value}"
    remedy = f"{problem.remedy}; or {before[0]}: {quoted(whole)} where that is one text"
    both = Problem(what, where=place, got=whole, remedy=remedy)
    if _QUANTITY.fullmatch(value) and of_the_trade(name):
        return Pair(name, value, both)
    return Pair(before[0], whole, both, joined=True)


def curly_quotes(text: str, node: yaml.ScalarNode, file: str) -> Problem | None:
    """The problem of a value that begins with a quote that is none to YAML."""
    if node.style or node.value[:1] not in CURLY or not node.value:
        return None
    line = _line(text, node.start_mark.index)
    place = Place(file, node.start_mark.line + 1, node.start_mark.column + 1)
    remedy = f"write {line.translate(_STRAIGHT)}"
    return Problem("curly quotes are no quotes here", where=place, got=node.value, remedy=remedy)


def straight(value: str) -> str:
    """A value without the curly quotes around it."""
    return value.strip(CURLY)


def tagged(text: str, node: yaml.ScalarNode, file: str) -> Problem | None:
    """The problem of a text whose first word YAML takes for a tag, and drops."""
    if node.tag.startswith("tag:yaml.org,2002:"):
        return None
    place = Place(file, node.start_mark.line + 1, node.start_mark.column + 1)
    got = f"{node.tag} {node.value}".strip()
    what = f"a text that begins with {node.tag[:1]} needs quotes"
    return Problem(what, where=place, got=got, remedy=f"write {quoted(got)}")


def colour_as_remark(text: str, node: yaml.ScalarNode, file: str) -> Problem | None:
    """The problem of a colour without quotes: YAML takes #c8a21b behind a space for a remark, and sees no value."""
    if node.style or node.value:
        return None
    rest = _rest(text, node.end_mark.index)
    found = re.match(r"\s+(#[0-9a-fA-F]{6})\b", rest)
    if not found:
        return None
    line = _line(text, node.start_mark.index)
    place = Place(file, node.start_mark.line + 1, node.end_mark.column + found.start(1) + 1)
    what = "a # behind a space starts a remark, and what follows is not read"
    return Problem(what, where=place, got=line, remedy=f"write {line.replace(found.group(1), quoted(found.group(1)))}")


def dashes_without_space(node: yaml.MappingNode) -> tuple[list[yaml.ScalarNode], yaml.SequenceNode] | None:
    """A list whose dashes stick to its keys (-look: x), which YAML takes for a mapping: the keys, and the list."""
    keys = [key for key, _ in node.value]
    if node.flow_style or not keys or not _sticks(keys[0]):
        return None
    items: list[list[tuple[yaml.Node, yaml.Node]]] = []
    told = []
    for key, value in node.value:
        if _sticks(key):
            told.append(key)
            items.append([])
            key = yaml.ScalarNode(key.tag, key.value[1:], key.start_mark, key.end_mark)
        items[-1].append((key, value))
    tag = "tag:yaml.org,2002:map"
    entries = [yaml.MappingNode(tag, item, item[0][0].start_mark, item[-1][1].end_mark) for item in items]
    return told, yaml.SequenceNode("tag:yaml.org,2002:seq", entries, node.start_mark, node.end_mark)


def _sticks(key: yaml.Node) -> bool:
    plain = isinstance(key, yaml.ScalarNode) and not key.style
    return plain and re.match(r"-[A-Za-z_]", key.value) is not None


def run_on_dashes(text: str, keys: list[yaml.ScalarNode], file: str) -> list[Problem]:
    """The problems of dashes that stick to their keys."""
    return [
        Problem(
            "a space is missing behind the dash",
            where=Place(file, key.start_mark.line + 1, key.start_mark.column + 1),
            got=key.value,
            remedy=f"write - {_line(text, key.start_mark.index)[1:]}",
        )
        for key in keys
    ]


def run_on_flow(text: str, key: yaml.Node, file: str) -> tuple[str, yaml.Node, Problem] | None:
    """A key whose colon sticks to a brace with pairs in it, or is missing (rights:{creator: A}, rights {creator: A}),
    so that YAML sees another key: the key, the node of its value, and the problem."""
    plain = isinstance(key, yaml.ScalarNode) and not key.style
    found = re.match(r"(\w+)(?::(?=[\[{])|\s+(?=\{))", key.value) if plain else None
    if not found:
        return None
    start = key.start_mark.index + found.end()
    place = Place(file, key.start_mark.line + 1, key.start_mark.column + len(found.group()))
    line = _line(text, key.start_mark.index)
    at = line.find(found.group()) + len(found.group())
    name, sticks = found.group(1), found.group().endswith(":")
    what = "a space is missing behind the colon" if sticks else f'a colon is missing behind "{name}"'
    mended = f"{line[:at]} {line[at:]}" if sticks else f"{line[: at - len(found.group())]}{name}: {line[at:]}"
    problem = Problem(what, where=place, got=line, remedy=f"write {mended}")
    try:
        # blanks before it, so that its marks are those of the whole text
        value = yaml.compose(re.sub(r"[^\n]", " ", text[:start]) + _rest(text, start), Loader=yaml.BaseLoader)
    except yaml.YAMLError:
        value = None
    return name, value or yaml.ScalarNode("tag:yaml.org,2002:str", "", key.end_mark, key.end_mark), problem


def _problem(
    what: str, place: Place, got: str, text: str, first: yaml.Node, last: yaml.Node, replacement: str
) -> Problem:
    start, end = first.start_mark.index, last.end_mark.index
    begins = text.rfind("\n", 0, start) + 1
    mended = (text[begins:start] + replacement + _rest(text, end)).strip()
    return Problem(what, where=place, got=got, remedy=f"write {mended}")


def _rest(text: str, index: int) -> str:
    end = text.find("\n", index)
    return text[index:] if end < 0 else text[index:end]


def _line(text: str, index: int) -> str:
    return (text[text.rfind("\n", 0, index) + 1 : index] + _rest(text, index)).strip()
