"""Prints that do not come out as asked for: frames with too few pixels, frames of another shape than the paper."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from finishing import units
from finishing.batch.delivery.output_size import SHARE, limiting_side, pixels_per_inch_of, printed, resolution_on_paper
from finishing.batch.opening.framing import framing_of
from finishing.errors import Problem
from finishing.photographs.headers import Header
from finishing.sessions.deliverables import MM_PER_INCH, Deliverable, PrintSize
from finishing.sessions.folder import FramePath
from finishing.sessions.session import Session

#: Names of frames that are told one by one.
MOST_NAMES = 6


@dataclass(frozen=True)
class SmallPrint:
    """frame: its name; needed, there: pixels along the side that is short of them; resolution: what it comes to on
    paper of that size, in pixels per inch."""

    frame: str
    needed: int
    there: int
    resolution: float


def small_print(deliverable: Deliverable, frame: str, width: int, height: int) -> SmallPrint | None:
    """Whether a frame (as it is kept: straightened, cropped) is too small for a print. None where it is not, where no
    print size is asked for, or where small frames are enlarged."""
    part = printed(deliverable)
    if part is None or deliverable.enlarge:
        return None
    asked = pixels_per_inch_of(deliverable)
    resolution = resolution_on_paper(deliverable, width, height)
    if resolution >= asked:
        return None
    inches, pixels = limiting_side(part, width, height)
    return SmallPrint(frame, round(inches * asked), pixels, resolution)


def print_warnings(
    session: Session, kept: Mapping[str, Iterable[tuple[str, int, int]]]
) -> list[Problem]:  # fmt: skip
    """Warnings for deliverables with frames that are too small for their print, or of another shape. kept: by
    deliverable, the frames that it is made of: name, width and height in pixels as kept."""
    warnings = []
    for name, frames in kept.items():
        deliverable = session.value.deliverables.get(name)
        if deliverable is None or deliverable.print_size is None:
            continue
        listed = list(frames)
        found = [one for one in (small_print(deliverable, *frame) for frame in listed) if one is not None]
        if found:
            warnings.append(_warning(session, name, deliverable, deliverable.print_size, found))
        shapes = [(frame, other_shape(deliverable, width, height)) for frame, width, height in listed]
        others = [(frame, size) for frame, size in shapes if size is not None]
        if others:
            warnings.append(_shape_warning(session, name, deliverable.print_size, others))
    return warnings


def other_shape(deliverable: Deliverable, width: int, height: int) -> PrintSize | None:
    """The size at which a frame lies on paper of another shape, which it does not fill; None where it does, and where
    white paper is to be round it."""
    paper = deliverable.print_size
    if paper is None or paper.short_inches is None or deliverable.margin is not None:
        return None
    inches, pixels = limiting_side(paper, width, height)
    size = PrintSize(max(width, height) * inches / pixels, min(width, height) * inches / pixels)
    fills = size.long_inches > SHARE * paper.long_inches and (size.short_inches or 0) > SHARE * paper.short_inches
    return None if fills else size


def _shape_warning(session: Session, name: str, paper: PrintSize, found: list[tuple[str, PrintSize]]) -> Problem:
    groups: dict[str, list[str]] = {}
    for frame, size in found:
        whole = (round(side * MM_PER_INCH) / MM_PER_INCH for side in (size.long_inches, size.short_inches or 0))
        groups.setdefault(lengths_words(*whole), []).append(frame)
    told = [f"{_names(names)}: {words}" for words, names in groups.items()]
    count = f"{len(found)} frame{' does' if len(found) == 1 else 's do'}"
    return session.document.problem(
        f"{count} not fill {size_words(paper)}",
        "deliverables", name, "print_size",
        got="; ".join(told),
        remedy="crop to the paper's shape (crop: {aspect: 3:2}, say), or write margin: 0 for a white sheet that large",
    )  # fmt: skip


def _names(frames: list[str]) -> str:
    more = f" and {len(frames) - MOST_NAMES} more" if len(frames) > MOST_NAMES else ""
    return ", ".join(frames[:MOST_NAMES]) + more


def _warning(
    session: Session, name: str, deliverable: Deliverable, paper: PrintSize, found: list[SmallPrint]
) -> Problem:
    groups: dict[tuple[int, int], list[SmallPrint]] = {}
    for one in sorted(found, key=lambda one: one.resolution):
        groups.setdefault((one.there, one.needed), []).append(one)
    told = []
    for (there, needed), members in groups.items():
        names = _names([one.frame for one in members])
        resolution = units.format_number(members[0].resolution, 0)
        told.append(f"{names}: {needed} pixels needed, {there} there, {resolution} pixels per inch on paper")
    asked = units.format_number(pixels_per_inch_of(deliverable), 0)
    count = f"{len(found)} frame{' is' if len(found) == 1 else 's are'}"
    return session.document.problem(
        f"{count} too small for {size_words(paper)} at {asked} pixels per inch and delivered as large as "
        + ("it is" if len(found) == 1 else "they are"),
        "deliverables", name, "print_size",
        got="; ".join(told),
        remedy="ask for a smaller print, crop less, or write enlarge: yes to have pixels made up",
    )  # fmt: skip


def size_words(paper: PrintSize) -> str:
    """40 × 30 cm, or 12 × 8 inches where centimetres would be odd."""
    return lengths_words(*(side for side in (paper.long_inches, paper.short_inches) if side is not None))


def lengths_words(*inches: float) -> str:
    """The same of lengths one by one."""
    centimetres = [side * MM_PER_INCH / 10 for side in inches]
    if all(abs(side * 10 - round(side * 10)) < 0.01 for side in centimetres):
        return " × ".join(units.format_number(side, 1) for side in centimetres) + " cm"
    return " × ".join(units.format_number(side, 2) for side in inches) + " inches"


def print_warnings_of_session(
    session: Session, frames: Iterable[FramePath], headers: Mapping[str, Header]
) -> list[Problem]:
    """The warnings for all frames and blends that are delivered, from their headers alone."""
    prints = [name for name, one in session.value.deliverables.items() if one.print_size is not None]
    kept = []
    for frame in frames:
        header = headers.get(frame.name)
        if header is not None:
            framing = framing_of(session.of_frame(frame.name), header.width, header.height)
            kept.append((frame.name, framing.width, framing.height))
    return print_warnings(session, dict.fromkeys(prints, kept))
