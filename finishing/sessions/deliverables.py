"""What is delivered: one kind of output file each, and how its files are named."""

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath
from typing import Annotated, Any, Literal

from finishing.documents import Document
from finishing.documents.fields import Flag, Text, choice, number, numbers, scalar, whole_number
from finishing.documents.names import nearest
from finishing.documents.reading import Model
from finishing.documents.tree import Path_
from finishing.errors import Problem
from finishing.sessions.file_names import as_disks_compare
from finishing.sessions.folder import inside_file

FORMATS = {"jpeg": "jpg", "png": "png", "tiff": "tif", "webp": "webp", "avif": "avif"}
NAME_FIELDS = ("session", "deliverable", "look", "frame", "setup", "number")
PROFILES = ("srgb", "display_p3", "oprgb", "linear")
#: What limits the size; a deliverable has one of them at most.
SIZES = ("long_edge", "short_edge", "megapixels", "box", "print_size")
#: What means something for some formats only.
_ONLY_FOR = {
    "quality": ("jpeg", "webp", "avif"),
    "subsampling": ("jpeg", "avif"),
    "progressive": ("jpeg",),
    "at_most": ("jpeg", "webp", "avif"),
    "compression": ("tiff",),
}
MM_PER_INCH = 25.4
#: A print is no smaller than this.
LEAST_INCHES = 0.4
_PART = r"\{(session|deliverable|look|frame|setup|number)(?:(?<=number):0?(\d))?\}"


@dataclass(frozen=True)
class PrintSize:
    """A size on paper in inches, the longer side first; one side alone leaves the other to the frame."""

    long_inches: float
    short_inches: float | None = None


def _bits(value: object) -> int:
    if str(value).strip() not in {"8", "16"}:
        raise ValueError
    return int(str(value))


def _profile(value: object) -> str:
    if not isinstance(value, str) or (value not in PROFILES and not is_profile_file(value)):
        raise ValueError
    return value


def is_profile_file(profile: str) -> bool:
    """Whether a deliverable's profile is a file of its own rather than one of the known spaces."""
    return profile.lower().endswith((".icc", ".icm"))


def _byte_limit(value: object) -> int:
    """Bytes from `2 MB`, `800 kB` or `1.5 MB` (of 1000 each), `2 MiB` (of 1024 each), or a bare number of bytes."""
    found = re.fullmatch(r"(\d+\.?\d*)\s*(|B|kB|KB|MB|KiB|MiB)", str(value).strip())
    if not found:
        raise ValueError
    factor = {"kB": 1e3, "KB": 1e3, "MB": 1e6, "KiB": 1024, "MiB": 1024**2}.get(found.group(2), 1)
    count = int(float(found.group(1)) * factor)
    if not 1000 <= count <= 1e9:
        raise ValueError
    return count


def _print_size(value: object) -> PrintSize:
    if isinstance(value, PrintSize):
        return value
    parts = [str(part) for part in value] if isinstance(value, list | tuple) else re.split(r"[x×]", str(value))
    found = [re.fullmatch(r"\s*(\d+\.?\d*)\s*(cm|mm|inch|in)?\s*", part) for part in parts]
    if not 1 <= len(found) <= 2 or not all(found):
        raise ValueError
    units = [one.group(2) for one in found if one]
    if units[-1] is None:
        raise ValueError
    inches = sorted(
        (float(one.group(1)) / {"cm": MM_PER_INCH / 10, "mm": MM_PER_INCH}.get(unit or units[-1], 1.0)
         for one, unit in zip(found, units, strict=True) if one),
        reverse=True,
    )  # fmt: skip
    if not all(LEAST_INCHES <= side <= 400 for side in inches):
        raise ValueError
    return PrintSize(inches[0], inches[1] if len(inches) == 2 else None)


def _length(value: object) -> float:
    """Inches from `2 cm`, `20 mm` or `0.8 inch`; a bare 0 needs no unit."""
    found = re.fullmatch(r"\s*(\d+\.?\d*)\s*(cm|mm|inch|in)?\s*", str(value))
    if not found or (found.group(2) is None and float(found.group(1)) != 0):
        raise ValueError
    return float(found.group(1)) / {"cm": MM_PER_INCH / 10, "mm": MM_PER_INCH}.get(found.group(2), 1.0)


EXPECTED_PRINT = 'a size on paper with its unit: 30 cm (the long side), "30 x 20 cm", [12 inch, 8 inch]'
EXPECTED_PROFILE = "one of " + ", ".join(PROFILES) + ", or a printer's own profile: a path that ends in .icc or .icm"
_ON_PAPER = {"type": ["string", "array"], "items": {"type": "string"}, "description": EXPECTED_PRINT}

Format = Annotated[Literal["jpeg", "png", "tiff", "webp", "avif"], choice(*FORMATS)]
Edge = Annotated[int, whole_number(16, 65000, "pixels", example="2048")]
Megapixels = Annotated[float, number(0.01, 1000, "million pixels", example="2")]
PixelBox = Annotated[
    tuple[float, ...], numbers(2, 16, 65000, "a box [width, height] in pixels, 16 to 65000", "[1920, 1080]")
]
OnPaper = Annotated[PrintSize, scalar(_print_size, EXPECTED_PRINT, "30 x 20 cm", schema=_ON_PAPER)]
Margin = Annotated[
    float, scalar(_length, "a length on paper with its unit: 2 cm, 15 mm, 0.8 inch; or 0", "2 cm", unit="inches")
]
Profile = Annotated[str, scalar(_profile, EXPECTED_PROFILE, "srgb", schema={"type": "string"}, choices=PROFILES)]
Intent = Annotated[
    Literal["relative", "perceptual", "saturation", "absolute"],
    choice("relative", "perceptual", "saturation", "absolute"),
]
Quality = Annotated[int, whole_number(1, 100, example="90")]
Subsampling = Annotated[Literal["4:4:4", "4:2:0"], choice("4:4:4", "4:2:0")]
ByteLimit = Annotated[int, scalar(_byte_limit, "a number of bytes such as 2 MB or 800 kB", "2 MB", unit="bytes")]
Compression = Annotated[Literal["lzw", "deflate", "none"], choice("lzw", "deflate", "none")]
Sharpen = Annotated[Literal["none", "screen", "print"], choice("none", "screen", "print")]
Bits = Annotated[int, scalar(_bits, "8 or 16", "8", unit="bits", schema={"enum": [8, 16]}, choices=("8", "16"))]
PixelsPerInch = Annotated[float, number(1, 4800, "pixels an inch", example="300")]
Location = Annotated[str, choice("keep", "remove")]
MarkPlace = Annotated[str, choice("centre", "top_left", "top_right", "bottom_left", "bottom_right", "top", "bottom")]
Opacity = Annotated[float, number(0.02, 1, example="0.4")]
MarkSize = Annotated[float, number(0.005, 0.5, "of the long edge", example="0.06")]


class Mark(Model):
    """A text over the picture, for proofs. size: height of its letters as a fraction of the long edge; opacity: 1
    covers what is below."""

    text: Text
    place: MarkPlace = "centre"
    opacity: Opacity = 0.4
    size: MarkSize = 0.06


class Deliverable(Model):
    """One kind of output file.

    Size, one of these at most, none for the frame's own: long_edge, short_edge, megapixels, box (fits within, as it
    stands), print_size (on paper, at pixels_per_inch; turns with the frame). margin: white paper around a print, in
    inches; the file is then the whole sheet of print_size. enlarge: a frame that is smaller is made larger, which never
    happens otherwise. profile: a known space, or a file in the session's folder, into which littleCMS carries the
    picture with `intent` and `black_point` compensation. quality, at_most (bytes of a file): JPEG, WebP, AVIF;
    subsampling: JPEG, AVIF; progressive: JPEG; compression: TIFF. bits: a channel. sharpen: for the output, at its
    size. dither: noise of a code against steps, 8 bits only. location: whether GPS stays in the record. mark: a text
    for proofs. name: where a file goes below the output folder, without its suffix (see `file_name`).
    `model_fields_set` tells what the user wrote from what is left to the defaults.
    """

    format: Format = "jpeg"
    long_edge: Edge | None = None
    short_edge: Edge | None = None
    megapixels: Megapixels | None = None
    box: PixelBox | None = None
    print_size: OnPaper | None = None
    margin: Margin | None = None
    enlarge: Flag = False
    profile: Profile = "srgb"
    intent: Intent = "relative"
    black_point: Flag = True
    quality: Quality = 92
    subsampling: Subsampling = "4:4:4"
    progressive: Flag = False
    at_most: ByteLimit | None = None
    compression: Compression = "lzw"
    sharpen: Sharpen = "none"
    dither: Flag = False
    bits: Bits = 8
    pixels_per_inch: PixelsPerInch | None = None
    location: Location = "keep"
    mark: Mark | None = None
    name: Text | None = None


def file_name(
    deliverable: Deliverable,
    *,
    session: str,
    name: str,
    look: str,
    frame: str,
    setup: str | None = None,
    number: int | None = None,
) -> PurePosixPath:
    """Where an output goes, relative to the output folder, with its suffix.

    `<deliverable>/<look>/<frame>.<suffix>`, or the deliverable's own pattern, in which {session}, {deliverable},
    {look}, {frame} and {setup} are filled in ("no-setup" for a frame of none), and {number}, which counts the session's
    frames from 1; {number:03} is three digits wide. A slash, a colon or the like within a filled-in value becomes a
    hyphen, so that values never make folders.
    """
    values = {
        "session": session,
        "deliverable": name,
        "look": look,
        "frame": frame,
        "setup": setup or "no-setup",
    }
    pattern = deliverable.name or "{deliverable}/{look}/{frame}"

    def fill(found: re.Match[str]) -> str:
        if found.group(1) == "number":
            return f"{1 if number is None else number:0{int(found.group(2) or 1)}}"
        return safe_name(values[found.group(1)])

    filled = re.sub(_PART, fill, pattern)
    return PurePosixPath(f"{filled}.{FORMATS[deliverable.format]}")


def safe_name(text: str) -> str:
    """A text as one part of a path on any system: no separators, control characters or dots at its ends."""
    kept = re.sub(r'[\x00-\x1f/\\:*?"<>|]+', "-", text).strip(" .")
    return kept or "-"


def deliverable_problems(
    document: Document[Any], deliverables: dict[str, Deliverable], faulty: Collection[Path_] = ()
) -> list[Problem]:
    """Names that cannot be folders, patterns that cannot be filled in, settings that clash. faulty: where settings
    cannot be read, which are told already and clash with none."""
    problems: list[Problem] = []
    seen: dict[str, str] = {}
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
        elif as_disks_compare(name) in seen:
            problems.append(
                Problem(
                    f'the deliverables "{seen[as_disks_compare(name)]}" and "{name}" would share a folder',
                    where=key,
                    got=name,
                    expected="names that differ by more than capitals or how an accent is written",
                    remedy="rename one of the two",
                )
            )
        seen.setdefault(as_disks_compare(name), name)
        unread = {str(path[2]) for path in faulty if path[:2] == ("deliverables", name) and len(path) > 2}
        clashes = _clashes(document, name, deliverable)
        problems += [problem for keys, problem in clashes if not unread & set(keys)]
        if deliverable.name is not None:
            problems += _pattern_problems(document, name, deliverable.name)
    return problems


def _clashes(document: Document[Any], name: str, deliverable: Deliverable) -> Iterator[tuple[Sequence[str], Problem]]:
    """Settings of one deliverable that cannot hold together, each with the keys that it comes from."""
    at = ("deliverables", name)

    def clash(keys: Sequence[str], what: str, key: str, remedy: str) -> tuple[Sequence[str], Problem]:
        return keys, document.problem(what, *at, key, remedy=remedy)

    if deliverable.bits == 16 and deliverable.format not in ("tiff", "png"):
        words = {"jpeg": "a JPEG file has", "webp": "a WebP file has", "avif": "AVIF files are written with"}
        what = f"{words[deliverable.format]} 8 bits a channel"
        remedy = "write format: tiff (or png) for 16 bits, or leave bits out"
        yield clash(("bits", "format"), what, "bits", remedy)
    sizes = [key for key in SIZES if getattr(deliverable, key) is not None]
    if len(sizes) > 1:
        yield clash(sizes, f"{sizes[0]} and {sizes[1]} both say how large it is", sizes[1], "keep one of the two")
    if deliverable.enlarge and not sizes:
        remedy = "add long_edge, say, or leave enlarge out"
        yield clash((*SIZES, "enlarge"), "enlarge needs a size to reach", "enlarge", remedy)
    paper, margin = deliverable.print_size, deliverable.margin
    if margin is not None and paper is None:
        remedy = "add print_size: 30 x 20 cm, say"
        yield clash(("print_size", "margin"), "a margin is measured on paper", "margin", remedy)
    if margin and paper and (paper.short_inches or paper.long_inches) < 2 * margin + LEAST_INCHES:
        remedy = "write a smaller margin, or a larger print_size"
        yield clash(("print_size", "margin"), "the margin leaves no room for the picture", "margin", remedy)
    if is_profile_file(deliverable.profile):
        file = inside_file(document, deliverable.profile, *at, "profile")
        if isinstance(file, Problem):
            yield ("profile",), file
    if deliverable.profile == "linear" and deliverable.bits == 8:
        what = "linear light in 8 bits shows steps in every shadow"
        remedy = "write bits: 16 with format: tiff or png, or another profile"
        yield clash(("profile", "bits", "format"), what, "profile", remedy)
    if deliverable.dither and deliverable.bits == 16:
        yield clash(("dither", "bits"), "dithering is for 8 bits; 16 bits show no steps", "dither", "leave dither out")
    if deliverable.dither and is_profile_file(deliverable.profile):
        what = "dithering ends where littleCMS takes over the colours"
        yield clash(("dither", "profile"), what, "dither", "leave dither out, or write bits: 16")


def _pattern_problems(document: Document[Any], name: str, pattern: str) -> list[Problem]:
    at = ("deliverables", name, "name")
    fields = [found.group(1) for found in re.finditer(r"\{(\w*)(?::[^{}]*)?\}", pattern)]
    expected = "a pattern such as {look}/{frame}; known are " + ", ".join(f"{{{f}}}" for f in NAME_FIELDS)
    for field in fields:
        if field not in NAME_FIELDS:
            near = nearest(field, NAME_FIELDS)
            remedy = f"did you mean {{{near}}}?" if near else "use one of these"
            what = f"the name pattern has an unknown part {{{field}}}"
            return [document.problem(what, *at, expected=expected, remedy=remedy)]
    bare = re.sub(_PART, "x", pattern)
    if "{" in bare or "}" in bare:
        what = "the name pattern has a lone brace, or a width where none belongs"
        remedy = "close it; only a number has a width, as in {number:03}"
        return [document.problem(what, *at, expected=expected, remedy=remedy)]
    if any(safe_name(part) != part for part in bare.split("/")) or ".." in bare.split("/"):
        what = "the name pattern leaves the output folder, or no file can have such a name"
        return [document.problem(what, *at, expected=expected, remedy="use plain names, with / between folders")]
    if not {"frame", "number"} & set(fields):
        what = "the name pattern gives every frame the same name"
        return [document.problem(what, *at, expected=expected, remedy=f"add {{frame}}: {pattern}-{{frame}}, say")]
    return []


def idle_settings(document: Document[Any], deliverables: dict[str, Deliverable]) -> list[Problem]:
    """Warnings: settings that do nothing for their format or profile."""
    problems: list[Problem] = []
    for name, deliverable in deliverables.items():
        written = deliverable.model_fields_set
        told = [
            (key, f"for {deliverable.format} files")
            for key, formats in sorted(_ONLY_FOR.items())
            if key in written and deliverable.format not in formats
        ]
        if not is_profile_file(deliverable.profile):
            told += [
                (key, "without a profile of the printer's own") for key in ("intent", "black_point") if key in written
            ]
        problems += [
            document.problem(f'"{key}" means nothing {where}', "deliverables", name, key, remedy="leave it out")
            for key, where in told
        ]
    return problems
