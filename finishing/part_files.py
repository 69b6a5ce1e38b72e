"""Files that are not whole yet: how they are called, and which of them a killed run has left behind.

A file is written under a name of its own beside its place and renamed when it is whole. The name says which process
of which computer writes it, and the process holds a lock on it (flock, which ends with the process however it ends).
So another run tells what is being written from what nobody will ever finish.
"""

import contextlib
import hashlib
import os
import re
import secrets
import shutil
import socket
import stat
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

_NAME = re.compile(r"\.[0-9a-f]{16}\.([0-9a-f]{8})-([1-9][0-9]{0,9})\.part")


@cache
def _computer() -> str:
    return hashlib.sha256(socket.gethostname().encode()).hexdigest()[:8]


def part_beside(place: Path) -> Path:
    """A name that nothing else has, for a file or a folder on the way to its place."""
    return place.parent / f".{secrets.token_hex(8)}.{_computer()}-{os.getpid()}.part"


@contextlib.contextmanager
def held(part: Path) -> Iterator[None]:
    """Marks a part as being written for as long as the context lasts, where the system has such a mark."""
    with contextlib.ExitStack() as closing:
        with contextlib.suppress(OSError, ImportError):
            import fcntl

            handle = _opened(part)
            closing.callback(os.close, handle)
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield


def _opened(part: Path) -> int:
    """Open for a lock: network disks give one that excludes others for a file that is open for writing alone (flock(2),
    NFS). A folder cannot be; there they give none, and it stays. Raises OSError."""
    return os.open(part, os.O_NOFOLLOW | (os.O_RDONLY if part.is_dir() else os.O_RDWR))


def clear_left(folders: Iterable[Path]) -> list[Path]:
    """Deletes what processes of this computer that are gone have left unfinished in these folders; returns what it was.

    Only what has the name that `part_beside` gives, whose process does not run any more and on which there is no lock;
    everything else stays. Nothing is deleted where the system cannot tell (Windows), or does not allow it.
    """
    found = []
    for folder in dict.fromkeys(folders):
        with contextlib.suppress(OSError):
            for entry in sorted(os.scandir(folder), key=lambda one: one.name):
                if _is_left(Path(entry.path)) and _deleted(Path(entry.path)):
                    found.append(Path(entry.path))
    return found


def cleared_words(parts: Iterable[Path]) -> str | None:
    """What was deleted, in a line; None where nothing was."""
    count = len(list(parts))
    if not count:
        return None
    return f"deleted {count} unfinished file{'' if count == 1 else 's'} that an earlier run left when it was cut off"


def _is_left(part: Path) -> bool:
    match = _NAME.fullmatch(part.name)
    if match is None or match[1] != _computer() or _runs(int(match[2])):
        return False
    kind = part.lstat().st_mode
    return (stat.S_ISREG(kind) or stat.S_ISDIR(kind)) and not _locked(part)


def _runs(process: int) -> bool:
    """Whether there is a process of this number; True where it cannot be told."""
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)  # signal 0 is never sent: only whether it could be is looked at
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True


def _locked(part: Path) -> bool:
    """Whether somebody holds it; True where it cannot be told."""
    try:
        import fcntl

        handle = _opened(part)
    except (OSError, ImportError):
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False


def _deleted(part: Path) -> bool:
    try:
        if part.is_dir() and not part.is_symlink():
            shutil.rmtree(part)
        else:
            part.unlink()
    except OSError:
        return False
    return True
