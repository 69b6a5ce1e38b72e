"""The pictures of a contact sheet, made as its pages ask for them: each frame opened once for all its looks."""

from collections import OrderedDict
from collections.abc import Hashable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from finishing.batch.opening.opened import open_frame
from finishing.batch.opening.picture import finish_picture, reduced
from finishing.batch.paper.blend_sheet import OfLight, blend_pictures, refused_pictures
from finishing.batch.paper.prints import Codes, jpeg_of
from finishing.batch.work.assignment import FrameWork
from finishing.engine.ends import Source
from finishing.errors import Problem
from finishing.recipes.recipe import Recipe
from finishing.sheets.placed import Reading, Said
from finishing.sheets.tones import reading_of, with_clipping_marks

#: Frames in the works ahead of the one that a page asks for, for each thread, so that memory stays bounded.
AHEAD = 4


class Cells:
    """Gives the sheet its pictures: a frame is decoded once for all its looks, the frames to come side by side.

    needed: by key, the sizes that pictures must fit in; a key begins with the frame's name and its look's. as_jpeg: as
    they are stored in a PDF, not as codes. told: their tones are read too; marked: what holds no tone is hatched. The
    first frames are begun on entering the context; leaving it ends the threads.
    """

    def __init__(
        self,
        frames: Sequence[FrameWork],
        needed: dict[Hashable, tuple[int, int]],
        jobs: int,
        *,
        as_jpeg: bool,
        told: bool,
        marked: bool,
    ) -> None:
        self._failed: dict[tuple[str, str], Problem] = {}
        self._as_jpeg, self._told, self._marked = as_jpeg, told, marked
        self._readings: dict[Hashable, Reading] = {}
        self._frames = {frame.frame.name: frame for frame in frames}
        self._sizes = needed
        self._order = list(dict.fromkeys(key[0] for key in needed if isinstance(key, tuple)))
        self._pool = ThreadPoolExecutor(jobs)
        self._ahead = AHEAD * jobs
        self._started = 0
        self._coming: OrderedDict[str, Any] = OrderedDict()
        self._made: dict[Hashable, Codes | bytes | Said] = {}

    def __enter__(self) -> "Cells":
        self._start(0)
        return self

    def __exit__(self, *_: object) -> None:
        self._pool.shutdown(cancel_futures=True)

    @property
    def failed(self) -> dict[str, Problem]:
        """What could not be made, in the sheet's order: by the frame's name, or "frame in look" where only some of its
        looks fail."""
        found = {}
        for name, look in sorted(self._failed, key=lambda one: self._order.index(one[0])):
            told, problem = f"{name} in {look}" if look else name, self._failed[name, look]
            found[told] = problem if problem.where is not None else problem.at(told)
        return found

    def reading(self, key: Hashable) -> Reading | None:
        """The tones of a picture that was asked for; None where there is none."""
        return self._readings.get(key)

    def __call__(self, key: Hashable, width: int, height: int) -> Codes | bytes | Said:
        """The picture, or what is said in its place."""
        assert isinstance(key, tuple)
        name = key[0]
        self._start(self._order.index(name))
        if name in self._coming:
            self._made.update(self._coming.pop(name).result())
        return self._made.pop(key)

    def _start(self, position: int) -> None:
        """Keep some frames ahead of the one asked for in the works."""
        while self._started < min(len(self._order), position + self._ahead):
            coming = self._order[self._started]
            self._coming[coming] = self._pool.submit(self._finish, self._frames[coming])
            self._started += 1

    def _finish(self, frame: FrameWork) -> dict[Hashable, Codes | bytes | Said]:
        name = frame.frame.name
        wanted: dict[Hashable, tuple[int, int]] = {
            key: size for key, size in self._sizes.items() if isinstance(key, tuple) and key[0] == name
        }
        made: dict[Hashable, Codes | Problem] = {}
        try:
            made.update(_in_looks(frame, wanted) if frame.blend is None else blend_pictures(frame, wanted))
        except Problem as problem:
            self._failed[name, ""] = problem
            made.update(dict.fromkeys(wanted, problem))
            if frame.blend is not None:
                made.update(refused_pictures(frame, problem, wanted))
        for key, found in made.items():
            if isinstance(found, Problem) and isinstance(key, tuple) and (name, "") not in self._failed:
                self._failed[name, key[1]] = found
        return {key: self._as_shown(key, codes) for key, codes in made.items()}

    def _as_shown(self, key: Hashable, codes: Codes | Problem) -> Codes | bytes | Said:
        if isinstance(codes, Problem):
            return Said(codes.what)
        if not isinstance(key, OfLight):
            if self._told:
                self._readings[key] = reading_of(codes)
            if self._marked:
                codes = with_clipping_marks(codes)
        return jpeg_of(codes) if self._as_jpeg else codes


def _in_looks(frame: FrameWork, wanted: Mapping[Hashable, tuple[int, int]]) -> dict[Hashable, Codes | Problem]:
    """A frame in each of its looks, each fitted into a size: read once. A look that fails on it has its problem.

    Raises Problem where the frame cannot be opened.
    """
    looks: dict[Hashable, Recipe] = {(frame.frame.name, recipe.name): recipe for recipe in frame.looks}
    opened = open_frame(frame, max(max(size) for size in wanted.values()))
    full, whole = opened.source, opened.geometry
    sizes: dict[tuple[int, int], Source] = {}
    made: dict[Hashable, Codes | Problem] = {}
    for key, (width, height) in wanted.items():
        scale = min(width / full.width, height / full.height, 1)
        size = (max(1, round(full.width * scale)), max(1, round(full.height * scale)))
        if size not in sizes:
            sizes[size] = reduced(full, *size)
        try:
            made[key] = finish_picture(looks[key].steps, sizes[size], whole.resized(*size))
        except Problem as problem:
            made[key] = problem
    return made
