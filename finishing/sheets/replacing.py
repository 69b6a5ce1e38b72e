"""Files that take their names only when all of them are whole."""

import os
import tempfile
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

from finishing.errors import Problem


def settle(file: BinaryIO) -> None:
    """Brings a file that is written to the end onto the disk and closes it, so that many pages need not stay open."""
    if not file.closed:
        file.flush()
        os.fsync(file.fileno())
        file.close()


class Replacing:
    """Writes to temporary names in the same folder; renames all on leaving, or removes all after an error.

    A reader so never sees half a file, and an interrupted run leaves what stood there before. Raises
    Problem where the folder cannot be written to.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._open: list[tuple[BinaryIO, Path, Path]] = []

    def __enter__(self) -> Self:
        return self

    def open_for(self, target: Path) -> BinaryIO:
        """A new file, open for writing bytes, that will become `target`."""
        try:
            handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}-", suffix=".part", dir=self._folder)
        except OSError as error:
            raise self._unwritable(target, error) from error
        file = os.fdopen(handle, "wb")
        self._open.append((file, Path(name), target))
        return file

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._finish()
        except OSError as failed:
            raise self._unwritable(self._open[0][2], failed) from failed
        finally:
            for file, temporary, _ in self._open:
                file.close()
                temporary.unlink(missing_ok=True)

    def _finish(self) -> None:
        for file, temporary, _ in self._open:
            settle(file)
            # mkstemp makes files for their owner alone; give them the rights any new file would have.
            mask = os.umask(0)
            os.umask(mask)
            temporary.chmod(0o666 & ~mask)
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
