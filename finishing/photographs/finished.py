"""What a finished picture says of its own making: the XMP that `finishing.photographs.xmp_out` wrote, read back.

Only packets of this program's own are read; texts stay as they stand there, since they are there to be told.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.etree import ElementTree

from finishing.photographs.xmp import RDF, XMP, plain_packet
from finishing.photographs.xmp_out import NAMESPACE

_MM = "http://ns.adobe.com/xap/1.0/mm/"
_REFERENCE = "http://ns.adobe.com/xap/1.0/sType/ResourceRef#"
_EVENT = "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#"
_DC = "http://purl.org/dc/elements/1.1/"


@dataclass(frozen=True)
class FinishedRecord:
    """source_name, source_hash: of the frame it was made from; software: what made it; done: the steps in one line;
    description: the readable line; values: the properties of the program's own namespace, in their order; lists: those
    that are lists (Strobes, BlendSources), each item with its own."""

    source_name: str
    source_hash: str
    software: str
    done: str = ""
    description: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    lists: Mapping[str, tuple[Mapping[str, str], ...]] = field(default_factory=dict)

    @property
    def settings(self) -> dict[str, Any]:
        """The values that the recipe's own settings had; empty where it has none."""
        try:
            found = json.loads(self.values.get("RecipeSettings", "{}"))
        except (ValueError, RecursionError):  # brackets without end
            return {}
        return found if isinstance(found, dict) else {}


def read_finished(packet: bytes) -> FinishedRecord | None:
    """The record in a picture's XMP packet; None where this program did not make the picture. Never raises."""
    root, _ = plain_packet(packet, "")
    if root is None:
        return None
    descriptions = [one for record in root.iter(f"{{{RDF}}}RDF") for one in record.findall(f"{{{RDF}}}Description")]
    origin = _find(descriptions, _MM, "DerivedFrom")
    source = _text(origin, _REFERENCE, "documentID")
    software = _first_text(descriptions, XMP, "CreatorTool")
    if origin is None or not source.startswith("sha256:") or not software.startswith("finishing "):
        return None
    event = next(iter(_items(_find(descriptions, _MM, "History"))), None)
    own = [child for one in descriptions for child in one if child.tag.startswith(f"{{{NAMESPACE}}}")]
    values = {_name(child): child.text or "" for child in own if not len(child)}
    lists = {_name(child): [_properties(item) for item in _items(child)] for child in own if len(child)}
    return FinishedRecord(
        source_name=_text(origin, _REFERENCE, "filePath"),
        source_hash=source.removeprefix("sha256:"),
        software=software,
        done=_text(event, _EVENT, "parameters"),
        description=next((item.text or "" for item in _items(_find(descriptions, _DC, "description"))), ""),
        values=values,
        lists={name: tuple(items) for name, items in lists.items()},
    )


def _find(descriptions: list[ElementTree.Element], namespace: str, name: str) -> ElementTree.Element | None:
    found = (one.find(f"{{{namespace}}}{name}") for one in descriptions)
    return next((one for one in found if one is not None), None)


def _first_text(descriptions: list[ElementTree.Element], namespace: str, name: str) -> str:
    found = _find(descriptions, namespace, name)
    return "" if found is None else found.text or ""


def _text(structure: ElementTree.Element | None, namespace: str, name: str) -> str:
    return "" if structure is None else structure.findtext(f"{{{namespace}}}{name}", "")


def _items(element: ElementTree.Element | None) -> Iterator[ElementTree.Element]:
    return iter(()) if element is None else element.iter(f"{{{RDF}}}li")


def _properties(item: ElementTree.Element) -> dict[str, str]:
    return {_name(part): part.text or "" for part in item}


def _name(element: ElementTree.Element) -> str:
    return element.tag.partition("}")[2]
