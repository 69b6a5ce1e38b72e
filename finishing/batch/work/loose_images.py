"""What looks ask of a frame that an image alone cannot tell: told before anything is started, with what can be done."""

from collections.abc import Iterable
from dataclasses import replace

from finishing.errors import Problem, ProblemSet
from finishing.recipes.recipe import Recipe

IN_A_SESSION = "or finish it as a frame of a session, which names {} for each frame"
BY_FRAME = "or name a frame of a session that has {}: SESSION --frame A-0003"


def refuse_what_an_image_lacks(
    looks: Iterable[Recipe],
    subject: tuple[float, float] | None,
    *,
    otherwise: str = IN_A_SESSION,
    measured: bool = False,
) -> None:
    """Raises ProblemSet where looks lie around the subject, and its place was not said, or ask for masks.

    otherwise: how a frame of a session can be had instead, with {} for what it brings; measured: whether the looks'
    checks are measured too, and their regions needed.
    """
    problems = []
    for look in looks:
        regions = (look if measured else replace(look, checks=())).regions_looked_at
        masks = sorted({mask for region in regions for mask in region.mask_names})
        if masks:
            problems.append(
                Problem(
                    f'this look asks for the mask "{masks[0]}", and an image alone has no masks',
                    where=str(look.path),
                    remedy="write the path of a grey PNG in its place, from the recipe's folder ({mask: coat.png}); "
                    + otherwise.format("its masks"),
                )
            )
        if subject is None and any(region.needs_subject for region in regions):
            problems.append(
                Problem(
                    "this look lies around the subject, and nothing says where that is",
                    where=str(look.path),
                    remedy="say it with --subject 0.45,0.60 (from the left and from the top, in fractions or percent); "
                    + otherwise.format("it"),
                )
            )
    if problems:
        raise ProblemSet(problems)
