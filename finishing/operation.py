"""The contract of an operation: what it declares about itself, and the two ways it can be carried out.

An operation is one law that changes pixels. Its class declares its parameters once (unit, range, default,
what each does); the reader of recipes, the reference pages, the JSON Schema and the tests over the whole
catalogue all work from that. Its instance states facts (does it change anything, how far does it reach, in
which domain does it work) and the engine plans from those facts without ever looking at a pixel.
"""

from abc import abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from finishing.documents.fields import Words
from finishing.documents.models import words_of
from finishing.documents.reading import Model
from finishing.kernel import AroundKernel, Kernel
from finishing.overview import Overview

#: Rows as the engine holds them: float32 (3, rows, width).
Planes = NDArray[np.float32]
#: A frame as the reference holds it: float64 (height, width, 3).
Pixels = NDArray[np.float64]
#: First column, first row, column after the last, row after the last.
Rectangle = tuple[int, int, int, int]


class Domain(Enum):
    """What the three numbers of a pixel mean while an operation works."""

    LINEAR = "linear light"
    ENCODED = "sRGB-encoded"
    OKLAB = "OkLab"


class Reach(Enum):
    """What an operation looks at to make one pixel."""

    PIXEL = "the pixel"
    PLACE = "the pixel and its place"
    NEIGHBOURHOOD = "the pixels around"
    FRAME = "the whole frame"


@dataclass(frozen=True)
class Geometry:
    """The frame a recipe is carried out on.

    width, height: in pixels of the picture at hand, upright. subject: the point [x, y] that the session
    names, in fractions of width and height. scale: pixels of this picture to one of the full-size frame
    (below 1 for previews), so that a length in pixels of the full frame means the same everywhere. masks: the
    frame's masks by name, float32 (height, width) of any size, 0…1; they do not count when geometries are compared.
    overview: there only while an operation prepares whose reach is the whole frame: the frame as it is when the step
    begins, in the operation's domain, as the operation gathers and reduces it.
    """

    width: int
    height: int
    subject: tuple[float, float] | None = None
    scale: float = 1.0
    masks: Mapping[str, NDArray[np.float32]] = field(default_factory=dict, compare=False, repr=False)
    overview: Overview | None = field(default=None, compare=False, repr=False)

    def resized(self, width: int, height: int) -> "Geometry":
        """The same frame at another size."""
        return replace(self, width=width, height=height, scale=self.scale * width / self.width, overview=None)

    @property
    def short_side(self) -> int:
        """The shorter of width and height, the measure of every soft edge and radius."""
        return min(self.width, self.height)


class Operation(Model):
    """Base of every operation; the fields of a subclass are its parameters."""

    name: ClassVar[str]
    #: One sentence for lists.
    summary: ClassVar[str]
    #: Parameters under which the operation changes nothing, bit for bit, whatever the others are.
    neutral: ClassVar[dict[str, Any]]
    #: A step as it stands in a recipe.
    example: ClassVar[str]
    reach: ClassVar[Reach] = Reach.PIXEL
    keys_beside: ClassVar[tuple[str, ...]] = ("where",)

    @property
    @abstractmethod
    def domain(self) -> Domain:
        """What it works on."""

    @abstractmethod
    def changes_nothing(self) -> bool:
        """Whether these parameters leave every pixel as it is."""

    @property
    def per_channel(self) -> bool:
        """Whether each channel comes out of the same channel alone, so that it can be worked into a table."""
        return False

    @property
    def matrix(self) -> NDArray[np.float64] | None:
        """The 3×3 that it multiplies the three numbers of every pixel by, where it does nothing else: it can then be
        worked into a conversion beside it."""
        return None

    def picture(self, geometry: Geometry) -> Rectangle | None:
        """What of the frame is still picture after it, where it paints paper round it; None: all of it."""
        return None

    def radius(self, geometry: Geometry) -> int:
        """How many pixels around it looks at; 0 unless the reach is a neighbourhood."""
        return 0

    def reduction(self, geometry: Geometry) -> int:
        """For a reach over the frame: by how much the frame may be reduced, each way, for the overview it needs."""
        return 1

    def gather(self, geometry: Geometry) -> Kernel | None:
        """For a reach over the frame: what of each pixel goes into the overview, in place; None where all of it does.

        It is done at full size, before the frame is reduced, so that a level holds for pixels and not for means.
        """
        return None

    @abstractmethod
    def prepare(self, geometry: Geometry) -> Kernel | AroundKernel:
        """The compiled way: everything that depends on parameters and frame worked out, ready for strips."""

    @abstractmethod
    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        """The plain way, as the law reads: float64 (height, width, 3) of the whole frame in, a new array out."""


@dataclass(frozen=True)
class ParameterFacts:
    """One parameter as the reference shows it."""

    name: str
    about: str
    expected: str
    unit: str
    default: Any
    required: bool
    neutral: Any
    low: float | None
    high: float | None
    choices: tuple[str, ...]


def parameter(about: str, default: Any = ..., *, beside_another: bool = False) -> Any:
    """A parameter's declaration: what it does, and its default unless it must be given. beside_another: whether its
    default may not go with what another parameter is given, so that it is checked as well."""
    return Field(default, description=about, validate_default=beside_another or None)


def parameters_of(kind: type[Model]) -> list[ParameterFacts]:
    """The parameters of an operation, a region or a check, in the order of their declaration."""
    facts = []
    neutral: dict[str, Any] = getattr(kind, "neutral", {})
    for name, info in kind.model_fields.items():
        words = words_of(info) or Words("a value", "")
        facts.append(
            ParameterFacts(
                name=name,
                about=info.description or "",
                expected=words.expected,
                unit=words.unit,
                default=None if info.is_required() else info.default,
                required=info.is_required(),
                neutral=neutral.get(name),
                low=words.low,
                high=words.high,
                choices=words.choices,
            )
        )
    return facts
