"""Whose a contact sheet's pages are: two sessions of one folder must not write over each other's sheets."""

import json
import shlex
from collections.abc import Mapping
from pathlib import Path

from finishing.batch.memory.owners import Owner, Whose
from finishing.batch.paper.prints import SOFTWARE, is_pdf
from finishing.errors import Place, Problem
from finishing.sessions.session import Session

_END = b"</x:xmpmeta>"


def page_of(session: Session) -> str:
    """What a page says of the session that it shows: its file's name and its title, in ASCII."""
    return json.dumps({"file": session.document.path.name, "title": session.value.session})


def refuse_anothers(path: Path, session: Session) -> None:
    """Raises Problem where pages of a sheet of this name are there that show another session. Pages of earlier versions
    do not say what they show, and count as this session's."""
    whose = Whose(session)
    for page, told in _there(path).items():
        owner = _owner(told, session)
        if owner is not None and not whose.ours(owner):
            file = session.document.path
            own = path.with_name(f"{path.stem}-{file.stem}{path.suffix}")
            raise Problem(
                f"a sheet of this name is there already: that of {owner}",
                where=Place(str(page)),
                expected="a name of its own for each session's sheet",
                remedy=f"finishing sheet {shlex.quote(str(file))} --out {shlex.quote(str(own))}",
            )


def _there(path: Path) -> Mapping[Path, str]:
    """The files of a sheet of this name that are there, with what they say of the session that they show."""
    if is_pdf(path):
        told = _told_by_pdf(path)
        return {} if told is None else {path: told}
    from finishing.sheets.drawing import pages_there

    return pages_there(path)


def _told_by_pdf(path: Path) -> str | None:
    """What a PDF of ours says that it shows; None for any other file."""
    from finishing.photographs.xmp import document_source

    try:
        content = path.read_bytes()
    except OSError:
        return None
    # Records stand in a PDF as they are, so that they are found without reading it (ISO 16684-1, 7.3).
    start, end = content.rfind(b"<x:xmpmeta"), content.rfind(_END)
    return document_source(content[start : end + len(_END)], SOFTWARE) if 0 <= start < end else None


def _owner(told: str, session: Session) -> Owner | None:
    """The session that a page shows, which is looked for beside this one; None where it does not say."""
    try:
        found = json.loads(told)
        file, title = found["file"], found["title"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return Owner((session.folder.resolve(),), file, title) if isinstance(file, str) and isinstance(title, str) else None
