"""Reads a file of the Common LUT Format and carries it out, plainly, in float64.

It knows what the standard (SMPTE ST 2136-1:2024) says of these nodes, and nothing of how ours are put together: what it
finds in a file is what the file says. Files of integer bit depths and of other nodes are refused.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar
from xml.etree import ElementTree

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.tables.nodes import ExponentNode, MatrixNode, Node, RangeNode, Table1D, Table3D

Floats = NDArray[np.float64]
T = TypeVar("T")


@dataclass(frozen=True)
class ReadProcess:
    """nodes in their order; source, target: what comes in and goes out; descriptions: for people."""

    nodes: tuple[Node, ...]
    source: str
    target: str
    descriptions: tuple[str, ...]

    def __call__(self, values: ArrayLike) -> Floats:
        """What comes out of values with red, green and blue in the last axis."""
        result = np.asarray(values, np.float64)
        for node in self.nodes:
            result = carry_out(node, result)
        return result


def read_process(text: str) -> ReadProcess:
    """The process of a file's text. Raises ValueError for what is not read here."""
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise ValueError("a document type is not read")
    try:
        root = ElementTree.fromstring(text.encode())
    except ElementTree.ParseError as error:
        raise ValueError(f"this is no XML: {error}") from error
    if _name(root) != "ProcessList":
        raise ValueError(f"expected a ProcessList, not {_name(root)}")
    nodes = []
    source = target = ""
    descriptions = []
    for child in root:
        name = _name(child)
        if name == "InputDescriptor":
            source = child.text or ""
        elif name == "OutputDescriptor":
            target = child.text or ""
        elif name == "Description":
            descriptions.append(child.text or "")
        elif name != "Info":
            nodes.append(_node(name, child))
    return ReadProcess(tuple(nodes), source, target, tuple(descriptions))


def _node(name: str, element: ElementTree.Element) -> Node:
    if element.get("inBitDepth") != "32f" or element.get("outBitDepth") != "32f":
        raise ValueError("only 32-bit floating point is read")
    style = element.get("style", "")
    if name == "Exponent" and style in ("monCurveMirrorFwd", "monCurveMirrorRev"):
        told = _child(element, "ExponentParams")
        decodes = style == "monCurveMirrorFwd"
        return ExponentNode(decodes, float(_told(told.attrib, "exponent")), float(_told(told.attrib, "offset")))
    if name == "Range" and style in ("", "Clamp"):
        found = {_name(child): float(child.text or "") for child in element}
        low, high = _told(found, "minInValue"), _told(found, "maxInValue")
        if (low, high) != (_told(found, "minOutValue"), _told(found, "maxOutValue")):
            raise ValueError("a range that scales is not read")
        return RangeNode(low, high)
    if name == "Matrix":
        shape, values = _array(element)
        if shape not in ((3, 3), (3, 4)):
            raise ValueError(f"expected a matrix of 3 × 3 or 3 × 4, not {shape}")
        return MatrixNode(values.reshape(shape))
    if name == "LUT1D" and element.get("interpolation", "linear") == "linear" and element.get("halfDomain") is None:
        shape, values = _array(element)
        if len(shape) != 2 or shape[0] < 2 or shape[1] not in (1, 3):
            raise ValueError(f"expected a dim of entries and 1 or 3 channels, not {shape}")
        curves = values.reshape(shape)
        return Table1D(np.repeat(curves, 3, axis=1) if shape[1] == 1 else curves)
    if name == "LUT3D" and element.get("interpolation") == "tetrahedral":
        shape, values = _array(element)
        if len(shape) != 4 or shape[0] < 2 or shape != (shape[0], shape[0], shape[0], 3):
            raise ValueError(f"expected a dim of three equal sides and 3 channels, not {shape}")
        return Table3D(values.reshape(shape))
    raise ValueError(f"the node {name} {style} is not read".replace("  ", " "))


def _array(element: ElementTree.Element) -> tuple[tuple[int, ...], Floats]:
    array = _child(element, "Array")
    shape = tuple(int(part) for part in _told(array.attrib, "dim").split())
    return shape, np.array((array.text or "").split(), np.float64)


def _child(element: ElementTree.Element, name: str) -> ElementTree.Element:
    for child in element:
        if _name(child) == name:
            return child
    raise ValueError(f"{name} is missing in {_name(element)}")


def _told(found: Mapping[str, T], key: str) -> T:
    if key not in found:
        raise ValueError(f"{key} is missing")
    return found[key]


def _name(element: ElementTree.Element) -> str:
    return element.tag.partition("}")[2] or element.tag


def carry_out(node: Node, values: Floats) -> Floats:
    """One node on values with red, green and blue in the last axis."""
    if isinstance(node, MatrixNode):
        return values @ node.rows[:, :3].T + (node.rows[:, 3] if node.rows.shape[1] == 4 else 0.0)
    if isinstance(node, ExponentNode):
        return _exponent(node, values)
    if isinstance(node, RangeNode):
        return np.clip(values, node.low, node.high)
    if isinstance(node, Table1D):
        places = np.linspace(0, 1, len(node.values))
        return np.stack([np.interp(values[..., i], places, node.values[:, i]) for i in range(3)], axis=-1)
    return _tetrahedral(node.values, values)


def _exponent(node: ExponentNode, values: Floats) -> Floats:
    """The break and the slope of the foot follow from exponent and offset, so that value and slope both run on."""
    g, b = node.exponent, node.offset
    sign, values = np.sign(values), np.abs(values)
    break_in = b / (g - 1)  # encoded
    slope = ((g - 1) / b) * (b * g / ((g - 1) * (1 + b))) ** g
    if node.decodes:
        bent = ((np.maximum(values, break_in) + b) / (1 + b)) ** g
        return sign * np.where(values >= break_in, bent, values * slope)
    break_out = break_in * slope
    bent = (1 + b) * np.maximum(values, break_out) ** (1 / g) - b
    return sign * np.where(values >= break_out, bent, values / slope)


def _tetrahedral(table: Floats, values: Floats) -> Floats:
    """Between the four corners of the tetrahedron around each place: from the corner of the cell that is nearest to
    black to the opposite one, along the axes in the order of the places within the cell, the largest first."""
    steps = len(table) - 1
    places = np.clip(values, 0, 1) * steps
    cell = np.minimum(places.astype(np.int64), steps - 1)
    within = places - cell
    order = np.argsort(-within, axis=-1, kind="stable")
    sorted_within = np.take_along_axis(within, order, axis=-1)
    corner = cell.copy()
    result = table[corner[..., 0], corner[..., 1], corner[..., 2]] * (1 - sorted_within[..., :1])
    for i in range(3):
        step = order[..., i : i + 1] == np.arange(3)
        corner = corner + step
        following = sorted_within[..., i + 1 : i + 2] if i < 2 else 0.0
        weight = sorted_within[..., i : i + 1] - following
        result = result + table[corner[..., 0], corner[..., 1], corner[..., 2]] * weight
    return result
