"""Whether what stands in a grey card's box can be a grey at all: its colour must be that of some light."""

from finishing.colour.white import nearest_light
from finishing.evenness.reading import Reading
from finishing.units import format_number

#: Colour temperatures, in kelvin, of the lights that pictures are taken in: from candles to blue shade (common
#: practice, no source).
COLDEST, WARMEST = 20000.0, 2000.0
#: The farthest that a lamp lies from the locus of daylights and glowing bodies, in CIE 1960 u, v (common practice, no
#: source; CIE 15 gives no correlated colour temperature to what lies beyond 0.05).
FARTHEST = 0.03
#: A card's shares of red, green and blue are the same all over it: their standard deviation over their mean is noise.
MOST_UNEVEN = 0.3


def not_grey(reading: Reading) -> str:
    """Why what was measured is no grey card, in words; empty where it may be one."""
    kelvin, away = nearest_light(reading.mean())
    if away > FARTHEST:
        return f"a colour {format_number(away, 3)} off that of any daylight or lamp (u, v)"
    if kelvin >= COLDEST:
        return f"a colour bluer than light of {format_number(COLDEST, 0)} K"
    if kelvin <= WARMEST:
        return f"a colour redder than light of {format_number(WARMEST, 0)} K"
    shares = reading.pixels / reading.pixels.sum(axis=1, keepdims=True)
    uneven = float((shares.std(axis=0) / shares.mean(axis=0)).max())
    return f"colours that differ by {uneven:.0%} within the box" if uneven > MOST_UNEVEN else ""
