"""Makes one finished file once more, from its frame and from the recipe as it was then.

What is needed stands in the ledger beside the file, or, where `finishing apply` made it, in the file itself.
"""

import hashlib
import json
import os
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from finishing.batch.delivery.apply import finished_image
from finishing.batch.delivery.delivering import deliver, read_printer_profile
from finishing.batch.delivery.records import SOFTWARE
from finishing.batch.memory.earlier_files import KEPT
from finishing.batch.memory.inspection_words import made_words, short
from finishing.batch.memory.known_outputs import Known, find_known, made_later, same_file, session_folders
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.memory.making import correction_from
from finishing.batch.memory.originals import refuse_originals, refuse_what_is_not_ours
from finishing.batch.opening.opened import open_frame
from finishing.batch.opening.picture import reduced
from finishing.batch.work.assignment import FrameWork
from finishing.batch.work.blends import BlendWork
from finishing.batch.work.looks import vocabulary
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.photographs.finished import FinishedRecord, read_finished
from finishing.photographs.headers import read_header
from finishing.photographs.reading import read_xmp_packet
from finishing.photographs.writing import write_bytes
from finishing.recipes.reading import read_recipe_text
from finishing.recipes.recipe import Recipe
from finishing.sessions.blends import FrameBlend
from finishing.sessions.deliverables import SIZES, Deliverable
from finishing.sessions.folder import FramePath
from finishing.sessions.session import PerFrame

ANEW = "finish the session anew with `finishing run`"


@dataclass(frozen=True)
class MadeAgain:
    """path: where it is; source: the frame it was made from; look, version: of the recipe; same: whether it has the
    bytes of the first time; written: whether it was put there now, or was there already; notices: to be told."""

    path: Path
    source: Path
    look: str
    version: int
    same: bool
    written: bool
    notices: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "file": str(self.path),
            "source": str(self.source),
            "look": self.look,
            "version": self.version,
            "same_bytes": self.same,
            "written": self.written,
            "notices": list(self.notices),
        }


@dataclass(frozen=True)
class _Remade:
    """content: the file's bytes; source: the frame; look: the recipe; first: SHA-256 of the bytes of the first time,
    None where nobody kept it; software: what made them; originals: the files that it was made from."""

    content: bytes | memoryview
    source: Path
    look: Recipe
    first: str | None
    software: str
    notices: tuple[str, ...]
    originals: tuple[Path, ...]


def make_again(
    file: Path,
    *,
    out: Path | None = None,
    source: Path | None = None,
    ledger: Path | None = None,
    overwrite: bool = False,
    threads: int = 1,
) -> MadeAgain:
    """Make a finished file once more; without `out` at its own place, where it may be missing.

    source: the frame, or the session's folder, where they were moved. ledger: the folder of the ledger, where the file
    was taken away from it. A file that is there and differs is only written over with `overwrite`, and one that was
    not finished here not even then. Raises Problem or ProblemSet: nothing is written then.
    """
    began = time.perf_counter()
    target = Path(os.path.abspath(out or file))
    known = find_known(file, ledger)
    if known is not None:
        _refuse(target, {known.entry.output_hash}, known.place, overwrite=overwrite)
        remade = _from_ledger(known, source, threads)
    else:
        record = _record_of(file, ledger)
        _refuse(target, {hash_file(file)}, file, overwrite=overwrite)
        remade = _from_record(file, record, source, threads)
    refuse_originals(target, remade.originals)
    digest = hashlib.sha256(remade.content).hexdigest()
    before = hash_file(file) if remade.first is None else remade.first
    notices = list(remade.notices)
    if digest != before:
        notices.append(
            "the bytes are not those of the first time"
            + (f": {remade.software} made it then, {SOFTWARE} now" if remade.software != SOFTWARE else "")
            + (", or it was changed since" if remade.first is None else "")
        )
    elif remade.software != SOFTWARE:
        notices.append(f"{remade.software} made it then, {SOFTWARE} now")
    written = not (target.is_file() and hash_file(target) == digest)
    if written:
        _refuse(target, {digest}, file if known is None else known.place, overwrite=overwrite)
        write_bytes(target, remade.content)
    if known is not None and target == known.place:
        _enter(known, remade, digest, target, time.perf_counter() - began)
    return MadeAgain(
        Path(out or file),
        remade.source,
        remade.look.name,
        remade.look.version,
        digest == before,
        written,
        tuple(notices),
    )


def _refuse(target: Path, fine: set[str], own: Path, *, overwrite: bool) -> None:
    """A file that is there already, with another content than those that are fine, stays; with `overwrite` only one
    that was not finished here and is not in the file's own place. Raises Problem."""
    if not target.exists() or (target.is_file() and hash_file(target) in fine):
        return
    if overwrite:
        refuse_what_is_not_ours(target, [own])
        return
    raise Problem(
        "the file that is there is another one, or was changed after it was made",
        where=str(target),
        remedy="write elsewhere with --out, move it away, or write over it with --overwrite",
    )


def _from_ledger(known: Known, source: Path | None, threads: int) -> _Remade:
    entry, making = known.entry, known.making
    if making is None:
        raise Problem(
            "how this file was made was not kept: an earlier version of the program made it",
            where=entry.path,
            remedy=f"{ANEW}; where nothing has changed since, that also enters how it was made",
        )
    told = making.told
    folders = [source] if source is not None and source.is_dir() else session_folders(known)
    blend = None if told["blend"] is None else _blend(told["blend"], folders)
    if blend is not None:
        frame = blend.sources[0].path
    else:
        frames = [source] if source is not None and source.is_file() else [folder / entry.source for folder in folders]
        frame = same_file(
            frames, entry.source_hash, "the frame that it was made from",
            remedy="name it, or the session's folder, with --source",
        )  # fmt: skip

    def kept(one: Mapping[str, str], what: str) -> Path:
        return same_file([folder / one["file"] for folder in folders], one["hash"], what, remedy=ANEW)

    masks = {name: kept(one, f'the mask "{name}"') for name, one in told["masks"].items()}
    beside = [kept(one, f"the mask {Path(one['file']).name} of the recipe") for one in told["recipe_masks"]]
    profile_file = None if told["profile"] is None else kept(told["profile"], "the printer's profile")
    places = [folder / told["recipe_folder"] for folder in folders]
    home = next((place for place in places if all(mask.is_relative_to(place) for mask in beside)), places[0])
    look = _recipe(making.recipe, home / f"{entry.look}.yaml", json.loads(entry.settings), str(told["software"]))
    notices = (
        () if look.hash == entry.look_hash else (f"{SOFTWARE} reads the recipe otherwise than {told['software']}",)
    )
    work = FrameWork(
        frame=FramePath(entry.frame, frame, entry.source), header=None, setup=None, match=None,
        says=PerFrame.model_validate(told["says"]), rating=None, looks=(look,), outputs=(), mask_files=masks,
        correction=correction_from(told["correction"]), blend=blend,
    )  # fmt: skip
    deliverable = deliverable_of(told["deliverable"])
    width, height = told["size"]
    opened = open_frame(work, threads=threads)
    content = deliver(
        look.steps, reduced(opened.source, width, height), opened.geometry.resized(width, height), deliverable,
        profile=read_printer_profile(profile_file), exif=making.exif, xmp=making.xmp, paper=told.get("paper"),
        threads=threads,
    )  # fmt: skip
    sources = [frame] if blend is None else [source.path for source in blend.sources]
    others = [folder / name for folder in folders for name in known.frames]
    originals = (*sources, *masks.values(), *beside, *([profile_file] if profile_file else []), *others)
    return _Remade(content, frame, look, entry.output_hash, str(told["software"]), notices, originals)


def _blend(told: Mapping[str, Any], folders: list[Path]) -> BlendWork:
    """A blend as it was, its sources found unchanged. Raises Problem."""
    from finishing.batch.lighting.lighting_frames import Taken

    sources = [
        FramePath(
            Path(one["file"]).stem,
            same_file(
                [folder / one["file"] for folder in folders], one["hash"], f"the source {Path(one['file']).name}",
                remedy="name the session's folder with --source",
            ),
            one["file"],
        )
        for one in told["sources"]
    ]  # fmt: skip
    taken = [
        Taken(source.path, read_header(source.path), one["shutter"], one["strobes"], one["aperture"], one["iso"])
        for source, one in zip(sources, told["sources"], strict=True)
    ]
    dark = [one.path.stem for one in taken if not one.strobes]
    written = FrameBlend.model_validate(
        {
            "sources": [source.name for source in sources],
            **({"strobes_off": dark} if dark else {}),
            "light": told["light"],
            "white_balance": told["white_balance"],
        }
    )
    return BlendWork(written, tuple(sources), tuple(taken), None)


def deliverable_of(told: Mapping[str, Any]) -> Deliverable:
    """A deliverable from its plain values. The size that it asked for is left out: what came of it is kept beside."""
    asked = (*SIZES, "margin", "enlarge")
    return Deliverable.model_validate({k: v for k, v in told.items() if k not in asked and v is not None})


def _recipe(text: str, path: Path, settings: Mapping[str, Any], software: str) -> Recipe:
    try:
        return read_recipe_text(text, path, vocabulary(), settings)
    except (Problem, ProblemSet) as error:
        raise Problem(
            "this version of the program does not know the recipe as it was",
            where=path.stem,
            got=problems_of(error)[0].what,
            expected=f"a recipe of {software}",
            remedy=f"use {software}, or {ANEW}",
        ) from error
    except RecursionError as error:
        raise Problem(
            "the recipe as it was is no recipe",
            where=path.stem,
            got="brackets within brackets without end",
            remedy=ANEW,
        ) from error


def _record_of(file: Path, ledger: Path | None) -> FinishedRecord:
    """What a file that no ledger knows says of itself. Raises Problem where that is not enough."""
    if not file.exists():
        raise Problem(
            "there is no such file, and no ledger in a folder above it knows it",
            where=str(file),
            remedy="name the file as `finishing ledger DIR` lists it, below that folder",
        )
    record = read_finished(read_xmp_packet(file))
    if record is None:
        raise Problem(
            "this file does not say that it was finished here, and no ledger above it knows it",
            where=str(file),
            remedy="see with `finishing inspect` what it is",
        )
    if "RecipeText" not in record.values or "Delivered" not in record.values:
        later = made_later(file, ledger, record)
        if later is not None:
            raise Problem(
                "the recipe of this file is not in it",
                where=str(file),
                got=f"an earlier run made it, and the ledger has its record no more: {later.path} was "
                f"{made_words(later.made_at)}, from the same frame by another recipe of that name",
                expected=f"one of the last {KEPT} files of its place, as they were made",
                remedy="finish the frame anew with the recipe as it was then",
            )
        lost = (
            "this ledger does not know it: it was changed since, or is older than the last files of its place"
            if ledger
            else "it was taken away from its ledger"
        )
        raise Problem(
            "the recipe of this file is not in it",
            where=str(file),
            got=lost,
            expected="the ledger of the output folder it comes from",
            remedy="name the file there, or that folder with --ledger; or finish the frame anew",
        )
    return record


def _from_record(file: Path, record: FinishedRecord, source: Path | None, threads: int) -> _Remade:
    name = Path(record.source_name).name
    whole = Path(os.path.abspath(file))
    places = [place / name for place in whole.parents[:2] if place / name != whole]
    if source is not None:
        places = [source / name if source.is_dir() else source]
    frame = same_file(
        places, record.source_hash, "the frame that it was made from", remedy="name it with --source"
    )  # fmt: skip
    look = _recipe(
        record.values["RecipeText"],
        Path(f"{record.values.get('Recipe', 'recipe')}.yaml"),
        record.settings,
        record.software,
    )
    try:
        deliverable = Deliverable.model_validate(json.loads(record.values["Delivered"]))
    except (ValueError, RecursionError) as error:
        raise Problem(
            "this version of the program does not know this kind of file",
            where=str(file),
            got=short(record.values["Delivered"]),
            remedy=f"use {record.software}",
        ) from error
    subject = _subject(record.values.get("Subject"), file)
    content, notices = finished_image(look, frame, deliverable, subject=subject, name=name, threads=threads)
    return _Remade(content, frame, look, None, record.software, tuple(notices), (frame,))


def _subject(written: str | None, file: Path) -> tuple[float, float] | None:
    """The subject's place as a file tells it. Raises Problem for what is none."""
    if written is None:
        return None
    try:
        return PerFrame.model_validate({"subject": written.split(",")}).subject
    except ValueError as error:
        raise Problem(
            "this file tells no place of the subject that there can be",
            where=str(file),
            got=short(written),
            remedy="finish the image anew with `finishing apply` and --subject",
        ) from error


def _enter(known: Known, remade: _Remade, digest: str, target: Path, seconds: float) -> None:
    """The ledger learns of the file as it is now; also of an earlier one that has its place again."""
    stat = target.stat()
    entry = known.entry
    there = known.replaced_at is None
    if there and (entry.output_hash, entry.size, entry.modified_ns) == (digest, stat.st_size, stat.st_mtime_ns):
        return
    now = replace(
        entry, output_hash=digest, size=stat.st_size, modified_ns=stat.st_mtime_ns, seconds=round(seconds, 3),
        made_at=datetime.now(UTC).isoformat(timespec="seconds"),
    )  # fmt: skip
    with open_ledger(known.folder, create=False) as ledger:
        steps = "\n".join(step.describe() for step in remade.look.steps)
        ledger.write(now, steps, None if there else known.making)
