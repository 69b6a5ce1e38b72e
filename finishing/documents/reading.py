"""A user's file as a validated model that remembers where each of its values stands."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, GetJsonSchemaHandler, ValidationError, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from finishing.documents.models import field_of, keys_of, may_be_empty
from finishing.documents.telling import explained, not_a_mapping
from finishing.documents.tree import Path_, Tree, parse_tree, read_text
from finishing.errors import Place, Problem, ProblemSet


class Model(BaseModel):
    """Base of everything that is read from a user's file: no unknown keys, never changed afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, arbitrary_types_allowed=True)
    #: Keys that may stand beside its own in a file, and are read elsewhere.
    keys_beside: ClassVar[tuple[str, ...]] = ()

    @model_validator(mode="before")
    @classmethod
    def _nothing_is_empty(cls, value: Any) -> Any:
        """A key with nothing below it, all of it commented out, say, is as if it were not there, where that is a
        mapping or a list that may be left out."""
        if not isinstance(value, dict):
            return value
        return {key: item for key, item in value.items() if item is not None or not may_be_empty(field_of(cls, key))}

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """An editor is told the same: such a key may be empty."""
        schema = handler(core_schema)
        properties = handler.resolve_ref_schema(schema).get("properties", {})
        for key in keys_of(cls):
            if key in properties and may_be_empty(field_of(cls, key)):
                properties[key] = or_empty(properties[key])
        return schema


def or_empty(schema: dict[str, Any]) -> dict[str, Any]:
    """The JSON Schema of a value that may also be nothing."""
    around: dict[str, Any] = {key: schema[key] for key in ("title", "description", "default") if key in schema}
    inside = {key: value for key, value in schema.items() if key not in ("title", "default")}
    return {**around, "anyOf": [inside, {"type": "null"}]}


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
        return None, [(path, not_a_mapping(tree, path, value, model))]
    try:
        return model.model_validate(value), []
    except ValidationError as error:
        return None, explained(error.errors(), tree, path, model)
