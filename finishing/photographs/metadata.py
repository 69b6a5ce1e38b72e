"""What a frame tells about its making, as far as it can be trusted: broken values become None and a notice."""

import re
from dataclasses import dataclass, field
from datetime import datetime

from finishing.photographs import exif_tags as tags
from finishing.photographs.exif import Directory, Exif, Kind, decode_text, read_exif
from finishing.photographs.xmp import NO_PACKET, Packet, StatedRights, read_packet
from finishing.units import parse_utc_offset


@dataclass(frozen=True)
class FrameMetadata:
    """A frame's own record. Everything may be missing.

    captured: as the camera's clock showed it, without a zone; fractions of a second included.
    utc_offset_seconds: the clock's offset from UTC. exposure_bias_stops: the compensation dialled in.
    flash_fired: from EXIF Flash, bit 0. orientation: as found in the file, 1…8 (the pixels are read upright).
    colour_space: EXIF ColorSpace (1 sRGB, 0xFFFF uncalibrated); interoperability: "R98", "R03" …
    latitude, longitude: degrees, north and east positive. serial: the camera body's. rating: -1…5. rights: as XMP
    states them, else EXIF (artist, copyright). Rating and rights of a packet beside the frame count before its own.
    exif_raw: the whole EXIF record as a TIFF structure; xmp_raw: the XMP packet; both empty where there is none.
    """

    make: str | None = None
    model: str | None = None
    serial: str | None = None
    lens_make: str | None = None
    lens: str | None = None
    exposure_seconds: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_length_mm: float | None = None
    focal_length_35mm: float | None = None
    exposure_bias_stops: float | None = None
    captured: datetime | None = None
    utc_offset_seconds: float | None = None
    flash_fired: bool | None = None
    light_source: int | None = None
    orientation: int = 1
    colour_space: int | None = None
    interoperability: str | None = None
    description: str | None = None
    artist: str | None = None
    copyright: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    rating: int | None = None
    rights: StatedRights = field(default_factory=StatedRights)
    exif_raw: bytes = b""
    xmp_raw: bytes = b""


def read_metadata(
    exif_raw: bytes,
    xmp_raw: bytes,
    beside: Packet = NO_PACKET,
) -> tuple[FrameMetadata, list[str]]:
    """The record in EXIF and XMP bytes, with notices about what was broken. beside: the packet beside the frame.

    Never raises.
    """
    exif, notices = read_exif(exif_raw)
    reader = _Reader(exif, notices)
    image, photo = exif.image, exif.photo
    packet, packet_notices = read_packet(xmp_raw)
    notices += packet_notices
    rating = packet.rating if beside.rating is None else beside.rating
    if rating is None and tags.RATING in image:
        rating = reader.integer(image, tags.RATING, "rating", 0, 5)
    flash = reader.integer(photo, tags.FLASH, "flash", 0, 0xFFFF)
    artist, copyright_line = reader.text(image, tags.ARTIST), reader.text(image, tags.COPYRIGHT)
    metadata = FrameMetadata(
        make=reader.text(image, tags.MAKE),
        model=reader.text(image, tags.MODEL),
        serial=reader.text(photo, tags.BODY_SERIAL),
        lens_make=reader.text(photo, tags.LENS_MAKE),
        lens=reader.text(photo, tags.LENS_MODEL),
        exposure_seconds=reader.exposure(),
        f_number=reader.aperture(),
        iso=reader.sensitivity(),
        focal_length_mm=reader.number(photo, tags.FOCAL_LENGTH, "focal length", 0.1, 20_000),
        focal_length_35mm=reader.number(photo, tags.FOCAL_LENGTH_35MM, "35 mm focal length", 1, 60_000),
        exposure_bias_stops=reader.number(photo, tags.EXPOSURE_BIAS, "exposure compensation", -20, 20),
        captured=reader.captured(),
        utc_offset_seconds=reader.offset(),
        flash_fired=None if flash is None else bool(flash & 1),
        light_source=reader.integer(photo, tags.LIGHT_SOURCE, "light source", 0, 255),
        orientation=reader.integer(image, tags.ORIENTATION, "orientation", 1, 8) or 1,
        colour_space=reader.integer(photo, tags.COLOUR_SPACE, "colour space", 0, 0xFFFF),
        interoperability=reader.text(exif.interop, 1),
        description=reader.text(image, tags.IMAGE_DESCRIPTION),
        artist=artist,
        copyright=copyright_line,
        latitude=reader.angle(1, 2, b"N", b"S", 90),
        longitude=reader.angle(3, 4, b"E", b"W", 180),
        rating=rating,
        rights=beside.rights.over(packet.rights).over(StatedRights(artist, copyright_line)),
        exif_raw=exif_raw,
        xmp_raw=xmp_raw,
    )
    return metadata, reader.notices


class _Reader:
    def __init__(self, exif: Exif, notices: list[str]) -> None:
        self.exif, self.notices = exif, notices

    def text(self, directory: Directory, tag: int) -> str | None:
        """A text; blank ones are None."""
        entry = directory.get(tag)
        if entry is None or not isinstance(entry.value, bytes):
            return None
        return decode_text(entry.value) or None

    def number(self, directory: Directory, tag: int, what: str, least: float, most: float) -> float | None:
        """A number, or None with a notice where it is none or not within least…most."""
        entry = directory.get(tag)
        if entry is None:
            return None
        value: float | None = None
        first = None if isinstance(entry.value, bytes) or not entry.value else entry.value[0]
        if isinstance(first, tuple):
            value = first[0] / first[1] if first[1] else None
        elif first is not None:
            value = float(first)
        if value is None or not least <= value <= most:
            self.notices.append(f"its {what} in EXIF makes no sense and was not used")
            return None
        return value

    def integer(self, directory: Directory, tag: int, what: str, least: int, most: int) -> int | None:
        entry = directory.get(tag)
        if entry is not None and entry.kind in (Kind.RATIONAL, Kind.SRATIONAL, Kind.FLOAT, Kind.DOUBLE):
            self.notices.append(f"its {what} in EXIF makes no sense and was not used")
            return None
        value = self.number(directory, tag, what, least, most)
        return None if value is None else int(value)

    def exposure(self) -> float | None:
        """Seconds, from ExposureTime, or from ShutterSpeedValue (APEX: t = 2^-Tv)."""
        seconds = self.number(self.exif.photo, tags.EXPOSURE_TIME, "exposure time", 1e-7, 1e6)
        if seconds is None:
            value = self.number(self.exif.photo, tags.SHUTTER_SPEED, "shutter speed", -20, 24)
            seconds = None if value is None else 2.0**-value
        return seconds

    def aperture(self) -> float | None:
        """The f-number, from FNumber, or from ApertureValue (APEX: N = 2^(Av/2)). f/0 says that none is known."""
        photo = self.exif.photo
        entry = photo.get(tags.F_NUMBER)
        if entry is not None and entry.value and isinstance(entry.value[0], tuple):
            top, bottom = entry.value[0]
            if top == 0 and bottom != 0:
                return None
        number = self.number(photo, tags.F_NUMBER, "f-number", 0.3, 1000)
        if number is None:
            value = self.number(photo, tags.APERTURE, "aperture", -3, 20)
            number = None if value is None else 2.0 ** (value / 2)
        return number

    def sensitivity(self) -> float | None:
        """PhotographicSensitivity; where its 16 bits are full, the longer tags beside it."""
        photo = self.exif.photo
        iso = self.number(photo, tags.SENSITIVITY, "sensitivity", 1, 65535)
        if iso is None or iso == 65535:
            for tag in (tags.RECOMMENDED_INDEX, tags.OUTPUT_SENSITIVITY, tags.ISO_SPEED):
                if tag in photo:
                    return self.number(photo, tag, "sensitivity", 1, 1e8) or iso
        return iso

    def captured(self) -> datetime | None:
        """DateTimeOriginal with its fraction, else DateTimeDigitized. Blank dates are None without a notice."""
        for tag, fraction in (
            (tags.DATE_TIME_ORIGINAL, tags.SUBSEC_ORIGINAL), (tags.DATE_TIME_DIGITIZED, tags.SUBSEC_DIGITIZED)
        ):  # fmt: skip
            written = self.text(self.exif.photo, tag)
            if written is None or not re.search(r"[1-9]", written):
                continue
            found = re.fullmatch(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d)(?:\.(\d+))?.*", written)
            digits = self.text(self.exif.photo, fraction) or (found.group(7) if found else None) or "0"
            try:
                if found is None:
                    raise ValueError
                whole = datetime(*(int(part) for part in found.groups()[:6]))  # type: ignore[arg-type]
            except ValueError:
                self.notices.append(f"its capture time {written[:30]!r} makes no sense and was not used")
                continue
            return whole.replace(microsecond=int(digits[:6].ljust(6, "0"))) if digits.isdecimal() else whole
        return None

    def offset(self) -> float | None:
        for tag in (tags.OFFSET_TIME_ORIGINAL, tags.OFFSET_TIME_DIGITIZED, tags.OFFSET_TIME):
            written = self.text(self.exif.photo, tag)
            if written and re.search(r"\d", written):
                try:
                    return parse_utc_offset(written)
                except ValueError:
                    self.notices.append(f"its UTC offset {written[:20]!r} makes no sense and was not used")
        return None

    def angle(self, side: int, tag: int, plus: bytes, minus: bytes, most: float) -> float | None:
        gps = self.exif.gps
        entry, letter = gps.get(tag), gps.get(side)
        if entry is None or letter is None or not isinstance(letter.value, bytes):
            return None
        pairs = [pair for pair in entry.value if isinstance(pair, tuple)]
        if len(pairs) != 3 or any(bottom == 0 for _, bottom in pairs):
            return None
        degrees = sum(top / bottom / 60**power for power, (top, bottom) in enumerate(pairs))
        sign = {plus: 1, minus: -1}.get(letter.value[:1], 0)
        return sign * degrees if sign and degrees <= most else None
