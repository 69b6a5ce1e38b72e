"""Raw files and DNG, developed to linear light by LibRaw (extra `raw`).

What is asked of it: the camera's white balance; 16 bits without a tone curve; no automatic brightening and no guess at
the white level; the camera's own colours (no clipping to a colour space), which our own matrix then takes to the
working space. Highlights: a pixel of which one colour has reached the sensor's white level, after white balance, is cut
there, so that blown highlights come out white and nothing is made up for them. The orientation is applied by the
reader, as for every other format.
"""

import importlib.util
import io
import math
from typing import TYPE_CHECKING, Any

from finishing.errors import Problem
from finishing.photographs import exif as e
from finishing.photographs.containers import Container, Damaged, FileWindow, Window, missing_extra

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# LibRaw's flips, in bits (transpose, upside down, left to right), as EXIF orientations.
_ORIENTATIONS = {0: 1, 1: 2, 3: 3, 2: 4, 4: 5, 6: 6, 7: 7, 5: 8}
_LEAST_MATRIX_ENTRY = 0.125  # below it LibRaw itself takes a camera's matrix as absent


def missing() -> Problem | None:
    """Why raw files cannot be read here, or None."""
    return missing_extra("a raw file", "raw") if importlib.util.find_spec("rawpy") is None else None


def scan(window: Window, *, exif: bytes = b"", xmp: bytes = b"", size: tuple[int, int] = (1, 1)) -> Container | None:
    """The outer form; None where LibRaw does not know the file. size: told where the extra is missing."""
    refusal = missing()
    if refusal is not None:
        return Container("raw", *size, 16, 3, "rgb", exif=exif, xmp=xmp, refusal=refusal)
    import rawpy

    try:
        with _opened(window) as raw:
            sizes = raw.sizes
            width, height = _size(sizes)
            return Container(
                "raw", width, height, 16, 3, "rgb", exif=exif or _exif(raw), xmp=xmp,
                orientation=_ORIENTATIONS.get(sizes.flip, 1),
                refusal=_refusal(raw),
            )  # fmt: skip
    except rawpy.LibRawError:
        return None


def _opened(window: Window) -> Any:
    import rawpy

    raw = rawpy.RawPy()
    if isinstance(window, FileWindow):
        raw.open_file(window.path)
    else:
        raw.open_buffer(io.BytesIO(window[0 : len(window)]))
    return raw


def _size(sizes: Any) -> tuple[int, int]:
    """Width and height of the developed picture, not yet turned: the area that the camera means to be seen."""
    left, top = sizes.crop_left_margin - sizes.left_margin, sizes.crop_top_margin - sizes.top_margin
    if _has_crop(sizes, left, top):
        return sizes.crop_width, sizes.crop_height
    return sizes.width, sizes.height


def _has_crop(sizes: Any, left: int, top: int) -> bool:
    width, height = sizes.crop_width, sizes.crop_height
    inside = left >= 0 and top >= 0 and left + width <= sizes.width and top + height <= sizes.height
    return bool(sizes.pixel_aspect == 1 and width >= sizes.width // 2 and height >= sizes.height // 2 and inside)


def _refusal(raw: Any) -> Problem | None:
    if raw.sizes.pixel_aspect != 1:
        return Problem(
            "this raw file has pixels that are not square",
            remedy="develop it and export it as a 16-bit TIFF",
        )
    if raw.num_colors not in (1, 3):
        return Problem(
            "this raw file has a sensor of four colours",
            expected="red, green and blue",
            remedy="develop it and export it as a 16-bit TIFF",
        )
    return None


def _exif(raw: Any) -> bytes:
    """The exposure that LibRaw found, for files that are no TIFF structure."""
    other = raw.other
    photo: e.Directory = {}
    if other.shutter_speed and math.isfinite(other.shutter_speed):
        seconds = float(other.shutter_speed)
        photo[0x829A] = e.rational(1, round(1 / seconds)) if seconds < 0.3 else e.rational(round(seconds * 1000), 1000)
    if other.aperture and math.isfinite(other.aperture):
        photo[0x829D] = e.rational(round(other.aperture * 100), 100)
    if other.iso_speed and math.isfinite(other.iso_speed):
        photo[0x8827] = e.short(min(round(other.iso_speed), 65535))
    return e.write_exif(e.Exif("<", {}, photo))


def develop(data: bytes, *, half: bool = False) -> "tuple[NDArray[np.uint16], NDArray[np.float64]]":
    """16-bit codes (height, width, 3), linear in light, as stored (not turned), and the 3×3 matrix from them to the
    working space. half: at half the size, rounded up, for previews.

    Raises Damaged where the data is cut short or broken.
    """
    import numpy as np
    import rawpy

    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            sizes = raw.sizes
            matrix = _matrix(raw)
            codes = raw.postprocess(
                gamma=(1, 1), no_auto_bright=True, adjust_maximum_thr=0.0, use_camera_wb=True, output_bps=16,
                output_color=rawpy.ColorSpace.raw, highlight_mode=rawpy.HighlightMode.Clip, user_flip=0,
                half_size=half, user_sat=_saturation(raw),
            )  # fmt: skip
    except rawpy.LibRawError as error:
        raise Damaged(str(error)) from error
    if codes.ndim == 2 or codes.shape[2] == 1:
        codes = np.repeat(codes.reshape(*codes.shape[:2], 1), 3, axis=2)
    width, height = _size(sizes)
    if (width, height) != (sizes.width, sizes.height):
        by = 2 if half else 1
        left, top = (sizes.crop_left_margin - sizes.left_margin) // by, (sizes.crop_top_margin - sizes.top_margin) // by
        codes = codes[top : top + -(-height // by), left : left + -(-width // by)]
    return np.ascontiguousarray(codes[..., :3]), matrix


def _saturation(raw: Any) -> int | None:
    """The white level to give, where LibRaw would set it wrong: in a linear file of three channels it takes the black
    level of a fourth, which is 0, as what all have in common, and forgets to take the black off the white."""
    import rawpy

    blacks = [int(level) for level in raw.black_level_per_channel]
    if raw.raw_type != rawpy.RawType.Stack or len(blacks) < 4 or blacks[3] >= min(blacks[:3]):
        return None
    return int(raw.white_level) - (min(blacks[:3]) - blacks[3])


def _matrix(raw: Any) -> "NDArray[np.float64]":
    """From the camera's white-balanced colours to the working space, as LibRaw itself would go to sRGB: the matrix that
    the file carries, else the inverse of what its sensor makes of the working primaries, with white kept white."""
    import numpy as np

    from finishing.colour.spaces import SRGB

    carried = np.asarray(raw.color_matrix, np.float64)[:3, :3]
    if raw.num_colors == 1:
        return np.eye(3)
    if np.isfinite(carried).all() and carried[0, 0] > _LEAST_MATRIX_ENTRY:
        return carried
    camera = np.asarray(raw.rgb_xyz_matrix, np.float64)[:3] @ SRGB.to_xyz
    if not np.isfinite(camera).all() or abs(np.linalg.det(camera)) < 1e-6:
        return np.eye(3)
    return np.asarray(np.linalg.inv(camera / camera.sum(axis=1, keepdims=True)), np.float64)
