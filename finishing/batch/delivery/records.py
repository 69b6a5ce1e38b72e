"""What is written into a finished file about how it came to be."""

import json
from collections.abc import Iterator, Sequence
from typing import Any

from finishing import __version__, units
from finishing.batch.delivery.output_size import paper_size, resolution_on_paper
from finishing.batch.opening.framing import Framing, framing_of
from finishing.batch.work.assignment import FrameWork, Output
from finishing.batch.work.blends import Origin
from finishing.evenness.correction import Correction
from finishing.photographs.headers import Header, upright_metadata
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.records import FinishRecord, RecordedStrobe, Rights
from finishing.recipes.recipe import Recipe
from finishing.recipes.writing import recipe_text
from finishing.sessions.deliverables import Deliverable
from finishing.sessions.session import Rights as SessionRights
from finishing.sessions.worked_out import WorkedSetup

SOFTWARE = f"finishing {__version__}"


def rights_recorded(rights: SessionRights) -> Rights:
    """A session's rights as files have them."""
    return Rights(rights.creator, rights.copyright, rights.usage, rights.contact)


def record_of(
    work: FrameWork, output: Output, header: Header, origin: Origin, width: int, height: int, rights: SessionRights
) -> FinishRecord:
    """The record of one output of a session. origin: the files that the frame comes from; width, height: of the picture
    in pixels; where it lies on a sheet, the file is as large as that."""
    setup, deliverable = work.setup, output.deliverable
    framing = framing_of(work.says, header.width, header.height)
    file_width, file_height = paper_size(deliverable, width, height) or (width, height)
    planned = setup.setup.exposure.values if setup and setup.setup.exposure else None
    return FinishRecord(
        source=upright_metadata(header.metadata),
        source_name=work.blend.sources[0].path.name if work.blend else work.frame.path.name,
        source_hash=origin.files[0],
        width=file_width,
        height=file_height,
        colour_space=deliverable.profile,
        format=f"image/{deliverable.format}",
        software=SOFTWARE,
        pixels_per_inch=max(1, round(resolution_on_paper(deliverable, width, height))),
        rights=rights_recorded(rights),
        rating=work.rating,
        description=description(output.look, setup, work.blend.words if work.blend else None),
        blend=work.blend.recorded(origin.files) if work.blend else None,
        setup=setup.setup.id if setup else None,
        setup_title=setup.setup.title if setup else None,
        planned_aperture=planned.f_number if planned else None,
        planned_shutter=planned.seconds if planned else None,
        planned_iso=planned.iso if planned else None,
        exposure_value=setup.ev100 if setup else None,
        ambient_stops=setup.ambient_stops if setup else None,
        strobes=_strobes(setup),
        plan_minus_camera_stops=work.match.difference_stops if work.match else None,
        exposure_correction_stops=work.correction.stops or None,
        white_balance_correction=work.correction.white_text,
        **_of_look(output.look, [*_evened(work.correction), *_framed(framing)]),
    )


def _evened(correction: Correction) -> Iterator[str]:
    """What evening out did, for the history."""
    if correction.stops:
        yield f"exposure evened out by {units.format_stops(correction.stops, 2)} stops"
    if correction.rows is not None:
        yield "white balance evened out" + (f" ({correction.white})" if correction.white else "")


def _framed(framing: Framing) -> Iterator[str]:
    """How the frame was straightened and cropped, for the history."""
    if not framing.level:
        side = "clockwise" if framing.degrees > 0 else "anticlockwise"
        yield f"straightened by {units.format_number(abs(framing.degrees))}° {side}"
    if (framing.width, framing.height) != (framing.turned_width, framing.turned_height):
        whole = f"{framing.turned_width} × {framing.turned_height}"
        yield (
            f"cropped to {framing.width} × {framing.height} of {whole} pixels, "
            f"{framing.left} from the left and {framing.top} from the top"
        )


#: The longest recipe, in bytes, that is put into a file: the one segment that a JPEG has for XMP ends at 65 533.
MOST_RECIPE = 24_000


def loose_record(
    look: Recipe,
    metadata: FrameMetadata,
    source_name: str,
    source_hash: str,
    width: int,
    height: int,
    deliverable: Deliverable,
    subject: tuple[float, float] | None = None,
) -> FinishRecord:
    """The record of an image finished without a session, and so without a ledger: the recipe itself is in it, unless
    it needs mask files of its own or is longer than any that people write. subject: its place, where it was said."""
    text = recipe_text(look)
    alone = not look.mask_paths and len(text.encode()) <= MOST_RECIPE
    return FinishRecord(
        source=metadata,
        source_name=source_name,
        source_hash=source_hash,
        width=width,
        height=height,
        colour_space="srgb",
        format=f"image/{deliverable.format}",
        software=SOFTWARE,
        description=description(look, None),
        recipe_text=text if alone else None,
        delivered=_delivered(deliverable) if alone else None,
        subject=subject,
        **_of_look(look),
    )


def _delivered(deliverable: Deliverable) -> str:
    told = deliverable.model_dump(mode="json", exclude_defaults=True)
    return json.dumps({**told, "format": deliverable.format}, sort_keys=True)


def _of_look(look: Recipe, before: Sequence[str] = ()) -> dict[str, Any]:
    """before: what was done to the frame before the look's steps."""
    return {
        "recipe_title": look.title,
        "recipe_name": look.name,
        "recipe_version": str(look.version),
        "recipe_hash": look.hash,
        "settings": dict(look.settings),
        "history": "; ".join([*before, *(step.describe() for step in look.steps)]),
    }


def _strobes(setup: WorkedSetup | None) -> tuple[RecordedStrobe, ...]:
    if setup is None:
        return ()
    return tuple(
        RecordedStrobe(one.strobe.name, one.strobe.modifier, one.strobe.position, one.strobe.power, one.reads)
        for one in setup.strobes
    )


def setup_line(setup: WorkedSetup) -> str:
    """The plan of a set-up in a line: f/8 · 1/125 · ISO 100 · ambient −2 · key f/8, rim f/5.6."""
    exposure = setup.setup.exposure
    parts = []
    if exposure is not None:
        parts = [
            units.format_aperture(exposure.aperture),
            units.format_shutter(exposure.shutter),
            units.format_iso(exposure.iso),
        ]
    if setup.ambient_stops is not None:
        parts.append(f"ambient {units.format_stops(setup.ambient_stops)}")
    heads = ", ".join(
        one.strobe.name + (f" {units.format_aperture(one.reads)}" if one.reads else "") for one in setup.strobes
    )
    return " · ".join([*parts, heads] if heads else parts)


def description(look: Recipe, setup: WorkedSetup | None, blend: str | None = None) -> str:
    """The readable line: look, blend, set-up, exposure, light. blend: in words."""
    told = f"{look.title}, version {look.version}" + (f" · {blend}" if blend else "")
    if setup is None:
        return told
    title = f" {setup.setup.title}" if setup.setup.title else ""
    line = setup_line(setup)
    return f"{told} · set-up {setup.setup.id}{':' if title else ''}{title}" + (f" · {line}" if line else "")
