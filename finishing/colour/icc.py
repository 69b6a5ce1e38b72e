"""ICC profiles as bytes: reads those that are three curves and a matrix, and writes such profiles.

Source: ICC.1:2022 (profile version 4.4) and ICC.1:2001-04 (version 2.4). A profile's colorants are relative
to the D50 white of the connection space in both versions, so the one adaptation needed is D50 to D65.

What a matrix cannot say (look-up tables, ink models, a Lab connection space) is handed back whole, as a
`TableProfile`, for a colour management module to apply.
"""

import hashlib
import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from finishing.colour import transfer
from finishing.colour.adaptation import adaptation_matrix, white_xyz
from finishing.colour.spaces import D65, SRGB, ColourSpace

Matrix = NDArray[np.float64]

#: The white of the connection space in the very numbers that profiles hold (s15Fixed16).
D50_WHITE = (0xF6D6 / 65536, 1.0, 0xD32D / 65536)

#: How far a profile may lie from the working space's primaries and still mean them. Profiles in use hold sRGB's
#: colorants with four or five digits; the farthest of those ends up 3e-4 away.
ROUNDING = 5e-4

_CLASSES = {"scnr", "mntr", "prtr", "spac"}
_COPYRIGHT = "No copyright, use freely"
_CREATED = (2026, 1, 1, 0, 0, 0)  # fixed, so that a profile is the same bytes at any time


@dataclass(frozen=True)
class ParametricCurve:
    """A curve of parametricCurveType (ICC.1:2022, 10.18), kind 0…4; a plain gamma is kind 0.

    Takes encoded values 0…1 and gives linear light clipped to 0…1, as the standard asks.
    """

    kind: int
    parameters: tuple[float, ...]

    def __call__(self, encoded: ArrayLike) -> NDArray[np.float64]:
        value = np.asarray(encoded, dtype=np.float64)
        g, a, b, c, d, e, f = self._all()
        base = np.maximum(a * value + b, 0.0)
        linear = np.where(value >= d, base**g + e, c * value + f)
        return np.clip(linear, 0.0, 1.0)

    def _all(self) -> tuple[float, ...]:
        """g a b c d e f of kind 4, in which every other kind can be said."""
        p = self.parameters
        if self.kind == 0:
            return (p[0], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
        if self.kind == 1:
            return (*p, 0.0, -p[2] / p[1], 0.0, 0.0)
        if self.kind == 2:
            return (p[0], p[1], p[2], 0.0, -p[2] / p[1], p[3], p[3])
        return (*p, 0.0, 0.0) if self.kind == 3 else p


@dataclass(frozen=True)
class SampledCurve:
    """A curve of curveType (ICC.1:2022, 10.6): samples at equal steps of 0…1, straight lines between."""

    samples: tuple[float, ...]

    def __call__(self, encoded: ArrayLike) -> NDArray[np.float64]:
        value = np.asarray(encoded, dtype=np.float64)
        return np.interp(value, np.linspace(0.0, 1.0, len(self.samples)), self.samples)


Curve = ParametricCurve | SampledCurve


@dataclass(frozen=True, eq=False)
class MatrixProfile:
    """An RGB profile of three curves and a matrix.

    decoders: for red, green and blue, from encoded values (0…1) to linear light (0…1).
    matrix_to_working: 3×3 float64 from that linear light to the working space, exactly the identity where
    the profile means the working space's own primaries.
    """

    description: str
    matrix_to_working: Matrix
    decoders: tuple[Curve, Curve, Curve]

    def tables(self, size: int = 256) -> NDArray[np.float32]:
        """Linear light of each of `size` equally spaced codes, float32, (3, size)."""
        return np.stack([decode(np.linspace(0, 1, size)) for decode in self.decoders]).astype(np.float32)


@dataclass(frozen=True)
class GreyProfile:
    """A greyscale profile of one curve; its linear light is neutral."""

    description: str
    decoder: Curve

    def tables(self, size: int = 256) -> NDArray[np.float32]:
        """Linear light of each of `size` equally spaced codes, float32, three equal rows (3, size)."""
        return np.stack([self.decoder(np.linspace(0, 1, size))] * 3).astype(np.float32)


@dataclass(frozen=True)
class TableProfile:
    """A profile that only a colour management module can apply. colour_model: "RGB", "GRAY", "CMYK", "Lab" …"""

    data: bytes
    description: str
    colour_model: str


Profile = MatrixProfile | GreyProfile | TableProfile


def read_profile(data: bytes) -> Profile:
    """The profile in these bytes. Raises ValueError, in words, where they are no usable profile."""
    model, connection, tags = _directory(data)
    description = _description(tags.get("desc", b""))
    tables = any(name in tags for name in ("A2B0", "A2B1", "A2B2", "D2B0", "D2B1"))
    if not tables and connection == "XYZ" and model == "RGB":
        missing = [name for name in ("rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC") if name not in tags]
        if missing:
            raise ValueError(f"the profile lacks {', '.join(missing)}")
        red, green, blue = (_curve(tags[name]) for name in ("rTRC", "gTRC", "bTRC"))
        colorants = np.array([_xyz(tags[name]) for name in ("rXYZ", "gXYZ", "bXYZ")]).T
        return MatrixProfile(description, _to_working(colorants), (red, green, blue))
    if not tables and connection == "XYZ" and model == "GRAY":
        if "kTRC" not in tags:
            raise ValueError("the profile lacks kTRC")
        return GreyProfile(description, _curve(tags["kTRC"]))
    return TableProfile(bytes(data), description, model)


def _directory(data: bytes) -> tuple[str, str, dict[str, bytes]]:
    """Colour model, connection space and the tags by name. Raises ValueError where the outer form is broken."""
    if len(data) < 132 or data[36:40] != b"acsp":
        raise ValueError("these bytes are no ICC profile")
    size, count = struct.unpack_from(">I", data, 0)[0], struct.unpack_from(">I", data, 128)[0]
    if not 132 <= size <= len(data):
        raise ValueError(f"the profile is cut short: it should have {size} bytes and has {len(data)}")
    if not 1 <= count <= 200 or 132 + 12 * count > size:
        raise ValueError("the profile's table of tags is damaged")
    kind, model, connection = (data[at : at + 4].decode("latin-1").strip() for at in (12, 16, 20))
    if kind not in _CLASSES:
        raise ValueError(f"the profile is of class {kind!r}, which describes no picture")
    tags = {}
    for index in range(count):
        name, offset, length = struct.unpack_from(">4sII", data, 132 + 12 * index)
        if length < 8 or offset + length > size:
            raise ValueError(f"the profile's tag {name.decode('latin-1')!r} lies outside the profile")
        tags[name.decode("latin-1")] = bytes(data[offset : offset + length])
    return model, connection, tags


def _description(tag: bytes) -> str:
    """The profile's name, from either version's tag; empty where there is none to be read."""
    try:
        if tag[:4] == b"desc":
            (length,) = struct.unpack_from(">I", tag, 8)
            return tag[12 : 12 + length].split(b"\0")[0].decode("latin-1").strip()
        if tag[:4] == b"mluc":
            count, step = struct.unpack_from(">II", tag, 8)
            records = [struct.unpack_from(">2s2sII", tag, 16 + step * i) for i in range(min(count, 200))]
            chosen = next((r for r in records if r[0] == b"en"), records[0] if records else None)
            if chosen:
                return tag[chosen[3] : chosen[3] + chosen[2]].decode("utf-16-be").strip("\0 ")
    except (struct.error, UnicodeDecodeError):
        pass
    return ""


def _xyz(tag: bytes) -> tuple[float, float, float]:
    if tag[:4] != b"XYZ " or len(tag) < 20:
        raise ValueError("a colorant of the profile is damaged")
    x, y, z = struct.unpack_from(">3i", tag, 8)
    return x / 65536, y / 65536, z / 65536


def _curve(tag: bytes) -> Curve:
    """The curve in a tag of type curv or para."""
    try:
        if tag[:4] == b"para":
            (kind,) = struct.unpack_from(">H", tag, 8)
            if kind > 4:
                raise ValueError(f"the profile has a curve of the unknown kind {kind}")
            count = (1, 3, 4, 5, 7)[kind]
            values = tuple(v / 65536 for v in struct.unpack_from(f">{count}i", tag, 12))
            if values[0] <= 0 or (kind in (1, 2) and values[1] == 0):
                raise ValueError("a curve of the profile is damaged")
            return ParametricCurve(kind, values)
        if tag[:4] == b"curv":
            (count,) = struct.unpack_from(">I", tag, 8)
            if count == 0:
                return ParametricCurve(0, (1.0,))
            samples = struct.unpack_from(f">{count}H", tag, 12)
            if count > 1:
                return SampledCurve(tuple(s / 65535 for s in samples))
            if samples[0]:
                return ParametricCurve(0, (samples[0] / 256,))
    except struct.error as error:
        raise ValueError("a curve of the profile is cut short") from error
    raise ValueError("a curve of the profile is damaged")


def _to_working(colorants: Matrix) -> Matrix:
    """3×3 to the working space from D50 colorants in columns."""
    if abs(np.linalg.det(colorants)) < 1e-5:
        raise ValueError("the profile's three colorants do not span a space of colours")
    adapted = adaptation_matrix(D50_WHITE, white_xyz(D65)) @ colorants
    matrix = np.linalg.solve(SRGB.to_xyz, adapted)
    if np.abs(matrix - np.eye(3)).max() <= ROUNDING:
        return np.eye(3)
    white = matrix.sum(axis=1, keepdims=True)
    if np.abs(white - 1).max() <= ROUNDING:
        matrix = matrix / white  # rounded colorants must not tint the greys
    return np.asarray(matrix, dtype=np.float64)


@cache
def write_profile(space: ColourSpace) -> bytes:
    """A version 4 display profile of a D65 colour space: under 600 bytes, always the same bytes.

    The transfer functions known are sRGB's, a plain power and the identity. Raises ValueError for another.
    """
    to_d50 = adaptation_matrix(white_xyz(D65), D50_WHITE)
    red, green, blue = (_xyz_tag(column) for column in _whole_colorants(to_d50 @ space.to_xyz).T)
    curve = _curve_tag(space.decode)
    tags = [
        (b"desc", _text_tag(space.title)),
        (b"cprt", _text_tag(_COPYRIGHT)),
        (b"wtpt", _xyz_tag(np.round(np.array(D50_WHITE) * 65536))),
        (b"chad", b"sf32" + bytes(4) + struct.pack(">9i", *(_fixed(v) for v in to_d50.flat))),
        (b"rXYZ", red), (b"gXYZ", green), (b"bXYZ", blue),
        (b"rTRC", curve), (b"gTRC", curve), (b"bTRC", curve),
    ]  # fmt: skip
    table, body, places = b"", b"", dict[bytes, int]()
    start = 128 + 4 + 12 * len(tags)
    for name, content in tags:
        if content not in places:
            places[content] = start + len(body)
            body += content + bytes(-len(content) % 4)
        table += name + struct.pack(">II", places[content], len(content))
    size = start + len(body)
    white = struct.pack(">3I", *(round(v * 65536) for v in D50_WHITE))
    head = struct.pack(">I4x4B4s4s4s6H4s", size, 4, 0x40, 0, 0, b"mntr", b"RGB ", b"XYZ ", *_CREATED, b"acsp")
    head += bytes(28) + white
    profile = head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body
    # The profile ID is the MD5 of the profile with flags, intent and ID set to zero, as they are here.
    identity = hashlib.md5(profile, usedforsecurity=False).digest()
    return profile[:84] + identity + profile[100:]


def _fixed(value: float) -> int:
    return round(float(value) * 65536)


def _whole_colorants(colorants: Matrix) -> Matrix:
    """Colorants in whole 1/65536, their sum exactly the D50 white: green, the largest part of it, takes the rest."""
    whole = np.round(colorants * 65536)
    whole[:, 1] += np.round(np.array(D50_WHITE) * 65536) - whole.sum(axis=1)
    return whole


def _xyz_tag(whole: NDArray[np.float64]) -> bytes:
    return b"XYZ " + bytes(4) + struct.pack(">3i", *(int(v) for v in whole))


def _text_tag(text: str) -> bytes:
    encoded = text.encode("utf-16-be")
    return b"mluc" + bytes(4) + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(encoded), 28) + encoded


def _curve_tag(decode: Callable[[ArrayLike], NDArray[np.floating]]) -> bytes:
    if decode is transfer.srgb_decode:
        offset = 1 + transfer.SRGB_OFFSET
        values = (
            transfer.SRGB_EXPONENT,
            1 / offset,
            transfer.SRGB_OFFSET / offset,
            1 / transfer.SRGB_SLOPE,
            transfer.SRGB_ENCODED_END,
        )
        return b"para" + bytes(4) + struct.pack(">H2x5i", 3, *(_fixed(v) for v in values))
    if isinstance(decode, partial) and decode.func is transfer.power_decode:
        return b"para" + bytes(4) + struct.pack(">H2xi", 0, _fixed(decode.keywords["exponent"]))
    steps = np.linspace(0, 1, 11)
    if np.array_equal(decode(steps), steps):
        return b"para" + bytes(4) + struct.pack(">H2xi", 0, _fixed(1.0))
    raise ValueError("no profile can be written for this transfer function")
