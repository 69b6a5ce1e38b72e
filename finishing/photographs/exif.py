"""EXIF as a TIFF structure (CIPA DC-008-2019, TIFF 6.0): directories of typed entries, read and written.

Reading never fails: what cannot be followed is left out, with a notice. Thumbnails are not read.
"""

import struct
from dataclasses import dataclass, field, replace
from enum import IntEnum

from finishing.photographs.containers import Window


class Kind(IntEnum):
    """The types of TIFF 6.0, section 2, and UTF-8 text of EXIF 3.0."""

    BYTE = 1
    ASCII = 2
    SHORT = 3
    LONG = 4
    RATIONAL = 5
    SBYTE = 6
    UNDEFINED = 7
    SSHORT = 8
    SLONG = 9
    SRATIONAL = 10
    FLOAT = 11
    DOUBLE = 12
    IFD = 13
    UTF8 = 129


_CODES = {
    Kind.SHORT: "H", Kind.LONG: "I", Kind.RATIONAL: "II", Kind.SBYTE: "b", Kind.SSHORT: "h", Kind.SLONG: "i",
    Kind.SRATIONAL: "ii", Kind.FLOAT: "f", Kind.DOUBLE: "d", Kind.IFD: "I",
}  # fmt: skip
_TEXTS = {Kind.BYTE, Kind.ASCII, Kind.UNDEFINED, Kind.UTF8}
_RATIONALS = {Kind.RATIONAL, Kind.SRATIONAL}

EXIF_POINTER, GPS_POINTER, INTEROP_POINTER = 0x8769, 0x8825, 0xA005
_MOST_ENTRIES = 4096
_LARGEST_VALUE = 16 * 1024 * 1024

Value = bytes | tuple[int, ...] | tuple[float, ...] | tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Entry:
    """One value. Texts and opaque values are bytes; numbers are tuples; rationals are pairs in a tuple."""

    kind: Kind
    value: Value

    @property
    def count(self) -> int:
        """How many values, as the file counts them."""
        return len(self.value)


Directory = dict[int, Entry]


@dataclass(frozen=True)
class Exif:
    """The directories of one EXIF record: of the picture, the exposure, the place, interoperability.

    byte_order is kept from reading to writing, since texts in UserComment may depend on it.
    """

    byte_order: str = ">"
    image: Directory = field(default_factory=dict)
    photo: Directory = field(default_factory=dict)
    gps: Directory = field(default_factory=dict)
    interop: Directory = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.image or self.photo or self.gps or self.interop)


def read_exif(data: Window) -> tuple[Exif, list[str]]:
    """The record in a TIFF structure, and notices about what could not be read."""
    if len(data) == 0:
        return Exif(), []
    head = data[0:8]
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8 or struct.unpack(order + "H", head[2:4])[0] != 42:
        return Exif(), ["its EXIF record is damaged and was not used"]
    reader = _Reader(data, order)
    image = reader.directory(struct.unpack(order + "I", head[4:8])[0])
    photo = reader.pointed(image, EXIF_POINTER)
    gps = reader.pointed(image, GPS_POINTER)
    interop = reader.pointed(photo, INTEROP_POINTER)
    notices = [] if reader.whole else ["parts of its EXIF record are damaged and were not used"]
    return Exif(order, image, photo, gps, interop), notices


def read_directory(data: Window, byte_order: str, offset: int) -> Directory:
    """One directory of a TIFF structure, as far as it can be followed."""
    return _Reader(data, byte_order).directory(offset)


class _Reader:
    def __init__(self, data: Window, order: str) -> None:
        self.data, self.order, self.whole = data, order, True

    def pointed(self, directory: Directory, tag: int) -> Directory:
        """The directory a pointer leads to; the pointer itself is taken out of its directory."""
        entry = directory.pop(tag, None)
        if entry is None:
            return {}
        if entry.kind not in (Kind.LONG, Kind.IFD) or not entry.value or not isinstance(entry.value[0], int):
            self.whole = False
            return {}
        return self.directory(entry.value[0])

    def directory(self, offset: int) -> Directory:
        head = self.data[offset : offset + 2]
        if offset < 8 or len(head) < 2:
            self.whole = False
            return {}
        count = struct.unpack(self.order + "H", head)[0]
        table = self.data[offset + 2 : offset + 2 + 12 * min(count, _MOST_ENTRIES)]
        if count > _MOST_ENTRIES or len(table) < 12 * count:
            self.whole = False
        found: Directory = {}
        for at in range(0, len(table) - 11, 12):
            tag, kind, size = struct.unpack_from(self.order + "HHI", table, at)
            entry = self._entry(kind, size, table[at + 8 : at + 12])
            if entry is None:
                self.whole = False
            else:
                found.setdefault(tag, entry)
        return found

    def _entry(self, number: int, count: int, inline: bytes) -> Entry | None:
        try:
            kind = Kind(number)
        except ValueError:
            return None
        code = _CODES.get(kind, "B")
        length = count * struct.calcsize("=" + code)
        if length > _LARGEST_VALUE:
            return None
        raw = inline[:length]
        if length > 4:
            offset = struct.unpack(self.order + "I", inline)[0]
            raw = self.data[offset : offset + length]
        if len(raw) < length:
            return None
        if kind in _TEXTS:
            return Entry(kind, bytes(raw))
        numbers = struct.unpack(self.order + code[0] * (count * len(code)), raw)
        if kind in _RATIONALS:
            return Entry(kind, tuple(zip(numbers[::2], numbers[1::2], strict=True)))
        return Entry(kind, numbers)


def write_exif(exif: Exif, *, start: int = 0) -> bytes:
    """The record as a TIFF structure, its entries sorted; empty bytes for an empty record.

    start: where in a file its directories will stand; where it is given, they come without the structure's header.
    """
    if not exif:
        return b""
    order = exif.byte_order
    photo, image = dict(exif.photo), dict(exif.image)
    if exif.interop:
        photo[INTEROP_POINTER] = Entry(Kind.LONG, (0,))
    if photo:
        image[EXIF_POINTER] = Entry(Kind.LONG, (0,))
    if exif.gps:
        image[GPS_POINTER] = Entry(Kind.LONG, (0,))
    at = (start or 8) + _size(image)
    for pointer, inside, directory in (
        (EXIF_POINTER, image, photo), (INTEROP_POINTER, photo, exif.interop), (GPS_POINTER, image, exif.gps),
    ):  # fmt: skip
        if pointer in inside:
            inside[pointer] = Entry(Kind.LONG, (at,))
            at += _size(directory)
    parts = [] if start else [(b"II" if order == "<" else b"MM") + struct.pack(order + "HI", 42, 8)]
    at = start or 8
    for directory in (image, photo, exif.interop, exif.gps):
        if directory:
            parts.append(_write_directory(directory, at, order))
            at += len(parts[-1])
    return b"".join(parts)


def _size(directory: Directory) -> int:
    sizes = [len(_raw(entry, ">")) for entry in directory.values()]
    return 6 + 12 * len(sizes) + sum(size + size % 2 for size in sizes if size > 4)


def _write_directory(directory: Directory, start: int, order: str) -> bytes:
    table = struct.pack(order + "H", len(directory))
    body = b""
    after = start + 6 + 12 * len(directory)
    for tag in sorted(directory):
        entry = directory[tag]
        raw = _raw(entry, order)
        table += struct.pack(order + "HHI", tag, entry.kind, entry.count)
        if len(raw) <= 4:
            table += raw.ljust(4, b"\0")
        else:
            table += struct.pack(order + "I", after + len(body))
            body += raw + bytes(len(raw) % 2)
    return table + bytes(4) + body


def _raw(entry: Entry, order: str) -> bytes:
    if isinstance(entry.value, bytes):
        return entry.value
    code = _CODES[entry.kind]
    numbers: list[float] = []
    for value in entry.value:
        numbers.extend(value if isinstance(value, tuple) else (value,))
    return struct.pack(order + code[0] * len(numbers), *numbers)


def decode_text(raw: bytes) -> str:
    """The words of an ASCII entry, up to its first NUL. Bytes that are not UTF-8 are taken as Latin-1, which older
    cameras and programs write."""
    raw = raw.split(b"\0")[0]
    try:
        return raw.decode("utf-8").strip()
    except UnicodeDecodeError:
        return raw.decode("latin-1").strip()


def text(words: str) -> Entry:
    """An entry of type ASCII. Readers take its bytes as UTF-8, of which ASCII is a part; a NUL ends it."""
    return Entry(Kind.ASCII, words.replace("\0", " ").encode("utf-8") + b"\0")


def short(*numbers: int) -> Entry:
    """An entry of type SHORT."""
    return Entry(Kind.SHORT, numbers)


def long(*numbers: int) -> Entry:
    """An entry of type LONG."""
    return Entry(Kind.LONG, numbers)


def rational(top: int, bottom: int) -> Entry:
    """An entry of type RATIONAL: one fraction of two numbers from 0."""
    return Entry(Kind.RATIONAL, ((top, bottom),))


def signed_rational(top: int, bottom: int) -> Entry:
    """An entry of type SRATIONAL: one fraction that may be negative."""
    return Entry(Kind.SRATIONAL, ((top, bottom),))


def undefined(content: bytes) -> Entry:
    """An entry of type UNDEFINED."""
    return Entry(Kind.UNDEFINED, content)


def with_image_tags(exif: Exif, tags: frozenset[int]) -> Exif:
    """The record with only these entries in its picture directory, for a file that is one TIFF structure itself."""
    return replace(exif, image={tag: entry for tag, entry in exif.image.items() if tag in tags})
