"""How one frame lies on another: shift, turn and scale, to a small part of a pixel, whatever the light did between.

Exposure and strobes change from frame to frame, so what is compared is not light but its fine structure: the logarithm
of luminance, less its own blur, over its own local contrast. On that, from coarse to fine, the four numbers of a
similarity are found by Gauss-Newton steps of the inverse compositional kind (Baker and Matthews, "Lucas-Kanade 20 years
on", Int. J. Computer Vision 56, 2004), each pixel weighted by Tukey's biweight of what it is off, so that a subject
that moved, or a shadow that only one of the lights throws, does not pull.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from finishing.light.frames import Planes

Matrix = NDArray[np.float64]
Plane = NDArray[np.float32]

#: The light at which the logarithm begins to flatten, so that noise in the dark does not count as structure.
DARK = 0.004
#: Standard deviation in pixels of the blur that local contrast is measured against; the least contrast that counts.
AROUND, LEAST_CONTRAST = 6.0, 0.03
COARSEST, MOST_POINTS, STEPS = 72, 60_000, 25
#: Tukey's constant: what is off by more than so many robust standard deviations does not count.
TUKEY = 4.685
#: The grid of pieces on which the agreement of two frames is measured, and the least structure of one that counts.
PIECES, LEAST_STRUCTURE = 12, 0.2
#: Above it nothing better is looked for. Below the next two frames are not of one scene; how far is too far.
SETTLED = 0.9
LEAST_AGREEMENT, MOST_SHIFT, MOST_DEGREES, MOST_SCALE = 0.3, 0.06, 4.0, 0.04


@dataclass(frozen=True, eq=False)
class Alignment:
    """matrix: 2×3 from pixel centres (x, y) of the reference to those of the other frame. agreement: the median over
    pieces of the frame of the correlation of their fine structure, −1…1."""

    matrix: Matrix
    agreement: float
    width: int
    height: int

    @property
    def shift(self) -> tuple[float, float]:
        """What lies in the middle of the reference lies so many pixels to the right and further down in the other."""
        x, y = (self.width - 1) / 2, (self.height - 1) / 2
        m = self.matrix
        return float(m[0, 0] * x + m[0, 1] * y + m[0, 2] - x), float(m[1, 0] * x + m[1, 1] * y + m[1, 2] - y)

    @property
    def degrees(self) -> float:
        """Turn, clockwise as seen."""
        return math.degrees(math.atan2(self.matrix[1, 0], self.matrix[0, 0]))

    @property
    def scale(self) -> float:
        """1 where the size stayed."""
        return float(math.hypot(self.matrix[0, 0], self.matrix[1, 0]))

    @property
    def largest(self) -> float:
        """The farthest that any corner of the frame has gone, in pixels."""
        corners = np.array([[x, y, 1.0] for x in (0, self.width - 1) for y in (0, self.height - 1)])
        return float(np.linalg.norm(corners @ self.matrix.T - corners[:, :2], axis=1).max())

    @property
    def found(self) -> bool:
        """Whether the two frames are of one scene and lie so near each other that laying them over makes sense."""
        return (
            self.agreement >= LEAST_AGREEMENT
            and math.hypot(*self.shift) <= MOST_SHIFT * max(self.width, self.height)
            and abs(self.degrees) <= MOST_DEGREES
            and abs(self.scale - 1) <= MOST_SCALE
        )


def align(reference: Planes, other: Planes, luminance: NDArray[np.float64], by: int = 1) -> Alignment:
    """How `other` lies on `reference`: planes (3, height, width) of linear light, of frames reduced by `by` (see
    `frames.reduced`); the answer is in pixels of the whole frame. luminance: the three channels' weights."""
    fixed, moving = structure(reference, luminance), structure(other, luminance)
    height, width = fixed.shape
    levels = [1.0]
    while min(height, width) * levels[-1] / 2 >= COARSEST:
        levels.append(levels[-1] / 2)
    pairs = [(_at(fixed, level), _at(moving, level)) for level in levels]
    # A subject that went aside can win on the coarse pictures, where the rest has lost its structure. So the way down
    # is gone from the shift that the spectra tell, from no shift, and from the middle; the best in the end counts.
    guess = _whole(levels[-1]) @ _first_guess(*pairs[-1]) @ np.linalg.inv(_whole(levels[-1]))
    starts = [(guess, len(levels) - 1), (np.eye(3), len(levels) - 1), (np.eye(3), min(1, len(levels) - 1))]
    agreement, matrix = -1.0, np.eye(3)
    for start, coarsest in starts:
        found = start
        for index in range(coarsest, -1, -1):
            to_full = _whole(levels[index])
            to_level = np.linalg.inv(to_full)
            found = to_full @ _refine(*pairs[index], to_level @ found @ to_full) @ to_level
        found_agreement = _agreement(fixed, moving, found)
        if found_agreement > agreement + 1e-6:
            agreement, matrix = found_agreement, found
        if agreement > SETTLED:
            break
    to_whole = _whole(1 / by)
    whole = to_whole @ matrix @ np.linalg.inv(to_whole)
    return Alignment(whole[:2], agreement, width * by, height * by)


def _whole(level: float) -> Matrix:
    """From pixels of a picture at `level` of the size to those of the whole one."""
    return np.array([[1 / level, 0, (1 / level - 1) / 2], [0, 1 / level, (1 / level - 1) / 2], [0, 0, 1.0]])


def structure(planes: Planes, luminance: NDArray[np.float64]) -> Plane:
    """The fine structure of planes (3, height, width), about −3…3, whatever the light and its contrast."""
    import cv2

    red, green, blue = (np.float32(part) for part in luminance)
    light = red * planes[0] + green * planes[1] + blue * planes[2]
    light = np.log(np.maximum(light, 0) + np.float32(DARK))
    fine = light - cv2.GaussianBlur(light, (0, 0), AROUND)
    contrast = cv2.GaussianBlur(fine * fine, (0, 0), AROUND)
    return np.asarray(fine / np.sqrt(contrast + np.float32(LEAST_CONTRAST**2)), np.float32)


def _at(plane: Plane, level: float) -> Plane:
    import cv2

    if level == 1:
        return np.asarray(cv2.GaussianBlur(plane, (0, 0), 0.7), np.float32)
    size = (round(plane.shape[1] * level), round(plane.shape[0] * level))
    smooth = cv2.GaussianBlur(plane, (0, 0), 0.5 / level)
    matrix = np.array([[1 / level, 0, (1 / level - 1) / 2], [0, 1 / level, (1 / level - 1) / 2]])
    smaller = cv2.warpAffine(
        smooth, matrix, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(smaller, np.float32)


def _first_guess(first: Plane, second: Plane) -> Matrix:
    """A whole shift, from the phase of the two spectra; none where that is not sure of itself."""
    import cv2

    window = cv2.createHanningWindow((first.shape[1], first.shape[0]), cv2.CV_32F)
    (x, y), answer = cv2.phaseCorrelate(first, second, window)
    guess = np.eye(3)
    if answer > 0.1 and math.hypot(x, y) < 0.2 * min(first.shape):
        guess[:2, 2] = x, y
    return guess


def _refine(first: Plane, second: Plane, start: Matrix) -> Matrix:
    """Gauss-Newton on the points of the first picture whose slope says most. 3×3 in, 3×3 out."""
    import cv2

    centre = np.array([(first.shape[1] - 1) / 2, (first.shape[0] - 1) / 2])
    down, across = np.gradient(first)
    border = max(2, round(0.02 * min(first.shape)))
    strength = np.asarray(across**2 + down**2)
    strength[:border] = strength[-border:] = 0
    strength[:, :border] = strength[:, -border:] = 0
    count = min(MOST_POINTS, strength.size // 4)
    chosen = np.sort(np.argpartition(strength.ravel(), -count)[-count:])
    rows, columns = np.divmod(chosen, first.shape[1])
    x, y = columns - centre[0], rows - centre[1]
    gx, gy = across.ravel()[chosen].astype(np.float64), down.ravel()[chosen].astype(np.float64)
    size = max(first.shape) / 2
    # how a value moves with scale, turn (both counted in pixels at the border), and shift
    slopes = np.stack([(gx * x + gy * y) / size, (gy * x - gx * y) / size, gx, gy], axis=1)
    wanted = first.ravel()[chosen]
    homogeneous = np.stack([columns, rows, np.ones_like(rows)]).astype(np.float64)
    matrix = start.copy()
    for _ in range(STEPS):
        at = (matrix @ homogeneous)[:2].astype(np.float32)
        # one row a point would be too long for the sampler
        pad = -len(chosen) % 256
        maps = [np.pad(line, (0, pad)).reshape(-1, 256) for line in at]
        seen = cv2.remap(second, maps[0], maps[1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).ravel()
        off = (seen[: len(chosen)] - wanted).astype(np.float64)
        scale = 1.4826 * float(np.median(np.abs(off))) + 1e-6
        weight = np.maximum(0, 1 - (off / (TUKEY * scale)) ** 2) ** 2
        normal = slopes.T @ (slopes * weight[:, None])
        try:
            step = np.linalg.solve(normal, slopes.T @ (weight * off))
        except np.linalg.LinAlgError:
            break
        grow, turn = step[0] / size, step[1] / size
        part = np.array([[1 + grow, -turn, 0], [turn, 1 + grow, 0], [0, 0, 1.0]])
        move, back = np.eye(3), np.eye(3)
        move[:2, 2], back[:2, 2] = centre, -centre
        shift = np.eye(3)
        shift[:2, 2] = step[2:]
        matrix = matrix @ np.linalg.inv(shift @ move @ part @ back)
        if np.abs(step).max() < 1e-3:
            break
    return matrix


def _agreement(fixed: Plane, moving: Plane, matrix: Matrix) -> float:
    """The median correlation over the pieces of the frame that have structure; 0 where none has."""
    import cv2

    height, width = fixed.shape
    laid = cv2.warpAffine(moving, matrix[:2], (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    first, second = (cv2.GaussianBlur(plane, (0, 0), 1.5) for plane in (fixed, laid))
    found = []
    for rows in np.array_split(np.arange(height), PIECES):
        for columns in np.array_split(np.arange(width), PIECES):
            part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
            one, two = first[part] - first[part].mean(), second[part] - second[part].mean()
            strength = float(np.sqrt((one * one).mean() * (two * two).mean()))
            if strength > LEAST_STRUCTURE**2:
                found.append(float((one * two).mean()) / strength)
    return float(np.median(found)) if found else 0.0
