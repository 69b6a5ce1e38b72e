"""Where files of loose images are to go: refused together, before anything is done."""

from collections.abc import Mapping
from pathlib import Path

from finishing.errors import Problem, ProblemSet
from finishing.sessions.file_names import as_disks_compare

_Key = tuple[int, int, str]


def refuse_targets(targets: Mapping[Path, Path], *, what: str, option: str, act: str, again: bool) -> None:
    """Two images of one target, a target in the place of an image, one that is there already (unless `again`).

    targets: by image. what: what is written, "output" or "map". option: the one that names a folder for it. act: what
    is done to images, in the words of a remedy, "finish". Raises ProblemSet with all of them.
    """
    problems: list[Problem] = []
    seen: dict[_Key, Path] = {}
    originals: dict[_Key, list[Path]] = {}
    for image in targets:
        originals.setdefault(_key(image), []).append(image.resolve())
    for image, target in targets.items():
        place = _key(target)
        if place in seen:
            problems.append(
                Problem(
                    f"two images would have one {what}",
                    where=str(image),
                    got=f"{target}, also from {seen[place]}",
                    remedy=f"rename one of them, or {act} them one at a time",
                )
            )
        elif any(_one_file(target, original) for original in originals.get(place, ())):
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


def _key(path: Path) -> _Key:
    """Equal for two files of which some disk would make one. Folders that are there are told apart as their disk does;
    what is not there yet, by its name."""
    whole = path.resolve()
    for above in whole.parents:
        try:
            known = above.stat()
        except OSError:
            continue
        return known.st_dev, known.st_ino, as_disks_compare(str(whole.relative_to(above)))
    return 0, 0, as_disks_compare(str(whole))


def _one_file(target: Path, original: Path) -> bool:
    """Whether a target is an original: A.jpg is A.JPG on some disks."""
    try:
        return target.resolve() == original or target.samefile(original)
    except OSError:
        return False
