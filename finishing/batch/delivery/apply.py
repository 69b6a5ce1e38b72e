"""One recipe on loose images, without a session."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from finishing.batch.delivery.delivering import deliver
from finishing.batch.delivery.records import loose_record
from finishing.batch.delivery.targets import refuse_targets
from finishing.batch.memory.ledger import hash_file
from finishing.batch.opening.picture import exact_source_of
from finishing.batch.work.loose_images import refuse_what_an_image_lacks
from finishing.errors import Problem, fault_of_the_program
from finishing.operation import Geometry
from finishing.part_files import clear_left
from finishing.photographs.reading import read_photograph
from finishing.photographs.records import output_metadata
from finishing.photographs.writing import write_bytes
from finishing.recipes.recipe import Recipe
from finishing.sessions.deliverables import FORMATS, Deliverable

Kind = Literal["jpeg", "png", "tiff", "webp", "avif"]
SUFFIXES = {kind: f".{ending}" for kind, ending in FORMATS.items()}


@dataclass
class ApplyReport:
    """written: output by image; failed: problem by image; notices: what reading had to say, by image; cleared:
    unfinished files of runs that were cut off, deleted."""

    written: dict[str, Path] = field(default_factory=dict)
    failed: dict[str, Problem] = field(default_factory=dict)
    notices: dict[str, list[str]] = field(default_factory=dict)
    cleared: list[Path] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "written": [{"image": name, "output": str(path)} for name, path in self.written.items()],
            "failed": [{"image": name, **problem.as_dict()} for name, problem in self.failed.items()],
            "notices": [{"image": name, "notices": told} for name, told in self.notices.items()],
            "cleared": [str(path) for path in self.cleared],
        }


def apply(
    look: Recipe,
    images: Sequence[Path],
    folder: Path | None,
    *,
    subject: tuple[float, float] | None = None,
    kind: Kind = "jpeg",
    quality: int = 92,
    bits: int = 8,
    jobs: int | None = None,
    again: bool = False,
    progress: Callable[[Path, Problem | None], None] = lambda image, problem: None,
) -> ApplyReport:
    """Finish images at full size, in sRGB. folder: None puts each beside its original, with the look in its name.

    subject: its place in all of them, in fractions of width and height. bits: 8, or 16 for PNG and TIFF. Raises
    ProblemSet before anything is started where two outputs would have one name or one exists already, or where the look
    asks for what images do not tell, and Problem where the format has no 16 bits.
    """
    refuse_what_an_image_lacks([look], subject)
    if bits == 16 and kind not in ("png", "tiff"):
        raise Problem(f"{kind} files have 8 bits a channel", got="16 bits", remedy="choose --format tiff or png")
    targets = {image: _target(image, look, folder, kind) for image in images}
    refuse_targets(targets, what="output", option="--out", act="finish", again=again)
    report = ApplyReport(cleared=clear_left(target.parent for target in targets.values()))
    workers = max(1, min(jobs or os.cpu_count() or 1, len(images)))
    threads = max(1, (jobs or os.cpu_count() or 1) // workers)

    def finish(image: Path) -> list[str]:
        deliverable = Deliverable(format=kind, quality=quality, bits=bits)
        content, notices = finished_image(look, image, deliverable, subject=subject, threads=threads)
        write_bytes(targets[image], content)
        return notices

    def guarded(image: Path) -> list[str] | Problem:
        try:
            return finish(image)
        except Problem as problem:
            return problem
        except OSError as error:
            return Problem("the image cannot be read", where=str(image), got=error.strerror or str(error))
        except Exception as error:
            return fault_of_the_program(image.name, error)

    with ThreadPoolExecutor(workers) as pool:
        for image, result in zip(images, pool.map(guarded, images), strict=True):
            if isinstance(result, Problem):
                report.failed[str(image)] = result
                progress(image, result)
                continue
            report.written[str(image)] = targets[image]
            if result:
                report.notices[str(image)] = result
            progress(image, None)
    return report


def finished_image(
    look: Recipe,
    image: Path,
    deliverable: Deliverable,
    *,
    subject: tuple[float, float] | None = None,
    name: str | None = None,
    threads: int = 1,
) -> tuple[bytes | memoryview, list[str]]:
    """The file of one image in a look, at full size, and what reading the image had to say. subject: its place in
    fractions; name: what the image was called, where it is called otherwise now. Raises Problem."""
    photograph = read_photograph(image)
    height, width = photograph.codes.shape[:2]
    record = loose_record(
        look, photograph.metadata, name or image.name, hash_file(image), width, height, deliverable, subject
    )
    exif, xmp = output_metadata(record)
    content = deliver(
        look.steps, exact_source_of(photograph), Geometry(width, height, subject), deliverable, exif=exif, xmp=xmp,
        into=photograph.codes, threads=threads,
    )  # fmt: skip
    return content, photograph.notices


def _target(image: Path, look: Recipe, folder: Path | None, kind: str) -> Path:
    if folder is not None:
        return folder / f"{image.stem}{SUFFIXES[kind]}"
    return image.with_name(f"{image.stem}-{look.name}{SUFFIXES[kind]}")
