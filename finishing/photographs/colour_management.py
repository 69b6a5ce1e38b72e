"""Carries codes from one profile to another by littleCMS, with 16 bits: for profiles that are made of tables."""

from typing import TYPE_CHECKING, Any, Literal

from finishing.errors import Problem

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Intent = Literal["perceptual", "relative", "saturation", "absolute"]

# Numbers of the intents (ICC.1:2022, 7.2.15) and of littleCMS's switches.
_INTENTS: dict[str, int] = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}
_EXACT = 0x0100  # do not put a coarser table in the place of the profiles' own
_FINE_TABLE = 0x0400
_BLACK_POINT = 0x2000
_MODELS = {"RGB": "rgb", "GRAY": "gray", "CMYK": "cmyk"}


def into_space(codes: "NDArray[Any]", profile: bytes, model: str, target: bytes) -> "NDArray[np.uint16]":
    """Codes of a profile's colour model as 16-bit RGB codes of `target`, relative colorimetric, without black point
    compensation. codes: uint8 or uint16, (height, width) for GRAY, else (height, width, channels).

    Raises ValueError where the profile cannot be used.
    """
    return _carried(codes, profile, target, _MODELS[model], "uint16", _INTENTS["relative"], _FINE_TABLE)


def from_space(
    codes: "NDArray[np.uint16]", source: bytes, profile: bytes, *, bits: int, intent: Intent, black_point: bool
) -> "NDArray[Any]":
    """16-bit RGB codes of `source` as codes of an RGB profile, uint8 or uint16. Raises ValueError."""
    flags = _EXACT | (_BLACK_POINT if black_point else 0)
    return _carried(codes, source, profile, "rgb", f"uint{bits}", _INTENTS[intent], flags)


def _carried(
    codes: "NDArray[Any]", profile: bytes, target: bytes, model: str, kind: str, intent: int, flags: int
) -> "NDArray[Any]":
    import imagecodecs
    import numpy as np

    try:
        carried = imagecodecs.cms_transform(
            np.ascontiguousarray(codes), profile, target, colorspace=model, outcolorspace="rgb", outdtype=kind,
            intent=intent, flags=flags,
        )  # fmt: skip
    except (imagecodecs.CmsError, ValueError, TypeError, RuntimeError) as error:
        raise ValueError(str(error)) from error
    return np.ascontiguousarray(carried)


def printer_profile_problem(data: bytes) -> Problem | None:
    """Why these bytes cannot be a deliverable's profile, or None: an RGB profile that leads from the connection space
    to the device."""
    from finishing.colour import icc

    try:
        found = icc.read_profile(data)
    except ValueError as error:
        return Problem("this is no usable ICC profile", got=str(error), remedy="get it again from the printer")
    model = found.colour_model if isinstance(found, icc.TableProfile) else "GRAY" if isinstance(
        found, icc.GreyProfile) else "RGB"  # fmt: skip
    if model != "RGB":
        return Problem(
            f"this profile is for {model} pictures",
            got=found.description or "a profile without a name",
            expected="an RGB profile",
            remedy="ask the printer for an RGB profile, or deliver oprgb and let the printer convert",
        )
    try:
        import numpy as np

        from finishing.colour.spaces import SRGB

        from_space(
            np.zeros((1, 1, 3), np.uint16), icc.write_profile(SRGB), data, bits=16, intent="relative", black_point=True
        )
    except ValueError:
        return Problem(
            "this profile only says what colours a device has seen, not how to make them",
            got=found.description or "a profile without a name",
            expected="a profile of a printer or a display",
            remedy="ask the printer for the profile of printer and paper",
        )
    return None
