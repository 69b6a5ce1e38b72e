"""Where files of loose images are to go: refused together, before anything is done."""

from collections.abc import Mapping
from pathlib import Path

from finishing.errors import Problem, ProblemSet


def refuse_targets(targets: Mapping[Path, Path], *, what: str, option: str, act: str, again: bool) -> None:
    """Two images of one target, a target in the place of an image, one that is there already (unless `again`).

    targets: by image. what: what is written, "output" or "map". option: the one that names a folder for it. act: what
    is done to images, in the words of a remedy, "finish". Raises ProblemSet with all of them.
    """
    problems: list[Problem] = []
    seen: dict[Path, Path] = {}
    originals = {image.resolve() for image in targets}
    for image, target in targets.items():
        place = target.resolve()
        if place in seen:
            problems.append(
                Problem(
                    f"two images would have one {what}",
                    where=str(image),
                    got=f"{target}, also from {seen[place]}",
                    remedy=f"rename one of them, or {act} them one at a time",
                )
            )
        elif place in originals:
            problems.append(
                Problem(
                    f"the {what} would take the place of an original",
                    where=str(image),
                    got=str(target),
                    remedy=f"name another folder with {option}",
                )
            )
        elif target.exists() and not again:
            problems.append(
                Problem(
                    f"the {what} exists already",
                    where=str(target),
                    remedy=f"name another folder with {option}, or overwrite it with --again",
                )
            )
        seen[place] = image
    if problems:
        raise ProblemSet(problems)
