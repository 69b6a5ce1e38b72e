"""Writes the Common LUT Format, the version that SMPTE ST 2136-1:2024 describes."""

from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from finishing.tables.nodes import ExponentNode, MatrixNode, Node, Process, RangeNode, Table1D

NAMESPACE = "http://www.smpte-ra.org/ns/2136-1/2024"
#: The namespace of what the Info element says.
INFO = "https://example.org/ns/finishing/1.0/"
_DEPTHS = 'inBitDepth="32f" outBitDepth="32f"'


def write_process(process: Process) -> str:
    """The text of the file. Numbers have nine digits: a float32 comes back as itself."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<ProcessList xmlns="{NAMESPACE}" compCLFversion="3" id="urn:uuid:{process.identity}" '
        f"name={quoteattr(process.name)}>",
        *(f"    <Description>{escape(text)}</Description>" for text in process.descriptions),
        f"    <InputDescriptor>{escape(process.source)}</InputDescriptor>",
        f"    <OutputDescriptor>{escape(process.target)}</OutputDescriptor>",
    ]
    if process.info:
        lines.append(f'    <Info xmlns:finishing="{INFO}">')
        lines += [f"        <finishing:{key}>{escape(text)}</finishing:{key}>" for key, text in process.info]
        lines.append("    </Info>")
    for node in process.nodes:
        lines += _node(node)
    return "\n".join([*lines, "</ProcessList>", ""])


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
