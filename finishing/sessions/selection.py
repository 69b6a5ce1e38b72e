"""Which frames a look is for: all, set-ups, names, patterns of names, or a least rating."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated

from finishing.documents.fields import parse_number, scalar
from finishing.sessions.folder import FramePath
from finishing.sessions.frame_names import matches

EXPECTED = "all, a set-up's id, a frame's name, pattern or range, a list of these, or {rating_at_least: 1…5}"


@dataclass(frozen=True)
class Selection:
    """everything: all frames; names: set-up ids, frame names and patterns; rating_at_least: 1…5 or None."""

    everything: bool = False
    names: tuple[str, ...] = ()
    rating_at_least: int | None = None


EVERYTHING = Selection(everything=True)


def parse_selection(value: object) -> Selection:
    """A selection as it stands in a file. Raises ValueError for anything else."""
    if isinstance(value, dict):
        if set(value) != {"rating_at_least"}:
            raise ValueError(EXPECTED)
        rating = parse_number(value["rating_at_least"])
        if rating not in range(1, 6):
            raise ValueError(EXPECTED)
        return Selection(rating_at_least=int(rating))
    listed = value if isinstance(value, list | tuple) else [value]
    names = tuple(name for name in listed if isinstance(name, str) and name.strip())
    if not names or len(names) < len(listed):
        raise ValueError(EXPECTED)
    return EVERYTHING if "all" in names else Selection(names=names)


_ONE = {"type": "string"}
FrameSelection = Annotated[
    Selection,
    scalar(
        parse_selection,
        EXPECTED,
        "all",
        choices=("all", "rating_at_least"),
        schema={
            "description": EXPECTED,
            "anyOf": [
                _ONE,
                {"type": "array", "items": _ONE, "minItems": 1},
                {
                    "type": "object",
                    "properties": {"rating_at_least": {"type": "integer", "minimum": 1, "maximum": 5}},
                    "required": ["rating_at_least"],
                    "additionalProperties": False,
                },
            ],
        },
    ),
]


def select_frames(
    selection: Selection,
    frames: Iterable[FramePath],
    setup_of: Mapping[str, str] | None = None,
    ratings: Mapping[str, int] | None = None,
) -> list[str]:
    """The names of the frames a selection means, in the order given.

    setup_of: set-up ids by frame name; ratings: by frame name, a frame without one counts as 0.
    """
    setups, rated, everything = setup_of or {}, ratings or {}, list(frames)
    names = {frame.name for frame in everything}.intersection(selection.names)
    return [frame.name for frame in everything if _means(selection, frame, setups.get(frame.name), rated, names)]


def _means(
    selection: Selection, frame: FramePath, setup: str | None, ratings: Mapping[str, int], names: Collection[str]
) -> bool:
    """names: those of the selection that are a frame's own, and so no range (a blend C-0012-C-0013, say)."""
    if selection.everything:
        return True
    if selection.rating_at_least is not None:
        return ratings.get(frame.name, 0) >= selection.rating_at_least
    return any(
        (setup is not None and name == setup)
        or name == frame.name
        or (name not in names and matches(name, frame.name, frame.path.name))
        for name in selection.names
    )
