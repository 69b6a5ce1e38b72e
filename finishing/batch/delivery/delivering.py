"""From a frame at its final size to the bytes of a deliverable: look, output sharpening, mark, colours, file."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.batch.delivery.output_size import pixels_per_inch_of, resolution_on_paper
from finishing.batch.delivery.proof_mark import draw_mark
from finishing.colour.icc import write_profile
from finishing.colour.spaces import COLOUR_SPACES, ColourSpace
from finishing.engine.ends import CodedSink, LinearSink, LinearSource, Source
from finishing.engine.execution import execute
from finishing.engine.output import DitheredSink, sharpen, sharpening_for
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.colour_management import from_space
from finishing.photographs.encoding import WIDE
from finishing.photographs.tiff_out import codes_with_room
from finishing.photographs.writing import OutputSettings, encode
from finishing.recipes.recipe import Step
from finishing.sessions.deliverables import Deliverable


def deliver(
    steps: Sequence[Step],
    source: Source,
    geometry: Geometry,
    deliverable: Deliverable,
    *,
    profile: bytes | None = None,
    exif: bytes = b"",
    xmp: bytes = b"",
    into: NDArray[Any] | None = None,
    paper: tuple[int, int] | None = None,
    threads: int = 1,
) -> bytes | memoryview:
    """The file of one deliverable. source: at the final size; where that is too small for a print, the file gets the
    resolution that lays it at the size asked for, as the records have it. profile: the printer's, where the deliverable
    names one. into: codes of that size that may be written over; the source may read from them. paper: width and height
    of the white sheet that the picture is laid on, in pixels; None for the picture alone.

    Raises Problem where the picture does not fit the format or littleCMS does not take the profile.
    """
    space = WIDE if profile is not None else COLOUR_SPACES[deliverable.profile]
    bits = 16 if profile is not None else deliverable.bits
    resolution = resolution_on_paper(deliverable, source.width, source.height)
    if deliverable.sharpen != "none" or deliverable.mark is not None:
        sink = LinearSink(source.height, source.width)
        execute(steps, source, sink, geometry, threads=threads)
        if deliverable.sharpen != "none":
            sharpen(sink.planes, sharpening_for(deliverable.sharpen, resolution))
        if deliverable.mark is not None:
            draw_mark(sink.planes, deliverable.mark)
        steps, source, into = (), LinearSource(sink.planes), None
    codes = _codes(steps, source, geometry, space, bits, into, dither=deliverable.dither, threads=threads)
    if paper is not None:
        codes = on_paper(codes, *paper)
    if profile is not None:
        try:
            codes = from_space(
                codes, write_profile(WIDE), profile, bits=deliverable.bits, intent=deliverable.intent,
                black_point=deliverable.black_point,
            )  # fmt: skip
        except ValueError as error:
            raise Problem(
                "the printer's profile cannot be used",
                got=f"{deliverable.profile}: {error}",
                remedy="get it again from the printer, or deliver oprgb",
            ) from error
    settings = replace(settings_of(deliverable, space, profile), pixels_per_inch=max(1, round(resolution)))
    return encode(codes, settings=settings, exif=exif, xmp=xmp)


def _codes(
    steps: Sequence[Step],
    source: Source,
    geometry: Geometry,
    space: ColourSpace,
    bits: int,
    into: NDArray[Any] | None,
    *,
    dither: bool,
    threads: int,
) -> NDArray[Any]:
    """The finished codes, uint8 or uint16 (height, width, 3)."""
    kind = np.dtype(f"uint{bits}")
    shape = (source.height, source.width, 3)
    fits = into is not None and into.dtype == kind and into.shape == shape
    spare = into is not None and fits and into.flags.writeable  # some decoders give their codes read-only
    codes = into if into is not None and spare else codes_with_room(*shape[:2], kind)
    sink = DitheredSink(codes, space) if dither and bits == 8 else CodedSink(codes, space)
    execute(steps, source, sink, geometry, threads=threads)
    return codes


def on_paper(codes: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """Codes (height, width, 3) in the middle of a white sheet of at least their size."""
    sheet = codes_with_room(height, width, codes.dtype)
    sheet[:] = np.iinfo(codes.dtype).max
    top, left = (height - codes.shape[0]) // 2, (width - codes.shape[1]) // 2
    sheet[top : top + codes.shape[0], left : left + codes.shape[1]] = codes
    return sheet


def settings_of(deliverable: Deliverable, space: ColourSpace, profile: bytes | None = None) -> OutputSettings:
    """What the writer needs of a deliverable."""
    return OutputSettings(
        format=deliverable.format,
        space=space,
        quality=deliverable.quality,
        subsampling=deliverable.subsampling,
        pixels_per_inch=round(pixels_per_inch_of(deliverable)),
        progressive=deliverable.progressive,
        at_most=deliverable.at_most,
        compression=deliverable.compression,
        profile=profile,
    )


def read_printer_profile(path: Path | None) -> bytes | None:
    """The bytes of the profile file that a deliverable names; None where it names a known space. Raises Problem."""
    if path is None:
        return None
    try:
        return path.read_bytes()
    except OSError as error:
        raise Problem(
            "the printer's profile cannot be read", where=str(path), got=error.strerror or str(error)
        ) from error
