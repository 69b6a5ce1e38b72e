"""EXIF of a finished picture: the frame's own, mended where the pixels changed, filled in from the plan.

Kept: camera, lens, exposure, capture time, place. Not kept: the thumbnail and every measure of the old pixels
(they would be wrong), broken entries, and MakerNote, whose insides point at places in the old file.
"""

import math
from fractions import Fraction

from finishing.photographs import exif_tags as tags
from finishing.photographs.exif import (
    Directory,
    Entry,
    Exif,
    long,
    rational,
    read_exif,
    short,
    signed_rational,
    text,
    undefined,
    write_exif,
)
from finishing.photographs.records import FinishRecord

_FLASH_FIRED = 0x01
_LIGHT_SOURCE_FLASH = 4
_RECOMMENDED_INDEX = 2  # of SensitivityType: the number is a recommended exposure index
_RECEIVER_TAGS = {7, 8, 9, 10, 11}  # GPSTimeStamp, GPSSatellites, GPSStatus, GPSMeasureMode, GPSDOP
_INTEROPERABILITY = {"srgb": "R98", "oprgb": "R03"}  # JEITA CP-3461 (DCF 2.0)


def finished_exif(record: FinishRecord) -> bytes:
    """The EXIF record as a TIFF structure. Where an entry of the frame breaks the standard, it is left out."""
    found, _ = read_exif(record.source.exif_raw)
    image = tags.mended(found.image, tags.IMAGE_RULES)
    photo = tags.mended(found.photo, tags.PHOTO_RULES)
    gps = tags.mended(found.gps, tags.GPS_RULES) if record.location_kept else {}
    _describe(record, image)
    _exposure(record, photo)
    _pixels(record, image, photo)
    in_tiff = record.format == "image/tiff"
    if gps and in_tiff:
        # Demanded of a TIFF: how the place was found. Only a receiver leaves its time or its state of reception.
        method = b"GPS" if gps.keys() & _RECEIVER_TAGS else b"MANUAL"
        gps.setdefault(27, undefined(b"ASCII\0\0\0" + method))
    if gps:
        gps.setdefault(0, Entry(tags.GPS_RULES[0][0][0], bytes((2, 3, 0, 0))))
    interop: Directory = {}
    if record.colour_space in _INTEROPERABILITY and not in_tiff:
        interop = {1: text(_INTEROPERABILITY[record.colour_space]), 2: undefined(b"0100")}
    return write_exif(Exif(found.byte_order, image, photo, gps, interop))


def _describe(record: FinishRecord, image: Directory) -> None:
    for tag, words in (
        (tags.IMAGE_DESCRIPTION, record.description),
        (tags.SOFTWARE, record.software),
        (tags.ARTIST, record.rights.creator),
        (tags.COPYRIGHT, record.rights.copyright),
    ):
        if words:
            image[tag] = text(words)


def _exposure(record: FinishRecord, photo: Directory) -> None:
    """The frame's own exposure, written anew where its record was of a wrong type and so not kept; where the frame
    tells none (no contact with the camera's electronics, say), the plan's stands in."""
    source = record.source
    seconds = record.planned_shutter if source.exposure_seconds is None else source.exposure_seconds
    if tags.EXPOSURE_TIME not in photo and seconds:
        photo[tags.EXPOSURE_TIME] = rational(*_ratio(seconds))
        photo[tags.SHUTTER_SPEED] = signed_rational(round(-math.log2(seconds) * 1_000_000), 1_000_000)
    number = record.planned_aperture if source.f_number is None else source.f_number
    if tags.F_NUMBER not in photo and number:
        photo[tags.F_NUMBER] = rational(*_ratio(number))
        photo[tags.APERTURE] = rational(round(2 * math.log2(max(number, 1.0)) * 1_000_000), 1_000_000)
    planned_iso = record.planned_iso if source.iso is None else source.iso
    if tags.SENSITIVITY not in photo and planned_iso:
        iso = round(planned_iso)
        photo[tags.SENSITIVITY] = short(min(iso, 65535))
        photo[tags.SENSITIVITY_TYPE] = short(_RECOMMENDED_INDEX)
        photo[tags.RECOMMENDED_INDEX] = long(iso)
        for tag in (tags.OUTPUT_SENSITIVITY, tags.ISO_SPEED, 0x8834, 0x8835):
            photo.pop(tag, None)
    if record.strobes:
        # Strobes triggered by hand or radio leave "did not fire" in the file; the plan knows better.
        if not source.flash_fired:
            photo[tags.FLASH] = short(_FLASH_FIRED)
        photo[tags.LIGHT_SOURCE] = short(_LIGHT_SOURCE_FLASH)


def _ratio(value: float) -> tuple[int, int]:
    """A fraction as cameras write it: 1/125, 28/5, 13/10."""
    if value < 1 and math.isclose(1 / value, round(1 / value), rel_tol=1e-6):
        return 1, round(1 / value)
    fraction = Fraction(value).limit_denominator(1000)
    if not fraction:
        fraction = Fraction(1, round(1 / value))
    return fraction.numerator, fraction.denominator


def _pixels(record: FinishRecord, image: Directory, photo: Directory) -> None:
    """What describes the finished pixels, and the entries that the standard demands."""
    image[tags.ORIENTATION] = short(1)
    image[tags.X_RESOLUTION] = rational(record.pixels_per_inch, 1)
    image[tags.Y_RESOLUTION] = rational(record.pixels_per_inch, 1)
    image[tags.RESOLUTION_UNIT] = short(2)
    photo[tags.EXIF_VERSION] = undefined(b"0232")
    photo[tags.FLASHPIX_VERSION] = undefined(b"0100")
    photo[tags.COLOUR_SPACE] = short(1 if record.colour_space == "srgb" else 0xFFFF)
    if record.format != "image/tiff":  # which has its own entries for the size
        photo[tags.PIXEL_WIDTH] = long(record.width)
        photo[tags.PIXEL_HEIGHT] = long(record.height)
    if record.format == "image/jpeg":
        image[tags.YCBCR_POSITIONING] = short(1)  # centred, as JFIF has it
        photo[tags.COMPONENTS] = undefined(bytes((1, 2, 3, 0)))
