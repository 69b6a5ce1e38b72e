"""What a session evens out within its set-ups, as written under `match`, and whether it can be meant."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, WithJsonSchema, model_validator

from finishing.documents import Document
from finishing.documents.fields import Box, Fraction, Text, Words, number, parse_number, scalar
from finishing.documents.names import unknown_name
from finishing.documents.reading import Model
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.sessions.frame_names import unknown_frame

AtMost = Annotated[float, number(0, 10, "stops", example="1.0")]
Kelvin = Annotated[float, number(2000, 25000, "kelvin", example="5600")]

#: Stands for every set-up where one thing is given for all of them; no set-up can have this id.
ALL = "all"

EXPECTED_KEY = "a frame's name, one for each set-up ({A: A-0003, B: B-0007}), or each"


@dataclass(frozen=True)
class KeyFrames:
    """The frames that the others follow. each: in every set-up the one in the middle of those taken; one: a frame,
    for its own set-up alone; by_setup: a frame for each set-up named."""

    each: bool = False
    one: str | None = None
    by_setup: Mapping[str, str] = field(default_factory=dict)

    def places(self) -> list[tuple[str, tuple[str, ...]]]:
        """Each frame named, with the keys that lead to it."""
        if self.one is not None:
            return [(self.one, ())]
        return [(frame, (setup,)) for setup, frame in self.by_setup.items()]


def parse_key_frames(value: object) -> KeyFrames:
    """From what stands behind `to`. Raises ValueError."""
    if isinstance(value, KeyFrames):
        return value
    if value == "each":
        return KeyFrames(each=True)
    if isinstance(value, str) and value.strip():
        return KeyFrames(one=value)
    if isinstance(value, dict) and value and all(isinstance(name, str) and name.strip() for name in value.values()):
        return KeyFrames(by_setup=dict(value))
    raise ValueError(EXPECTED_KEY)


To = Annotated[KeyFrames, scalar(parse_key_frames, EXPECTED_KEY, "A-0003",
    schema={
        "description": EXPECTED_KEY,
        "anyOf": [{"type": "string"}, {"type": "object", "additionalProperties": {"type": "string"}}],
    },
)]  # fmt: skip

EXPECTED_WHERE = "a region as behind `where` in a recipe: {ellipse: [0.5, 0.4, 0.2, 0.3]}"
Where = Annotated[
    Any, WithJsonSchema({"type": ["object", "string"], "description": EXPECTED_WHERE}),
    Words(EXPECTED_WHERE, "{ellipse: [0.5, 0.4, 0.2, 0.3]}"),
]  # fmt: skip


class EvenExposure(Model):
    """Even out the exposure within a set-up.

    to: the frame the others follow; measure: a region, as written, the whole frame unless given; at_most: stops.
    """

    to: To
    measure: Where = None
    at_most: AtMost | None = None


class GreyCard(Model):
    """Where a frame shows a grey card: the box in fractions of the frame."""

    frame: Text
    box: Box


EXPECTED_CORNERS = (
    "four corners [[x, y], [x, y], [x, y], [x, y]] in fractions of the frame, clockwise from the dark skin patch on"
)


def _parse_corners(value: object) -> tuple[tuple[float, float], ...]:
    """Four points, each of two numbers from 0 to 1. Raises ValueError."""
    if not isinstance(value, list | tuple) or len(value) != 4:
        raise ValueError(EXPECTED_CORNERS)
    points = []
    for corner in value:
        if not isinstance(corner, list | tuple) or len(corner) != 2:
            raise ValueError(EXPECTED_CORNERS)
        x, y = (parse_number(part) for part in corner)
        if not (0 <= x <= 1 and 0 <= y <= 1):
            raise ValueError(EXPECTED_CORNERS)
        points.append((x, y))
    return tuple(points)


_POINT_SCHEMA = {"type": "array", "items": {"type": "number", "minimum": 0, "maximum": 1}, "minItems": 2, "maxItems": 2}
Corners = Annotated[
    tuple[tuple[float, float], ...],
    scalar(
        _parse_corners,
        EXPECTED_CORNERS,
        "[[0.42, 0.55], [0.58, 0.55], [0.58, 0.66], [0.42, 0.66]]",
        schema={"type": "array", "items": _POINT_SCHEMA, "minItems": 4, "maxItems": 4},
    ),
]


class Chart(Model):
    """Where a frame shows a 24-patch chart: the outer corners of its four corner patches, clockwise as the photograph
    shows them, beginning at the dark skin patch (then bluish green, black, white)."""

    frame: Text
    corners: Corners


def _for_each(model: type[Model]) -> BeforeValidator:
    """One of a model for every set-up, or one for each: read as a mapping by set-up, ALL where it is one for all."""

    def read(value: object) -> object:
        one = isinstance(value, dict) and any(name in value for name in model.model_fields)
        return {ALL: value} if one else value

    return BeforeValidator(read)


def _one_or_each(model: type[Model]) -> WithJsonSchema:
    own = model.model_json_schema()
    return WithJsonSchema({"anyOf": [own, {"type": "object", "additionalProperties": own}]})


GreyCards = Annotated[dict[str, GreyCard], _for_each(GreyCard), _one_or_each(GreyCard)]
Charts = Annotated[dict[str, Chart], _for_each(Chart), _one_or_each(Chart)]


class EvenWhiteBalance(Model):
    """Make colour neutral, or alike, within a set-up.

    grey_card, chart, kelvin: what tells the neutral white, one of the three (by set-up, or ALL for the session);
    kelvin is the colour of the light as it shows in the frames, 6504 being neutral. to, measure: each frame's white is
    first brought to that of a key frame, by the mean colour of a region (the whole frame unless given). follow: 0 holds
    every frame at the key's white, 1 lets it go with the light and takes out only what departs from its course.
    """

    grey_card: GreyCards | None = None
    chart: Charts | None = None
    kelvin: Kelvin | None = None
    to: To | None = None
    measure: Where = None
    follow: Fraction = 0.0

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        ways = [name for name in ("grey_card", "chart", "kelvin") if getattr(self, name) is not None]
        if len(ways) > 1:
            raise ValueError(f"expected one of grey_card, chart, kelvin; take {' or '.join(ways)} out")
        if not ways and self.to is None:
            raise ValueError("expected what to go by; add grey_card, chart, kelvin, or to: with a key frame")
        if self.to is None and ("measure" in self.model_fields_set or "follow" in self.model_fields_set):
            raise ValueError("expected a key frame for measure and follow; add to: with its name, or take them out")
        return self

    def cards(self) -> dict[str, "GreyCard | Chart"]:
        """The grey cards or charts, by set-up."""
        return dict(self.grey_card or self.chart or {})


class Match(Model):
    """What is evened out within a set-up."""

    exposure: EvenExposure | None = None
    white_balance: EvenWhiteBalance | None = None


def match_problems(
    document: Document[Any], match: Match, frames: Iterable[str], skipped: Iterable[str], setups: Iterable[str] | None
) -> list[Problem]:
    """All that is wrong with `match` as told without a pixel. setups: ids, None without a plan."""
    names, left_out, ids = list(frames), set(skipped), None if setups is None else list(setups)
    problems: list[Problem] = []
    for key in ("exposure", "white_balance"):
        part = getattr(match, key)
        if part is None:
            continue
        at = ("match", key)
        if part.to is not None:
            problems += _setups(document, part.to.by_setup, ids, *at, "to")
            for frame, inside in part.to.places():
                place = (*at, "to", *inside)
                if frame not in names:
                    problems.append(unknown_frame(frame, names, document.place(*place)))
                elif frame in left_out:
                    what = f"the key frame {frame} is skipped"
                    problems.append(document.problem(what, *place, remedy="name another, or take skip out for it"))
        try:
            measured_region(document, *at)
        except (Problem, ProblemSet) as error:
            problems += problems_of(error)
    if match.white_balance is not None:
        problems += _cards(document, match.white_balance, names, ids)
    return problems


def stranger_problems(
    document: Document[Any], match: Match, setup_of: Mapping[str, str], *, planned: bool
) -> list[Problem]:
    """Key frames that are not of the set-up that they are named for. setup_of: ids by frame; planned: whether there is
    a plan."""
    problems: list[Problem] = []
    for key, part in (("exposure", match.exposure), ("white_balance", match.white_balance)):
        to: KeyFrames | None = None if part is None else part.to
        for frame, inside in to.places() if to is not None and planned else ():
            own = setup_of.get(frame)
            if own is None or (inside and inside[0] != own):
                what = f"the key frame {frame} is of " + (f"set-up {own}" if own else "no set-up")
                remedy = "name a frame of that set-up; `finishing plan` lists which belong where"
                problems.append(document.problem(what, "match", key, "to", *inside, remedy=remedy))
    return problems


def measured_region(document: Document[Any], *at: str) -> Any:
    """The region behind `measure` under a path of keys, None where there is none. Raises ProblemSet."""
    written = document.tree.at((*at, "measure"))
    if written is None:
        return None
    from finishing.regions.reading import read_region

    return read_region(document.tree, (*at, "measure"), written)


def card_path(document: Document[Any], kind: str, setup: str) -> tuple[str, ...]:
    """The keys that lead to the grey card or chart of a set-up (or ALL). kind: grey_card or chart."""
    at = ("match", "white_balance", kind)
    return at if "frame" in (document.tree.at(at) or {}) else (*at, setup)


def _setups(document: Document[Any], named: Iterable[str], ids: list[str] | None, *at: str) -> list[Problem]:
    problems = []
    for setup in named:
        place = document.tree.key_place((*at, setup))
        if ids is None:
            problems.append(
                Problem(
                    "without a plan there are no set-ups",
                    where=place,
                    got=setup,
                    remedy="add plan: plan.yaml, or write it once, without set-ups",
                )
            )
        elif setup not in ids:
            problems.append(unknown_name("set-up", setup, ids, place))
    return problems


def _cards(document: Document[Any], white: EvenWhiteBalance, names: list[str], ids: list[str] | None) -> list[Problem]:
    problems: list[Problem] = []
    kind = "grey_card" if white.grey_card is not None else "chart"
    problems += _setups(document, [s for s in white.cards() if s != ALL], ids, "match", "white_balance", kind)
    for setup, card in white.cards().items():
        at = card_path(document, kind, setup)
        if card.frame not in names:
            problems.append(unknown_frame(card.frame, names, document.place(*at, "frame")))
        if isinstance(card, GreyCard) and (card.box[0] >= card.box[2] or card.box[1] >= card.box[3]):
            problems.append(
                document.problem(
                    "this box has no inside",
                    *at, "box",
                    got=", ".join(f"{side:g}" for side in card.box),
                    expected="[left, top, right, bottom], left smaller than right and top smaller than bottom",
                    remedy="swap the sides that are the wrong way round",
                )
            )  # fmt: skip
        if isinstance(card, Chart):
            problems += _corners(document, card, *at, "corners")
    return problems


def _corners(document: Document[Any], card: Chart, *at: str) -> list[Problem]:
    """Corners must go round clockwise as the photograph shows them (y downward) and turn the same way at each."""
    points = list(card.corners)
    turns = []
    for index in range(4):
        (x0, y0), (x1, y1), (x2, y2) = (points[(index + step) % 4] for step in range(3))
        turns.append((x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1))
    if all(turn > 1e-6 for turn in turns):
        return []
    what = "the chart's corners do not go round a four-sided field"
    if all(turn < -1e-6 for turn in turns):
        what = "the chart's corners go round anticlockwise"
    remedy = "name the outer corners of the field of patches in this order: dark skin, bluish green, black, white"
    return [document.problem(what, *at, expected=EXPECTED_CORNERS, remedy=remedy)]
