"""What was measured of frames, remembered in the ledger from run to run.

A measurement is known by the bytes of the frame and by all that was asked of it (regions, the subject's place, the
bytes of masks); where one of these changes it is made anew. It comes back bit for bit as it was made.
"""

import json
import sqlite3
import struct
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import numpy as np

from finishing import __version__
from finishing.batch.memory.ledger import FILE_NAME, Ledger, hash_file, hash_of_values, open_ledger
from finishing.errors import Problem
from finishing.evenness.reading import Reading
from finishing.sessions.folder import FramePath

T = TypeVar("T")
#: Counts on when measuring changes, so that older measurements are made anew.
MEASURING = 1


class Measurements:
    """The measurements of a session. made: how many were made anew since this was opened.

    Several threads may ask at once. What is new is kept until `write_to`.
    """

    def __init__(self, folder: Path | None = None) -> None:
        """folder: that of the ledger; one that is not there or cannot be read knows nothing."""
        self.made = 0
        self._known: Mapping[tuple[str, str, str], bytes] = {}
        self._hashes: dict[tuple[str, int, int], str] = {}
        self._new: dict[tuple[str, str], tuple[str, bytes]] = {}
        self._new_hashes: dict[tuple[str, int, int], str] = {}
        self._lock = Lock()
        if folder is None or not (folder / FILE_NAME).is_file():
            return
        try:
            with open_ledger(folder, create=False, write=False) as ledger:
                self._known, self._hashes = ledger.measurements(), ledger.hashes()
        except (Problem, sqlite3.Error):
            pass  # told by whoever needs the ledger itself

    def find(
        self,
        frame: FramePath,
        what: str,
        asked: Mapping[str, Any],
        measure: Callable[[], T],
        pack: Callable[[T], bytes | None],
        unpack: Callable[[bytes], T],
    ) -> T:
        """A measurement, from memory where it is known, also of another session of the folder. what: its kind, one of
        each being kept of a frame for a session; asked: all
        that it hangs on beside the frame, as plain values; pack gives None for what is not to be remembered."""
        key = hash_of_values({"measuring": MEASURING, "program": __version__, "frame": self.hash_of(frame), **asked})
        packed = self._known.get((frame.relative, what, key))
        if packed is not None:
            return unpack(packed)
        found = measure()
        told = pack(found)
        with self._lock:
            self.made += 1
            if told is not None:
                self._new[frame.relative, what] = key, told
        return found

    def hash_of(self, frame: FramePath) -> str:
        """The hash of a frame's file, read anew only where its size or time has changed; empty where there is none."""
        try:
            stat = frame.path.stat()
            key = (frame.relative, stat.st_size, stat.st_mtime_ns)
            if key not in self._hashes:
                digest = hash_file(frame.path)
                with self._lock:
                    self._hashes[key] = self._new_hashes[key] = digest
        except OSError:
            return ""
        return self._hashes[key]

    def write_to(self, ledger: Ledger) -> None:
        """Remember what is new."""
        ledger.write_measurements(self._new, self._new_hashes)


def pack(told: Mapping[str, Any], *readings: Reading | str) -> bytes:
    """Readings (or why there is none) and other plain values as bytes. Pixels and weights are those of float32
    pictures, and keep every bit."""
    head = [one if isinstance(one, str) else [len(one.pixels), one.dark, one.clipped, one.area] for one in readings]
    text = json.dumps({"told": dict(told), "readings": head}).encode()
    numbers = [
        part.astype("<f4").tobytes()
        for one in readings
        if not isinstance(one, str)
        for part in (one.pixels, one.weights)
    ]
    return zlib.compress(struct.pack("<I", len(text)) + text + b"".join(numbers))


def unpack(data: bytes) -> tuple[dict[str, Any], list[Reading | str]]:
    """What `pack` was given."""
    plain = zlib.decompress(data)
    (length,) = struct.unpack_from("<I", plain)
    head = json.loads(plain[4 : 4 + length])
    numbers = np.frombuffer(plain, "<f4", offset=4 + length).astype(np.float64)
    readings: list[Reading | str] = []
    for one in head["readings"]:
        if isinstance(one, str):
            readings.append(one)
            continue
        count, dark, clipped, area = one
        pixels, weights, numbers = np.split(numbers, [3 * count, 4 * count])
        readings.append(Reading(pixels.reshape(count, 3), weights, dark, clipped, area))
    return dict(head["told"]), readings
