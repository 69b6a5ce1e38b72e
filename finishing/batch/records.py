"""What is written into a finished file about how it came to be."""

from typing import Any

from finishing import __version__, units
from finishing.batch.assignment import FrameWork, Output
from finishing.photographs.headers import Header, upright_metadata
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.records import FinishRecord, RecordedStrobe, Rights
from finishing.recipes.recipe import Recipe
from finishing.sessions.session import Rights as SessionRights
from finishing.sessions.worked_out import WorkedSetup

SOFTWARE = f"finishing {__version__}"


def record_of(
    work: FrameWork, output: Output, header: Header, source_hash: str, width: int, height: int, rights: SessionRights
) -> FinishRecord:
    """The record of one output of a session. source_hash: SHA-256 of the frame's file; width, height: in pixels."""
    setup, deliverable = work.setup, output.deliverable
    planned = setup.setup.exposure.values if setup else None
    return FinishRecord(
        source=upright_metadata(header.metadata),
        source_name=work.frame.path.name,
        source_hash=source_hash,
        width=width,
        height=height,
        colour_space=deliverable.profile,
        format=f"image/{deliverable.format}",
        software=SOFTWARE,
        pixels_per_inch=round(deliverable.pixels_per_inch or 300),
        rights=Rights(rights.creator, rights.copyright, rights.usage, rights.contact),
        rating=work.rating,
        description=description(output.look, setup),
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
        **_of_look(output.look),
    )


def loose_record(
    look: Recipe, metadata: FrameMetadata, source_name: str, source_hash: str, width: int, height: int, kind: str
) -> FinishRecord:
    """The record of an image finished without a session."""
    return FinishRecord(
        source=metadata,
        source_name=source_name,
        source_hash=source_hash,
        width=width,
        height=height,
        colour_space="srgb",
        format=f"image/{kind}",
        software=SOFTWARE,
        description=description(look, None),
        **_of_look(look),
    )


def _of_look(look: Recipe) -> dict[str, Any]:
    return {
        "recipe_title": look.title,
        "recipe_name": look.name,
        "recipe_version": str(look.version),
        "recipe_hash": look.hash,
        "settings": dict(look.settings),
        "history": "; ".join(step.describe() for step in look.steps),
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


def description(look: Recipe, setup: WorkedSetup | None) -> str:
    """The readable line: look, set-up, exposure, light."""
    told = f"{look.title}, version {look.version}"
    if setup is None:
        return told
    title = f" {setup.setup.title}" if setup.setup.title else ""
    return f"{told} · set-up {setup.setup.id}{':' if title else ''}{title} · {setup_line(setup)}"
