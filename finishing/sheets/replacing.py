"""Files that take their names only when all of them are whole."""

import contextlib
import os
import shutil
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from finishing.errors import Problem
from finishing.part_files import held, part_beside


def settle(file: BinaryIO) -> None:
    """Brings a file that is written to the end onto the disk and closes it, so that many pages need not stay open."""
    if not file.closed:
        file.flush()
        os.fsync(file.fileno())
        file.close()


class Replacing:
    """Writes into a folder aside, in the folder of the files' places; renames all on leaving, or removes all after an
    error.

    A reader so never sees half a file, and an interrupted run leaves what stood there before. What a killed one leaves
    is one folder with the name of a part, locked as long as it was written to, however many pages are in it. Raises
    Problem where the folder cannot be written to.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._aside: Path | None = None
        self._open: list[tuple[BinaryIO, Path, Path]] = []
        self._closing = contextlib.ExitStack()

    def __enter__(self) -> Self:
        return self

    def open_for(self, target: Path) -> BinaryIO:
        """A new file, open for writing bytes, that will become `target`."""
        try:
            temporary = self._folder_aside(target) / f"{len(self._open)}{target.suffix}"
            file = temporary.open("xb")
        except OSError as error:
            raise self._unwritable(target, error) from error
        self._open.append((file, temporary, target))
        return file

    def _folder_aside(self, target: Path) -> Path:
        if self._aside is None:
            aside = part_beside(self._folder / target.name)
            aside.mkdir()
            self._closing.callback(shutil.rmtree, aside, ignore_errors=True)
            self._closing.enter_context(held(aside))
            self._aside = aside
        return self._aside

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._finish()
        except OSError as failed:
            raise self._unwritable(self._open[0][2], failed) from failed
        finally:
            for file, _, _ in self._open:
                with contextlib.suppress(OSError):  # what it still held does not fit onto the disk
                    file.close()
            self._closing.close()

    def _finish(self) -> None:
        for file, _, _ in self._open:
            settle(file)
        for _, temporary, target in self._open:
            temporary.replace(target)
        if os.name == "posix":
            folder = os.open(self._folder, os.O_RDONLY)
            try:
                os.fsync(folder)
            finally:
                os.close(folder)

    def _unwritable(self, target: Path, error: OSError) -> Problem:
        return Problem(
            "the page cannot be written",
            where=str(target),
            got=error.strerror or str(error),
            remedy="choose a folder that exists and that you may write to",
        )
