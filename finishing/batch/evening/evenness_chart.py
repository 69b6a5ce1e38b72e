"""The chart of what was evened out, in the output folder."""

from pathlib import Path
from typing import TYPE_CHECKING

from finishing.errors import Place, Problem
from finishing.photographs.writing import write_bytes

if TYPE_CHECKING:
    from finishing.batch.evening.evening_out import Evenness

CHART_NAME = "evenness.png"


def write_chart(evenness: "Evenness", folder: Path, session: str) -> bool:
    """Draw the chart into a folder, with the session's title; False where it is there already, as it would be drawn.

    The same numbers give the same bytes. Raises Problem where it cannot be written, or a file of that name is there
    that this program did not make.
    """
    from finishing.evenness.drawing import draw_consistency
    from finishing.sheets.typeface import face

    path = folder / CHART_NAME
    if path.exists() and not _is_ours(path):
        raise Problem("the chart of evening out was not written", where=Place(str(path)),
                      got="a file that this program did not make", remedy="move it away, or rename it")  # fmt: skip
    content = draw_consistency(evenness.consistency, face(False).path, face(True).path, session)
    if path.exists() and path.read_bytes() == content:
        return False
    write_bytes(path, content)
    return True


def _is_ours(path: Path) -> bool:
    """Whether a file says of itself that it is a chart of ours."""
    from PIL import Image

    from finishing.evenness.drawing import MARK

    try:
        with Image.open(path) as image:
            return image.info.get(MARK[0]) == MARK[1]
    except OSError:
        return False
