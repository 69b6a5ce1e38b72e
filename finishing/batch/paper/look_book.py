"""A look book: every look of the library on a few frames, with what it is for, its settings, its checks and their
results. Looks are chosen by eye, side by side on one's own frames."""

import os
import tempfile
from collections.abc import Hashable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from finishing.batch.delivery.measuring import MEASURED_EDGE, measure
from finishing.batch.opening.picture import exact_source_of, finish_picture, fitted, reduced
from finishing.batch.paper.check_texts import limits_line, quiet_and_alerts, settings_line
from finishing.batch.paper.prints import PIXELS_PER_INCH, Codes, is_pdf, jpeg_of, refuse_ending, write_pages
from finishing.batch.work.looks import library
from finishing.engine.ends import Source
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.reading import read_reduced
from finishing.recipes.check import CheckResult
from finishing.recipes.recipe import Recipe
from finishing.sheets import layout, model, typeface

#: A book shows looks, not a shoot; more frames than these would hide them.
MOST_FRAMES = 12
#: One frame of each of the sample's set-ups.
SAMPLE_FRAMES = ("A-0005", "B-0007", "C-0012")
#: Long edge in pixels of the sample's frames where they have to be drawn.
_DRAWN_EDGE = 720
_LINES_EACH = 4
_ORIGINAL = ""

Subject = tuple[float, float] | None


@dataclass
class BookReport:
    """files: what was written; results: the checks by look and frame; failed: a frame, or a look on a frame, that
    could not be shown; notices: what there is to tell of the files."""

    files: list[Path] = field(default_factory=list)
    results: dict[tuple[str, str], list[CheckResult]] = field(default_factory=dict)
    failed: dict[str, Problem] = field(default_factory=dict)
    notices: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""
        return {
            "files": [str(path) for path in self.files],
            "checks": [
                {"look": look, "frame": frame, **asdict(result)}
                for (look, frame), results in self.results.items()
                for result in results
            ],
            "failed": [{"frame": name, **problem.as_dict()} for name, problem in self.failed.items()],
            "notices": self.notices,
        }


@dataclass(frozen=True)
class _Shown:
    """A frame as the book holds it, decoded once, no larger than its checks and pictures need."""

    key: int
    name: str
    source: Source
    geometry: Geometry


@contextmanager
def sample_frames() -> Iterator[dict[Path, Subject]]:
    """One frame of each of the sample's set-ups with its subject: the checkout's, or drawn small for as long as the
    context lasts."""
    from finishing.sample.writer import SUBJECTS, write_sample

    ready = Path(__file__).resolve().parents[3] / "sample_images_synthetic" / "frames"
    found = {ready / f"{name}.jpg": SUBJECTS.get(name) for name in SAMPLE_FRAMES}
    if all(path.is_file() for path in found):
        yield found
        return
    with tempfile.TemporaryDirectory() as folder:
        write_sample(Path(folder), long_edge=_DRAWN_EDGE, frames=SAMPLE_FRAMES)
        yield {Path(folder) / "frames" / f"{name}.jpg": SUBJECTS.get(name) for name in SAMPLE_FRAMES}


def make_book(
    frames: dict[Path, Subject],
    path: Path,
    looks: Sequence[Recipe] | None = None,
    *,
    paper: str = "a4",
    columns: int | None = None,
    jobs: int | None = None,
    pixels_per_inch: float = PIXELS_PER_INCH,
) -> BookReport:
    """Write the look book: PNG pages or one PDF, by the path's ending.

    frames: with the subject's place in fractions, None where it is not known; looks: the library's unless given.
    A frame that cannot be read is left out and told. Raises Problem where no frame is left, where there are more than
    12, or the file cannot be written.
    """
    refuse_ending(path, "a look book")
    if len(frames) > MOST_FRAMES:
        raise Problem(
            "a look book shows looks, not a whole shoot",
            got=f"{len(frames)} frames",
            expected=f"at most {MOST_FRAMES}",
            remedy="choose the frames that show most, one of each set-up",
        )
    chosen = list(looks) if looks is not None else library()
    report = BookReport()
    with ThreadPoolExecutor(jobs or os.cpu_count() or 1) as pool:
        shown = _read(frames, pool, report)
        pairs = [(look, one) for look in chosen for one in shown]
        for (look, one), found in zip(pairs, pool.map(lambda pair: _results(*pair), pairs), strict=True):
            if isinstance(found, Problem):
                report.failed[f"{one.name} in {look.name}"] = found
            else:
                report.results[look.name, one.name] = found
        sheet = model.Sheet(
            title="Look book",
            subtitle=f"{len(chosen)} looks on {', '.join(one.name for one in shown)}",
            footer="Checks are measured on these frames; light, skin and colours of others give other figures.",
            groups=tuple(_groups(chosen, shown, report)),
            lines_each=_LINES_EACH,
        )
        pages = layout.lay_out(sheet, model.paper_called(paper), typeface.measure, columns or _columns(len(shown)))
        pictures = _Pictures(chosen, shown, layout.pictures_needed(pages, pixels_per_inch), pool, as_jpeg=is_pdf(path))
        report.files, notices = write_pages(
            pages,
            pictures,
            path,
            what="look book",
            title=sheet.title,
            originals=list(frames),
            pixels_per_inch=pixels_per_inch,
        )
    report.notices += notices
    return report


def _columns(frames: int) -> int | None:
    """A few frames fill the width, so that a look is a line; more are arranged by the page."""
    return frames if 3 <= frames <= 4 else None


def _read(frames: dict[Path, Subject], pool: ThreadPoolExecutor, report: BookReport) -> list[_Shown]:
    def read(item: tuple[int, tuple[Path, Subject]]) -> tuple[_Shown, list[str]] | Problem:
        key, (path, subject) = item
        try:
            photograph = read_reduced(path, MEASURED_EDGE)
        except Problem as problem:
            return problem
        full = exact_source_of(photograph)
        whole = Geometry(full.width, full.height, subject, scale=1 / photograph.reduction)
        size = fitted(full.width, full.height, MEASURED_EDGE)
        return _Shown(key, photograph.name, reduced(full, *size), whole.resized(*size)), photograph.notices

    shown = []
    for path, found in zip(frames, pool.map(read, enumerate(frames.items())), strict=True):
        if isinstance(found, Problem):
            report.failed[path.name] = found
        else:
            shown.append(found[0])
            report.notices += [f"{path.name}: {notice}" for notice in found[1]]
    if not shown:
        raise next(iter(report.failed.values()), Problem("there is no frame for the book", remedy="name --frames"))
    return shown


def _results(look: Recipe, one: _Shown) -> list[CheckResult] | Problem:
    try:
        if not look.checks:  # whether it can be shown at all: a tiny picture tells
            size = fitted(one.source.width, one.source.height, 64)
            finish_picture(look.steps, reduced(one.source, *size), one.geometry.resized(*size))
        return measure(look, one.source, one.geometry)
    except Problem as problem:
        return problem


def _groups(looks: Sequence[Recipe], shown: Sequence[_Shown], report: BookReport) -> Iterator[model.Group]:
    """The frames as they came, then a group for every look."""
    yield model.Group("Original", tuple((_cell(one, _ORIGINAL, (), ()),) for one in shown))
    for look in looks:
        rows = []
        for one in shown:
            problem = report.failed.get(f"{one.name} in {look.name}")
            if problem is not None:
                rows.append((model.Cell(None, one.source.width, one.source.height, (one.name,), message=problem.what),))
                continue
            quiet, alerts = quiet_and_alerts(report.results[look.name, one.name])
            rows.append((_cell(one, look.name, quiet, alerts),))
        settings, limits = settings_line(look), limits_line(look)
        facts = [f"Settings: {settings}"] if settings else []
        facts += [f"Checks: {limits}"] if limits else []
        notes = (look.about,) if look.about else ()
        yield model.Group(look.title, tuple(rows), f"{look.name}, version {look.version}", notes, tuple(facts))


def _cell(one: _Shown, look: str, quiet: tuple[str, ...], alerts: tuple[str, ...]) -> model.Cell:
    return model.Cell((look, one.key), one.source.width, one.source.height, (one.name, *quiet), alerts=alerts)


class _Pictures:
    """Gives the pages their pictures, a few ahead of the one asked for, so that memory stays bounded."""

    def __init__(
        self,
        looks: Sequence[Recipe],
        shown: Sequence[_Shown],
        needed: dict[Hashable, tuple[int, int]],
        pool: ThreadPoolExecutor,
        *,
        as_jpeg: bool,
    ) -> None:
        self._steps = {look.name: look.steps for look in looks}
        self._shown = {one.key: one for one in shown}
        self._needed = needed
        self._order = iter(list(needed))
        self._pool = pool
        self._as_jpeg = as_jpeg
        self._coming: dict[Hashable, Any] = {}

    def __call__(self, key: Hashable, width: int, height: int) -> Codes | bytes:
        while len(self._coming) < 16 or key not in self._coming:
            following = next(self._order, None)
            if following is None:
                break
            self._coming[following] = self._pool.submit(self._finish, following)
        made: Codes | bytes = self._coming.pop(key).result()
        return made

    def _finish(self, key: Hashable) -> Codes | bytes:
        assert isinstance(key, tuple)
        one, (width, height) = self._shown[key[1]], self._needed[key]
        scale = min(width / one.source.width, height / one.source.height, 1)
        size = max(1, round(one.source.width * scale)), max(1, round(one.source.height * scale))
        steps = self._steps.get(key[0], ())
        codes = finish_picture(steps, reduced(one.source, *size), one.geometry.resized(*size))
        return jpeg_of(codes) if self._as_jpeg else codes
