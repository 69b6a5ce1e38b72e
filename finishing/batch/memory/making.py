"""What is kept of how an output was made, so that it can be made once more when recipe and session have moved on."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from finishing.batch.delivery.finishing_frames import Task
from finishing.batch.memory.ledger import Making, hash_file
from finishing.batch.memory.owners import told_of
from finishing.batch.work.assignment import FrameWork
from finishing.batch.work.blends import BlendWork
from finishing.evenness.correction import Correction
from finishing.recipes.writing import recipe_text
from finishing.sessions.session import Session


def making_of(work: FrameWork, task: Task, of: Session, folder: Path) -> Making:
    """All that went into an output beside its frame's pixels. of: its session; folder: the ledger's.

    Paths are kept from the session's folder where they lie in it.
    """
    output, session = task.output, of.folder.resolve()
    told = task.told
    masks = {
        name: {"file": _from(session, work.mask_files[name]), "hash": digest} for name, digest in told["masks"].items()
    }
    profile = output.profile_file
    facts: dict[str, Any] = {
        "software": told["software"],
        "session": told_of(of, folder),
        "recipe_folder": _from(session, output.look.path.parent),
        "recipe_masks": files_of(output.look.mask_paths, session),
        "deliverable": told["deliverable"],
        "size": told["size"],
        "paper": told.get("paper"),
        "says": work.says.model_dump(mode="json", include={"subject", "straighten", "crop"}, exclude_none=True),
        "masks": masks,
        "correction": told.get("correction"),
        "profile": None if profile is None else {"file": _from(session, profile), "hash": told["profile"]},
        "blend": None if work.blend is None else _blend(work.blend, told["blend"]),
    }
    return Making(recipe_text(output.look), facts, task.exif, task.xmp)


def correction_from(told: Mapping[str, Any] | None) -> Correction:
    """A correction from its plain values; one that changes nothing from None."""
    if told is None:
        return Correction()
    rows = None if told["matrix"] is None else tuple(tuple(row) for row in told["matrix"])
    return Correction(told["stops"], rows, told["white"] or "")


def _blend(blend: BlendWork, told: Mapping[str, Any]) -> dict[str, Any]:
    """A blend's sources with exposures and hashes, and what is done to their light."""
    return {
        "sources": [
            {
                "file": source.relative, "hash": one["hash"], "shutter": taken.shutter, "strobes": taken.strobes,
                "aperture": taken.aperture, "iso": taken.iso,
            }
            for source, taken, one in zip(blend.sources, blend.taken, told["sources"], strict=True)
        ],
        "light": told["light"],
        "white_balance": {key: value for key, value in told["white_balance"].items() if value is not None},
    }  # fmt: skip


def files_of(paths: Sequence[Path], session: Path) -> list[dict[str, str]]:
    """Files with their hashes, in the same order."""
    return [{"file": _from(session, path), "hash": hash_file(path)} for path in paths]


def _from(session: Path, path: Path) -> str:
    """A path from the session's folder where it lies in it, else whole."""
    whole = path.resolve()
    return whole.relative_to(session).as_posix() if whole.is_relative_to(session) else str(whole)
