"""What a picture tells of itself: how a finished one was made, or what is seen of a frame, in plain words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from finishing import units
from finishing.batch.delivery.print_sizes import lengths_words, size_words
from finishing.batch.memory.inspection_words import (
    CHANGED,
    GONE,
    NOT_FOUND,
    THERE,
    UNREADABLE,
    blend_words,
    camera,
    camera_against_plan,
    evening_words,
    look_words,
    made_words,
    plain,
    planned_words,
    setting_words,
    short,
    source_words,
    step_words,
    strobe_words,
    wrapped,
)  # fmt: skip
from finishing.batch.memory.known_outputs import Known, find_known, hash_or_none, is_file, session_folders
from finishing.batch.memory.ledger import FILE_NAME, hash_file
from finishing.documents.flow import flow
from finishing.errors import Problem
from finishing.photographs.containers import Container, FileWindow, scan, unreadable
from finishing.photographs.finished import FinishedRecord, read_finished
from finishing.photographs.headers import Header, read_header
from finishing.photographs.metadata import FrameMetadata
from finishing.photographs.xmp import StatedRights
from finishing.sessions.deliverables import Deliverable, PrintSize

_FORMATS = {"jpeg": "JPEG", "png": "PNG", "tiff": "TIFF", "webp": "WebP", "avif": "AVIF", "heif": "HEIC", "raw": "raw"}
#: What must be done to a picture of each EXIF orientation for it to stand upright (CIPA DC-008, 4.6.5.1).
_TURNED = {
    2: "mirrored", 3: "turned by 180°", 4: "mirrored and turned by 180°", 5: "mirrored and turned anticlockwise",
    6: "turned clockwise", 7: "mirrored and turned clockwise", 8: "turned anticlockwise",
}  # fmt: skip
#: In what state the file itself is, against its ledger.
AS_MADE, UNKNOWN = "as made", "unknown"


@dataclass(frozen=True)
class Inspection:
    """kind: "finished" or "frame"; facts: label and text, in their order, for people; told: plain values for `--json`;
    notices: what is broken or was assumed."""

    path: Path
    kind: str
    facts: tuple[tuple[str, str], ...]
    told: Mapping[str, Any]
    notices: tuple[str, ...] = field(default=())

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {"file": str(self.path), "kind": self.kind, **self.told, "notices": list(self.notices)}

    def lines(self, columns: int | None = None) -> list[str]:
        """As the command prints it. columns: of the terminal, into which long lines are broken."""
        what = "a finished picture" if self.kind == "finished" else "a frame, as it is seen here"
        width = max(len(label) for label, _ in self.facts) + 2
        told = [(f"    {label + ':' if label else '':<{width}}", text) for label, text in self.facts]
        told += [("    to know: ", notice) for notice in self.notices]
        lines = [line for label, text in told for line in wrapped(label, text, columns)]
        return [plain(f"{self.path}: {what}"), *lines]  # texts out of files reach a terminal


def inspect(path: Path, *, ledger: Path | None = None) -> Inspection:
    """What a file is and how it came to be. ledger: the folder of the ledger that knows it, where the file was taken
    away from it. Raises Problem for what is no picture, or a damaged one."""
    if path.suffix.lower() in (".yaml", ".yml") or path.name == FILE_NAME:
        remedy = f"finishing ledger {path.parent}" if path.name == FILE_NAME else f"finishing check {path}"
        raise Problem("this is no picture", where=str(path), remedy=remedy)
    try:
        with path.open("rb") as stream:
            container = scan(FileWindow(stream), str(path))
    except OSError as error:
        raise unreadable(error, str(path)) from error
    header = read_header(path)
    if header.refusal is not None:
        raise header.refusal.at(str(path))
    record = read_finished(container.xmp)
    return _frame(path, header, container) if record is None else _finished(path, header, container, record, ledger)


def _finished(
    path: Path, header: Header, container: Container, record: FinishedRecord, ledger: Path | None
) -> Inspection:
    known = find_known(path, ledger)
    values = record.values
    state = UNKNOWN if known is None else (AS_MADE if hash_file(path) == known.entry.output_hash else CHANGED)
    sources = _sources(path, record, known)
    facts = [
        ("file", _file_words(header, container)),
        ("look", look_words(record)),
        ("settings", setting_words(record.settings)),
        (
            "subject",
            f"about {short(values['Subject'])}, in fractions of the width and height" if "Subject" in values else "",
        ),
        *_listed("made from", source_words(sources)),
        ("blend", blend_words(record)),
        ("set-up", ", ".join(short(text) for text in (values.get("Setup"), values.get("SetupTitle")) if text)),
        ("planned", planned_words(values)),
        *_listed("heads by the plan", strobe_words(record)),
        *camera(header.metadata, planned_heads=_planned_heads(record)),
        ("camera", camera_against_plan(values)),
        ("kept of it", _framing_words(known)),
        ("evened out", evening_words(values)),
        *_rights_and_rating(header.metadata),
        ("deliverable", _deliverable_words(known, record)),
        *_listed("steps", step_words(record.done, _recipe_kept(record, known))),
        ("ledger", _ledger_words(known, state, named=ledger is not None)),
    ]
    told = {
        **_file_facts(header, container),
        "look": {
            "name": values.get("Recipe"), "title": values.get("RecipeTitle"), "version": values.get("RecipeVersion"),
            "hash": values.get("RecipeHash"), "settings": record.settings, "steps": record.done,
        },
        "sources": sources,
        "record": {key: value for key, value in values.items() if key != "RecipeText"},
        **{_snake(name): [dict(item) for item in items] for name, items in record.lists.items()},
        "software": record.software,
        "kept": _framing(known),
        "deliverable": _deliverable(known),
        "ledger": None if known is None else {"file": str(known.folder / FILE_NAME), **known.entry.as_json()},
        "state": state,
        "can_be_made_again": "RecipeText" in values or (known is not None and known.making is not None),
        **_camera_facts(header.metadata),
        **({"strobe_fired": None} if _planned_heads(record) else {}),
    }  # fmt: skip
    return Inspection(path, "finished", tuple(fact for fact in facts if fact[1]), told, header.notices)


def _recipe_kept(record: FinishedRecord, known: Known | None) -> str | None:
    """The text of the recipe, from the ledger or out of the file itself."""
    return known.making.recipe if known is not None and known.making is not None else record.values.get("RecipeText")


def _planned_heads(record: FinishedRecord) -> bool:
    """Whether the file's flash entry is the plan's: written as fired for a set-up with strobes."""
    return bool(record.lists.get("Strobes"))


def _frame(path: Path, header: Header, container: Container) -> Inspection:
    profile, notices = _profile_of_frame(container, header)
    metadata = header.metadata
    facts = [
        ("file", _file_words(header, container, profile)),
        ("upright", f"{_TURNED[metadata.orientation]}, as its orientation asks" if metadata.orientation != 1 else ""),
        *camera(metadata),
        *_rights_and_rating(metadata),
    ]
    told = {
        **_file_facts(header, container),
        "profile": profile,
        "orientation": metadata.orientation,
        **_camera_facts(metadata),
    }
    found = tuple(dict.fromkeys((*header.notices, *notices)))
    return Inspection(path, "frame", tuple(fact for fact in facts if fact[1]), told, found)


def _profile_of_frame(container: Container, header: Header) -> tuple[str, list[str]]:
    """What its codes are taken for, and what had to be assumed. Raises Problem where its profile is damaged."""
    if container.format == "raw":
        return "the sensor's own colours", []
    if container.floating and container.icc is None:
        return "linear light", []
    from finishing.photographs.encoding import find_encoding

    encoding, notices = find_encoding(container, header.metadata, header.path.name)
    return encoding.description, notices


def _profile_of_finished(container: Container) -> str:
    from finishing.colour.icc import read_profile

    try:
        return "no profile" if container.icc is None else read_profile(container.icc).description
    except ValueError:
        return "a damaged profile"


def _listed(label: str, lines: Iterable[str]) -> list[tuple[str, str]]:
    """Several lines, the label before the first one."""
    return [(label if index == 0 else "", line) for index, line in enumerate(lines)]


def _file_words(header: Header, container: Container, profile: str | None = None) -> str:
    size = f"{header.width} × {header.height} pixels"
    bits = f"{container.bits} bits" + (", floating point" if container.floating else "")
    return f"{_FORMATS[container.format]}, {size}, {bits}, {profile or _profile_of_finished(container)}"


def _file_facts(header: Header, container: Container) -> dict[str, Any]:
    return {
        "format": container.format, "width": header.width, "height": header.height, "bits": container.bits,
        "floating": container.floating, "profile": _profile_of_finished(container),
    }  # fmt: skip


def _sources(path: Path, record: FinishedRecord, known: Known | None) -> list[dict[str, Any]]:
    """Each frame that it was made from: its name, SHA-256, where it is and whether it is unchanged."""
    blend = known.making.told["blend"] if known is not None and known.making is not None else None
    if blend is not None:
        wanted = [(one["file"], one["hash"]) for one in blend["sources"]]
    elif record.lists.get("BlendSources"):
        wanted = [(one.get("File", ""), "") for one in record.lists["BlendSources"]]
        wanted[0] = (wanted[0][0], record.source_hash)
    else:
        wanted = [(record.source_name if known is None else known.entry.source, record.source_hash)]
    folders = session_folders(known) if known is not None else list(path.resolve().parents[:2])
    return [_source(name, digest, folders, path, sure=known is not None) for name, digest in wanted]


def _source(name: str, digest: str, folders: Iterable[Path], path: Path, *, sure: bool) -> dict[str, Any]:
    places = [folder / (name if sure else Path(name).name) for folder in folders]
    there = [place for place in places if is_file(place) and place.resolve() != path.resolve()]
    hashes = [hash_or_none(place) for place in there] if digest else []
    same = next((place for place, found in zip(there, hashes, strict=bool(digest)) if found == digest), None)
    if same is not None:
        state = THERE
    elif sure and hashes and hashes[0] is None:
        state = UNREADABLE
    elif there and digest:
        state = CHANGED if sure else NOT_FOUND
    else:
        state = GONE if sure else NOT_FOUND
    found = same or (there[0] if there and sure else None)
    return {"name": name, "hash": digest or None, "state": state, "file": None if found is None else str(found)}


def _camera_facts(metadata: FrameMetadata) -> dict[str, Any]:
    return {
        "exposure_seconds": metadata.exposure_seconds, "f_number": metadata.f_number, "iso": metadata.iso,
        "exposure_bias_stops": metadata.exposure_bias_stops, "strobe_fired": metadata.flash_fired,
        "captured": None if metadata.captured is None else metadata.captured.isoformat(),
        "utc_offset_seconds": metadata.utc_offset_seconds,
        "camera": [metadata.make, metadata.model], "lens": metadata.lens, "focal_length_mm": metadata.focal_length_mm,
        "latitude": metadata.latitude, "longitude": metadata.longitude, "rating": metadata.rating,
        "rights": _rights_facts(metadata.rights),
    }  # fmt: skip


def _rights_facts(rights: StatedRights) -> dict[str, str | None]:
    return {
        "creator": rights.creator, "copyright": rights.copyright, "usage": rights.usage, "contact": rights.contact
    }  # fmt: skip


def _rights_and_rating(metadata: FrameMetadata) -> list[tuple[str, str]]:
    rights = " · ".join(short(value) for value in _rights_facts(metadata.rights).values() if value)
    return [("rights", rights), ("rating", "" if metadata.rating is None else str(metadata.rating))]


def _framing(known: Known | None) -> dict[str, Any] | None:
    """Straightening and crop, where the ledger has them."""
    if known is None or known.making is None:
        return None
    says = known.making.told["says"]
    return {"straighten": says.get("straighten"), "crop": says.get("crop")}


def _framing_words(known: Known | None) -> str:
    framing = _framing(known)
    if framing is None:
        return ""
    told = []
    if framing["straighten"]:
        degrees = framing["straighten"]
        told.append(f"straightened by {units.format_number(abs(degrees))}° {'anti' if degrees < 0 else ''}clockwise")
    crop = framing["crop"] or {}
    if "aspect" in crop:
        told.append(f"cropped to width : height {units.format_number(crop['aspect'], 3)} : 1")
    if "box" in crop:
        told.append("cropped to left {}, top {}, right {}, bottom {}".format(*map(units.format_number, crop["box"])))
    return ", ".join(told)


def _deliverable(known: Known | None) -> dict[str, Any] | None:
    if known is not None and known.making is not None:
        usual = Deliverable().model_dump(mode="json")
        told = known.making.told["deliverable"]
        asked = {key: value for key, value in told.items() if key == "format" or value != usual.get(key)}
        return {"name": known.entry.deliverable, **asked}
    if known is not None:
        return {"name": known.entry.deliverable}
    return None


def _deliverable_words(known: Known | None, record: FinishedRecord) -> str:
    told = _deliverable(known)
    if told is not None:
        rest = ", ".join(f"{key}: {_as_written(key, value)}" for key, value in told.items() if key != "name")
        return f"{told['name']} ({rest})" if rest else str(told["name"])
    return "made by `finishing apply`, without a session" if "Delivered" in record.values else ""


def _as_written(key: str, value: Any) -> str:
    """A deliverable's value as a session has it: lengths on paper with their unit."""
    if key == "print_size":
        return size_words(PrintSize(**value))
    return lengths_words(value) if key == "margin" else flow(value)


def _ledger_words(known: Known | None, state: str, *, named: bool) -> str:
    if known is None:
        return "this ledger does not know this file" if named else "none in a folder above knows this file"
    told = f"{known.folder / FILE_NAME} knows it: "
    made = made_words(known.entry.made_at)
    told += f"as it was {made}" if state == AS_MADE else f"it was changed after it was {made}"
    told += f", there called {known.entry.path}" if known.renamed else ""
    if known.replaced_at is not None:
        told += f"; a later run made another in its place, {made_words(known.replaced_at).removeprefix('made ')}"
    return told


def _snake(name: str) -> str:
    return "".join(f"_{letter.lower()}" if letter.isupper() else letter for letter in name).lstrip("_")
