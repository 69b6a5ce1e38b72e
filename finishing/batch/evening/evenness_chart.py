"""The chart of what was evened out, in the output folder: one of each session that is finished into it."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from finishing.batch.memory.owners import Whose, in_words, owner_in_words
from finishing.errors import Place, Problem
from finishing.photographs.writing import write_bytes
from finishing.sessions.session import Session

if TYPE_CHECKING:
    from finishing.batch.evening.evening_out import Evenness

#: Of the first session of a folder; that of another has the name of its file behind it.
CHART_NAME = "evenness.png"


def write_chart(evenness: "Evenness", folder: Path, session: Session) -> Path | None:
    """Draw the chart of a session into a folder; None where it is there already, as it would be drawn.

    The same numbers give the same bytes. Raises Problem where it cannot be written, or a file of that name is there
    that this program did not make.
    """
    from finishing.evenness.drawing import MARK, draw_consistency
    from finishing.sheets.typeface import face

    path = _place(folder, session)
    if path.exists() and _says(path).get(MARK[0]) != MARK[1]:
        raise Problem("the chart of evening out was not written", where=Place(str(path)),
                      got="a file that this program did not make", remedy="move it away, or rename it")  # fmt: skip
    content = draw_consistency(
        evenness.consistency, face(False).path, face(True).path, session.value.session, in_words(session, folder)
    )
    if path.exists() and path.read_bytes() == content:
        return None
    write_bytes(path, content)
    return path


def _place(folder: Path, session: Session) -> Path:
    """Where a session's chart stands or is to stand: where one is that says that it is the session's, else under the
    first name that no other session's has. Charts of earlier versions do not say whose they are, and count as the
    session's."""
    from finishing.evenness.drawing import OF

    first, stem = folder / CHART_NAME, Path(CHART_NAME).stem
    own = f"{stem}-{session.document.path.stem}"
    names = [first, first.with_name(f"{own}.png")]
    while names[-1].exists():
        names.append(first.with_name(f"{own}-{len(names)}.png"))
    whose = Whose(session)
    there = dict.fromkeys([*names, *sorted(folder.glob(f"{stem}-*.png"))])
    owners = {path: owner_in_words(str(_says(path).get(OF, "")), folder) for path in there}
    ours = [path for path, owner in owners.items() if owner is not None and whose.ours(owner)]
    return (ours or [path for path in names if owners[path] is None])[0]


def _says(path: Path) -> "dict[Any, Any]":
    """What a PNG file says of itself; nothing where there is none."""
    from PIL import Image

    try:
        with Image.open(path) as image:
            return image.info
    except OSError:
        return {}
