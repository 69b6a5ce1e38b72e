"""More or less light, as if the shutter had been open longer or shorter."""

from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from finishing.compiled import compiled, singles
from finishing.documents.fields import number
from finishing.kernel import Kernel, PixelKernel
from finishing.operation import Domain, Geometry, Operation, Pixels, parameter


class Exposure(Operation):
    """Multiplies linear light by 2^stops.

    One stop more is twice the light (the definition of the exposure step in ISO 2720 and in APEX). Nothing
    is clamped: what goes above white stays there for a later step to bring back.
    """

    name: ClassVar[str] = "exposure"
    summary: ClassVar[str] = "Lightens or darkens the whole frame in stops."
    neutral: ClassVar[dict[str, Any]] = {"stops": 0.0}
    example: ClassVar[str] = "exposure: {stops: 0.3}"

    stops: Annotated[float, number(-10, 10, "stops", example="0.3")] = parameter("how much lighter (+) or darker (−)")

    @property
    def domain(self) -> Domain:
        return Domain.LINEAR

    @property
    def per_channel(self) -> bool:
        return True

    @property
    def matrix(self) -> NDArray[np.float64]:
        return np.eye(3) * 2.0**self.stops

    def changes_nothing(self) -> bool:
        return bool(self.stops == 0)

    def prepare(self, geometry: Geometry) -> Kernel:
        (gain,) = singles(2.0**self.stops)
        return PixelKernel(multiply, gain)

    def reference(self, pixels: Pixels, geometry: Geometry) -> Pixels:
        return pixels * 2.0**self.stops


@compiled
def multiply(planes: Any, gain: Any) -> None:
    """Every value times gain."""
    for channel in range(planes.shape[0]):
        for row in range(planes.shape[1]):
            line = planes[channel, row]
            for x in range(planes.shape[2]):
                line[x] = line[x] * gain
