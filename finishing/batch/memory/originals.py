"""What no finished file may take the place of: originals, documents, ledgers."""

from collections.abc import Iterable
from pathlib import Path

from finishing.errors import Problem
from finishing.photographs.finished import read_finished
from finishing.photographs.reading import read_xmp_packet


def refuse_originals(target: Path, originals: Iterable[Path]) -> None:
    """Raises Problem where a file would be written over one of these, by whatever name or link it is reached."""
    place = target.resolve()
    if any(place == original.resolve() or _same(place, original) for original in originals):
        raise _refusal(target)


def refuse_what_is_not_ours(target: Path, own: Iterable[Path]) -> None:
    """Raises Problem where a file would be written over one that does not say that it was finished here: a frame, a
    mask, a document or a ledger, it may be. own: places at which a finished file is known to stand, whatever it says.
    """
    place = target.resolve()
    if not place.exists() or any(place == one.resolve() for one in own):
        return
    try:
        record = read_finished(read_xmp_packet(place))
    except Problem:
        record = None
    if record is None:
        raise _refusal(target, got="it does not say that it was finished here")


def _same(place: Path, original: Path) -> bool:
    """Whether both are one file on the disk: names may differ in case, or by a link."""
    try:
        return place.samefile(original)
    except OSError:
        return False


def _refusal(target: Path, got: str | None = None) -> Problem:
    return Problem(
        "this would take the place of an original, or of something else that was not finished here",
        where=str(target),
        got=got,
        remedy="name another file with --out; or move this one away yourself",
    )
