"""The sheets' typeface: how wide a text is, and which signs it lacks.

The tables are read straight from the TrueType files (OpenType specification 1.9: head, hhea, hmtx,
cmap formats 4 and 12), so that measuring needs no drawing library and is the same for every renderer.
Texts are set without kerning: a text is as wide as the sum of its advances.
"""

import struct
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

MM_PER_POINT = 25.4 / 72
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
FONTS = Path(__file__).parent / "fonts"
FAMILY = "DejaVu Sans"
_NOTICED_AT_ONCE = 12


@dataclass(frozen=True)
class Face:
    """One font file: advances by code point, and ascent and descent below the baseline, in ems."""

    path: Path
    advances: dict[int, float]
    ascent: float
    descent: float


@lru_cache(maxsize=2)
def face(bold: bool) -> Face:
    """The regular or the bold face."""
    path = FONTS / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
    data = path.read_bytes()
    tables = {}
    for index in range(struct.unpack_from(">H", data, 4)[0]):
        tag, _, offset, length = struct.unpack_from(">4sLLL", data, 12 + 16 * index)
        tables[tag] = data[offset : offset + length]
    em = struct.unpack_from(">H", tables[b"head"], 18)[0]
    ascent, descent = struct.unpack_from(">hh", tables[b"hhea"], 4)
    metrics = struct.unpack_from(">H", tables[b"hhea"], 34)[0]
    widths = [struct.unpack_from(">H", tables[b"hmtx"], 4 * i)[0] for i in range(metrics)]
    glyphs = _character_map(tables[b"cmap"])
    advances = {code: widths[min(glyph, metrics - 1)] / em for code, glyph in glyphs.items()}
    return Face(path, advances, ascent / em, -descent / em)


def _character_map(table: bytes) -> dict[int, int]:
    """Code point to glyph number, from the widest Unicode subtable."""
    offsets = [struct.unpack_from(">L", table, 8 + 8 * i)[0] for i in range(struct.unpack_from(">H", table, 2)[0])]
    by_format = {struct.unpack_from(">H", table, offset)[0]: offset for offset in offsets}
    if 12 in by_format:
        start = by_format[12]
        glyphs: dict[int, int] = {}
        for i in range(struct.unpack_from(">L", table, start + 12)[0]):
            first, last, glyph = struct.unpack_from(">LLL", table, start + 16 + 12 * i)
            glyphs.update((code, glyph + code - first) for code in range(first, last + 1))
        return glyphs
    return _segmented_map(table, by_format[4])


def _segmented_map(table: bytes, start: int) -> dict[int, int]:
    """A cmap subtable of format 4."""
    count = struct.unpack_from(">H", table, start + 6)[0] // 2
    ends = struct.unpack_from(f">{count}H", table, start + 14)
    starts = struct.unpack_from(f">{count}H", table, start + 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}h", table, start + 16 + 4 * count)
    ranges_at = start + 16 + 6 * count
    ranges = struct.unpack_from(f">{count}H", table, ranges_at)
    glyphs = {}
    for i in range(count):
        for code in range(starts[i], min(ends[i], 0xFFFE) + 1):
            glyph = code
            if ranges[i]:
                glyph = struct.unpack_from(">H", table, ranges_at + 2 * i + ranges[i] + 2 * (code - starts[i]))[0]
                if glyph == 0:
                    continue
            glyphs[code] = (glyph + deltas[i]) & 0xFFFF
    return {code: glyph for code, glyph in glyphs.items() if glyph}


def measure(text: str, size_pt: float, bold: bool = False) -> float:
    """A text's width in millimetres; a sign that is missing counts as the replacement sign."""
    advances = face(bold).advances
    missing = advances[ord(REPLACEMENT)]
    return sum(advances.get(ord(sign), missing) for sign in text) * size_pt * MM_PER_POINT


def printable(text: str, bold: bool = False) -> str:
    """The text with every sign that the typeface lacks replaced by the replacement sign."""
    advances = face(bold).advances
    return "".join(sign if ord(sign) in advances else REPLACEMENT for sign in text)


def notices_of(texts: Iterable[str]) -> list[str]:
    """What has to be said about the texts: which signs the typeface lacks, and where each stands first."""
    advances = face(False).advances
    first: dict[str, str] = {}
    for text in texts:
        for sign in text:
            if ord(sign) not in advances:
                first.setdefault(sign, text)
    told = [
        f"the contact sheet's typeface has no sign for {_named(sign)} in '{text}'; "
        f"{REPLACEMENT} is printed in its place"
        for sign, text in list(first.items())[:_NOTICED_AT_ONCE]
    ]
    if len(first) > _NOTICED_AT_ONCE:
        told.append(f"{len(first) - _NOTICED_AT_ONCE} more signs are missing from the contact sheet's typeface")
    return told


def _named(sign: str) -> str:
    name = unicodedata.name(sign, "")
    return f"{sign} (U+{ord(sign):04X}{' ' + name if name else ''})"
