"""Exposure values: aperture, time, sensitivity and brightness on one scale of stops.

The additive system of photographic exposure (APEX: ASA PH2.5-1960; EXIF 2.32, annex C) writes

    Ev = Av + Tv = Bv + Sv,   Av = 2 log2 N,   Tv = -log2 t,   Sv = log2(S / 3.125),

with N the f-number, t the time in seconds and S the ISO speed, so that Sv(ISO 100) = 5. One step of
any of them is one stop. See also S. F. Ray, "Scientific Photography and Applied Imaging" (1999).

Everything here takes numbers as they are. What is printed on a camera is rounded (f/11 is 2^3.5 = 11.31):
`finishing.exposure.series` puts the exact value behind the printed one.
"""

import math
from dataclasses import dataclass

#: Calibration constant of reflected-light meters, cd s / (m2 ISO): ISO 2720 allows 10.6 to 13.4; 12.5 is
#: common.
METER_CONSTANT = 12.5

#: APEX: Sv = log2(S / 3.125), which makes Sv(ISO 100) = 5.
_SPEED_AT_ZERO = 3.125


def _above_zero(name: str, value: float) -> float:
    if not (value > 0 and math.isfinite(value)):
        raise ValueError(f"{name} must be above 0 and finite, not {value}")
    return value


@dataclass(frozen=True)
class Exposure:
    """What is set on a camera. f_number: N; seconds: shutter time; iso: ISO speed; all above 0.

    Raises ValueError for values that are not.
    """

    f_number: float
    seconds: float
    iso: float = 100.0

    def __post_init__(self) -> None:
        _above_zero("the f-number", self.f_number)
        _above_zero("the shutter time", self.seconds)
        _above_zero("the ISO speed", self.iso)

    @property
    def ev100(self) -> float:
        """The exposure value that does the same at ISO 100."""
        return exposure_value_100(self.f_number, self.seconds, self.iso)


def aperture_value(f_number: float) -> float:
    """APEX Av = 2 log2 N, in stops; f/1 is 0, f/8 is 6. Raises ValueError unless N > 0."""
    return 2 * math.log2(_above_zero("the f-number", f_number))


def time_value(seconds: float) -> float:
    """APEX Tv = -log2 t, in stops; 1 s is 0, 1/2 s is 1. Raises ValueError unless t > 0."""
    return -math.log2(_above_zero("the shutter time", seconds))


def speed_value(iso: float) -> float:
    """APEX Sv = log2(S / 3.125), in stops; ISO 100 is 5. Raises ValueError unless S > 0."""
    return math.log2(_above_zero("the ISO speed", iso) / _SPEED_AT_ZERO)


def exposure_value(f_number: float, seconds: float) -> float:
    """Ev = log2(N^2 / t), in stops (APEX). The higher, the less light is let in.

    >>> round(exposure_value(16, 1 / 125), 3)
    14.966
    """
    return aperture_value(f_number) + time_value(seconds)


def exposure_value_100(f_number: float, seconds: float, iso: float) -> float:
    """The exposure value at ISO 100 that renders the same scene alike: Ev - log2(S / 100), in stops."""
    return exposure_value(f_number, seconds) - math.log2(_above_zero("the ISO speed", iso) / 100)


def luminance(ev100: float) -> float:
    """Scene luminance in cd/m2 that a reflected-light meter answers with this EV at ISO 100.

    L = 2^EV K / 100 with K = 12.5 (ISO 2720): EV 0 is 0.125 cd/m2, EV 15 is 4096 cd/m2.
    """
    return float(2.0**ev100 * METER_CONSTANT / 100)


def difference_in_stops(planned: Exposure, actual: Exposure) -> float:
    """The plan's exposure less the camera's, in stops of light let in, sensitivity counted.

    Positive where the plan lets in more light than the camera did: the frame is that many stops darker
    than planned, and +difference is the correction that brings it to the plan. In exposure values, where
    more is less light, it is EV100(actual) - EV100(planned).
    """
    return actual.ev100 - planned.ev100
