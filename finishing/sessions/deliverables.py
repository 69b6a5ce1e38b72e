"""What is delivered: one kind of output file each, and how its files are named."""

import re
from pathlib import PurePosixPath
from typing import Any

from finishing.documents import Document
from finishing.documents.fields import Text, choice, number, scalar, whole_number
from finishing.documents.reading import Model, nearest
from finishing.errors import Problem

FORMATS = {"jpeg": "jpg", "png": "png", "tiff": "tif"}
NAME_FIELDS = ("session", "deliverable", "look", "frame", "setup")


def _bits(value: object) -> int:
    if str(value).strip() not in {"8", "16"}:
        raise ValueError
    return int(str(value))


Format: Any = choice(*FORMATS)
LongEdge: Any = whole_number(16, 65000, "pixels")
Profile: Any = choice("srgb", "display_p3", "oprgb")
Quality: Any = whole_number(1, 100)
Subsampling: Any = choice("4:4:4", "4:2:0")
Sharpen: Any = choice("none", "screen", "print")
Bits: Any = scalar(_bits, int, "8 or 16", "8", unit="bits", schema={"enum": [8, 16]})
PixelsPerInch: Any = number(1, 4800, "pixels an inch", example="300")


class Deliverable(Model):
    """One kind of output file.

    long_edge: pixels, None for the frame's own; quality, subsampling: JPEG only; bits: a channel;
    name: where a file goes below the output folder, without its suffix (see `file_name`).
    `model_fields_set` tells what the user wrote from what is left to the defaults.
    """

    format: Format = "jpeg"
    long_edge: LongEdge | None = None
    profile: Profile = "srgb"
    quality: Quality = 92
    subsampling: Subsampling = "4:4:4"
    sharpen: Sharpen = "none"
    bits: Bits = 8
    pixels_per_inch: PixelsPerInch | None = None
    name: Text | None = None


def file_name(
    deliverable: Deliverable, *, session: str, name: str, look: str, frame: str, setup: str | None = None
) -> PurePosixPath:
    """Where an output goes, relative to the output folder, with its suffix.

    `<deliverable>/<look>/<frame>.<suffix>`, or the deliverable's own pattern, in which {session},
    {deliverable}, {look}, {frame} and {setup} are filled in ("no-setup" for a frame of none). A slash,
    a colon or the like within a filled-in value becomes a hyphen, so that values never make folders.
    """
    values = {
        "session": session,
        "deliverable": name,
        "look": look,
        "frame": frame,
        "setup": setup or "no-setup",
    }
    pattern = deliverable.name or "{deliverable}/{look}/{frame}"
    filled = re.sub(r"\{(\w+)\}", lambda found: safe_name(values[found.group(1)]), pattern)
    return PurePosixPath(f"{filled}.{FORMATS[deliverable.format]}")


def safe_name(text: str) -> str:
    """A text as one part of a path on any system: no separators, control characters or dots at its ends."""
    kept = re.sub(r'[\x00-\x1f/\\:*?"<>|]+', "-", text).strip(" .")
    return kept or "-"


def deliverable_problems(document: Document[Any], deliverables: dict[str, Deliverable]) -> list[Problem]:
    """Names that cannot be folders, patterns that cannot be filled in, settings that clash."""
    problems: list[Problem] = []
    lower: dict[str, str] = {}
    for name, deliverable in deliverables.items():
        key = document.tree.key_place(("deliverables", name))
        if safe_name(name) != name or name.startswith((".", "-")) or len(name) > 60:
            problems.append(
                Problem(
                    f'the deliverable "{name}" cannot be a folder of that name',
                    where=key,
                    got=name,
                    expected="a short name of letters, digits, spaces, - and _",
                    remedy="rename it: web, print or the like",
                )
            )
        elif name.lower() in lower:
            problems.append(
                Problem(
                    f'the deliverables "{lower[name.lower()]}" and "{name}" would share a folder',
                    where=key,
                    got=name,
                    expected="names that differ by more than capitals",
                    remedy="rename one of the two",
                )
            )
        lower.setdefault(name.lower(), name)
        if deliverable.bits == 16 and deliverable.format == "jpeg":
            problems.append(
                document.problem(
                    "a JPEG file has 8 bits a channel",
                    "deliverables", name, "bits",
                    remedy="write format: tiff (or png) for 16 bits, or leave bits out",
                )
            )  # fmt: skip
        if deliverable.name is not None:
            problems += _pattern_problems(document, name, deliverable.name)
    return problems


def _pattern_problems(document: Document[Any], name: str, pattern: str) -> list[Problem]:
    at = ("deliverables", name, "name")
    fields = re.findall(r"\{(\w*)\}", pattern)
    expected = "a pattern such as {look}/{frame}; known are " + ", ".join(f"{{{f}}}" for f in NAME_FIELDS)
    for field in fields:
        if field not in NAME_FIELDS:
            near = nearest(field, NAME_FIELDS)
            remedy = f"did you mean {{{near}}}?" if near else "use one of these"
            what = f"the name pattern has an unknown part {{{field}}}"
            return [document.problem(what, *at, expected=expected, remedy=remedy)]
    bare = re.sub(r"\{\w+\}", "x", pattern)
    if "{" in bare or "}" in bare:
        return [document.problem("the name pattern has a lone brace", *at, expected=expected, remedy="close it")]
    if any(safe_name(part) != part for part in bare.split("/")) or ".." in bare.split("/"):
        what = "the name pattern leaves the output folder, or no file can have such a name"
        return [document.problem(what, *at, expected=expected, remedy="use plain names, with / between folders")]
    if "frame" not in fields:
        what = "the name pattern gives every frame the same name"
        return [document.problem(what, *at, expected=expected, remedy=f"add {{frame}}: {pattern}-{{frame}}, say")]
    return []


def idle_settings(document: Document[Any], deliverables: dict[str, Deliverable]) -> list[Problem]:
    """Warnings: settings that do nothing for their format."""
    problems: list[Problem] = []
    for name, deliverable in deliverables.items():
        if deliverable.format != "jpeg":
            problems += [
                document.problem(
                    f'"{key}" means nothing for {deliverable.format} files',
                    "deliverables", name, key,
                    remedy="leave it out",
                )
                for key in sorted({"quality", "subsampling"} & deliverable.model_fields_set)
            ]  # fmt: skip
    return problems
