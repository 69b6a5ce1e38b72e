"""What a model says of itself: its keys, the words of its fields, the models below it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel

from finishing.documents.fields import Kind, Words
from finishing.documents.tree import Path_, Tree


@dataclass(frozen=True)
class Found:
    """What an error of validation means. path: in the tree; models: the model that owns each part of it below where
    validation began, None where it is no model's; words: of the last field; below: the model of what the path leads to,
    if it is to be one."""

    path: Path_
    models: tuple[type[BaseModel] | None, ...]
    words: Words | None
    below: type[BaseModel] | None

    @property
    def owner(self) -> type[BaseModel] | None:
        """The model that has, or lacks, what the path ends with."""
        return self.models[-1] if self.models else None


def found_at(loc: tuple[str | int, ...], tree: Tree, prefix: Path_, root: type[BaseModel]) -> Found:
    """The place that a validation error means.

    The location of an error names union branches and validators as well as keys; what is not a key or position of the
    tree is passed over, but for the last part, which may be a key that is missing.
    """
    path: Path_ = prefix
    model: type[BaseModel] | None = root
    owners: list[type[BaseModel] | None] = []
    words: Words | None = None
    for index, part in enumerate(loc):
        last = index == len(loc) - 1
        value = tree.at(path)
        here = (isinstance(value, dict) and part in value) or (
            isinstance(value, list) and isinstance(part, int) and part < len(value)
        )
        info = field_of(model, part) if model else None
        if not here and not (last and (info is not None or model is not None)):
            continue
        path = (*path, part)
        owners.append(model)
        if info is not None:
            words = words_of(info)
            model = model_in(info.annotation)
        elif isinstance(part, str) and model is not None:
            words, model = None, None if not isinstance(value, dict) else model
    return Found(path, tuple(owners) or (root,), words, model)


def keys_of(model: type[BaseModel]) -> list[str]:
    """The keys as a user writes them, in their order."""
    return [info.alias or name for name, info in model.model_fields.items()]


def taken_keys(model: type[BaseModel]) -> list[str]:
    """The same with those that stand beside them and are read elsewhere, which the model names in `keys_beside`."""
    return [*keys_of(model), *getattr(model, "keys_beside", ())]


def required_keys(model: type[BaseModel]) -> list[str]:
    """Those that must not be missing."""
    return [info.alias or name for name, info in model.model_fields.items() if info.is_required()]


def field_of(model: type[BaseModel], part: str | int) -> Any:
    """The field that a key leads to, or None."""
    for name, info in model.model_fields.items():
        if part == (info.alias or name):
            return info
    return None


def may_be_empty(info: Any) -> bool:
    """Whether nothing below its key means that it is left out."""
    default = None if info is None or info.is_required() else info.get_default(call_default_factory=True)
    return isinstance(default, BaseModel) or (isinstance(default, dict | list | tuple) and not default)


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


def model_in(annotation: Any) -> type[BaseModel] | None:
    """The model that a field's type leads to, through lists, dicts and unions."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        found = model_in(part)
        if found is not None:
            return found
    return None
