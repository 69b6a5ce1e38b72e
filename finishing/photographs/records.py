"""The record that every finished picture carries: what it is, whose it is, how it was exposed, lit and made.

A `FinishRecord` is plain values; `output_metadata` turns it into EXIF and XMP bytes. Nothing of the clock or of
the machine goes in, so that the same record is the same bytes.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from finishing.photographs.metadata import FrameMetadata


@dataclass(frozen=True)
class Rights:
    """Whose the picture is. contact: a mail address or a web address. marked: whether rights are reserved;
    None leaves it to whether there is a copyright line."""

    creator: str | None = None
    copyright: str | None = None
    usage: str | None = None
    contact: str | None = None
    marked: bool | None = None


@dataclass(frozen=True)
class RecordedStrobe:
    """One strobe as planned. power: a fraction of full power; reads: the meter's f-number at the subject."""

    name: str
    modifier: str | None = None
    position: str | None = None
    power: float | None = None
    reads: float | None = None


@dataclass(frozen=True)
class RecordedSource:
    """One frame that a blend is made of. hash: SHA-256 of its file, in hexadecimal; shutter: seconds as printed;
    strobes: whether they fired."""

    name: str
    hash: str
    shutter: float | None = None
    strobes: bool = True


@dataclass(frozen=True)
class RecordedBlend:
    """What a blend is made of, the first source being the reference. ambient_stops, strobe_stops: against the first
    source, None where that light was left out; ambient_white, strobe_white: each light's white balance, in words."""

    sources: tuple[RecordedSource, ...]
    ambient_stops: float | None = 0.0
    strobe_stops: float | None = 0.0
    ambient_white: str | None = None
    strobe_white: str | None = None


@dataclass(frozen=True)
class FinishRecord:
    """All that is written into one finished picture. What is None or empty is left out.

    width, height: of the finished picture in pixels. colour_space: a name of `finishing.colour.spaces`.
    format: "image/jpeg", "image/tiff" and so on. location_kept: whether where it was taken may be told.
    source_hash: SHA-256 of the original file, in hexadecimal.
    settings: the recipe's values in force, JSON-like. planned_*: f-number, seconds, ISO. exposure_value: of the
    plan at ISO 100. ambient_stops: the metered ambient against the exposure. plan_minus_camera_stops: exposure of
    the plan minus that of the camera, None where the camera tells none. rating: the session's; None keeps the frame's.
    exposure_correction_stops: what evening out added, positive lightens; white_balance_correction: what it did to
    colour, in words and nine numbers. recipe_text, delivered: where no ledger keeps them, the recipe as a text and the
    kind of file as JSON, by which the picture can be made once more; subject: its place as it was said, in fractions of
    width and height. blend: for a picture of several frames;
    source_name and source_hash are then those of the first.
    """

    source: FrameMetadata
    source_name: str
    source_hash: str
    width: int
    height: int
    colour_space: str
    format: str
    software: str
    pixels_per_inch: int = 300
    rights: Rights = field(default_factory=Rights)
    rating: int | None = None
    description: str | None = None
    recipe_title: str | None = None
    recipe_name: str | None = None
    recipe_version: str | int | None = None
    recipe_hash: str | None = None
    settings: Mapping[str, object] = field(default_factory=dict)
    setup: str | None = None
    setup_title: str | None = None
    planned_aperture: float | None = None
    planned_shutter: float | None = None
    planned_iso: float | None = None
    exposure_value: float | None = None
    ambient_stops: float | None = None
    strobes: tuple[RecordedStrobe, ...] = ()
    plan_minus_camera_stops: float | None = None
    exposure_correction_stops: float | None = None
    white_balance_correction: str | None = None
    history: str | None = None
    recipe_text: str | None = None
    delivered: str | None = None
    subject: tuple[float, float] | None = None
    location_kept: bool = True
    blend: RecordedBlend | None = None


def output_metadata(record: FinishRecord) -> tuple[bytes, bytes]:
    """EXIF (a TIFF structure) and XMP (a packet in UTF-8) for one finished picture."""
    from finishing.photographs.exif_out import finished_exif
    from finishing.photographs.xmp_out import finished_xmp

    return finished_exif(record), finished_xmp(record)
