"""How alike the frames of a set-up are, in a photographer's words: stops, warmth in kelvin, green or magenta, skin."""

from collections.abc import Sequence

from finishing.errors import Problem
from finishing.evenness.consistency import SetupConsistency
from finishing.evenness.words import A_PER_PERCENT, B_PER_KELVIN
from finishing.sessions.session import Session
from finishing.units import format_number

#: What cannot be seen is not told: below these, frames count as within them.
LEAST_STOPS, LEAST_KELVIN, LEAST_PERCENT, LEAST_DEGREES = 0.05, 50.0, 1.0, 0.5
#: Skin whose hue lies further apart than before by more degrees of OkLCh is told: less is hardly seen on skin (common
#: practice, no source).
MOST_SKIN_WORSE = 2.0


def consistency_line(setup: SetupConsistency) -> str | None:
    """set-up A: 14 frames within 0.1 stop (before 1.3 stops), 50 K of warmth (700 K) and 1° of skin hue (3°)

    What counts is how far the two frames lie apart that are least alike. None for a single frame, which has nothing to
    be like.
    """
    if len(setup.frames) < 2:
        return None
    named = "all frames" if setup.setup is None else f"set-up {setup.setup}"
    parts: list[str] = []
    lacking = 0
    for name, (came, leaves) in setup.spreads().items():
        if came.span is None or leaves.span is None or leaves.count < 2:
            continue
        if name == "exposure_stops":
            lacking = len(setup.frames) - leaves.count
        if name == "white_a" and max(came.span, leaves.span) < LEAST_PERCENT * A_PER_PERCENT:
            continue
        (after, unit), (before, other) = _words(name, leaves.span), _words(name, came.span)
        if not parts:
            before = f"before {before}"
        parts.append(f"{after}{unit} ({before}{other.partition(' of ')[0]})")
    if not parts:
        return f"{named}: {len(setup.frames)} frames, too few of them can be measured to tell how alike they are"
    line = f"{named}: {len(setup.frames)} frames within {_listed(parts)}"
    return line + (f"; {lacking} of them not measured" if lacking else "")


def _words(name: str, span: float) -> tuple[str, str]:
    """A span as a number and its unit."""
    if name == "exposure_stops":
        number = format_number(max(span, LEAST_STOPS), 1 if span >= 0.1 else 2)
        return number, " stop" if float(number) <= 1 else " stops"
    if name == "white_b":
        return format_number(max(round(span / B_PER_KELVIN / 50) * 50, LEAST_KELVIN), 0), " K of warmth"
    if name == "white_a":
        return format_number(max(span / A_PER_PERCENT, LEAST_PERCENT), 0), " % of green or magenta"
    return format_number(max(span, LEAST_DEGREES), 1), "° of skin hue"


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + f" and {parts[-1]}"


def skin_less_alike(session: Session, consistency: Sequence[SetupConsistency]) -> list[Problem]:
    """A warning for each set-up whose skin differs more after evening out than before: what was measured was coloured
    by itself, not by the light."""
    white, found = session.value.match.white_balance, []
    remedy = "measure a region without the coat, or use a grey card"
    if white is not None and white.to is None:
        remedy = "see that the box lies on the card, and that the card, chart or kelvin is of this light"
    for setup in consistency:
        before, after = setup.spreads()["skin_hue_degrees"]
        if before.span is None or after.span is None or after.span - before.span <= MOST_SKIN_WORSE:
            continue
        named = "" if setup.setup is None else f" of set-up {setup.setup}"
        degrees = [format_number(span, 1) for span in (after.span, before.span)]
        found.append(
            session.document.problem(
                f"evening out made the skin{named} less alike",
                "match",
                "white_balance",
                got=f"{degrees[0]}° of skin hue between its frames, before {degrees[1]}°",
                remedy=remedy,
            )
        )
    return found
