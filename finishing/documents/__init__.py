"""The files a user writes: YAML read with the place of every value, validated, with errors that can be acted on."""

from finishing.documents.reading import Document, parse_document, read_document
from finishing.documents.tree import Tree

__all__ = ["Document", "Tree", "parse_document", "read_document"]
