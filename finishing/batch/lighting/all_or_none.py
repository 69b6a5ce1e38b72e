"""Files that belong together, put into a folder all at once or not at all."""

import contextlib
import os
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

from finishing.errors import Problem
from finishing.part_files import held, part_beside


@contextlib.contextmanager
def all_or_none(folder: Path, names: Sequence[str]) -> Iterator[Path]:
    """A folder beside their places to write files of these names into; they are put in place once all are written.

    Whatever fails before leaves older files of these names as they were, and no folder that was not there. Raises
    Problem where the disk does not take them; one that is raised within is told with the place that the file was
    meant for.
    """
    there = folder.is_dir()
    aside = part_beside(folder / names[0])  # below the folder, so that it is on the same disk
    try:
        aside.mkdir(parents=True)
    except OSError as error:
        raise _unwritable(folder, error) from error
    try:
        with held(aside):
            yield aside
            _put_in_place(aside, folder, names)
    except Problem as problem:
        if problem.where in {str(aside / name) for name in names}:
            raise problem.at(str(folder / Path(str(problem.where)).name)) from problem
        raise
    finally:
        shutil.rmtree(aside, ignore_errors=True)
        if not there:
            with contextlib.suppress(OSError):  # not empty: all is well
                folder.rmdir()


def _put_in_place(aside: Path, folder: Path, names: Sequence[str]) -> None:
    """Rename, one after the other: all of it is on the disk already. Raises Problem and says how far it came."""
    for number, name in enumerate(names):
        try:
            os.replace(aside / name, folder / name)
        except OSError as error:
            raise _unwritable(folder / name, error, names[:number]) from error


def _unwritable(place: Path, error: OSError, done: Sequence[str] = ()) -> Problem:
    told = f"{error.strerror}; new already: {', '.join(done)}" if done else error.strerror
    return Problem(
        "nothing can be written here", where=str(place), got=told,
        remedy="check the folder's permissions, or name another folder with --out",
    )  # fmt: skip
