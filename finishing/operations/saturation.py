"""More or less colour, all hues alike."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import compiled, singles
from finishing.documents.fields import number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


class Saturation(Operation):
    """Multiplies OkLCh chroma; lightness and hue stay as they are.

    At 0 every pixel becomes the grey of its own OkLab lightness, at 1 nothing changes.
    """

    name: ClassVar[str] = "saturation"
    summary: ClassVar[str] = "Strengthens or weakens all colours alike."
    neutral: ClassVar[dict[str, Any]] = {"amount": 1.0}
    example: ClassVar[str] = "saturation: {amount: 0.8}"

    amount: Annotated[float, number(0, 4, example="0.8")] = parameter(
        "what chroma is multiplied by: 0 grey, 1 unchanged"
    )

    @property
    def domain(self) -> Domain:
        return Domain.OKLAB

    @property
    def matrix(self) -> NDArray[np.float64]:
        return np.diag([1.0, self.amount, self.amount])

    def changes_nothing(self) -> bool:
        return bool(self.amount == 1)

    def prepare(self, geometry: Geometry) -> Kernel:
        (amount,) = singles(self.amount)
        return PixelKernel(scale_chroma, amount)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        return pixels * np.array([1.0, self.amount, self.amount])


@compiled
def scale_chroma(planes: Any, amount: Any) -> None:
    """a and b times amount."""
    for channel in range(1, 3):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                line[x] = line[x] * amount
