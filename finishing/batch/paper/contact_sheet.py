"""Contact sheets of a session: frames by looks, each frame decoded once, at the size of its cell."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from finishing import units
from finishing.batch.delivery.records import rights_recorded, setup_line
from finishing.batch.opening.framing import framing_of
from finishing.batch.paper.blend_sheet import pages_of_blends
from finishing.batch.paper.cells import Cells
from finishing.batch.paper.pages_of_sessions import page_of, refuse_anothers
from finishing.batch.paper.prints import PIXELS_PER_INCH, is_pdf, refuse_ending, write_pages
from finishing.batch.work.assignment import FrameWork, SessionWork, frames_and_blends
from finishing.errors import Problem
from finishing.sessions.blends import lights_words, made_of
from finishing.sheets import layout, model, typeface
from finishing.sheets.fitting import NO_BREAK_SPACE
from finishing.sheets.placed import Page


@dataclass(frozen=True)
class SheetReport:
    """files: the pages or the document; notices: signs the typeface lacks, pages of an earlier sheet that were
    removed; failed: by frame, or "frame in look" where only some of its looks fail."""

    files: list[Path]
    notices: list[str]
    failed: dict[str, Problem]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "files": [str(path) for path in self.files],
            "notices": self.notices,
            "failed": [{"frame": name, **problem.as_dict()} for name, problem in self.failed.items()],
        }


def make_sheet(
    work: SessionWork,
    path: Path,
    *,
    paper: str = "a4",
    columns: int | None = None,
    jobs: int | None = None,
    pixels_per_inch: float = PIXELS_PER_INCH,
    histograms: bool = False,
    clipping: bool = False,
    light_pages: bool = True,
) -> SheetReport:
    """Write the contact sheet of a session's frames in their looks: PNG pages, or one PDF, by the path's ending.

    histograms: the tones of every picture below it. clipping: what is plain black or plain white is hatched, and its
    shares are told. light_pages: of the blends on the sheet also the ladder of the ambient, stop by stop, and a page
    each on what the strobe did. Raises Problem where the ending is neither, the paper is unknown, a page would take the
    place of a frame, of a mask or of another session's page, or the folder cannot be written to. A
    frame that cannot be read, or on which a look fails, gets an empty cell with the reason.
    """
    refuse_ending(path, "a contact sheet")
    refuse_anothers(path, work.session)
    frames = [frame for frame in work.frames if frame.looks]
    if not frames:
        raise Problem("no frame has a look to be shown", remedy="check looks: in session.yaml, or --looks and --frames")
    looks = list(dict.fromkeys(recipe.name for frame in frames for recipe in frame.looks))
    titles = {recipe.name: recipe.title for frame in frames for recipe in frame.looks}
    sheet = model.Sheet(
        title=work.session.value.session,
        subtitle=_subtitle(work),
        footer=_rights(work),
        column_titles=tuple(titles[name] for name in looks),
        groups=tuple(_groups(work, frames, looks)),
        histograms=histograms,
        clipping=clipping,
    )
    pages = _pages(work, frames, sheet, model.paper_called(paper), columns, light_pages=light_pages)
    pictures = Cells(
        frames,
        layout.pictures_needed(pages, pixels_per_inch),
        jobs or os.cpu_count() or 1,
        as_jpeg=is_pdf(path),
        told=histograms or clipping,
        marked=clipping,
    )
    with pictures:
        files, notices = write_pages(
            pages,
            pictures,
            path,
            what="contact sheet",
            title=sheet.title,
            rights=rights_recorded(work.session.value.rights),
            readings=pictures.reading,
            originals=_originals(work),
            pixels_per_inch=pixels_per_inch,
            of=page_of(work.session),
        )
    refused = {one.frame.name: one.header.refusal for one in frames if one.header and one.header.refusal}
    return SheetReport(files, notices, {**work.unreadable, **refused, **pictures.failed})


def _pages(
    work: SessionWork,
    frames: Sequence[FrameWork],
    sheet: model.Sheet,
    paper: model.Paper,
    columns: int | None,
    *,
    light_pages: bool,
) -> list[Page]:
    """The sheet's pages, and behind them those on its blends."""
    pages = layout.lay_out(sheet, paper, typeface.measure, columns)
    blends = [frame for frame in frames if frame.blend is not None and frame.blend.taken and frame.header is not None]
    if not (light_pages and blends):
        return pages
    behind = pages_of_blends(blends, sheet, pages, typeface.measure)
    return [*layout.lay_out(sheet, paper, typeface.measure, columns, after=len(behind)), *behind]


def _originals(work: SessionWork) -> list[Path]:
    """Every frame of the session, also those that are not on the sheet, and the masks of those that are."""
    masks = [file for frame in work.frames for file in frame.mask_files.values()]
    return [*(frame.path for frame in work.session.frames), *masks]


def _subtitle(work: SessionWork) -> str:
    place = work.plan.plan.place if work.plan else None
    parts = [place.name, place.date.isoformat() if place.date else None] if place else []
    return ", ".join(part for part in parts if part)


def _rights(work: SessionWork) -> str:
    rights = work.session.value.rights
    return " · ".join(part for part in (rights.copyright or rights.creator, rights.usage, rights.contact) if part)


def _groups(work: SessionWork, frames: Sequence[FrameWork], looks: Sequence[str]) -> list[model.Group]:
    """Set-ups in the order of the plan, then the frames of none."""
    # A frame keeps its number on a sheet of only some frames, so that it can be read out from any of them.
    numbers = {frame.name: str(index) for index, frame in enumerate(frames_and_blends(work.session), 1)}
    groups = []
    for setup in [*(work.plan.setups if work.plan else ()), None]:
        own = [
            frame for frame in frames if (frame.setup.setup.id if frame.setup else None) == (setup and setup.setup.id)
        ]
        if not own:
            continue
        rows = tuple(_row(frame, looks, numbers[frame.frame.name]) for frame in own)
        if setup is None:
            groups.append(model.Group("Frames of no set-up" if work.plan else "", rows))
        else:
            heading = setup.setup.id + (f"  {setup.setup.title}" if setup.setup.title else "")
            groups.append(model.Group(heading, rows, setup_line(setup)))
    return groups


def _row(frame: FrameWork, looks: Sequence[str], number: str) -> tuple[model.Cell | None, ...]:
    own = {recipe.name: recipe for recipe in frame.looks}
    cells: list[model.Cell | None] = []
    for name in looks:
        if name not in own:
            cells.append(None)
            continue
        caption, title = (frame.frame.name, *_facts(frame)), own[name].title
        if frame.header is None or frame.header.refusal is not None:
            told = frame.header.refusal.what if frame.header and frame.header.refusal else "this frame cannot be read"
            cells.append(model.Cell(None, 0, 0, caption, number, told, look=title))
        else:
            key = (frame.frame.name, name)
            kept = framing_of(frame.says, frame.header.width, frame.header.height)
            cells.append(model.Cell(key, kept.width, kept.height, caption, number, look=title))
    return tuple(cells)


def _facts(frame: FrameWork) -> tuple[str, ...]:
    """The lines below a frame's name: its set-up with its exposure; or, a blend's, with what it is made of."""
    if frame.blend is None:
        return (_exposure(frame),)
    setup = [f"set-up {frame.setup.setup.id}"] if frame.setup else []
    return " · ".join([*setup, made_of(frame.blend.written)]), lights_words(frame.blend.written)


def _exposure(frame: FrameWork) -> str:
    """The frame's set-up and the exposure that its camera took, or the plan's where the file does not say."""
    told = frame.header.metadata if frame.header else None
    planned = frame.setup.setup.exposure.values if frame.setup and frame.setup.setup.exposure else None
    f_number = (told.f_number if told else None) or (planned.f_number if planned else None)
    seconds = (told.exposure_seconds if told else None) or (planned.seconds if planned else None)
    iso = (told.iso if told else None) or (planned.iso if planned else None)
    parts = [f"set-up {frame.setup.setup.id}"] if frame.setup else []
    if f_number:
        parts.append(units.format_aperture(f_number))
    if seconds:
        parts.append(units.format_shutter(seconds))
    if iso:
        parts.append(units.format_iso(iso))
    # A number stays beside what it is of where the line is broken.
    return " · ".join(part.replace(" ", NO_BREAK_SPACE) for part in parts)
