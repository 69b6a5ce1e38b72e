"""Mask files: grey pictures in which white is fully in."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.documents.names import nearest
from finishing.errors import Problem

Mask = NDArray[np.float32]
EXPECTED = "a grey PNG of 8 or 16 bits, white where the mask is fully in"


def no_such_mask(name: str, known: Iterable[str]) -> Problem:
    """The problem of a frame that lacks a mask which a look asks for. known: the names of those that it has."""
    names = sorted(known)
    near = nearest(name, names)
    return Problem(
        f'this frame has no mask called "{name}"',
        got=("a mask called " if len(names) == 1 else "masks called ") + ", ".join(names) if names else "no masks",
        expected="a mask of that name",
        remedy=f"if {near} was meant, write {name} in its place, under masks in session.yaml"
        if near
        else f"name its file in session.yaml under per_frame, FRAME: {{masks: {{{name}: masks/FRAME-{name}.png}}}}",
    )


def read_mask(path: Path) -> Mask:
    """Weights 0…1, float32 (height, width), of an 8-bit or 16-bit grey PNG of any size.

    A PNG saved in colour counts as grey where its three channels agree. Codes are weights as they stand: no
    transfer function applies. Raises Problem where there is no such file, or it is something else.
    """
    import cv2

    if not path.is_file():
        raise Problem("there is no such mask file", got=str(path), remedy="check the name and the folder it is in")
    data = np.frombuffer(path.read_bytes(), np.uint8)
    picture: NDArray[Any] | None = (
        cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if data[:4].tobytes() == b"\x89PNG" else None
    )
    if picture is None:
        raise Problem("this mask cannot be read", got=path.name, expected=EXPECTED, remedy="save it as a grey PNG")
    grey = _grey(picture)
    if grey is None:
        raise Problem(
            "this mask is a picture in colour, or has transparent parts",
            got=path.name,
            expected=EXPECTED,
            remedy="save it as a grey PNG without transparency",
        )
    return np.divide(grey, np.float32(np.iinfo(picture.dtype).max), dtype=np.float32)


def _grey(picture: NDArray[Any]) -> NDArray[Any] | None:
    if picture.ndim == 2:
        return picture
    channels = [picture[..., i] for i in range(picture.shape[2])]
    if len(channels) in (2, 4) and channels.pop().min() < np.iinfo(picture.dtype).max:
        return None
    return channels[0] if all(np.array_equal(channels[0], other) for other in channels[1:]) else None
