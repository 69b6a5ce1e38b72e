"""What a strobe reads at the subject: as it was metered, or as it follows from its power and distance."""

from finishing import units
from finishing.exposure.light import Head, reading_at_power, reading_from_guide_number, strobe_stops
from finishing.sessions.plan import Setup, Strobe

#: A metered reading further than this from the worked-out one is told, in stops. Packs and meters are
#: good to a third of a stop or so (common practice, no source).
TOLERANCE = 0.5

#: The most that a modifier is expected to take from a bare head, in stops (common practice, no source).
MOST_MODIFIER_LOSS = 3.0


def reading_of(strobe: Strobe, setup: Setup) -> float | None:
    """The f-number at the subject at the set-up's ISO; None where the plan does not say enough.

    The metered one counts first, then full-power reading and power, then guide number, distance and power.
    """
    if strobe.reads is not None:
        return float(strobe.reads)
    from_power = _from_full_power(strobe)
    return from_power if from_power is not None else _from_guide_number(strobe, setup)


def heads_of(setup: Setup) -> list[Head]:
    """The heads of a set-up whose reading is known."""
    found = ((strobe, reading_of(strobe, setup)) for strobe in setup.strobes)
    return [Head(s.name, reads, s.position or "") for s, reads in found if reads is not None]


def doubts_about(strobe: Strobe, setup: Setup) -> list[tuple[str, str, str]]:
    """Where the reading does not follow from power and distance: (what, what follows, what to do)."""
    if strobe.reads is None:
        if reading_of(strobe, setup) is not None:
            return []
        what = f'nothing says what strobe "{strobe.name}" gives; it is left out of the sums'
        return [(what, "reads, or full_power_reads and power", "meter it at the subject and add reads: f/8, say")]
    doubts = []
    from_power = _from_full_power(strobe)
    if from_power is not None and abs(strobe_stops(strobe.reads, from_power)) > TOLERANCE:
        doubts.append(_doubt(strobe, from_power, "its reading at full power and its power"))
    bare = _from_guide_number(strobe, setup)
    if bare is not None:
        over = strobe_stops(strobe.reads, bare)
        least = -MOST_MODIFIER_LOSS if strobe.modifier else -TOLERANCE
        if not least <= over <= TOLERANCE:
            doubts.append(_doubt(strobe, bare, "its guide number, distance and power"))
    return doubts


def _doubt(strobe: Strobe, follows: float, origin: str) -> tuple[str, str, str]:
    assert strobe.reads is not None
    reads = units.format_aperture(strobe.reads)
    apart = units.format_stops(strobe_stops(strobe.reads, follows))
    return (
        f'strobe "{strobe.name}" reads {reads}, {apart} stops off what follows',
        f"{units.format_aperture(follows)} from {origin}",
        "meter again, or correct power, distance or reading",
    )


def _from_full_power(strobe: Strobe) -> float | None:
    if strobe.full_power_reads is None or strobe.power is None:
        return None
    return reading_at_power(strobe.full_power_reads, strobe.power)


def _from_guide_number(strobe: Strobe, setup: Setup) -> float | None:
    if strobe.guide_number is None or strobe.distance is None or strobe.power is None or setup.exposure is None:
        return None
    return reading_from_guide_number(strobe.guide_number, strobe.distance, power=strobe.power, iso=setup.exposure.iso)
