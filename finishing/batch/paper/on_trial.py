"""What a recipe is tried on: an image file, or a frame of a session as the session has it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from finishing.batch.opening.framing import framing_of
from finishing.batch.opening.opened import Opened, open_frame
from finishing.batch.opening.picture import exact_source_of
from finishing.batch.work.assignment import FrameWork, assign
from finishing.batch.work.looks import look_called, read_look
from finishing.batch.work.loose_images import BY_FRAME, refuse_what_an_image_lacks
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.reading import read_header, read_reduced
from finishing.recipes.recipe import Recipe
from finishing.regions.places import no_subject


@dataclass(frozen=True)
class OnTrial:
    """name: as it is printed; width, height: in pixels, as kept; subject: the point of interest in fractions of what is
    kept; originals: files that must not be written over; looks: the session's for this frame, by name.

    `open(look, long_edge)` opens it at that long edge or more, with the masks that the look and its checks ask for.
    Raises Problem or ProblemSet where there is no such mask, or no subject.
    """

    name: str
    width: int
    height: int
    subject: tuple[float, float] | None
    originals: tuple[Path, ...]
    open: Callable[[Recipe, int], Opened]
    looks: Mapping[str, Recipe] = field(default_factory=dict)

    def reader(self, look: str, settings: Mapping[str, Any]) -> Callable[[Mapping[str, Any]], Recipe]:
        """Reads a look with more settings on top of these. A look that the session gives the frame has the session's
        settings below them; any other is found as everywhere: a path, or a name here, in recipes/ or the library."""
        own = self.looks.get(look)
        if own is None:
            return lambda more: look_called(look, {**settings, **more})
        return lambda more: read_look(str(own.path), overrides={**own.settings, **settings, **more})


def image_on_trial(image: Path, subject: tuple[float, float] | None = None) -> OnTrial:
    """An image file. Raises Problem where it cannot be read."""
    header = read_header(image)
    if header.refusal is not None:
        raise header.refusal

    def opened(look: Recipe, long_edge: int) -> Opened:
        refuse_what_an_image_lacks([look], subject, otherwise=BY_FRAME, measured=True)
        photograph = read_reduced(image, long_edge)
        full = exact_source_of(photograph)
        return Opened(
            full, Geometry(full.width, full.height, subject, scale=1 / photograph.reduction), photograph.notices
        )

    return OnTrial(header.name, header.width, header.height, subject, (image,), opened)


def frame_on_trial(
    session: Path, name: str, subject: tuple[float, float] | None = None, jobs: int | None = None
) -> OnTrial:
    """A frame (or blend) of a session: straightened, cropped, evened out, with its subject and masks.

    subject: another point of interest than the session's, in fractions of the frame as photographed. Raises Problem or
    ProblemSet where session.yaml is wrong, the name is not that of one frame, or the frame cannot be read.
    """
    work = assign(session, frames=[name], jobs=jobs)
    if len(work.frames) != 1:
        raise Problem(
            "a recipe is tried on one frame at a time",
            got=f"{name}: {len(work.frames)} frames",
            remedy="write --frame with the name of one frame, as `finishing plan` lists them",
        )
    (frame,) = work.frames
    header = frame.header
    if header is None or header.refusal is not None:
        refusal = header.refusal if header else work.unreadable.get(frame.frame.name)
        raise refusal or Problem("this frame cannot be read", where=name)
    if subject is not None:
        frame = replace(frame, says=frame.says.model_copy(update={"subject": subject}))
    kept = framing_of(frame.says, header.width, header.height)
    point = frame.says.subject
    masks = tuple(frame.mask_files.values())
    return OnTrial(
        frame.frame.name,
        kept.width,
        kept.height,
        None if point is None else kept.point(*point),
        (*(one.path for one in work.session.frames), *masks),
        lambda look, long_edge: _opened(frame, look, long_edge),
        {recipe.name: recipe for recipe in frame.looks},
    )


def _opened(frame: FrameWork, look: Recipe, long_edge: int) -> Opened:
    if frame.says.subject is None and any(region.needs_subject for region in look.regions_looked_at):
        told = no_subject()
        raise Problem(
            told.what,
            where=f"{frame.frame.name} in {look.name}",
            expected=told.expected,
            remedy=f"say it with --subject 0.45,0.60, or {told.remedy}",
        )
    return open_frame(replace(frame, looks=(look,)), long_edge)
