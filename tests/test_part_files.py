"""What a run that was killed leaves unfinished is cleared away, and nothing else."""

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from finishing.part_files import clear_left, cleared_words, held, part_beside
from finishing.photographs.writing import write_bytes

pytestmark = pytest.mark.skipif(os.name != "posix", reason="nothing is cleared on this system")

#: A process that is stopped in the middle of writing a file.
WRITING = """
import os, sys, time
from pathlib import Path
from finishing.photographs import writing

def wait(handle):
    print("writing", flush=True)
    time.sleep(120)

os.fsync = wait
writing.write_bytes(Path(sys.argv[1]), b"half of it")
"""


@contextmanager
def writer(place: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that is writing this file, and does not come to its end."""
    command = [sys.executable, "-c", WRITING, str(place)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "writing\n"
            yield process
        finally:
            process.kill()


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_killed_writer_s_part_is_cleared_and_a_living_one_s_is_not(tmp_path: Path) -> None:
    (tmp_path / "A-0001.jpg").write_bytes(b"whole")
    with writer(tmp_path / "A-0002.jpg") as process:
        part = next(path for path in tmp_path.iterdir() if path.suffix == ".part")
        assert clear_left([tmp_path]) == []
        assert part.exists()
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert part.exists()
        assert clear_left([tmp_path, tmp_path, tmp_path / "none"]) == [part]
    assert names(tmp_path) == ["A-0001.jpg"]


def of_process(part: Path, process: int, of: int | None = None) -> Path:
    """A name that a process (`of`, or this one) gave, as if another had given it."""
    return part.with_name(part.name.replace(f"-{of or os.getpid()}.part", f"-{process}.part"))


def gone() -> int:
    """The number of a process that is no more."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


def test_only_what_has_our_name_is_deleted(tmp_path: Path) -> None:
    process = gone()
    part = of_process(part_beside(tmp_path / "A-0001.jpg"), process)
    tag = part.name.split(".")[2].partition("-")[0]
    others = [
        "film.part", ".film.part", f".{'0' * 16}.part", part.name[1:], f"{part.name}x",
        part.name.replace(".part", ".jpg"),
        part.name.replace(tag, "01234567"), f".{'G' * 16}.{tag}-{process}.part", f".{'0' * 16}.{tag}-0.part",
    ]  # fmt: skip
    for name in others:
        (tmp_path / name).write_bytes(b"somebody's")
    target = tmp_path / "mine"
    target.write_bytes(b"mine")
    link = part.with_name(part.name.replace(part.name[1:17], "f" * 16))
    link.symlink_to(target)
    assert clear_left([tmp_path]) == []
    assert names(tmp_path) == sorted([*others, "mine", link.name])
    part.write_bytes(b"half")
    folder = of_process(part_beside(tmp_path / "lights"), process)
    folder.mkdir()
    (folder / "ambient.tiff").write_bytes(b"half")
    assert sorted(clear_left([tmp_path])) == sorted([part, folder])
    assert names(tmp_path) == sorted([*others, "mine", link.name])


def test_what_is_locked_stays_whatever_its_name_says(tmp_path: Path) -> None:
    """A process's number may be another's in another container."""
    part = of_process(part_beside(tmp_path / "A-0001.jpg"), gone())
    part.write_bytes(b"half")
    with held(part):
        assert clear_left([tmp_path]) == []
    assert clear_left([tmp_path]) == [part]


def test_what_is_being_written_is_locked(tmp_path: Path) -> None:
    with writer(tmp_path / "A-0001.jpg") as process:
        (written,) = tmp_path.iterdir()
        part = of_process(written, gone(), of=process.pid)
        assert part != written
        written.rename(part)
        assert clear_left([tmp_path]) == []
        process.send_signal(signal.SIGKILL)
        process.wait()
        assert clear_left([tmp_path]) == [part]


def test_a_lock_is_one_on_network_disks_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """There a lock that excludes others needs a file that is open for writing (flock(2), NFS)."""
    import fcntl

    local = fcntl.flock

    def on_a_network_disk(handle: int, how: int) -> None:
        if how & fcntl.LOCK_EX and fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(errno.EBADF, "Bad file descriptor")
        local(handle, how)

    monkeypatch.setattr(fcntl, "flock", on_a_network_disk)
    part = of_process(part_beside(tmp_path / "A-0001.jpg"), gone())
    part.write_bytes(b"half")
    with held(part):
        assert clear_left([tmp_path]) == []
        assert part.read_bytes() == b"half"
    assert clear_left([tmp_path]) == [part]


def test_this_process_own_parts_stay(tmp_path: Path) -> None:
    part = part_beside(tmp_path / "A-0001.jpg")
    part.write_bytes(b"half")
    assert clear_left([tmp_path]) == []
    assert part.exists()


def test_writing_leaves_no_part(tmp_path: Path) -> None:
    write_bytes(tmp_path / "new" / "a.txt", b"whole")
    assert names(tmp_path / "new") == ["a.txt"]
    assert (tmp_path / "new" / "a.txt").read_bytes() == b"whole"


def test_it_is_told_in_a_line() -> None:
    assert cleared_words([]) is None
    assert cleared_words([Path("a")]) == "deleted 1 unfinished file that an earlier run left when it was cut off"
    assert "2 unfinished files" in (cleared_words([Path("a"), Path("b")]) or "")
