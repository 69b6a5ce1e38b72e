"""Cuts out what stands in a box of a frame: a soft mask, saved as a grey picture that looks can be limited to."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.errors import Place, Problem, ProblemSet

if TYPE_CHECKING:
    from finishing.batch.pictures.soft_mask import Box, Codes, Point

#: Long edge in pixels of the picture that the mask is made for.
MASK_EDGE = 2400


@dataclass(frozen=True)
class Wanted:
    """A mask that is asked for. box: left, top, right, bottom; inside, outside: points known to belong to the
    subject, or not; all in fractions of the frame. session: the session.yaml above the frame, or None."""

    frame: Path
    box: "Box"
    name: str
    target: Path
    session: Path | None
    inside: "tuple[Point, ...]" = ()
    outside: "tuple[Point, ...]" = ()


@dataclass(frozen=True)
class CutOut:
    """A mask that was written. share: of the frame, 0…1; entry: the frame's values under `per_frame`, or None where
    the session cannot name the file; there_already: the session has such an entry for the frame already."""

    wanted: Wanted
    width: int
    height: int
    share: float
    entry: dict[str, Any] | None
    there_already: bool
    notices: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "mask": str(self.wanted.target),
            "name": self.wanted.name,
            "frame": self.wanted.frame.stem,
            "width": self.width,
            "height": self.height,
            "share": round(self.share, 4),
            "per_frame": {self.wanted.frame.stem: self.entry} if self.entry else None,
            "notices": list(self.notices),
        }


def wanted_mask(
    frame: Path,
    box: "Box",
    *,
    name: str = "subject",
    out: Path | None = None,
    inside: "Sequence[Point]" = (),
    outside: "Sequence[Point]" = (),
    again: bool = False,
) -> Wanted:
    """What is asked for, checked before anything is read. frame: a file, or the name that a frame has in the session
    of its folder or one above it. out: None puts it into `masks/` beside the session, or beside the frame where no
    session.yaml lies above it.

    Raises Problem for a name that the session does not have, and ProblemSet for a box or hints that cannot be meant, a
    mask's name that recipes could not use, a file that exists.
    """
    from finishing.batch.pictures.soft_mask import fills_frame

    frame = _file_of(frame)
    problems = _box_problems(box) or _hint_problems(box, inside, outside)
    if not problems and fills_frame(box) and not outside:
        problems.append(
            Problem(
                "the box holds the whole frame, so nothing says what the surroundings are",
                got=", ".join(f"{value:g}" for value in box),
                remedy="draw the box closer, or point at the surroundings: --outside 0.05,0.05 --outside 0.95,0.05",
            )
        )
    if not re.fullmatch(r"\w[\w-]*", name):
        problems.append(
            Problem(
                "this cannot be a mask's name",
                got=name,
                expected="a word of letters, digits, - and _",
                remedy="write --name coat, for example",
            )
        )
    session = session_above(frame)
    target = out or (session or frame).parent / "masks" / f"{frame.stem}-{name}.png"
    if target.suffix.lower() != ".png":
        problems.append(
            Problem(
                "a mask is a PNG", got=str(target), expected=".png", remedy="let the name after --out end with .png"
            )
        )
    elif target.resolve() == frame.resolve():
        problems.append(
            Problem(
                "the mask would take the place of the original", where=str(frame), remedy="name another file with --out"
            )
        )
    elif target.exists() and not again:
        problems.append(
            Problem(
                "the mask exists already",
                where=str(target),
                remedy="choose another --name or --out, or overwrite it with --again",
            )
        )
    if problems:
        raise ProblemSet(problems)
    return Wanted(frame, box, name, target, session, tuple(inside), tuple(outside))


def _file_of(frame: Path) -> Path:
    """The file of a frame that is named as its session names it; any other path as it stands. Raises Problem."""
    session = session_above(frame) if not frame.suffix and not frame.exists() else None
    if session is None:
        return frame
    from finishing.sessions.frame_names import unknown_frame
    from finishing.sessions.session import examine_session

    try:
        frames = {one.name: one.path for one in examine_session(session).session.frames}
    except (Problem, ProblemSet):
        return frame  # a session that cannot be read is told of when it is run
    if frame.name not in frames:
        raise unknown_frame(frame.name, frames, Place(str(session)))
    return frames[frame.name]


def session_above(frame: Path) -> Path | None:
    """The session.yaml in the frame's folder or in the nearest one above it."""
    for folder in frame.absolute().parents:
        if (folder / "session.yaml").is_file():
            return folder / "session.yaml"
    return None


def _box_problems(box: "Box") -> list[Problem]:
    left, top, right, bottom = box
    got = ", ".join(f"{value:g}" for value in box)
    expected = "left, top, right, bottom in fractions of the frame, 0 to 1, or in percent"
    if not all(0 <= value <= 1 for value in box):
        return [
            Problem(
                "the box reaches out of the frame",
                got=got,
                expected=expected,
                remedy="write --box 0.30,0.15,0.70,0.95 or --box 30%,15%,70%,95%, for example",
            )
        ]
    if left >= right or top >= bottom:
        return [
            Problem(
                "the box is empty",
                got=got,
                expected=expected,
                remedy="name its left upper corner first, then its right lower one",
            )
        ]
    return []


def _hint_problems(box: "Box", inside: "Sequence[Point]", outside: "Sequence[Point]") -> list[Problem]:
    problems = []
    for option, points in (("--inside", inside), ("--outside", outside)):
        for x, y in points:
            if not (0 <= x <= 1 and 0 <= y <= 1):
                problems.append(
                    Problem(
                        f"the place after {option} lies out of the frame",
                        got=f"{x:g}, {y:g}",
                        expected="fractions of the frame's width and height, 0 to 1, or percent",
                        remedy=f"write {option} 0.45,0.60, for example",
                    )
                )
            elif option == "--inside" and not (box[0] <= x <= box[2] and box[1] <= y <= box[3]):
                problems.append(
                    Problem(
                        "a place of the subject lies out of the box",
                        got=f"{x:g}, {y:g}",
                        remedy="make the box larger: nothing outside it is ever taken for the subject",
                    )
                )
    return problems


def cut_out(wanted: Wanted) -> CutOut:
    """Make the mask and write it. Raises Problem where the frame cannot be read, nothing stands out, or the disk does
    not take it; nothing is then left behind."""
    import cv2

    from finishing.batch.opening.picture import finish_picture, fitted, reduced, source_of
    from finishing.batch.pictures.soft_mask import SEARCH_EDGE, soft_mask
    from finishing.operation import Geometry
    from finishing.photographs.reading import read_reduced
    from finishing.photographs.writing import write_bytes

    photograph = read_reduced(wanted.frame, MASK_EDGE)
    source = source_of(photograph)

    def picture(long_edge: int) -> "Codes":
        width, height = fitted(source.width, source.height, long_edge)
        return finish_picture((), reduced(source, width, height), Geometry(width, height))

    try:
        mask = soft_mask(picture(MASK_EDGE), picture(SEARCH_EDGE), wanted.box, wanted.inside, wanted.outside)
    except Problem as problem:
        raise problem.at(wanted.frame.name) from problem
    _, content = cv2.imencode(".png", mask, [cv2.IMWRITE_PNG_COMPRESSION, 6])
    write_bytes(wanted.target, content.tobytes())
    entry, there_already, notice = _entry(wanted)
    notices = (*photograph.notices, *([notice] if notice else []))
    height, width = mask.shape
    return CutOut(wanted, width, height, float(mask.mean()) / 255, entry, there_already, notices)


def _entry(wanted: Wanted) -> tuple[dict[str, Any] | None, bool, str]:
    """The frame's values under per_frame with the mask among them, whether the session has some, and a notice."""
    from finishing.documents.tree import parse_tree, read_text

    if wanted.session is None:
        return {"masks": {wanted.name: f"masks/{wanted.target.name}"}}, False, ""
    target, folder = wanted.target.resolve(), wanted.session.parent.resolve()
    if not target.is_relative_to(folder):
        return None, False, f"a session only takes masks from its own folder: put the file into {folder / 'masks'}"
    masks = {wanted.name: target.relative_to(folder).as_posix()}
    try:
        said = parse_tree(read_text(wanted.session), str(wanted.session)).at(("per_frame", wanted.frame.stem))
    except (Problem, ProblemSet):
        said = None  # a session that cannot be read is told of when it is run
    if not isinstance(said, dict):
        return {"masks": masks}, False, ""
    known = said.get("masks")
    return {**said, "masks": {**(known if isinstance(known, dict) else {}), **masks}}, True, ""
