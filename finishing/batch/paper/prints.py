"""Laid-out pages written to PNG or PDF: what contact sheets, test strips, steps and look books have in common."""

from collections.abc import Callable, Hashable, Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from finishing.colour.icc import write_profile
from finishing.colour.spaces import SRGB
from finishing.errors import Problem
from finishing.part_files import clear_left, cleared_words
from finishing.photographs.records import Rights
from finishing.photographs.writing import encode_jpeg
from finishing.photographs.xmp_out import document_xmp
from finishing.sheets.placed import Page, ReadingSource, notices

#: Pages print sharp at this many pixels per inch, and a page stays a few megabytes.
PIXELS_PER_INCH = 200
#: Of the JPEGs in a PDF.
QUALITY = 90
#: What PDF files say that they were made with; without a version, as in PNG pages: same pages, same bytes.
SOFTWARE = "finishing"

Codes = NDArray[np.uint8]
#: key, width, height in pixels -> sRGB codes (rows, columns, 3), or for a PDF a JPEG file's bytes; or `Said`.
PictureSource = Callable[[Hashable, int, int], Any]


def refuse_ending(path: Path, what: str) -> None:
    """Raises Problem unless the file is to be a PNG or a PDF. what: "a contact sheet"."""
    if path.suffix.lower() not in (".png", ".pdf"):
        raise Problem(
            f"{what} is PNG or PDF", got=path.name, expected=".png or .pdf", remedy="end the name with .png or .pdf"
        )


def is_pdf(path: Path) -> bool:
    """Whether the file is to be a PDF."""
    return path.suffix.lower() == ".pdf"


def jpeg_of(codes: Codes) -> bytes:
    """A picture as it is stored in a PDF: a JPEG in sRGB that carries its profile."""
    return encode_jpeg(codes, quality=QUALITY, icc=_profile())


@lru_cache(maxsize=1)
def _profile() -> bytes:
    return write_profile(SRGB)


def refuse_originals(path: Path, pages: int, originals: Iterable[Path]) -> None:
    """Raises Problem where a page would be written over one of these files. pages: how many there will be."""
    from finishing.sheets.drawing import page_paths

    targets = {one.resolve() for one in ([path] if is_pdf(path) else page_paths(path, pages))}
    for original in originals:
        if original.resolve() in targets:
            raise Problem(
                "this would take the place of an original", where=str(original), remedy="name another file with --out"
            )


def write_pages(
    pages: Sequence[Page],
    pictures: PictureSource,
    path: Path,
    *,
    what: str,
    title: str,
    rights: Rights | None = None,
    readings: ReadingSource | None = None,
    originals: Iterable[Path] = (),
    pixels_per_inch: float = PIXELS_PER_INCH,
    of: str = "",
) -> tuple[list[Path], list[str]]:
    """Write the pages: PNG files, one a page, or one PDF, by the path's ending. what: "contact sheet".

    pictures gives codes, or JPEG bytes as `jpeg_of` makes them for a PDF. originals: files that must not be written
    over. rights: whose a PDF says that it is. of: what the files say they are pages of. Pages that a longer sheet of
    this name left behind are removed where they say that they are its pages, and so is what was left unfinished in the
    folder when pages were cut off. Returns the files and what there is to tell: signs that the typeface lacks, what was
    removed. Raises Problem.
    """
    refuse_ending(path, f"a {what}")
    refuse_originals(path, len(pages), originals)
    cleared = cleared_words(clear_left([path.parent]))
    told = [*([cleared] if cleared else []), *notices(pages)]
    if is_pdf(path):
        from finishing.sheets.pdf import draw_pdf

        instead, told_rights = f"{what} as .png", rights or Rights()
        made = draw_pdf(
            pages,
            pictures,
            path,
            pixels_per_inch,
            title=title,
            author=told_rights.creator or "",
            readings=readings,
            instead=instead,
            xmp=document_xmp(title, told_rights, software=SOFTWARE, source=of),
        )
        return [made], told
    from finishing.sheets.drawing import draw_png, leftover_pages

    files = draw_png(pages, pictures, path, pixels_per_inch, readings, of)
    ours, others = leftover_pages(path, files)
    kept = {one.resolve() for one in originals}
    for old in ours:
        if old.resolve() not in kept:
            old.unlink()
            told.append(f"{old.name} was left over from an earlier {what} of another number of pages; it was removed")
    told += [f"{old.name} is not a page of this {what}, though its name looks so" for old in others]
    return files, told
