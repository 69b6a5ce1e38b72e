"""The EXIF orientation, applied once (CIPA DC-008, tag 0112)."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def upright(pixels: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Pixels (height, width, channels) turned and mirrored so that row 0 is the top; contiguous.

    orientation: 1…8. 1 gives back the array that was given; every other a new one.
    """
    import cv2

    if orientation == 1:
        return pixels
    if orientation == 2:
        turned = cv2.flip(pixels, 1)
    elif orientation == 3:
        turned = cv2.rotate(pixels, cv2.ROTATE_180)
    elif orientation == 4:
        turned = cv2.flip(pixels, 0)
    elif orientation == 5:
        turned = cv2.transpose(pixels)
    elif orientation == 6:
        turned = cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE)
    elif orientation == 7:
        turned = cv2.rotate(cv2.transpose(pixels), cv2.ROTATE_180)
    elif orientation == 8:
        turned = cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE)
    else:
        raise ValueError(f"expected an orientation 1…8, not {orientation}")
    return np.ascontiguousarray(turned)
