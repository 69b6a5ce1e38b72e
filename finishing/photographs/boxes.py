"""The outer form of AVIF and HEIC files: ISO base media boxes (ISO/IEC 14496-12) that hold images (ISO/IEC 23008-12,
"HEIF"; AV1 Image File Format, AVIF).

What turns and mirrors the picture is said by the properties `irot` and `imir`, and they alone count: an orientation
in EXIF is only a remark there.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from finishing.photographs.containers import Container, Damaged, PngColour, Window

_AVIF = {b"avif", b"avis"}
_HEIF = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_PACKET_TYPE = b"application/rdf+xml"  # of an item that holds XMP
_ALPHA = (b"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha", b"urn:mpeg:hevc:2015:auxid:1")
_LARGEST_META = 16 * 1024 * 1024


def kind_of(window: Window) -> Literal["avif", "heif"] | None:
    """What the file's first box says it is; None for a film, a raw file or the like."""
    head = window[0:16]
    if head[4:8] != b"ftyp":
        return None
    (size,) = struct.unpack(">I", head[:4])
    brands = window[8 : min(size, 512)]
    found = {brands[:4], *(brands[at : at + 4] for at in range(8, len(brands) - 3, 4))}
    if found & _AVIF:
        return "avif"
    return "heif" if found & _HEIF else None


def _boxes(data: Window, start: int = 0) -> Iterator[tuple[bytes, int, int]]:
    """Type, start and end of the content of each box."""
    at = start
    while at + 8 <= len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        inside = at + 8
        if size == 1:
            if len(data[inside : inside + 8]) < 8:
                raise Damaged(f"cut short at byte {at}")
            (size,) = struct.unpack(">Q", data[inside : inside + 8])
            inside += 8
        end = len(data) if size == 0 else at + size
        if end < inside or end > len(data):
            raise Damaged(f"cut short within its part {kind.decode('latin-1')!r}")
        yield kind, inside, end
        at = end


@dataclass
class _Meta:
    """The parts of the `meta` box that are used."""

    primary: int = 0
    items: dict[int, tuple[bytes, bytes]] = field(default_factory=dict)  # type, content type
    places: dict[int, list[tuple[int, int, int]]] = field(default_factory=dict)  # method, offset, length
    references: list[tuple[bytes, int, tuple[int, ...]]] = field(default_factory=list)
    properties: list[tuple[bytes, bytes]] = field(default_factory=list)
    belongs: dict[int, list[int]] = field(default_factory=dict)
    data: bytes = b""

    def of(self, item: int) -> list[tuple[bytes, bytes]]:
        """The properties of an item, in their order."""
        return [self.properties[i - 1] for i in self.belongs.get(item, []) if 0 < i <= len(self.properties)]


def scan(window: Window, kind: Literal["avif", "heif"]) -> Container:
    """The outer form; no pixel is decoded. Raises Damaged."""
    try:
        found = next(((start, end) for name, start, end in _boxes(window) if name == b"meta"), None)
        if found is None or found[1] - found[0] > _LARGEST_META:
            raise Damaged("its list of pictures (meta) is missing or impossible")
        for _ in _boxes(window):  # every box is there to its end
            pass
        meta = _meta(window[found[0] + 4 : found[1]])
        return _container(window, meta, kind)
    except (struct.error, IndexError) as error:
        raise Damaged("its list of pictures (meta) is cut short") from error


def without_exif(data: bytes) -> bytes:
    """The same file with its EXIF items of no known type, since a decoder refuses a picture whose record is broken."""
    hidden = bytearray(data)
    for name, start, end in _boxes(data):
        if name == b"meta":
            for inner, first, last in _boxes(data[:end], start + 4):
                if inner == b"iinf":
                    for kind, at, after in _boxes(data[:last], first + (8 if data[first] else 6)):
                        type_at = at + 6 + (4 if data[at] == 3 else 2)
                        if kind == b"infe" and type_at + 4 <= after and data[type_at : type_at + 4] == b"Exif":
                            hidden[type_at : type_at + 4] = b"none"
    return bytes(hidden)


def _container(window: Window, meta: _Meta, kind: Literal["avif", "heif"]) -> Container:
    properties = meta.of(meta.primary)
    sizes = [struct.unpack(">II", content[4:12]) for name, content in properties if name == b"ispe"]
    if not sizes or 0 in sizes[0]:
        raise Damaged("no picture size in its headers")
    width, height = sizes[0]
    tiles = [to for name, item, many in meta.references if name == b"dimg" and item == meta.primary for to in many]
    colours = [c for name, c in [*properties, *(meta.of(tiles[0]) if tiles else [])] if name == b"colr"]
    icc = next((c[4:] for c in colours if c[:4] in (b"prof", b"rICC")), None)
    points = next((struct.unpack(">HHHB", c[4:11]) for c in colours if c[:4] == b"nclx" and len(c) >= 11), None)
    depths = [content[5 : 5 + content[4]] for name, content in properties if name == b"pixi" and len(content) > 5]
    bits, channels = (max(depths[0], default=8), len(depths[0])) if depths else (8, 3)
    extras = [item for name, item, many in meta.references if name == b"auxl" and meta.primary in many]
    alpha = any(n == b"auxC" and c[4:].split(b"\0")[0] in _ALPHA for item in extras for n, c in meta.of(item))
    orientation = _orientation(properties)
    if kind == "heif":  # its decoder turns the picture by itself
        for name, content in properties:
            if name == b"clap" and len(content) >= 16:
                top, bottom, over, under = struct.unpack(">4I", content[:16])
                width, height = round(top / max(bottom, 1)), round(over / max(under, 1))
        if orientation > 4:
            width, height = height, width
        orientation = 1
    exif, xmp = _records(window, meta)
    return Container(
        kind, width, height, bits, channels + alpha, "grey" if channels == 1 else "rgb",
        alpha=alpha, exif=exif, xmp=xmp, icc=icc, orientation=orientation,
        png=PngColour(code_points=(points[0], points[1], points[2], points[3] >> 7)) if points else PngColour(),
    )  # fmt: skip


def _records(window: Window, meta: _Meta) -> tuple[bytes, bytes]:
    """EXIF and XMP, of the picture that is shown."""
    exif = xmp = b""
    for item, (kind, content_type) in meta.items.items():
        if not any(n == b"cdsc" and i == item and meta.primary in many for n, i, many in meta.references):
            continue
        content = b""
        if kind == b"Exif" or (kind == b"mime" and content_type == _PACKET_TYPE):
            for method, offset, length in meta.places.get(item, []):
                source: Window = meta.data if method == 1 else window
                content += source[offset : offset + length] if length else source[offset : len(source)]
        if kind == b"Exif" and len(content) > 4 and not exif:
            (skip,) = struct.unpack(">I", content[:4])
            exif = content[4 + skip :].removeprefix(b"Exif\0\0")
        elif content and not xmp:
            xmp = content
    return exif, xmp


def _orientation(properties: list[tuple[bytes, bytes]]) -> int:
    """The EXIF orientation that turns and mirrors as the properties say, in their order."""
    angle, mirror = 0, None  # quarter turns against the clock, then: 0 top to bottom, 1 left to right
    for name, content in properties:
        if name == b"irot" and content:
            angle += -(content[0] & 3) if mirror is not None else content[0] & 3
        elif name == b"imir" and content:
            mirror = content[0] & 1
    plain = (1, 8, 3, 6)
    mirrored = ((4, 5, 2, 7), (2, 7, 4, 5))
    return plain[angle % 4] if mirror is None else mirrored[mirror][angle % 4]


def _meta(data: bytes) -> _Meta:
    meta = _Meta()
    for kind, start, end in _boxes(data):
        content = data[start:end]
        version = content[0] if content else 0
        if kind == b"pitm":
            meta.primary = struct.unpack_from(">I" if version else ">H", content, 4)[0]
        elif kind == b"iinf":
            _items(content, version, meta)
        elif kind == b"iloc":
            _places(content, version, meta)
        elif kind == b"iref":
            form, size = (">I", 4) if version else (">H", 2)
            for name, inside, after in _boxes(content, 4):
                (item,) = struct.unpack_from(form, content, inside)
                (count,) = struct.unpack_from(">H", content, inside + size)
                many = struct.unpack_from(f">{count}{form[1]}", content[:after], inside + size + 2)
                meta.references.append((name, item, many))
        elif kind == b"idat":
            meta.data = content
        elif kind == b"iprp":
            for name, inside, after in _boxes(content):
                if name == b"ipco":
                    part = content[inside:after]
                    meta.properties = [(n, part[a:b]) for n, a, b in _boxes(part)]
                elif name == b"ipma":
                    _belongs(content[inside:after], meta)
    return meta


def _items(content: bytes, version: int, meta: _Meta) -> None:
    for kind, start, end in _boxes(content, 8 if version else 6):
        entry = content[start:end]
        if kind != b"infe" or not entry or entry[0] < 2:
            continue
        size = 4 if entry[0] == 3 else 2
        item = int.from_bytes(entry[4 : 4 + size], "big")
        rest = entry[4 + size + 2 :]
        texts = rest[4:].split(b"\0")
        meta.items[item] = (rest[:4], texts[1] if len(texts) > 1 else b"")


def _places(content: bytes, version: int, meta: _Meta) -> None:
    sizes, more = content[4], content[5]
    offset_size, length_size, base_size, index_size = sizes >> 4, sizes & 15, more >> 4, more & 15 if version else 0
    at = 6

    def take(size: int) -> int:
        nonlocal at
        if at + size > len(content):
            raise IndexError
        at += size
        return int.from_bytes(content[at - size : at], "big")

    for _ in range(take(4 if version == 2 else 2)):
        item = take(4 if version == 2 else 2)
        method = take(2) & 15 if version else 0
        take(2)
        base = take(base_size)
        parts = []
        for _ in range(take(2)):
            take(index_size)
            offset = take(offset_size)
            parts.append((method, base + offset, take(length_size)))
        meta.places[item] = parts


def _belongs(content: bytes, meta: _Meta) -> None:
    version, wide = content[0], content[3] & 1
    (count,) = struct.unpack_from(">I", content, 4)
    at = 8
    for _ in range(count):
        size = 4 if version else 2
        item = int.from_bytes(content[at : at + size], "big")
        many = content[at + size]
        at += size + 1
        step = 2 if wide else 1
        numbers = [int.from_bytes(content[at + i * step : at + (i + 1) * step], "big") for i in range(many)]
        meta.belongs[item] = [number & (0x7FFF if wide else 0x7F) for number in numbers]
        at += many * step
