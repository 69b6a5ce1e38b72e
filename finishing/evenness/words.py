"""What is told of frames' colours and light in a photographer's words: which quantities, their units, their ways."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from finishing.evenness.consistency import SetupConsistency

#: OkLab b of a middle grey that becomes warmer by 1 K of colour temperature: a daylight of 6004 K against one of 6504
#: (derived here from the chromaticities of daylight and Bradford's adaptation).
B_PER_KELVIN = 0.0074 / 500
#: OkLab a, towards green, of a middle grey with 1 % more light in its green channel (derived here).
A_PER_PERCENT = 0.00086


@dataclass(frozen=True)
class Quantity:
    """One thing that frames are compared by. name: of the state's value; title: what is told, in which unit; more,
    less: which way a higher and a lower number goes; scale: of the unit in the state's value; unit: behind a number;
    least: the shortest span that is worth a look; from_middle: whether it counts from the middle of the frames as they
    leave, since there is no other natural beginning."""

    name: str
    title: str
    more: str
    less: str
    scale: float
    unit: str
    least: float
    from_middle: bool = True

    def of(self, setup: SetupConsistency) -> tuple[list[float | None], list[float | None]]:
        """The frames of a set-up as they came and as they leave, in this unit; None where it cannot be told."""
        before, after = setup.values(self.name, False), setup.values(self.name, True)
        start = _middle(after, before) if self.from_middle else 0.0
        return self._told(before, start), self._told(after, start)

    def _told(self, values: Sequence[float | None], start: float) -> list[float | None]:
        return [None if value is None else (value - start) / self.scale + 0.0 for value in values]


def _middle(*sequences: Sequence[float | None]) -> float:
    for values in sequences:
        if known := [value for value in values if value is not None]:
            return median(known)
    return 0.0


_FROM_MIDDLE = "from the middle of the frames as they leave"
#: In the order in which they are looked at. The spans are what is seen at a glance (common practice, no source).
QUANTITIES = (
    Quantity("exposure_stops", "Exposure: stops from the key frame", "brighter", "darker", 1.0, "", 1.0, False),
    Quantity("white_b", f"White: kelvin (about) {_FROM_MIDDLE}", "warmer", "cooler", B_PER_KELVIN, " K", 1500.0),
    Quantity("white_a", f"White: % of green {_FROM_MIDDLE}", "greener", "more magenta", -A_PER_PERCENT, " %", 12.0),
    Quantity("skin_hue_degrees", f"Skin: degrees of hue {_FROM_MIDDLE}", "yellower", "redder", 1.0, "°", 8.0),
)
