"""The pictures of a proof page: a frame in every look and without one, large and small, with whose they are."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from finishing.batch.delivery.delivering import deliver
from finishing.batch.delivery.records import SOFTWARE, rights_recorded
from finishing.batch.opening.opened import open_frame
from finishing.batch.opening.picture import fitted, reduced
from finishing.batch.work.assignment import FrameWork
from finishing.errors import Problem
from finishing.photographs import records
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.writing import write_bytes
from finishing.proofs.model import ProofFrame, ProofPicture
from finishing.recipes.recipe import Step
from finishing.sessions.deliverables import Deliverable, Mark
from finishing.sessions.session import Rights

PICTURES = "pictures"
#: The small pictures' long edge: sharp at the page's size on a wide or a fine screen, and some 30 kB each.
SMALL_EDGE = 480
#: Large pictures are judged, small ones only found.
QUALITY, SMALL_QUALITY = 86, 80
#: The mark lies softly over the picture, so that it can still be judged.
MARK_OPACITY = 0.3


@dataclass(frozen=True)
class Painted:
    """A frame with the looks that went well. failed: the others, by the look's name."""

    frame: ProofFrame
    failed: dict[str, Problem] = field(default_factory=dict)


class Painter:
    """Makes the pictures of one frame after another.

    folder: the page's; looks: their names in the page's order; long_edge: of the large pictures in pixels; mark: a text
    over every picture; rights: what every picture says of itself.
    """

    def __init__(self, folder: Path, looks: Sequence[str], long_edge: int, mark: str | None, rights: Rights) -> None:
        self._folder, self._long_edge = folder, long_edge
        self._order = {name: number for number, name in enumerate(looks, 1)}
        self._rights = rights_recorded(rights)
        over = Mark(text=mark, opacity=MARK_OPACITY) if mark else None
        self._large = Deliverable(format="jpeg", quality=QUALITY, mark=over)
        self._small = Deliverable(format="jpeg", quality=SMALL_QUALITY, subsampling="4:2:0", mark=over)

    def frame(self, number: int, frame: FrameWork) -> Painted:
        """number: from 1; the pictures are called by it, since a frame's name may not suit a web host.

        Raises Problem where the frame cannot be opened, or goes in none of its looks.
        """
        name = frame.frame.name
        if frame.header is not None and frame.header.refusal is not None:
            raise frame.header.refusal
        try:
            name.encode()
        except UnicodeEncodeError:
            raise Problem("the name of this file is not readable as text", remedy="rename the file") from None
        opened = open_frame(frame, self._long_edge)
        full, geometry = opened.source, opened.geometry
        sizes = [fitted(full.width, full.height, edge) for edge in (self._long_edge, min(SMALL_EDGE, self._long_edge))]
        sources = [reduced(full, *size) for size in sizes]
        origin = (frame.blend.sources[0] if frame.blend else frame.frame).path
        digest = _hash_of(origin)

        def picture(called: str, title: str, steps: Sequence[Step]) -> ProofPicture:
            files = f"{PICTURES}/{number:04}-{called}.jpg", f"{PICTURES}/{number:04}-{called}-small.jpg"
            for file, source, size, kind in zip(files, sources, sizes, (self._large, self._small), strict=True):
                exif, xmp = self._says(f"Proof: {name}, {title}", origin.name, digest, size)
                made = deliver(steps, source, geometry.resized(*size), kind, exif=exif, xmp=xmp)
                write_bytes(self._folder / file, made)
            return ProofPicture(files[0], *sizes[0], files[1], *sizes[1])

        made: dict[str, ProofPicture] = {}
        failed: dict[str, Problem] = {}
        for look in sorted(frame.looks, key=lambda one: self._order[one.name]):
            try:
                made[look.name] = picture(f"look{self._order[look.name]}", look.title, look.steps)
            except Problem as problem:
                failed[look.name] = problem
        if not made:
            raise next(iter(failed.values()))
        return Painted(ProofFrame(name, made, picture("original", "original", ())), failed)

    def _says(self, description: str, file: str, digest: str, size: tuple[int, int]) -> tuple[bytes, bytes]:
        """EXIF and XMP: whose a picture is and what it shows; nothing of camera, time or place."""
        record = records.FinishRecord(
            source=FrameMetadata(),
            source_name=file,
            source_hash=digest,
            width=size[0],
            height=size[1],
            colour_space="srgb",
            format="image/jpeg",
            software=SOFTWARE,
            rights=self._rights,
            description=description,
        )
        return records.output_metadata(record)


def _hash_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
