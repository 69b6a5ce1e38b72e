"""What the codes of a file mean: the linear light of each code, and the way to the working space."""

import io
from dataclasses import dataclass, replace
from functools import lru_cache, partial

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
    if container.png.code_points is not None:
        found = _of_code_points(container.png.code_points, name)
        if found is not None:
            return found, []
    if container.icc is not None:
        return _of_embedded(container, container.icc, name), []
    if container.png.srgb:
        return encoding_of_space(spaces.SRGB), []
    if container.png.gamma is not None or container.png.chromaticities is not None:
        return _of_gamma(container.png)
    return _of_exif(metadata)


def _of_embedded(container: Container, data: bytes, name: str) -> Encoding | icc.TableProfile:
    remedy = (
        "convert it to sRGB with the profile embedded and save it again, or remove the profile to have sRGB assumed"
    )
    try:
        found = encoding_of_profile(data)
    except ValueError as error:
        raise Problem("its colour profile is damaged", where=name, got=str(error), remedy=remedy) from error
    grey = container.model == "grey"
    if isinstance(found, icc.TableProfile) and found.colour_model not in ({"GRAY", "RGB"} if grey else {"RGB"}):
        raise Problem(
            "its colour profile belongs to another kind of picture",
            where=name,
            got=f"a profile for {found.colour_model} pictures ({found.description or 'without a name'})",
            expected="a profile for greyscale or RGB" if grey else "a profile for RGB",
            remedy=remedy,
        )
    return found


def _of_code_points(points: tuple[int, int, int, int], name: str) -> Encoding | None:
    """ITU-T H.273 code points; None where their curve is left to the file's other words."""
    primaries, curve, matrix, full_range = points
    if curve in (16, 18):
        raise Problem(
            "this is a high-dynamic-range picture (PQ or HLG)",
            where=name,
            expected="an ordinary picture",
            remedy="export it as an ordinary 8-bit JPEG, PNG or TIFF",
        )
    known = {1: spaces.SRGB, 9: WIDE, 12: spaces.DISPLAY_P3}
    if curve == 13 and matrix == 0 and full_range == 1 and primaries in known:
        return encoding_of_space(known[primaries])
    return None


def _of_gamma(colour: PngColour) -> tuple[Encoding, list[str]]:
    """From gAMA and cHRM. A gamma of 1/2.2 is what the standard has written beside sRGB: then sRGB's curve is meant."""
    space, curve = spaces.SRGB, "the sRGB curve"
    if colour.gamma is not None and abs(colour.gamma - 0.45455) > 1e-4:
        if not 0.1 <= colour.gamma <= 2:
            return encoding_of_space(spaces.SRGB), ["its gamma (gAMA) makes no sense: sRGB was assumed"]
        exponent = 1 / colour.gamma
        curve = f"a gamma of {exponent:.3g}"
        space = replace(space, title=f"gamma {exponent:.3g}", decode=partial(transfer.power_decode, exponent=exponent))
    encoding = encoding_of_space(space)
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


def _of_exif(metadata: FrameMetadata) -> tuple[Encoding, list[str]]:
    """No profile: EXIF ColorSpace and interoperability (JEITA CP-3461, "DCF": R98 is sRGB, R03 is opRGB)."""
    rule = metadata.interoperability
    if rule == "R03" or (metadata.colour_space in (2, 0xFFFF) and rule != "R98"):
        return encoding_of_space(spaces.OPRGB), ["no profile: opRGB was taken from its EXIF record"]
    return encoding_of_space(spaces.SRGB), []


def convert_table_profile(
    codes: NDArray[np.uint8], profile: icc.TableProfile, name: str
) -> tuple[NDArray[np.uint8], Encoding, list[str]]:
    """Codes carried by littleCMS from a table-based profile into the wide space, 8 bits to 8 bits.

    Relative colorimetric, without black point compensation. codes: uint8 (height, width, 3); for a greyscale
    profile the first channel counts. Raises Problem where the profile cannot be used.
    """
    from PIL import Image, ImageCms

    mode = "L" if profile.colour_model == "GRAY" else "RGB"
    picture = Image.fromarray(np.ascontiguousarray(codes[..., 0]) if mode == "L" else codes)
    try:
        transform = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(profile.data)),
            ImageCms.ImageCmsProfile(io.BytesIO(icc.write_profile(WIDE))),
            mode,
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
            ImageCms.Flags.HIGHRESPRECALC,
        )
        converted = ImageCms.applyTransform(picture, transform)
    except (ImageCms.PyCMSError, OSError, ValueError) as error:
        raise Problem(
            "its colour profile cannot be used",
            where=name,
            got=f"{profile.description or 'a profile without a name'}: {error}",
            remedy="convert it to sRGB with the profile embedded and save it again",
        ) from error
    notice = (
        f"its profile ({profile.description or 'without a name'}) is made of tables: the frame was converted "
        "with 8 bits per channel, so smooth tones may show steps"
    )
    return np.ascontiguousarray(np.asarray(converted)), encoding_of_space(WIDE), [notice]
