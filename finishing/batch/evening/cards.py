"""The neutral white of a session: from grey cards, from charts, or from kelvin."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from finishing.batch.evening.card_colour import not_grey
from finishing.batch.evening.light_of_frames import REMEMBERED, linear_light, thinned
from finishing.batch.evening.measured import Measurements, pack, unpack
from finishing.colour.adaptation import white_xyz
from finishing.colour.white import chromaticity, neutralising_matrix
from finishing.errors import Problem, ProblemSet
from finishing.evenness.reading import EMPTY, Reading, read_light
from finishing.evenness.white import neutral_of_grey
from finishing.operation import Geometry
from finishing.photographs.reading import read_photograph, read_reduced
from finishing.regions.box import Box
from finishing.sessions.evening import ALL, Chart, GreyCard, card_path
from finishing.sessions.folder import FramePath
from finishing.sessions.session import Session
from finishing.units import format_number

if TYPE_CHECKING:
    from finishing.evenness.chart import ChartFit

Matrix = NDArray[np.float64]

#: Long edge in pixels of the picture that a grey card is measured on.
CARD_EDGE = 1600
#: More of a grey card than this clipped or too dark spoils it.
MOST_UNUSABLE = 0.1
#: Tones of a grey card lie within so many stops (middle eight tenths): more, and the box takes in something else.
EVEN_CARD = 0.7


@dataclass
class Neutral:
    """matrices, words: by set-up, or ALL: what makes its light neutral, and how that was found."""

    matrices: dict[str, Matrix] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    charts: "dict[str, ChartFit]" = field(default_factory=dict)
    warnings: list[Problem] = field(default_factory=list)

    def of(self, setup: str | None) -> Matrix | None:
        """The matrix of a set-up's frames (None: frames of no set-up), None where they have none."""
        return self.matrices.get(setup or ALL, self.matrices.get(ALL))

    def words_of(self, setup: str | None) -> str:
        """How it was found."""
        return self.words.get(setup or ALL, self.words.get(ALL, ""))


def neutral_whites(
    session: Session,
    moved: Mapping[str, Matrix | None],
    setup_of: Mapping[str, str],
    setups: Sequence[str | None],
    measurements: Measurements,
) -> Neutral:
    """Measure what the session names as neutral. moved: what was done already to bring frames to a key frame's white,
    by frame, which the frame with the card has had as well; measurements: what is known. Raises ProblemSet."""
    white = session.value.match.white_balance
    result = Neutral()
    if white is None:
        return result
    if white.kelvin is not None:
        light = white_xyz(chromaticity(white.kelvin))
        result.matrices[ALL] = neutralising_matrix(light)
        result.words[ALL] = f"light of {format_number(white.kelvin, 0)} K"
        return result
    frames = {frame.name: frame for frame in session.frames}
    problems: list[Problem] = []
    for setup, card in white.cards().items():
        kind = "grey_card" if isinstance(card, GreyCard) else "chart"
        at = card_path(session.document, kind, setup)
        first = moved.get(card.frame)
        try:
            if isinstance(card, Chart):
                fit = _chart(card, frames[card.frame], first, f"chart of {setup}", measurements)
                matrix, result.charts[setup] = fit.matrix, fit
            else:
                reading = _card(card, frames[card.frame], f"card of {setup}", measurements)
                grey = reading.mean()
                matrix = neutral_of_grey(grey if first is None else first @ grey)
                if float(np.ptp(reading.at(np.array([0.1, 0.9])))) > EVEN_CARD:
                    result.warnings.append(_uneven(session, *at, "box"))
                if why := not_grey(reading):
                    result.warnings.append(_no_card(session, card.frame, why, *at, "box"))
        except Problem as problem:
            side = "corners" if isinstance(card, Chart) else "box"
            problems.append(problem.at(session.document.place(*at, side)))
            continue
        result.matrices[setup] = matrix
        result.words[setup] = f"{'24-patch chart' if kind == 'chart' else 'grey card'} in {card.frame}"
        if setup == ALL:
            result.warnings += _for_all(session, card.frame, setup_of, setups, *at, "frame")
    if problems:
        raise ProblemSet(problems)
    return result


def _card(card: GreyCard, frame: FramePath, what: str, measurements: Measurements) -> Reading:
    """The light of a grey card. Raises Problem where it cannot be relied on."""

    def measure() -> Reading:
        photograph = read_reduced(frame.path, CARD_EDGE)
        planes, clipped = linear_light(photograph, CARD_EDGE)
        region = Box(sides=card.box, soft=0)
        return thinned(read_light(planes, clipped, region, Geometry(planes.shape[2], planes.shape[1])))

    asked = {"edge": CARD_EDGE, "kept": REMEMBERED, "box": card.box}
    reading = measurements.find(frame, what, asked, measure, lambda found: pack({}, found), _reading)
    remedy = "draw the box inside of the card, or use a frame in which the card is neither clipped nor nearly black"
    if reading.area == 0 or not len(reading.pixels):
        empty = reading.area == 0
        raise Problem("the grey card cannot be measured", got=EMPTY if empty else reading.unsafe, remedy=remedy)
    if reading.usable < 1 - MOST_UNUSABLE:
        got = f"{reading.clipped:.0%} of the box is clipped, {reading.dark:.0%} too dark"
        raise Problem("the grey card cannot be measured", got=got, remedy=remedy)
    return reading


def _reading(data: bytes) -> Reading:
    (reading,) = unpack(data)[1]
    assert isinstance(reading, Reading)
    return reading


def _chart(card: Chart, frame: FramePath, first: Matrix | None, what: str, measurements: Measurements) -> "ChartFit":
    """The fit of a chart. Raises Problem."""
    from finishing.evenness.chart import fit_chart, measure_patches

    def measure() -> tuple[Matrix, Matrix]:
        photograph = read_photograph(frame.path)
        encoding = photograph.encoding
        return measure_patches(photograph.codes, encoding.tables, encoding.matrix, card.corners)

    def packed(found: tuple[Matrix, Matrix]) -> bytes:
        return pack({"means": found[0].tolist(), "clipped": found[1].tolist()})

    def unpacked(data: bytes) -> tuple[Matrix, Matrix]:
        told, _ = unpack(data)
        return np.array(told["means"]), np.array(told["clipped"])

    means, clipped = measurements.find(frame, what, {"corners": card.corners}, measure, packed, unpacked)
    return fit_chart(means if first is None else means @ first.T, clipped)


def _uneven(session: Session, *at: str) -> Problem:
    return session.document.problem(
        "the box of the grey card takes in light and dark tones",
        *at,
        got=None,
        expected="one even grey",
        remedy="draw the box inside of the card, clear of its edge and of shadows",
    )


def _no_card(session: Session, frame: str, why: str, *at: str) -> Problem:
    return session.document.problem(
        f"what stands in the grey card's box of {frame} is not grey under any daylight or lamp: "
        "is the box on the card?",
        *at,
        got=why,
        remedy="draw the box inside of the card: left, top, right and bottom in fractions of width and height",
    )


def _for_all(
    session: Session, frame: str, setup_of: Mapping[str, str], setups: Sequence[str | None], *at: str
) -> list[Problem]:
    """A warning where one card stands for set-ups that it was not photographed in."""
    own = setup_of.get(frame)
    others = [setup for setup in setups if setup is not None and setup != own]
    if own is None or not others:
        return []
    several = "s" if len(others) > 1 else ""
    what = f"{frame} is of set-up {own}; its white is used for set-up{several} {', '.join(others)} as well"
    remedy = f"where the light differed, give each set-up its own: {{{own}: {{frame: {frame}, …}}, {others[0]}: …}}"
    return [session.document.problem(what, *at, got=None, remedy=remedy)]
