"""The drawn world as flat tables, as the compiled kernels want it.

Axes: x to the right of a camera that looks along +z, y up, z away from the camera; metres. The subject stands
at the origin, the ground is y = 0.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Table = NDArray[np.float64]
Crowns = NDArray[np.uint8]

# Materials. The numbers stand in the material map that tests read.
SKY, GRASS, LEAF, BARK, SKIN, COAT, HAIR, STRAW, WOOD, STONE = range(10)
WHITE_CLOTH, TROUSERS, QUINCE, GREY_CARD, RIBBON, PAINT, LEATHER, APPLE, HILL, BUTTON = range(10, 20)
ENAMEL = 20

# Kinds of shapes (column 0 of `shapes`).
ROUND_CONE, ELLIPSOID, BOX, DISC, HAT, WALL, RING, BOWL = range(8)

# Columns of `shapes`: kind, a (3), b or half sizes (3), radius, second radius, blend, rotation (9), tag.
SHAPE_COLUMNS = 20
# Columns of `groups`: first shape, last + 1, bound (x, y, z, radius), material, relief kind, relief strength,
# origin (3), axis (3), hem height, colour (3), pixel texture size.
GROUP_COLUMNS = 20
# Columns of `trees`: x, z, trunk radius, fork height, crown centre (3), crown radii (3), seed, leaf size, leaf
# share, layer (0 background, 1 with the subject), fruit share, turn in radians.
TREE_COLUMNS = 16
# Columns of `heads`: centre (3), aim (3), half axis u (3), half axis v (3), round?, parts each way,
# candela-seconds (3), beam exponent.
HEAD_COLUMNS = 18


class Scene(NamedTuple):
    """All a kernel needs to know of one frame.

    shapes, groups, trees, heads: tables, columns as above. crowns: shared lattices
    of leaves, see `vegetation.fill_crowns`. sky: harmonics of the sky's irradiance, (9, 3).
    air: numbers of the sky and the air, see `sky.air_table`. eye: camera, see `camera.eye_table`.
    """

    shapes: Table
    groups: Table
    trees: Table
    heads: Table
    crowns: Crowns
    sky: Table
    air: Table
    eye: Table
