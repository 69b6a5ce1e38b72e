"""A photographed 24-patch chart: finding its patches between four corners, and the matrix that mends its colours."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from finishing.errors import Problem
from finishing.evenness.patches import COLUMNS, NEUTRALS, ROWS, published

Matrix = NDArray[np.float64]
Corners = Sequence[tuple[float, float]]

#: The middle part of a patch that is measured, each way: clear of its edge and of the gap beside it.
MIDDLE = 0.4
#: Points measured across a patch, each way.
POINTS = 48
#: A patch has to be so many pixels across.
LEAST_PATCH = 5.0
#: With fewer patches that are not clipped there is nothing sure to fit.
LEAST_PATCHES = 15
#: A patch of which more than this share is clipped is left out.
MOST_CLIPPED = 0.02
#: A fit that leaves more than this mean difference (CIEDE2000) is no chart, or its corners are wrong.
MOST_LEFT = 8.0

CORNERS_REMEDY = (
    "name the outer corners of the four corner patches, clockwise as the photograph shows them, "
    "beginning at the dark skin patch: dark skin, bluish green, black, white"
)


@dataclass(frozen=True, eq=False)
class ChartFit:
    """matrix: 3×3 on linear working light; before, after: CIEDE2000 to the published values, as (mean, largest), of
    the patches used, at the exposure that fits the greys; left_out: numbers of clipped patches, 1…24."""

    matrix: Matrix
    before: tuple[float, float]
    after: tuple[float, float]
    left_out: tuple[int, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        names = ("mean", "largest")
        return {
            "before": dict(zip(names, (round(value, 2) for value in self.before), strict=True)),
            "after": dict(zip(names, (round(value, 2) for value in self.after), strict=True)),
            "patches_left_out": list(self.left_out),
        }


def field_to_frame(corners: Corners, width: int, height: int) -> Matrix:
    """The 3×3 homography from the field of patches (0…6 across, 0…4 down) to pixel indices of the picture."""
    source = [(0.0, 0.0), (float(COLUMNS), 0.0), (float(COLUMNS), float(ROWS)), (0.0, float(ROWS))]
    rows, right = [], []
    for (u, v), (x, y) in zip(source, corners, strict=True):
        px, py = x * width - 0.5, y * height - 0.5
        rows += [[u, v, 1, 0, 0, 0, -u * px, -v * px], [0, 0, 0, u, v, 1, -u * py, -v * py]]
        right += [px, py]
    return np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)


def measure_patches(
    codes: NDArray[Any], tables: NDArray[np.float32], matrix: Matrix | None, corners: Corners
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The mean light of the middle of each patch, (24, 3) linear working light, and its clipped share, (24,).

    codes: (height, width, 3) integers of the file; tables: (3, levels), the linear light of each code; matrix: from
    there to the working space, None where it is the same; corners: fractions of width and height. Raises Problem
    where the patches are too small.
    """
    height, width = codes.shape[:2]
    to_frame = field_to_frame(corners, width, height)
    inside = (np.arange(POINTS) + 0.5) / POINTS * MIDDLE + 0.5 - MIDDLE / 2
    means, clipped = np.empty((24, 3)), np.empty(24)
    last = tables.shape[1] - 1
    for patch in range(24):
        row, column = divmod(patch, COLUMNS)
        u, v = np.meshgrid(column + inside, row + inside)
        at = to_frame @ np.stack([u.ravel(), v.ravel(), np.ones(u.size)])
        across, down = at[:2] / at[2]
        size = min(np.ptp(across), np.ptp(down)) / np.ptp(inside)
        if size < LEAST_PATCH:
            raise Problem(
                "the chart is too small in this frame",
                got=f"patches of about {size:.1f} pixels",
                expected=f"patches of {LEAST_PATCH:.0f} pixels or more",
                remedy="photograph it nearer, or check the corners",
            )
        x, y = (np.rint(part).astype(np.int64) for part in (across, down))
        found = codes[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
        light = np.stack([tables[channel, found[:, channel]] for channel in range(3)], axis=-1).astype(np.float64)
        means[patch] = light.mean(axis=0) if matrix is None else matrix @ light.mean(axis=0)
        clipped[patch] = (found >= last).any(axis=1).mean()
    return means, clipped


def fit_chart(means: NDArray[np.float64], clipped: NDArray[np.float64]) -> ChartFit:
    """The 3×3 that brings measured patches nearest to the published ones in linear light, by weighted least squares.

    means: (24, 3) linear working light; clipped: share of each patch that was. The measured light is first scaled so
    that its greys have the published luminance: the matrix mends colour and leaves the exposure alone. A patch's
    weight is 1/(Y + 0.05), since differences count by their share of the light, not by their size. Raises Problem
    where too many patches are clipped, or what is left says that this is no chart.
    """
    usable = (clipped <= MOST_CLIPPED) & (luminance(means) > 0)
    greys = np.flatnonzero(usable[NEUTRALS]) + NEUTRALS.start
    if usable.sum() < LEAST_PATCHES or len(greys) < 3:
        raise Problem(
            "too much of the chart is clipped",
            got=f"{24 - int(usable.sum())} of 24 patches",
            expected=f"at least {LEAST_PATCHES} patches, 3 greys among them, below white",
            remedy="use a frame with less exposure",
        )
    target = published()
    best = _fit(means, target, usable, greys)
    if best.after[0] > MOST_LEFT:
        raise _no_chart(means, usable, best)
    return best


def _fit(means: NDArray[np.float64], target: NDArray[np.float64], usable: NDArray[np.bool_], greys: Any) -> ChartFit:
    lights = luminance(target[greys])
    own = luminance(means[greys])
    scaled = means * float(lights @ own / (own @ own))
    weights = 1 / (luminance(target[usable]) + 0.05)
    solved, *_ = np.linalg.lstsq(scaled[usable] * weights[:, None], target[usable] * weights[:, None], rcond=None)
    matrix = np.asarray(solved.T, np.float64)
    wanted = linear_to_lab(target[usable])
    before = ciede2000(linear_to_lab(scaled[usable]), wanted)
    after = ciede2000(linear_to_lab(scaled[usable] @ matrix.T), wanted)
    left_out = tuple(int(index) + 1 for index in np.flatnonzero(~usable))
    return ChartFit(matrix, _mean_and_largest(before), _mean_and_largest(after), left_out)


def _mean_and_largest(differences: NDArray[np.float64]) -> tuple[float, float]:
    return float(differences.mean()), float(differences.max())


def _no_chart(means: NDArray[np.float64], usable: NDArray[np.bool_], fit: ChartFit) -> Problem:
    """Why a fit came to nothing: corners that begin at another patch, where the chart fits when it is turned."""
    grid = np.arange(24).reshape(ROWS, COLUMNS)
    turned = {"turned by half": grid[::-1, ::-1], "mirrored": grid[:, ::-1], "upside down": grid[::-1]}
    for how, order in turned.items():
        moved = order.ravel()
        greys = np.flatnonzero(usable[moved][NEUTRALS]) + NEUTRALS.start
        if len(greys) >= 3 and _fit(means[moved], published(), usable[moved], greys).after[0] < MOST_LEFT:
            return Problem(f"the chart lies {how} between these corners", remedy=CORNERS_REMEDY)
    return Problem(
        "there is no 24-patch chart between these corners",
        got=f"a mean difference of {fit.after[0]:.1f} (CIEDE2000) to the published patches after the best fit",
        expected=f"{MOST_LEFT:.0f} or less",
        remedy=CORNERS_REMEDY,
    )
