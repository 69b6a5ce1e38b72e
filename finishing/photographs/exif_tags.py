"""The EXIF tags this tool knows, with the types and counts that CIPA DC-008-2019 gives them."""

import re

from finishing.photographs.exif import Directory, Entry, Kind, decode_text, text

IMAGE_DESCRIPTION, MAKE, MODEL, ORIENTATION = 0x010E, 0x010F, 0x0110, 0x0112
X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT, SOFTWARE = 0x011A, 0x011B, 0x0128, 0x0131
DATE_TIME, ARTIST, HOST, YCBCR_POSITIONING, COPYRIGHT = 0x0132, 0x013B, 0x013C, 0x0213, 0x8298
RATING = 0x4746

EXPOSURE_TIME, F_NUMBER, EXPOSURE_PROGRAM, SENSITIVITY = 0x829A, 0x829D, 0x8822, 0x8827
SENSITIVITY_TYPE, OUTPUT_SENSITIVITY, RECOMMENDED_INDEX, ISO_SPEED = 0x8830, 0x8831, 0x8832, 0x8833
EXIF_VERSION, DATE_TIME_ORIGINAL, DATE_TIME_DIGITIZED = 0x9000, 0x9003, 0x9004
OFFSET_TIME, OFFSET_TIME_ORIGINAL, OFFSET_TIME_DIGITIZED = 0x9010, 0x9011, 0x9012
COMPONENTS, SHUTTER_SPEED, APERTURE, EXPOSURE_BIAS = 0x9101, 0x9201, 0x9202, 0x9204
METERING, LIGHT_SOURCE, FLASH, FOCAL_LENGTH = 0x9207, 0x9208, 0x9209, 0x920A
SUBSEC, SUBSEC_ORIGINAL, SUBSEC_DIGITIZED = 0x9290, 0x9291, 0x9292
FLASHPIX_VERSION, COLOUR_SPACE, PIXEL_WIDTH, PIXEL_HEIGHT = 0xA000, 0xA001, 0xA002, 0xA003
WHITE_BALANCE, FOCAL_LENGTH_35MM = 0xA403, 0xA405
BODY_SERIAL, LENS_SPECIFICATION, LENS_MAKE, LENS_MODEL = 0xA431, 0xA432, 0xA433, 0xA434

_TEXT = (Kind.ASCII,)
_SHORT = (Kind.SHORT,)
_SIZE = (Kind.SHORT, Kind.LONG)
_LONG = (Kind.LONG,)
_RATIO = (Kind.RATIONAL,)
_SIGNED = (Kind.SRATIONAL,)
_RAW = (Kind.UNDEFINED,)
_BYTE = (Kind.BYTE,)

Rule = tuple[tuple[Kind, ...], int | None]

#: Of the picture directory: what stays true of a finished picture.
IMAGE_RULES: dict[int, Rule] = {
    IMAGE_DESCRIPTION: (_TEXT, None), MAKE: (_TEXT, None), MODEL: (_TEXT, None), ORIENTATION: (_SHORT, 1),
    SOFTWARE: (_TEXT, None), DATE_TIME: (_TEXT, 20), ARTIST: (_TEXT, None), HOST: (_TEXT, None),
    COPYRIGHT: (_TEXT, None),
}  # fmt: skip

#: Of the exposure directory, without what belongs to the old picture (its sizes, areas, focal plane, identity) and
#: without MakerNote: its insides point at places of the old file, so that moved, it may be read wrongly.
PHOTO_RULES: dict[int, Rule] = {
    EXPOSURE_TIME: (_RATIO, 1), F_NUMBER: (_RATIO, 1), EXPOSURE_PROGRAM: (_SHORT, 1), 0x8824: (_TEXT, None),
    SENSITIVITY: (_SHORT, None), SENSITIVITY_TYPE: (_SHORT, 1), OUTPUT_SENSITIVITY: (_LONG, 1),
    RECOMMENDED_INDEX: (_LONG, 1), ISO_SPEED: (_LONG, 1), 0x8834: (_LONG, 1), 0x8835: (_LONG, 1),
    DATE_TIME_ORIGINAL: (_TEXT, 20), DATE_TIME_DIGITIZED: (_TEXT, 20), OFFSET_TIME: (_TEXT, 7),
    OFFSET_TIME_ORIGINAL: (_TEXT, 7), OFFSET_TIME_DIGITIZED: (_TEXT, 7), SHUTTER_SPEED: (_SIGNED, 1),
    APERTURE: (_RATIO, 1), 0x9203: (_SIGNED, 1), EXPOSURE_BIAS: (_SIGNED, 1), 0x9205: (_RATIO, 1),
    0x9206: (_RATIO, 1), METERING: (_SHORT, 1), LIGHT_SOURCE: (_SHORT, 1), FLASH: (_SHORT, 1),
    FOCAL_LENGTH: (_RATIO, 1), 0x9286: (_RAW, None), SUBSEC: (_TEXT, None), SUBSEC_ORIGINAL: (_TEXT, None),
    SUBSEC_DIGITIZED: (_TEXT, None), 0x9400: (_SIGNED, 1), 0x9401: (_RATIO, 1), 0x9402: (_RATIO, 1),
    0x9403: (_SIGNED, 1), 0x9404: (_RATIO, 1), 0x9405: (_SIGNED, 1), 0xA20B: (_RATIO, 1), 0xA215: (_RATIO, 1),
    0xA217: (_SHORT, 1), 0xA300: (_RAW, 1), 0xA301: (_RAW, 1), 0xA401: (_SHORT, 1), 0xA402: (_SHORT, 1),
    WHITE_BALANCE: (_SHORT, 1), 0xA404: (_RATIO, 1), FOCAL_LENGTH_35MM: (_SHORT, 1), 0xA406: (_SHORT, 1),
    0xA407: (_SHORT, 1), 0xA408: (_SHORT, 1), 0xA409: (_SHORT, 1), 0xA40A: (_SHORT, 1), 0xA40C: (_SHORT, 1),
    0xA430: (_TEXT, None), BODY_SERIAL: (_TEXT, None), LENS_SPECIFICATION: (_RATIO, 4),
    LENS_MAKE: (_TEXT, None), LENS_MODEL: (_TEXT, None), 0xA435: (_TEXT, None),
}  # fmt: skip

GPS_RULES: dict[int, Rule] = {
    0: (_BYTE, 4), 1: (_TEXT, 2), 2: (_RATIO, 3), 3: (_TEXT, 2), 4: (_RATIO, 3), 5: (_BYTE, 1), 6: (_RATIO, 1),
    7: (_RATIO, 3), 8: (_TEXT, None), 9: (_TEXT, 2), 10: (_TEXT, 2), 11: (_RATIO, 1), 12: (_TEXT, 2),
    13: (_RATIO, 1), 14: (_TEXT, 2), 15: (_RATIO, 1), 16: (_TEXT, 2), 17: (_RATIO, 1), 18: (_TEXT, None),
    19: (_TEXT, 2), 20: (_RATIO, 3), 21: (_TEXT, 2), 22: (_RATIO, 3), 23: (_TEXT, 2), 24: (_RATIO, 1),
    25: (_TEXT, 2), 26: (_RATIO, 1), 27: (_RAW, None), 28: (_RAW, None), 29: (_TEXT, 11), 30: (_SHORT, 1),
    31: (_RATIO, 1),
}  # fmt: skip

#: What is taken from a file that is one TIFF structure itself; a rating is widely used, though not of the standard.
KEPT_IMAGE_TAGS = frozenset({*IMAGE_RULES, RATING})


_LARGEST = 8192  # bytes: a comment beyond this does not go into a file whose whole record has to fit in 64 KB
_DAY = r"\d{4}:(0[1-9]|1[0-2]):(0[1-9]|[12]\d|3[01])"
#: What texts of a fixed length look like, by that length: date and time, offset, date, one letter.
_SHAPES = {20: _DAY + r" ([01]\d|2[0-3]):[0-5]\d:[0-5]\d", 7: r"[+-]\d\d:\d\d", 11: _DAY, 2: r"[A-Z0-9]"}


def mended(directory: Directory, rules: dict[int, Rule]) -> Directory:
    """The entries that follow their rules in type, count and form; the others are left out.

    Texts come back as UTF-8 with one closing NUL. Left out are also fractions over zero, but in a lens's
    specification, where 0/0 is the standard's own word for unknown, and dates that are blank.
    """
    kept = {}
    for tag, entry in directory.items():
        kinds, count = rules.get(tag, ((), None))
        if entry.kind not in kinds or entry.count == 0:
            continue
        if entry.kind is Kind.ASCII and isinstance(entry.value, bytes):
            words = decode_text(entry.value)
            if words and len(words) <= _LARGEST and (count not in _SHAPES or re.fullmatch(_SHAPES[count], words)):
                kept[tag] = text(words)
        elif (count is None or entry.count == count) and entry.count <= _LARGEST and _finite(entry, count == 4):
            kept[tag] = entry
    return kept


def _finite(entry: Entry, unknown_allowed: bool) -> bool:
    if entry.kind not in (Kind.RATIONAL, Kind.SRATIONAL) or unknown_allowed:
        return True
    return all(isinstance(pair, tuple) and pair[1] != 0 for pair in entry.value)
