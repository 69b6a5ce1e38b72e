"""A user's file as a validated model that remembers where each of its values stands."""

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from finishing.documents.fields import Kind, Words
from finishing.documents.meant import as_meant
from finishing.documents.tree import Path_, Tree, parse_tree, read_text
from finishing.errors import Place, Problem, ProblemSet


class Model(BaseModel):
    """Base of everything that is read from a user's file: no unknown keys, never changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)

    @model_validator(mode="before")
    @classmethod
    def _nothing_is_empty(cls, value: Any) -> Any:
        """A key with nothing below it, all of it commented out, say, is as if it were not there, where that is a
        mapping or a list that may be left out."""
        if not isinstance(value, dict):
            return value
        return {key: item for key, item in value.items() if item is not None or not _may_be_empty(_field(cls, key))}


M = TypeVar("M", bound=BaseModel)


@dataclass(frozen=True)
class Document(Generic[M]):
    """value: the validated model; tree: the text and places it came from; path: the file."""

    value: M
    tree: Tree
    path: Path

    def place(self, *path: str | int) -> Place:
        """Where the value at a path of keys and list positions stands."""
        return self.tree.place(path)

    def problem(self, what: str, *path: str | int, **details: str | None) -> Problem:
        """A problem with the value at a path; the text found there is quoted unless `got` is given."""
        found = self.tree.at(path)
        details.setdefault("got", found if isinstance(found, str) else None)
        return Problem(what, where=self.place(*path), **details)


def read_document(path: Path, model: type[M]) -> Document[M]:
    """Read and validate a file. Raises Problem (no such file) or ProblemSet (all that is wrong in it)."""
    return parse_document(read_text(path), str(path), model, path)


def parse_document(text: str, file: str, model: type[M], path: Path | None = None) -> Document[M]:
    """The same from text; `file` is the name that errors give."""
    tree = parse_tree(text, file)
    return Document(validate(tree, (), model), tree, path or Path(file))


def validate(tree: Tree, path: Path_, model: type[M], data: Any = None) -> M:
    """A part of a tree as a model. `data` stands in for the part's own (with settings filled in, say)."""
    value, faults = model_or_faults(tree, path, model, tree.at(path) if data is None else data)
    if value is None:
        raise ProblemSet(problem for _, problem in faults)
    return value


def model_or_faults(tree: Tree, path: Path_, model: type[M], data: Any) -> tuple[M | None, list[tuple[Path_, Problem]]]:
    """A part of a tree as a model; None with all that is wrong in it, each with the path of the fault."""
    value = {} if data is None and not path else data
    if not isinstance(value, dict):
        slip = _no_mapping(value, tree.place(path), path)
        return None, [(path, slip or _not_a_mapping(tree, path, value, model))]
    try:
        return model.model_validate(value), []
    except ValidationError as error:
        # A list counts as too short where its items are faulty: then the items say what is wrong.
        told = [item for item in error.errors() if item["type"] != "too_short" or not tree.at((*path, *item["loc"]))]
        paths = [_resolve(tuple(item["loc"]), tree, path, model)[0] for item in told]
        return None, [(at, _explain(item, tree, path, model)) for at, item in zip(paths, told, strict=True)]


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like this one, if any is like it."""
    found = difflib.get_close_matches(name.lower(), {k.lower(): k for k in known}, n=1, cutoff=0.6)
    return {k.lower(): k for k in known}[found[0]] if found else None


#: From so many names on an error names the command that lists them instead of all of them.
MANY = 12


def unknown_name(
    kind: str, name: str, known: Iterable[str], where: Place | str | None, *, listed_by: str | None = None
) -> Problem:
    """The problem of a name that is none of the known ones, with the nearest. listed_by: a command that lists them."""
    names = sorted(known)
    near = nearest(name, names)
    expected = "one of " + ", ".join(names) if names else None
    if listed_by and len(names) > MANY:
        expected = f"one of the {len(names)} that `{listed_by}` lists"
    return Problem(
        f'unknown {kind} "{name}"',
        where=where,
        expected=expected,
        remedy=f'did you mean "{near}"?' if near else "use one of these names",
    )


def shape(value: object) -> str:
    """What a plain value is, in words, with its text where it is short."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a mapping (key: value)"
    if isinstance(value, list):
        text = "[" + ", ".join(str(v) for v in value) + "]"
        return text if len(text) <= 60 and not any(isinstance(v, dict | list) for v in value) else "a list"
    text = str(value)
    return text if len(text) <= 80 else text[:79] + "…"


def _not_a_mapping(tree: Tree, path: Path_, value: object, model: type[BaseModel]) -> Problem:
    keys = ", ".join(_keys(model))
    name = f'"{path[-1]}"' if path and isinstance(path[-1], str) else "this"
    return Problem(
        f"{name} must be a mapping",
        where=tree.place(path),
        got=shape(value),
        expected=f"keys and values: {keys}",
        remedy="write one `key: value` a line" + (", without dashes" if isinstance(value, list) else ""),
    )


def _keys(model: type[BaseModel]) -> list[str]:
    return [info.alias or name for name, info in model.model_fields.items()]


def _explain(error: Any, tree: Tree, prefix: Path_, root: type[BaseModel]) -> Problem:
    path, model, words = _resolve(tuple(error["loc"]), tree, prefix, root)
    name = next((str(part) for part in reversed(path) if isinstance(part, str)), "this file")
    kind = error["type"]
    if kind == "extra_forbidden":
        known = _keys(model) if model else []
        return unknown_name("key", name, known, tree.key_place(path))
    if kind == "missing":
        parent = path[:-1]
        inside = f' in "{parent[-1]}"' if parent and isinstance(parent[-1], str) else ""
        example = f"{name}: {words.example}" if words else f"{name}:"
        return Problem(
            f'"{name}" is missing{inside}',
            where=tree.place(parent),
            expected=words.expected if words else None,
            remedy=f"add {example}",
        )
    written = tree.at(path)
    if isinstance(written, str) and written.startswith("$"):
        got = f"{shape(error.get('input'))} (the setting {written[1:]})"
    else:
        got = shape(written if written is not None else error.get("input"))
    slip = _slip(error, tree, path)
    if slip is not None:
        return slip
    info = _field(model, path[-1]) if model is not None and path else None
    if info is not None and not got.endswith(")"):
        meant = as_meant(written, info, words)
        if meant is not None:
            what, mended = meant
            expected = words.expected if words else None
            remedy = f"write {name}: {mended}"
            return Problem(f'"{name}" is written {what}', where=tree.place(path), got=got, expected=expected,
                           remedy=remedy)  # fmt: skip
    expected, remedy = _expected(error, words, name)
    return Problem(f'"{name}" cannot be read', where=tree.place(path), got=got, expected=expected, remedy=remedy)


#: What pydantic calls a value that should be a mapping.
_MAPPING_TYPES = {"model_type", "dict_type", "model_attributes_type"}


def _slip(error: Any, tree: Tree, path: Path_) -> Problem | None:
    """A dash or a colon without its space, a dash too many: what is read is then of another kind than what is asked
    for."""
    written, place = tree.at(path), tree.place(path)
    if error["type"] in _MAPPING_TYPES:
        return _no_mapping(written, place, path)
    if error["type"] in {"list_type", "tuple_type"} and isinstance(written, str) and re.match(r"-\w", written):
        what = "a space is missing behind the dash"
        first = re.split(r"\s+-", written[1:])[0]
        return Problem(what, where=place, got=written, expected="a list", remedy=f"write - {first}")
    return None


def _no_mapping(written: object, place: Place, path: Path_) -> Problem | None:
    expected = "a mapping (key: value)"
    found = re.match(r"([A-Za-z_]\w*):(\S.*)", written) if isinstance(written, str) else None
    if found:
        what, key, value = "a space is missing behind the colon", found.group(1), found.group(2)
        return Problem(what, where=place, got=shape(written), expected=expected, remedy=f"write {key}: {value}")
    if written is None and path and isinstance(path[-1], int):
        what = "nothing stands behind this dash"
        return Problem(what, where=place, expected=expected, remedy="take the dash away, or write an entry behind it")
    pairs = written if isinstance(written, list) else []
    if pairs and path and all(isinstance(one, dict) and len(one) == 1 for one in pairs):
        what = f'dashes stand before the keys of "{path[-1]}", which is no list'
        return Problem(what, where=place, expected=expected, remedy=f"take the dashes away: {next(iter(pairs[0]))}: …")
    return None


def _expected(error: Any, words: Words | None, name: str) -> tuple[str, str]:
    kind = error["type"]
    if kind in _MAPPING_TYPES:
        return "a mapping (key: value)", "write one `key: value` a line, without dashes"
    if kind in {"list_type", "tuple_type"}:
        return "a list", f"write {name}: [first, second]"
    if kind == "too_short":
        return "a list with at least one entry", f"add the first entry below {name}:"
    message = str(error["msg"]).removeprefix("Value error, ")
    if message.startswith("expected "):
        expected, _, remedy = message.removeprefix("expected ").partition("; ")
        if remedy:
            return expected, remedy
        near = nearest(str(error.get("input")), words.choices) if words and words.choices else None
        if near:
            return expected, f"did you mean {name}: {near}?"
        return expected, f"write {name}: {words.example}, for example" if words else f"correct {name} here"
    return (words.expected if words else message), f"correct {name} here"


def _resolve(
    loc: tuple[str | int, ...], tree: Tree, prefix: Path_, root: type[BaseModel]
) -> tuple[Path_, type[BaseModel] | None, Words | None]:
    """The path in the tree that a validation error means, the model that owns it, and the field's words.

    The location of an error names union branches and validators as well as keys; what is not a key or
    position of the tree is passed over, but for the last part, which may be a key that is missing.
    """
    path: Path_ = prefix
    model: type[BaseModel] | None = root
    owner: type[BaseModel] | None = root
    words: Words | None = None
    for index, part in enumerate(loc):
        last = index == len(loc) - 1
        value = tree.at(path)
        here = (isinstance(value, dict) and part in value) or (
            isinstance(value, list) and isinstance(part, int) and part < len(value)
        )
        info = _field(model, part) if model else None
        if not here and not (last and (info is not None or model is not None)):
            continue
        path = (*path, part)
        owner = model
        if info is not None:
            words = words_of(info)
            model = _model_in(info.annotation)
        elif isinstance(part, str) and model is not None:
            words, model = None, None if not isinstance(value, dict) else model
    return path, owner, words


def _field(model: type[BaseModel], part: str | int) -> Any:
    for name, info in model.model_fields.items():
        if part == (info.alias or name):
            return info
    return None


def _may_be_empty(info: Any) -> bool:
    default = None if info is None or info.is_required() else info.get_default(call_default_factory=True)
    return isinstance(default, BaseModel) or (isinstance(default, dict | tuple) and not default)


def words_of(info: Any) -> Words | None:
    """The words of a model's field: what is expected there and an example."""
    return _words_among(info.metadata) or _words_in(info.annotation)


def _words_among(metadata: Iterable[object]) -> Words | None:
    told = (item.words if isinstance(item, Kind) else item for item in metadata)
    return next((words for words in told if isinstance(words, Words)), None)


def _words_in(annotation: Any) -> Words | None:
    for part in (annotation, *get_args(annotation)):
        found = _words_among(getattr(part, "__metadata__", ()))
        if found is not None:
            return found
    return None


def _model_in(annotation: Any) -> type[BaseModel] | None:
    """The model that a field's type leads to, through lists, dicts and unions."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        found = _model_in(part)
        if found is not None:
            return found
    return None
