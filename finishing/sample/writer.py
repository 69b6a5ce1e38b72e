"""Writes the sample session into a folder: frames, plan.yaml, session.yaml."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from finishing.errors import Problem
from finishing.sample import scenario

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: OkLCh hue in degrees of the coat as photographed, the sample's kept colour.
KEPT_HUE = 77.0
#: Two frames of one tripod, a stop apart.
BLEND = ("A-0003", "A-0004")
#: Where the subject is in some frames, as shares of width and height from the top left.
SUBJECTS = {
    "A-0003": (0.45, 0.52),
    "A-0004": (0.45, 0.52),
    "A-0005": (0.46, 0.50),
    "B-0007": (0.50, 0.45),
    "C-0010": (0.49, 0.60),
}
RATINGS = {"A-0002": 1, "A-0004": 4, "A-0005": 5, "B-0007": 4, "C-0010": 3, "C-0012": 5}
SMALLEST, LARGEST = 60, 12_000
#: A file of the usual size stays below this; larger pictures may grow with their area.
_MOST_BYTES, _AT_LONG_EDGE = 290_000, 1500
#: Seconds of a core that a frame takes, and a million pixels of it (measured); two threads share them.
_EACH, _EACH_MILLION = 1.2, 17.0
#: Seconds for compiling, which is kept for the next time. Measured.
_FIRST_TIME = 40


def write_sample(
    folder: Path,
    long_edge: int = 1500,
    frames: Sequence[str] | None = None,
    progress: Callable[[str], None] | None = None,
    begin: Callable[[], None] | None = None,
) -> list[Path]:
    """Draw the sample session into a folder (made where missing) and return the files, in order.

    long_edge: pixels, 60 to 12000; frames: names such as "A-0001", None for all; progress: told a line a frame that is
    drawn; begin: called when nothing stands in the way any more, before the first frame.
    The same call writes the same bytes on one machine. A file that is there already with the same content is left
    alone. Raises Problem for an unknown frame, a size out of range, or a file that is there and differs.
    """
    names = scenario.all_frames() if frames is None else tuple(frames)
    for name in names:
        if name not in scenario.all_frames():
            raise Problem(
                "there is no such frame in the sample",
                got=name,
                expected=", ".join(scenario.all_frames()),
                remedy="name frames from the list",
            )
    if not SMALLEST <= long_edge <= LARGEST:
        raise Problem(
            "the long edge is out of range",
            got=f"{long_edge} pixels",
            expected=f"{SMALLEST} to {LARGEST} pixels",
            remedy="choose a size in the range, 1500 for a quick look",
        )
    from finishing.sample.files import plan_text, session_text

    try:
        (folder / "frames").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Problem(
            "no folder can be made here",
            where=str(folder),
            got=error.strerror,
            remedy="name a folder that is new or empty, for example: finishing sample my-first-session",
        ) from error
    texts = {
        "plan.yaml": plan_text(),
        "session.yaml": session_text(KEPT_HUE, SUBJECTS, RATINGS, BLEND if set(BLEND) <= set(names) else None),
    }
    written: list[Path] = []
    # the quick files first: a folder that holds something else is refused before an hour of drawing
    for file, content in texts.items():
        written.append(_put(folder / file, content.encode()))
    if begin is not None:
        begin()
    for name in names:
        written.append(_put(folder / "frames" / f"{name}.jpg", frame_file(name, long_edge)))
        if progress is not None:
            progress(f"{name}: drawn")
    return written


def time_words(frames: int, long_edge: int) -> str:
    """Roughly how long drawing takes: 12 frames of 1500 × 1000 pixels: about 3 minutes on two free cores …"""
    width, height = long_edge, round(long_edge / 1.5)
    seconds = frames * (_EACH + _EACH_MILLION * width * height / 1e6) / 2
    what = f"{frames} frame{'s' * (frames != 1)} of {width} × {height} pixels"
    return (
        f"{what}: {_roughly(seconds)} on two free cores, a few times that where other programs are at work; "
        f"the first time about {_FIRST_TIME} seconds more before the first frame"
    )


def _roughly(seconds: float) -> str:
    minutes = seconds / 60
    if minutes < 0.75:
        return "less than a minute"
    if minutes < 1.5:
        return "about a minute"
    if minutes < 90:
        return f"about {round(minutes) if minutes < 10 else 5 * round(minutes / 5)} minutes"
    return f"about {round(minutes / 60)} hours"


def _put(path: Path, content: bytes) -> Path:
    if path.exists():
        if not path.is_file() or path.read_bytes() != content:
            raise Problem(
                "something else is there already and was left as it is",
                where=str(path),
                remedy="give an empty folder, or move the file away first",
            )
        return path
    part = path.with_name(path.name + ".part")
    part.write_bytes(content)
    part.replace(path)
    return path


def frame_file(name: str, long_edge: int) -> bytes:
    """One frame as the bytes of its JPEG file."""
    import numpy as np

    from finishing.photographs.jpeg import with_segments
    from finishing.sample.drawing import picture_strips
    from finishing.sample.files import exif_of
    from finishing.sample.poses import VIEWS

    setup, frame = scenario.frame_of(name)
    picture = np.concatenate(list(picture_strips(name, long_edge)))
    if frame.stored_turned:
        # the sensor lay on its side; Orientation 6 turns its rows a quarter right again
        picture = np.ascontiguousarray(np.rot90(picture, 1))
    jpeg = _encoded(picture)
    if not frame.exif:
        return jpeg
    height, width = picture.shape[:2]
    focal = int(VIEWS[setup.id][frame.view].focal)
    return with_segments(jpeg, exif=exif_of(name, focal, width, height), xmp=b"", icc=b"", pixels_per_inch=72)


def _encoded(picture: "NDArray[np.uint8]") -> bytes:
    """JPEG of the highest quality that keeps the file small (4:2:0)."""
    import simplejpeg

    most = _MOST_BYTES * max(1.0, (max(picture.shape) / _AT_LONG_EDGE) ** 2)
    jpeg = b""
    for quality in range(94, 60, -2):
        jpeg = simplejpeg.encode_jpeg(picture, quality=quality, colorspace="RGB", colorsubsampling="420")
        if len(jpeg) <= most:
            break
    return bytes(jpeg)
