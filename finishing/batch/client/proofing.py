"""The proof page of a session: a folder with one HTML file and its pictures, each frame decoded once."""

import os
import re
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from finishing.batch.client.proof_pictures import PICTURES, Painted, Painter
from finishing.batch.work.assignment import FrameWork, SessionWork
from finishing.errors import Problem
from finishing.part_files import clear_left
from finishing.photographs.writing import write_bytes
from finishing.proofs import page as proof_page
from finishing.proofs.model import ProofFrame, ProofGroup, ProofPage, session_id

PAGE = "index.html"
LONG_EDGE = 1600
_OURS = re.compile(r"\d{4,}-(original|look\d+)(-small)?\.jpg")


@dataclass
class ProofReport:
    """folder, page: what was written; frames, pictures: how many; size: of all files in bytes; failed: by frame, or
    "frame in look" where only some of its looks fail; cleared: unfinished files of proofs that were cut off,
    deleted."""

    folder: Path
    page: Path
    frames: int = 0
    pictures: int = 0
    size: int = 0
    failed: dict[str, Problem] = field(default_factory=dict)
    cleared: list[Path] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "folder": str(self.folder),
            "page": str(self.page),
            "frames": self.frames,
            "pictures": self.pictures,
            "bytes": self.size,
            "failed": [{"frame": name, **problem.as_dict()} for name, problem in self.failed.items()],
            "cleared": [str(path) for path in self.cleared],
        }


def id_of(work: SessionWork) -> str:
    """The id that the proof page of a session carries and that its answers must give back."""
    place = work.plan.plan.place if work.plan else None
    return session_id(work.session.value.session, place.date.isoformat() if place and place.date else "")


def make_proof(
    work: SessionWork,
    folder: Path,
    *,
    long_edge: int = LONG_EDGE,
    mark: str | None = None,
    jobs: int | None = None,
    begin: Callable[[int], None] = lambda frames: None,
    progress: Callable[[str, Problem | None], None] = lambda frame, problem: None,
) -> ProofReport:
    """Write the proof page of a session's frames in their looks into a folder.

    long_edge: of the large pictures in pixels; a smaller frame stays as it is. mark: a text laid softly over every
    picture. A frame that cannot be read, or a look that fails on one, is left out and reported. The page is written
    last, so that a stopped run leaves the earlier one. Raises Problem where there is nothing to show or the folder is
    not one for a proof page.
    """
    frames = [frame for frame in work.frames if frame.looks]
    if not frames:
        raise Problem("no frame has a look to be shown", remedy="check looks: in session.yaml, or --looks and --frames")
    _refuse(folder, work)
    looks = {recipe.name: recipe.title for frame in frames for recipe in frame.looks}
    painter = Painter(folder, list(looks), long_edge, mark, work.session.value.rights)
    report = ProofReport(folder, folder / PAGE, cleared=clear_left([folder, folder / PICTURES]))
    done: dict[str, ProofFrame] = {}
    begin(len(frames))

    def guarded(numbered: tuple[int, FrameWork]) -> Painted | Problem:
        number, frame = numbered
        try:
            return painter.frame(number, frame)
        except Problem as problem:
            return problem
        except OSError as error:
            return Problem("the frame cannot be read", got=error.strerror or str(error))

    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        try:
            for frame, made in zip(frames, pool.map(guarded, enumerate(frames, 1)), strict=True):
                name = frame.frame.name
                if isinstance(made, Problem):
                    report.failed[name] = made if made.where is not None else made.at(name)
                    progress(name, report.failed[name])
                else:
                    done[name] = made.frame
                    for look, problem in made.failed.items():
                        told = f"{name} in {look}"
                        report.failed[told] = problem if problem.where is not None else problem.at(told)
                    progress(name, next(iter(made.failed.values()), None))
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    if not done:
        raise next(iter(report.failed.values()))
    looks = {name: title for name, title in looks.items() if any(name in frame.looks for frame in done.values())}
    content = proof_page.proof_html(_page(work, frames, done, looks)).encode()
    write_bytes(report.page, content)
    kept = {file for frame in done.values() for one in (*frame.looks.values(), frame.original)
            for file in (one.file, one.small)}  # fmt: skip
    _clear(folder, kept)
    report.frames, report.pictures = len(done), len(kept)
    report.size = len(content) + sum((folder / file).stat().st_size for file in kept)
    return report


def _refuse(folder: Path, work: SessionWork) -> None:
    """A folder whose page is not ours, or that holds frames, is not written to."""
    page = folder / PAGE
    try:
        foreign = page.exists() and proof_page.MARK.encode() not in page.read_bytes()[:4096]
    except OSError:
        foreign = True
    if foreign:
        raise Problem(
            "a page is in the way that this program did not make", where=str(page),
            remedy="name another folder with --out",
        )  # fmt: skip
    pictures = (folder / PICTURES).resolve()
    for frame in work.session.frames:
        if frame.path.resolve().is_relative_to(pictures):
            raise Problem(
                "the proof's pictures would lie among the frames", where=str(folder / PICTURES),
                got=frame.relative, remedy="name another folder with --out",
            )  # fmt: skip


def _clear(folder: Path, kept: set[str]) -> None:
    """Take out the pictures of an earlier page that this one does not show."""
    for path in (folder / PICTURES).iterdir():
        if _OURS.fullmatch(path.name) and f"{PICTURES}/{path.name}" not in kept:
            path.unlink()


def _page(
    work: SessionWork, frames: Sequence[FrameWork], done: Mapping[str, ProofFrame], looks: dict[str, str]
) -> ProofPage:
    place = work.plan.plan.place if work.plan else None
    facts = [place.name, place.date.isoformat() if place.date else None] if place else []
    rights = work.session.value.rights
    return ProofPage(
        id=id_of(work),
        title=work.session.value.session,
        subtitle=", ".join(fact for fact in facts if fact),
        rights=" · ".join(part for part in (rights.copyright or rights.creator, rights.usage, rights.contact) if part),
        looks=looks,
        groups=tuple(_groups(work, frames, done)),
        contact=rights.contact if rights.contact and "@" in rights.contact else "",
    )


def _groups(work: SessionWork, frames: Sequence[FrameWork], done: Mapping[str, ProofFrame]) -> list[ProofGroup]:
    """Set-ups in the order of the plan, then the frames of none."""
    groups = []
    for setup in [*(work.plan.setups if work.plan else ()), None]:
        wanted = setup.setup.id if setup else None
        own = [frame for frame in frames if (frame.setup.setup.id if frame.setup else None) == wanted]
        shown = tuple(done[frame.frame.name] for frame in own if frame.frame.name in done)
        if not shown:
            continue
        if setup is None:
            groups.append(ProofGroup("", shown))
        else:
            heading = setup.setup.id + (f" · {setup.setup.title}" if setup.setup.title else "")
            groups.append(ProofGroup(heading, shown))
    return groups
