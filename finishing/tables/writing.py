"""Writes the Common LUT Format, the version that SMPTE ST 2136-1:2024 describes."""

import re
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from finishing.tables.nodes import ExponentNode, MatrixNode, Node, Process, RangeNode, Table1D

NAMESPACE = "http://www.smpte-ra.org/ns/2136-1/2024"
#: The namespace of what the Info element says.
INFO = "https://example.org/ns/finishing/1.0/"
#: Signs that a text of XML has no place for (XML 1.0, section 2.2).
_NO_SIGN = re.compile(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'


def write_process(process: Process) -> str:
    """The text of the file. Numbers have nine digits: a float32 comes back as itself. Signs that XML has no place
    for are left out of what is told."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<ProcessList xmlns="{NAMESPACE}" compCLFversion="3" id="urn:uuid:{process.identity}" '
        f"name={quoteattr(_plain(process.name))}>",
        *(f"    <Description>{escape(_plain(text))}</Description>" for text in process.descriptions),
        f"    <InputDescriptor>{escape(_plain(process.source))}</InputDescriptor>",
        f"    <OutputDescriptor>{escape(_plain(process.target))}</OutputDescriptor>",
    ]
    if process.info:
        lines.append(f'    <Info xmlns:finishing="{INFO}">')
        lines += [f"        <finishing:{key}>{escape(_plain(text))}</finishing:{key}>" for key, text in process.info]
        lines.append("    </Info>")
    for node in process.nodes:
        lines += _node(node)
    return "\n".join([*lines, "</ProcessList>", ""])


def _plain(text: str) -> str:
    return _NO_SIGN.sub("", text)


def _node(node: Node) -> list[str]:
    if isinstance(node, MatrixNode):
        dim = " ".join(str(count) for count in node.rows.shape)
        return [f"    <Matrix {_DEPTHS}>", *_array(dim, node.rows), "    </Matrix>"]
    if isinstance(node, ExponentNode):
        style = "monCurveMirrorFwd" if node.decodes else "monCurveMirrorRev"
        return [
            f'    <Exponent {_DEPTHS} style="{style}">',
            f'        <ExponentParams exponent="{node.exponent!r}" offset="{node.offset!r}" />',
            "    </Exponent>",
        ]
    if isinstance(node, RangeNode):
        bounds = {"In": (node.low, node.high), "Out": (node.low, node.high)}
        told = [
            f"        <{end}{side}Value>{bounds[side][at]!r}</{end}{side}Value>"
            for side in ("In", "Out")
            for at, end in enumerate(("min", "max"))
        ]
        return [f'    <Range {_DEPTHS} style="Clamp">', *told, "    </Range>"]
    if isinstance(node, Table1D):
        dim = f"{len(node.values)} 3"
        return [f'    <LUT1D {_DEPTHS} interpolation="linear">', *_array(dim, node.values), "    </LUT1D>"]
    size = len(node.values)
    flat = node.values.reshape(-1, 3)  # blue runs fastest, as the standard has it
    return [
        f'    <LUT3D {_DEPTHS} interpolation="tetrahedral">', *_array(f"{size} {size} {size} 3", flat), "    </LUT3D>"
    ]  # fmt: skip


def _array(dim: str, rows: NDArray[np.float64]) -> list[str]:
    told = (" ".join(f"{value + 0.0:.9g}" for value in row) for row in rows.tolist())
    return [f'        <Array dim="{dim}">', *told, "        </Array>"]
