"""What the codes of a file mean: the linear light of each code, and the way to the working space."""

from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour import icc, spaces, transfer
from finishing.colour.adaptation import adaptation_matrix, white_xyz
from finishing.colour.spaces import ColourSpace
from finishing.errors import Problem
from finishing.photographs.containers import Container, PngColour
from finishing.photographs.metadata import FrameMetadata

Matrix = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Encoding:
    """How codes become light.

    description: the profile's name or what was assumed. tables: float32 (3, number of codes), the linear light
    of each code in the file's own primaries, 0…1. matrix: 3×3 float64 from there to the working space, or None
    where the primaries are the working space's own.
    """

    description: str
    tables: NDArray[np.float32]
    matrix: Matrix | None

    def __post_init__(self) -> None:
        self.tables.setflags(write=False)


# ITU-R BT.2020 primaries with the sRGB curve: takes in nearly all surface colours, and 8 bits still
# suffice. Table-based profiles are carried into it.
WIDE = ColourSpace(
    "wide", "BT.2020 primaries, sRGB curve", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
    transfer.srgb_decode, transfer.srgb_encode,
)  # fmt: skip


@lru_cache(maxsize=16)
def encoding_of_space(space: ColourSpace, codes: int = 256) -> Encoding:
    """The encoding of a file that is written in one of the known colour spaces."""
    light = np.asarray(space.decode(np.linspace(0.0, 1.0, codes)), dtype=np.float32)
    return Encoding(space.title, np.stack([light] * 3), _unless_identity(space.to_working))


@lru_cache(maxsize=16)
def encoding_of_profile(data: bytes, codes: int = 256) -> Encoding | icc.TableProfile:
    """The encoding that a profile describes, or the profile itself where it is table-based. Raises ValueError."""
    profile = icc.read_profile(data)
    if isinstance(profile, icc.TableProfile):
        return profile
    matrix = profile.matrix_to_working if isinstance(profile, icc.MatrixProfile) else np.eye(3)
    return Encoding(profile.description or "embedded profile", profile.tables(codes), _unless_identity(matrix))


def _unless_identity(matrix: Matrix) -> Matrix | None:
    return None if np.array_equal(matrix, np.eye(3)) else matrix


def find_encoding(
    container: Container, metadata: FrameMetadata, name: str
) -> tuple[Encoding | icc.TableProfile, list[str]]:
    """What a file says about its colours, and notices where something had to be assumed.

    In the order of PNG's third edition: cICP, the embedded profile, sRGB, gAMA with cHRM; then EXIF; then sRGB.
    Raises Problem where the profile is damaged or belongs to another kind of picture.
    """
    codes = codes_of(container)
    profile_first = container.format != "png" and container.icc is not None
    if container.png.code_points is not None and not profile_first:
        found = _of_code_points(container.png.code_points, name, codes)
        if found is not None:
            return found, []
    if container.icc is not None:
        return _of_embedded(container, container.icc, name, codes), []
    if container.png.srgb:
        return encoding_of_space(spaces.SRGB, codes), []
    if container.png.gamma is not None or container.png.chromaticities is not None:
        return _of_gamma(container.png, codes)
    return _of_exif(metadata, codes)


def codes_of(container: Container) -> int:
    """How many codes a channel has: a power of two; palettes and the like are read as 8 bits."""
    return 2 ** min(max(container.bits, 8), 16)


def _of_embedded(container: Container, data: bytes, name: str, codes: int) -> Encoding | icc.TableProfile:
    remedy = (
        "convert it to sRGB with the profile embedded and save it again, or remove the profile to have sRGB assumed"
    )
    try:
        found = encoding_of_profile(data, codes)
    except ValueError as error:
        raise Problem("its colour profile is damaged", where=name, got=str(error), remedy=remedy) from error
    grey = container.model == "grey"
    fitting = {"grey": {"GRAY", "RGB"}, "cmyk": {"CMYK"}}.get(container.model, {"RGB"})
    model = found.colour_model if isinstance(found, icc.TableProfile) else "RGB"
    if model not in fitting:
        raise Problem(
            "its colour profile belongs to another kind of picture",
            where=name,
            got=f"a profile for {model} pictures ({found.description or 'without a name'})",
            expected="a profile for greyscale or RGB" if grey else f"a profile for {min(fitting)}",
            remedy=remedy,
        )
    return found


def _of_code_points(points: tuple[int, int, int, int], name: str, codes: int) -> Encoding | None:
    """ITU-T H.273 code points; None where their curve is left to the file's other words."""
    primaries, curve, _, _ = points
    if curve in (16, 18):
        raise Problem(
            "this is a high-dynamic-range picture (PQ or HLG)",
            where=name,
            expected="an ordinary picture",
            remedy="export it as an ordinary JPEG, PNG or TIFF",
        )
    known = {1: spaces.SRGB, 9: WIDE, 12: spaces.DISPLAY_P3}
    if curve == 13 and primaries in known:  # its decoder has seen to matrix and range
        return encoding_of_space(known[primaries], codes)
    return None


def _of_gamma(colour: PngColour, codes: int) -> tuple[Encoding, list[str]]:
    """From gAMA and cHRM. A gamma of 1/2.2 is what the standard has written beside sRGB: then sRGB's curve is meant."""
    space, curve = spaces.SRGB, "the sRGB curve"
    if colour.gamma is not None and abs(colour.gamma - 0.45455) > 1e-4:
        if not 0.1 <= colour.gamma <= 2:
            return encoding_of_space(spaces.SRGB, codes), ["its gamma (gAMA) makes no sense: sRGB was assumed"]
        exponent = 1 / colour.gamma
        curve = f"a gamma of {exponent:.3g}"
        space = replace(space, title=f"gamma {exponent:.3g}", decode=partial(transfer.power_decode, exponent=exponent))
    encoding = encoding_of_space(space, codes)
    if colour.chromaticities is None or np.allclose(
        colour.chromaticities, (spaces.D65, *spaces.SRGB.primaries), atol=1e-3
    ):
        return encoding, [] if curve == "the sRGB curve" else [f"no profile: {curve} was read from the PNG (gAMA)"]
    white, *primaries = colour.chromaticities
    try:
        to_xyz = spaces.rgb_to_xyz(tuple(primaries), white)
        adapted = adapt_to_d65(to_xyz, white)
    except (np.linalg.LinAlgError, ZeroDivisionError):
        return encoding, ["its primaries (cHRM) make no sense: sRGB's were assumed"]
    matrix = np.asarray(np.linalg.solve(spaces.SRGB.to_xyz, adapted), dtype=np.float64)
    if not np.isfinite(matrix).all() or np.abs(matrix).max() > 10:
        return encoding, ["its primaries (cHRM) make no sense: sRGB's were assumed"]
    return (
        Encoding("from gAMA and cHRM", encoding.tables, matrix),
        [f"no profile: {curve} and the primaries were read from the PNG (gAMA, cHRM)"],
    )


def adapt_to_d65(to_xyz: Matrix, white: tuple[float, float]) -> Matrix:
    """A matrix to XYZ under some white, as a matrix to XYZ under D65, by Bradford."""
    return np.asarray(adaptation_matrix(white_xyz(white), white_xyz(spaces.D65)) @ to_xyz, dtype=np.float64)


def _of_exif(metadata: FrameMetadata, codes: int) -> tuple[Encoding, list[str]]:
    """No profile: EXIF ColorSpace and interoperability (JEITA CP-3461, "DCF": R98 is sRGB, R03 is opRGB)."""
    rule = metadata.interoperability
    if rule == "R03" or (metadata.colour_space in (2, 0xFFFF) and rule != "R98"):
        return encoding_of_space(spaces.OPRGB, codes), ["no profile: opRGB was taken from its EXIF record"]
    return encoding_of_space(spaces.SRGB, codes), []


def convert_table_profile(
    codes: NDArray[Any], profile: icc.TableProfile, name: str
) -> tuple[NDArray[np.uint16], Encoding, list[str]]:
    """Codes carried by littleCMS from a table-based profile into 16-bit codes of the wide space.

    Relative colorimetric, without black point compensation. codes: uint8 or uint16 (height, width, 3), of inks
    (height, width, 4); for a greyscale profile the first channel counts. Raises Problem where the profile cannot be
    used.
    """
    from finishing.photographs.colour_management import into_space

    flat = codes[..., 0] if profile.colour_model == "GRAY" else codes
    try:
        converted = into_space(flat, profile.data, profile.colour_model, icc.write_profile(WIDE))
    except ValueError as error:
        raise Problem(
            "its colour profile cannot be used",
            where=name,
            got=f"{profile.description or 'a profile without a name'}: {error}",
            remedy="convert it to sRGB with the profile embedded and save it again",
        ) from error
    called = profile.description or "without a name"
    if profile.colour_model == "CMYK":
        notice = f"its printing inks were turned into RGB through its profile ({called}), relative colorimetric"
    else:
        notice = f"its profile ({called}) is made of tables: littleCMS carried it into a wide space of 16 bits"
    return converted, encoding_of_space(WIDE, 65536), [notice]


def light_of_floats(
    values: NDArray[np.float32], container: Container, name: str
) -> tuple[NDArray[np.float32], list[str]]:
    """Floating-point values as stored to linear light of the working space, both (height, width, 3), unbounded; and
    notices.

    Without a profile the values are linear light already. Curves go on below 0 mirrored and above 1 as their own
    formula has it. Raises Problem where the profile is damaged or made of tables.
    """
    if container.icc is None:
        return values, ["no profile: its floating-point values were taken as linear light of sRGB's primaries"]
    encoding = _of_embedded(container, container.icc, name, 256)
    profile = icc.read_profile(container.icc)
    if isinstance(encoding, icc.TableProfile) or isinstance(profile, icc.TableProfile):
        raise Problem(
            "this frame has floating-point values in a profile that is made of tables",
            where=name,
            remedy="export it as a 16-bit TIFF, or in sRGB or linear light",
        )
    decoders = profile.decoders if isinstance(profile, icc.MatrixProfile) else (profile.decoder,) * 3
    light = np.stack([_beyond(curve, values[..., i]) for i, curve in enumerate(decoders)], axis=-1)
    return light if encoding.matrix is None else _through(encoding.matrix, light), []


def codes_of_light(light: NDArray[np.float32]) -> tuple[NDArray[np.uint16], Encoding]:
    """16-bit codes in the wide space of working light (height, width, 3); what lies outside of it is cut."""
    encoded = WIDE.encode(np.clip(np.nan_to_num(_through(WIDE.from_working, light)), 0, 1))
    return np.round(encoded * 65535).astype(np.uint16), encoding_of_space(WIDE, 65536)


def _through(matrix: Matrix, light: NDArray[np.float32]) -> NDArray[np.float32]:
    """3×3 on every pixel, channels in the last axis; the products written out, see colour.oklab."""
    red, green, blue = light[..., 0], light[..., 1], light[..., 2]
    return np.stack([np.float32(a) * red + np.float32(b) * green + np.float32(c) * blue for a, b, c in matrix], axis=-1)


def _beyond(curve: icc.Curve, values: NDArray[np.float32]) -> NDArray[np.float32]:
    """A profile's curve on any number: mirrored below 0, its own formula above 1 (a sampled curve: straight on)."""
    if isinstance(curve, icc.ParametricCurve) and curve.kind == 0 and curve.parameters[0] == 1:
        return values
    size = np.abs(values.astype(np.float64))
    inside = curve(np.minimum(size, 1.0))
    if isinstance(curve, icc.ParametricCurve):
        p = curve.parameters
        a, b = (1.0, 0.0) if curve.kind == 0 else p[1:3]
        added = {2: 3, 4: 5}.get(curve.kind)
        above = np.maximum(a * size + b, 0.0) ** p[0] + (p[added] if added else 0.0)
    else:
        step = 1 / (len(curve.samples) - 1)
        above = curve.samples[-1] + (size - 1) * (curve.samples[-1] - curve.samples[-2]) / step
    return np.copysign(np.where(size > 1, above, inside), values).astype(np.float32)
