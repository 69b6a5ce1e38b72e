"""The rounded numbers printed on cameras, and the exact ones behind them.

Apertures, times and sensitivities are set in thirds (or halves) of a stop: exact f-numbers are 2^(k/6),
exact times 2^(k/3) s, exact sensitivities 100 x 2^(k/3), for whole k. What is printed is rounded by custom
(f/11 stands for 11.31, 1/125 for 1/128; ISO 2720 and ISO 517 list the rounded numbers), by up to 0.1 stop.
Arithmetic on the rounded numbers gathers these errors: f/16 at 1/125 comes out at EV 14.966. So a number that
is one of the printed ones is taken for the exact one behind it, and any other number (a flash meter's f/9.8)
for itself.
"""

import math

from finishing.exposure.values import Exposure


def _printed(names: str) -> tuple[str, ...]:
    return tuple(names.split())


_TIMES_IN_THIRDS = _printed(
    "1/32000 1/25000 1/20000 1/16000 1/12500 1/10000 1/8000 1/6400 1/5000 1/4000 1/3200 1/2500 1/2000 1/1600 "
    "1/1250 1/1000 1/800 1/640 1/500 1/400 1/320 1/250 1/200 1/160 1/125 1/100 1/80 1/60 1/50 1/40 1/30 1/25 "
    "1/20 1/15 1/13 1/10 1/8 1/6 1/5 1/4 0.3 0.4 0.5 0.6 0.8 1 1.3 1.6 2 2.5 3.2 4 5 6 8 10 13 15 20 25 30 "
    "40 50 60 80 100 120 160 200 240 320 400 480"
)
_SLOWEST_THIRD = 27  # 480 s stands for 2^(27/3) = 512 s; the others follow downward one by one

_NUMBERS_IN_THIRDS = _printed(
    "0.7 0.8 0.9 1 1.1 1.3 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 "
    "25 29 32 36 40 45 51 57 64 72 80 90"
)
_WIDEST_THIRD = -3  # f/0.7 stands for 2^(-3/6)

_SPEEDS_IN_THIRDS = _printed(
    "25 32 40 50 64 80 100 125 160 200 250 320 400 500 640 800 1000 1250 1600 2000 2500 3200 4000 5000 6400 "
    "8000 10000 12800 16000 20000 25600 32000 40000 51200 64000 80000 102400"
)
_SLOWEST_SPEED_THIRD = -6  # ISO 25 is 100 x 2^(-6/3)

# Half stops that no third has the name of (f/13 or 1/20 name both: read as thirds, which most cameras set).
_TIMES_IN_HALVES = {
    "1/6000": -12.5, "1/3000": -11.5, "1/1500": -10.5, "1/750": -9.5, "1/350": -8.5, "1/180": -7.5,
    "1/90": -6.5, "1/45": -5.5, "1/11": -3.5, "0.7": -0.5, "1.5": 0.5, "3": 1.5, "12": 3.5, "24": 4.5,
}  # fmt: skip
_NUMBERS_IN_HALVES = {
    "1.2": 0.5, "1.7": 1.5, "2.4": 2.5, "3.3": 3.5, "3.4": 3.5, "4.8": 4.5, "6.7": 5.5, "9.5": 6.5, "19": 8.5,
    "27": 9.5, "38": 10.5,
}  # fmt: skip

#: A number this near (as a fraction) to a printed or an exact one is that one: EXIF keeps few digits.
_SAME = 0.004


def _value(name: str) -> float:
    over, _, under = name.partition("/")
    return float(over) / float(under or 1)


#: Stops (log2 of the exact time in seconds) of each printed time, slowest last.
_TIME_THIRDS = {name: (_SLOWEST_THIRD - (len(_TIMES_IN_THIRDS) - 1 - i)) / 3 for i, name in enumerate(_TIMES_IN_THIRDS)}
#: Aperture value (2 log2 of the exact f-number) of each printed f-number.
_NUMBER_THIRDS = {name: (_WIDEST_THIRD + i) / 3 for i, name in enumerate(_NUMBERS_IN_THIRDS)}
#: Stops over ISO 100 of each printed sensitivity.
_SPEED_THIRDS = {name: (_SLOWEST_SPEED_THIRD + i) / 3 for i, name in enumerate(_SPEEDS_IN_THIRDS)}


def _exact(value: float, stops_of: dict[str, float], exact_of: dict[str, float]) -> float:
    """The exact value of the printed one that `value` is; value itself where it is none of them."""
    for name in stops_of:
        if math.isclose(value, _value(name), rel_tol=_SAME):
            return exact_of[name]
    return next((e for e in exact_of.values() if math.isclose(value, e, rel_tol=_SAME)), value)


_TIME_STOPS = _TIME_THIRDS | _TIMES_IN_HALVES
_TIME_EXACT = {name: 2.0**stops for name, stops in _TIME_STOPS.items()}
_NUMBER_STOPS = _NUMBER_THIRDS | _NUMBERS_IN_HALVES
_NUMBER_EXACT = {name: 2.0 ** (stops / 2) for name, stops in _NUMBER_STOPS.items()}
_SPEED_EXACT = {name: 100 * 2.0**stops for name, stops in _SPEED_THIRDS.items()}


def exact_shutter(seconds: float) -> float:
    """The time in seconds behind a printed one: 1/125 s is 2^-7 s; a time that is not printed stays."""
    return _exact(seconds, _TIME_STOPS, _TIME_EXACT)


def exact_aperture(f_number: float) -> float:
    """The f-number behind a printed one: f/11 is 2^3.5; an f-number that is not printed stays."""
    return _exact(f_number, _NUMBER_STOPS, _NUMBER_EXACT)


def exact_iso(iso: float) -> float:
    """The sensitivity behind a printed one: ISO 125 is 100 x 2^(1/3); one that is not printed stays."""
    return _exact(iso, _SPEED_THIRDS, _SPEED_EXACT)


def exact_exposure(exposure: Exposure) -> Exposure:
    """All three exact: f/16 at 1/125, ISO 100 has EV 15."""
    return Exposure(exact_aperture(exposure.f_number), exact_shutter(exposure.seconds), exact_iso(exposure.iso))


def _nearest(stops: float, stops_of: dict[str, float], what: str) -> float:
    low, high = min(stops_of.values()), max(stops_of.values())
    if not low - 1 / 3 < stops < high + 1 / 3:
        raise ValueError(f"no {what} is that far out of the series")
    # of two equally near ones the smaller, so that the answer does not hang on rounding
    name = min(stops_of, key=lambda n: (round(abs(stops_of[n] - stops), 6), stops_of[n]))
    return _value(name)


def nearest_shutter(seconds: float) -> float:
    """The nearest time that can be set in thirds of a stop, as printed, in seconds (1/125 is 0.008).

    Nearest in stops, of the exact times. Half stops keep their own name where the time is one (1/90).
    Raises ValueError outside 1/32000 s … 480 s (by more than a third of a stop) and for times not above 0.
    """
    if not seconds > 0:
        raise ValueError("a shutter time is above 0")
    stops = math.log2(exact_shutter(seconds))
    for name, half in _TIMES_IN_HALVES.items():
        if math.isclose(stops, half, abs_tol=1e-6):
            return _value(name)
    return _nearest(stops, _TIME_THIRDS, "shutter time")


def nearest_aperture(f_number: float) -> float:
    """The nearest f-number in thirds of a stop, as printed. Raises ValueError outside f/0.7 … f/90."""
    if not f_number > 0:
        raise ValueError("an f-number is above 0")
    stops = 2 * math.log2(exact_aperture(f_number))
    for name, half in _NUMBERS_IN_HALVES.items():
        if math.isclose(stops, half, abs_tol=1e-6):
            return _value(name)
    return _nearest(stops, _NUMBER_THIRDS, "f-number")


def nearest_iso(iso: float) -> float:
    """The nearest sensitivity in thirds of a stop, as printed. Raises ValueError outside ISO 25 … 102400."""
    if not iso > 0:
        raise ValueError("an ISO speed is above 0")
    return _nearest(math.log2(exact_iso(iso) / 100), _SPEED_THIRDS, "ISO speed")


def shutter_by_stops(seconds: float, stops: float) -> float:
    """The printed time that lets in `stops` more light than a printed time: 1/125 by +1 is 1/60.

    Raises ValueError where no such time is in the series.
    """
    return nearest_shutter(exact_shutter(seconds) * 2.0**stops)


def aperture_by_stops(f_number: float, stops: float) -> float:
    """The printed f-number that lets in `stops` more light: f/8 by -1 is f/11. Raises ValueError."""
    return nearest_aperture(exact_aperture(f_number) * 2.0 ** (-stops / 2))


def iso_by_stops(iso: float, stops: float) -> float:
    """The printed sensitivity `stops` higher: ISO 400 by -2 is ISO 100. Raises ValueError."""
    return nearest_iso(exact_iso(iso) * 2.0**stops)
