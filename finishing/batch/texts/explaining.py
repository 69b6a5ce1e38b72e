"""What the engine will do with a recipe, in lines a photographer can follow."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from finishing.colour.spaces import SRGB
from finishing.engine.ends import CodedSource
from finishing.engine.execution import planned, strip_height
from finishing.engine.plan import Apply, halo_of
from finishing.operation import Domain, Geometry
from finishing.recipes.recipe import Recipe


def explain(look: Recipe, width: int, height: int) -> dict[str, Any]:
    """The plan for an 8-bit sRGB frame of this size, delivered in sRGB."""
    geometry = Geometry(width, height)
    table = np.tile(SRGB.decode(np.arange(256) / 255).astype(np.float32), (3, 1))
    frame = CodedSource(np.broadcast_to(np.uint8(0), (height, width, 3)), table, None)
    work = planned(look.steps, frame, (Domain.LINEAR, Domain.ENCODED), geometry)
    halo = halo_of(work.items, geometry)
    rows = min(height, strip_height(width))
    return {
        "look": look.title,
        "name": look.name,
        "version": look.version,
        "hash": look.hash,
        "size": [width, height],
        "steps": [
            {
                "step": step.describe(),
                "domain": step.operation.domain.value,
                "looks_at": step.operation.reach.value,
                "radius": step.operation.radius(geometry),
                "changes_nothing": step.operation.changes_nothing(),
            }
            for step in look.steps
        ],
        "table": [str(item) for item in work.table],
        "table_by_place": any(step.where is not None for item in work.table for step in item.steps),
        "strips": [str(item) for item in work.items],
        "halo_rows": halo,
        "strip_rows": rows,
        "strip_count": -(-height // rows),
        "sweeps": work.sweeps,
        "conversions": sum(not isinstance(item, Apply) for item in work.items),
    }


def explain_lines(told: dict[str, Any]) -> Iterator[str]:
    """The same as text."""
    yield f"{told['look']} ({told['name']}), version {told['version']}, {told['hash'][:12]}"
    yield f"on a frame of {told['size'][0]} × {told['size'][1]} pixels"
    yield ""
    yield "Steps, in the order of the recipe:"
    for number, step in enumerate(told["steps"], 1):
        yield f"  {number}. {step['step']}"
        if step["changes_nothing"]:
            yield "     changes nothing and is left out"
        else:
            reach = f", {step['radius']} pixels far" if step["radius"] else ""
            yield f"     works on {step['domain']}, looks at {step['looks_at']}{reach}"
    yield ""
    if told["table"]:
        by_place = ", by how far inside its region a pixel lies" if told["table_by_place"] else ""
        yield f"Worked into the table that decodes the file's 256 codes{by_place}:"
        yield from (f"  {item}" for item in told["table"])
    sweeps = f"{told['sweeps']} sweep" + ("s" if told["sweeps"] > 1 else "")
    yield f"Done in {sweeps} over {told['strip_count']} strips of {told['strip_rows']} rows:"
    yield from (f"  {item}" for item in told["strips"])
    if told["halo_rows"]:
        yield f"A row's result depends on {told['halo_rows']} rows above and below it."
