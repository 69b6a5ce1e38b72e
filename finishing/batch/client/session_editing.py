"""Changes what session.yaml says of single frames, and nothing else in it.

Only the part under `per_frame` is written anew (by ruamel.yaml, which keeps comments and order); every other line
stays byte for byte. What comes out is read again and compared with what was meant, value by value and comment by
comment, before it is handed back.
"""

import copy
import io
import re
from collections import Counter
from collections.abc import Mapping
from typing import Any

import yaml

from finishing.documents.tree import parse_tree
from finishing.errors import Problem, ProblemSet

#: By frame: values by key; None takes a key out.
Changes = Mapping[str, Mapping[str, Any]]
KEY = "per_frame"


def with_frames_changed(text: str, file: str, changes: Changes) -> str:
    """The text of a session with some frames' entries changed. text: valid, as it was read; file: how errors call it.

    Values are texts, whole numbers and lists of texts. Raises Problem where the text cannot be changed without
    changing more than that, as with an alias that two frames share.
    """
    before = parse_tree(text, file).data
    # An entry that says nothing any more goes, unless a comment would go with it.
    for prune in (True, False):
        wanted = _applied(before, changes, prune=prune)
        for attempt in (_part_rewritten, _all_rewritten):
            try:
                changed = attempt(text, changes, prune)
                if parse_tree(changed, file).data == wanted and not _comments(text) - _comments(changed):
                    return changed
            except (ValueError, TypeError, KeyError, AttributeError, ProblemSet, yaml.YAMLError, _ruamel_error()):
                continue
    raise Problem(
        "the picks cannot be written into this file without changing other things in it",
        where=file,
        remedy=f"write the frames under {KEY} out in full (no aliases, one frame a line), then bring it in again",
    )


def _ruamel_error() -> type[Exception]:
    from ruamel.yaml.error import YAMLError

    return YAMLError


def _applied(data: Any, changes: Changes, *, prune: bool) -> Any:
    """The plain data as they are to be read afterwards: texts throughout."""
    wanted = copy.deepcopy(data)
    if wanted.get(KEY) is None:
        wanted[KEY] = {}
    for frame, values in changes.items():
        entry = wanted[KEY].get(frame) or {}
        for key, value in values.items():
            if value is None:
                entry.pop(key, None)
            else:
                entry[key] = [str(one) for one in value] if isinstance(value, list) else str(value)
        wanted[KEY][frame] = entry
        if prune and not entry:
            del wanted[KEY][frame]
    return wanted


def _comments(text: str) -> Counter[str]:
    """The comments of a YAML text, each as often as it stands there."""
    found: Counter[str] = Counter()
    ends = [0]
    for token in yaml.scan(text, Loader=yaml.BaseLoader):
        between = text[ends[-1] : token.start_mark.index]
        found.update(line.partition("#")[2].strip() for line in between.splitlines() if "#" in line)
        ends.append(token.end_mark.index)
    return found


def _part_rewritten(text: str, changes: Changes, prune: bool) -> str:
    root = yaml.compose(text, Loader=yaml.BaseLoader)
    if not isinstance(root, yaml.MappingNode) or root.flow_style:
        raise ValueError("not a block mapping")
    lines = text.splitlines(keepends=True)
    newline = "\r\n" if lines and lines[0].endswith("\r\n") else "\n"
    starts = [key.start_mark.line for key, _ in root.value]
    place = next((i for i, (key, _) in enumerate(root.value) if key.value == KEY), None)
    if place is None:
        head, part, tail = lines, f"{KEY}:\n", []
        if head and not head[-1].endswith(("\n", "\r")):
            head = [*head[:-1], head[-1] + newline]
    else:
        start = starts[place]
        end = starts[place + 1] if place + 1 < len(starts) else len(lines)
        while end > start + 1 and (not lines[end - 1].strip() or lines[end - 1].lstrip().startswith("#")):
            end -= 1  # what stands between this part and the next belongs to the next
        head, tail = lines[:start], lines[end:]
        part = "".join(line.rstrip("\r\n") + "\n" for line in lines[start:end])
    return "".join(head) + _all_rewritten(part, changes, prune).replace("\n", newline) + "".join(tail)


def _all_rewritten(text: str, changes: Changes, prune: bool) -> str:
    from ruamel.yaml import YAML
    from ruamel.yaml.comments import CommentedMap
    from ruamel.yaml.resolver import VersionedResolver

    class Texts(VersionedResolver):
        """Every scalar stays the text that was written."""

        @property
        def versioned_resolver(self) -> Any:
            return {}

    handler = YAML()
    handler.Resolver = Texts
    handler.preserve_quotes = True
    handler.width = 1_000_000
    handler.indent(**_indents(text))
    data = handler.load(text)
    if not isinstance(data.get(KEY), CommentedMap):
        data[KEY] = CommentedMap()
    for frame, values in changes.items():
        _change(data[KEY], frame, values)
        if prune and not data[KEY][frame]:
            del data[KEY][frame]
    stream = io.StringIO()
    handler.dump(data, stream)
    return stream.getvalue()


def _indents(text: str) -> dict[str, int]:
    """How far the first nested mapping is set in; lists by as much again."""
    root = yaml.compose(text, Loader=yaml.BaseLoader)
    columns = [
        value.start_mark.column
        for _, value in (root.value if isinstance(root, yaml.MappingNode) else ())
        if isinstance(value, yaml.MappingNode) and not value.flow_style
    ]
    return {"mapping": columns[0], "sequence": columns[0] + 2, "offset": columns[0]} if columns and columns[0] else {}


def _change(part: Any, frame: str, values: Mapping[str, Any]) -> None:
    from ruamel.yaml.comments import CommentedMap
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    key = next((known for known in part if str(known) == frame), None)
    entry = part.get(key) if key is not None else None
    if not isinstance(entry, CommentedMap):
        entry = CommentedMap()
        entry.fa.set_flow_style()
        if key is None:
            key = frame if _plain(frame) else DoubleQuotedScalarString(frame)
        part[key] = entry
    for name, value in values.items():
        if value is None:
            if name in entry:
                del entry[name]
        else:
            entry[name] = _value(value)


def _value(value: Any) -> Any:
    from ruamel.yaml.comments import CommentedSeq
    from ruamel.yaml.scalarstring import DoubleQuotedScalarString

    if isinstance(value, list):
        listed = CommentedSeq(one if _plain(one) else DoubleQuotedScalarString(one) for one in value)
        listed.fa.set_flow_style()
        return listed
    return str(value) if isinstance(value, int) else DoubleQuotedScalarString(value)


def _plain(text: str) -> bool:
    """Whether a text may stand without quotes: a word of plain signs, and none that YAML takes for something else."""
    words = {"null", "true", "false", "yes", "no", "on", "off", "y", "n"}
    return re.fullmatch(r"[A-Za-z][A-Za-z0-9._-]*", text) is not None and text.lower() not in words
