"""A look as one file for other programs: the part of it that follows from the colour alone, with its error stated."""

import json
import uuid
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from finishing.batch.delivery.records import SOFTWARE
from finishing.batch.pictures.table_chain import Floats, exact_chain, left_out, nodes_of
from finishing.colour import transfer
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.documents.flow import flow
from finishing.errors import Problem
from finishing.photographs.writing import write_bytes
from finishing.recipes.recipe import Recipe, Step
from finishing.tables.nodes import ExponentNode, MatrixNode, Node, Process, RangeNode, Table1D, Table3D
from finishing.tables.reading import read_process
from finishing.tables.writing import write_process

#: What a file of the Common LUT Format ends in.
ENDING = ".clf"
USUAL_SIZE = 65
#: Colours by which the error is measured: strewn over the whole cube, and greys beside them.
COLOURS, GREYS = 100_000, 2_000
#: The largest error is sought around so many of the worst, at so many places each, this far away and then closer.
WORST, AROUND, REACHES = 200, 40, (0.02, 0.01, 0.005, 0.0025)

STATE = (
    "sRGB (IEC 61966-2-1): encoded with its transfer function, Rec. 709 primaries, white D65, display-referred, "
    "0 black to 1 white"
)
GAMUT = (
    "Colours that the look drives out of the gamut are brought back at their own lightness and hue (OkLCh, less "
    "chroma), as in a finished file. Values outside 0 to 1 are cut before the look."
)


@dataclass(frozen=True)
class Difference:
    """How far a written file lies from the look itself, in CIEDE2000: in the mean and for 95 of 100 over so many
    colours, none of which is a place of its table, and the largest that a search from there finds."""

    mean: float
    most_of_95_percent: float
    largest: float
    colours: int

    def __str__(self) -> str:
        return (
            f"ΔE2000 {self.mean:.3f} in the mean and {self.most_of_95_percent:.3f} at the 95th percentile of "
            f"{self.colours} colours, {self.largest:.2f} at the worst place found"
        )


@dataclass(frozen=True)
class Exported:
    """path: the file; nodes: what is in it, in words; left_out: steps that are not, each with the reason."""

    path: Path
    look: Recipe
    nodes: tuple[str, ...]
    left_out: tuple[str, ...]
    error: Difference

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "file": str(self.path),
            "look": self.look.name,
            "version": self.look.version,
            "hash": self.look.hash,
            "nodes": list(self.nodes),
            "left_out": list(self.left_out),
            "error": asdict(self.error),
        }


def export(look: Recipe, path: Path, *, size: int = USUAL_SIZE, again: bool = False) -> Exported:
    """Write a look as a Common LUT Format file (SMPTE ST 2136-1). size: of its table each way, if it needs one.

    Raises Problem where nothing of the look can go in, the path is no place for a table (another ending, the recipe
    itself, a folder), or a file is there already (unless `again`).
    """
    _refuse(look, path, again=again)
    process, skipped, steps = process_of(look, size)
    error = measured(write_process(process), lambda colours: exact_chain(steps, colours))
    stated = f"Error of this file against the same steps carried out exactly: {error}."
    told = Process(
        process.identity, process.name, (*process.descriptions, stated),
        process.source, process.target, process.nodes,
        (*process.info, *((key, f"{value:.6g}") for key, value in _error_facts(error))),
    )  # fmt: skip
    write_bytes(path, write_process(told).encode())
    return Exported(path, look, tuple(in_words(node) for node in told.nodes), tuple(skipped), error)


def _refuse(look: Recipe, path: Path, *, again: bool) -> None:
    """What is no table is never written over, whatever was asked for."""
    if path.suffix.lower() != ENDING:
        raise Problem(
            "a file of this ending is no table",
            where=str(path),
            expected=f"a file that ends in {ENDING}",
            remedy=f"name a file such as {look.name}{ENDING} with --out",
        )
    if path.resolve() in {one.resolve() for one in (look.path, *look.mask_paths)}:
        raise Problem(
            "this would take the place of the recipe itself, or of a mask of it",
            where=str(path),
            remedy="name another file with --out",
        )
    if path.is_dir():
        raise Problem("this is a folder", where=str(path), remedy="name a file inside of it, or beside it, with --out")
    if path.exists() and not again:
        raise Problem(
            "the file exists already",
            where=str(path),
            remedy="name another with --out, or overwrite it with --again",
        )


def process_of(look: Recipe, size: int) -> tuple[Process, list[str], list[Step]]:
    """The process of a look, the steps that are left out with their reasons, and those that are in it.

    Raises Problem where none is.
    """
    steps: list[Step] = []
    skipped: list[str] = []
    for number, step in enumerate(look.steps, 1):
        reason = left_out(step)
        if step.operation.changes_nothing():
            continue
        if reason is None:
            steps.append(step)
        else:
            skipped.append(f"step {number}, {step.operation.name}: {reason}")
    if not steps:
        raise Problem(
            "nothing of this look can go into a table",
            where=look.name,
            got="; ".join(skipped) or "steps that change nothing",
            expected="steps that follow from the colour alone",
            remedy="export a look with a tone curve, say; what depends on the place needs the frame: finishing apply",
        )
    settings = json.dumps(dict(look.settings), default=flow, ensure_ascii=False, sort_keys=True)
    identity = uuid.uuid5(uuid.NAMESPACE_URL, f"{look.hash} {size} {SOFTWARE}")
    descriptions = [f"{look.title}, version {look.version}", *([look.about] if look.about else []), GAMUT]
    descriptions += [f"Left out: {reason}" for reason in skipped]
    info = [
        ("Recipe", look.name), ("RecipeTitle", look.title), ("RecipeVersion", str(look.version)),
        ("RecipeHash", look.hash), ("RecipeSettings", settings), ("Software", SOFTWARE),
        *(("LeftOut", reason) for reason in skipped),
    ]  # fmt: skip
    process = Process(
        str(identity), look.title, tuple(descriptions), STATE, STATE, tuple(nodes_of(steps, size)), tuple(info)
    )
    return process, skipped, steps


def measured(text: str, exact: Callable[[Floats], Floats]) -> Difference:
    """How far what is written lies from the exact chain: the text is read and carried out by itself.

    Mean and 95th percentile are over colours strewn evenly. The largest is sought: around the worst of them, and again
    around the worst that are found, ever closer, since it sits on edges that few colours meet (the border of the gamut,
    the ends of a range of hues).
    """
    process = read_process(text)

    def difference(colours: Floats) -> Floats:
        return ciede2000(_lab(process(colours)), _lab(exact(colours)))

    random = np.random.default_rng(2136)
    colours = np.concatenate([random.random((COLOURS, 3)), np.repeat(random.random((GREYS, 1)), 3, axis=1)])
    found = difference(colours)
    worst, largest = colours[np.argsort(found)[-WORST:]], float(found.max())
    for reach in REACHES:
        near = np.repeat(worst, AROUND, axis=0)
        near = np.clip(near + random.uniform(-reach, reach, near.shape), 0, 1)
        there = difference(near)
        worst, largest = near[np.argsort(there)[-WORST:]], max(largest, float(there.max()))
    return Difference(float(found.mean()), float(np.percentile(found, 95)), largest, len(colours))


def _lab(encoded: Floats) -> Floats:
    return linear_to_lab(transfer.srgb_decode(np.clip(encoded, 0, 1)))


def _error_facts(error: Difference) -> list[tuple[str, float]]:
    return [
        ("ErrorMean", error.mean), ("ErrorOf95Percent", error.most_of_95_percent), ("ErrorLargest", error.largest),
        ("ErrorColours", float(error.colours)),
    ]  # fmt: skip


def in_words(node: Node) -> str:
    """A node as the command tells it."""
    if isinstance(node, Table1D):
        return f"a curve a channel, {len(node.values)} entries"
    if isinstance(node, Table3D):
        return f"a table of {len(node.values)} × {len(node.values)} × {len(node.values)}, tetrahedra between"
    if isinstance(node, ExponentNode):
        return "encoded → linear light" if node.decodes else "linear light → encoded"
    if isinstance(node, MatrixNode):
        return "a 3 × 3 matrix" if node.rows.shape[1] == 3 else "a scaling"
    assert isinstance(node, RangeNode)
    return f"cut at {node.low:g} and {node.high:g}"
