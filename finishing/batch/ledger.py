"""The ledger: what was made from what, by which recipe, in an SQLite file beside the outputs."""

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from finishing.errors import Place, Problem
from finishing.recipes.check import CheckResult

FILE_NAME = "ledger.sqlite"

_SCHEMA = """
CREATE TABLE IF NOT EXISTS outputs (
    path TEXT PRIMARY KEY, fingerprint TEXT NOT NULL, frame TEXT NOT NULL, source TEXT NOT NULL,
    source_hash TEXT NOT NULL, setup TEXT, look TEXT NOT NULL, look_version INTEGER NOT NULL,
    look_hash TEXT NOT NULL, settings TEXT NOT NULL, deliverable TEXT NOT NULL, width INTEGER NOT NULL,
    height INTEGER NOT NULL, output_hash TEXT NOT NULL, size INTEGER NOT NULL, modified_ns INTEGER NOT NULL,
    made_at TEXT NOT NULL, seconds REAL NOT NULL
);
CREATE TABLE IF NOT EXISTS sources (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, modified_ns INTEGER NOT NULL, hash TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS looks (hash TEXT PRIMARY KEY, name TEXT NOT NULL, version INTEGER NOT NULL,
    steps TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS checks (frame TEXT NOT NULL, look TEXT NOT NULL, results TEXT NOT NULL,
    PRIMARY KEY (frame, look));
CREATE TABLE IF NOT EXISTS corrections (frame TEXT PRIMARY KEY, told TEXT NOT NULL);
PRAGMA user_version = 1;
"""


@dataclass(frozen=True)
class Entry:
    """One output. path: relative to the ledger's folder; made_at: ISO 8601 in UTC; settings: as JSON."""

    path: str
    fingerprint: str
    frame: str
    source: str
    source_hash: str
    setup: str | None
    look: str
    look_version: int
    look_hash: str
    settings: str
    deliverable: str
    width: int
    height: int
    output_hash: str
    size: int
    modified_ns: int
    made_at: str
    seconds: float

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {**asdict(self), "settings": json.loads(self.settings)}


class Ledger:
    """An open ledger. Use `open_ledger`."""

    def __init__(self, connection: sqlite3.Connection, folder: Path) -> None:
        self._connection = connection
        self.folder = folder

    def entries(self) -> list[Entry]:
        """All outputs in the order of their paths."""
        names = ", ".join(field.name for field in fields(Entry))
        rows = self._connection.execute(f"SELECT {names} FROM outputs ORDER BY path").fetchall()
        return [Entry(*row) for row in rows]

    def write(self, entry: Entry, steps: str) -> None:
        """Record an output that is on the disk; steps: the look's, one a line. Committed at once."""
        values = asdict(entry)
        marks = ", ".join(f":{name}" for name in values)
        with self._connection:
            self._connection.execute(f"INSERT OR REPLACE INTO outputs ({', '.join(values)}) VALUES ({marks})", values)
            self._connection.execute(
                "INSERT OR IGNORE INTO looks VALUES (?, ?, ?, ?)",
                (entry.look_hash, entry.look, entry.look_version, steps),
            )

    def write_checks(self, frame: str, look: str, results: Sequence[CheckResult]) -> None:
        """Record how a frame did against the checks of a look."""
        text = json.dumps([asdict(result) for result in results])
        with self._connection:
            self._connection.execute("INSERT OR REPLACE INTO checks VALUES (?, ?, ?)", (frame, look, text))

    def checks(self, frame: str, look: str) -> list[CheckResult]:
        """What was recorded of a frame in a look; empty where nothing was."""
        row = self._connection.execute(
            "SELECT results FROM checks WHERE frame = ? AND look = ?", (frame, look)
        ).fetchone()
        return [] if row is None else [CheckResult(**values) for values in json.loads(row[0])]

    def write_corrections(self, told: Mapping[str, Mapping[str, Any]]) -> None:
        """Record how frames were evened out: what was measured, foreseen and done, as JSON by the frame's name."""
        rows = [(frame, json.dumps(values, ensure_ascii=False)) for frame, values in told.items()]
        with self._connection:
            self._connection.executemany("INSERT OR REPLACE INTO corrections VALUES (?, ?)", rows)

    def corrections(self) -> dict[str, Any]:
        """What was recorded of evening out, by the frame's name."""
        rows = self._connection.execute("SELECT frame, told FROM corrections ORDER BY frame").fetchall()
        return {frame: json.loads(told) for frame, told in rows}

    def known_hash(self, path: str, size: int, modified_ns: int) -> str | None:
        """The hash of a source that has not changed since it was last read, told by size and time."""
        row = self._connection.execute(
            "SELECT hash FROM sources WHERE path = ? AND size = ? AND modified_ns = ?", (path, size, modified_ns)
        ).fetchone()
        return None if row is None else str(row[0])

    def write_hash(self, path: str, size: int, modified_ns: int, digest: str) -> None:
        """Remember the hash of a source."""
        with self._connection:
            self._connection.execute(
                "INSERT OR REPLACE INTO sources VALUES (?, ?, ?, ?)", (path, size, modified_ns, digest)
            )


@contextmanager
def open_ledger(folder: Path, *, create: bool) -> Iterator[Ledger]:
    """The ledger of an output folder. Raises Problem where there is none (unless created), or it is damaged."""
    path = folder / FILE_NAME
    if not create and not path.is_file():
        raise Problem(
            "there is no ledger in this folder",
            where=Place(str(folder)),
            expected=f"a folder that `finishing run` has written, with {FILE_NAME} in it",
            remedy="name the output folder, usually finished/ beside session.yaml",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path)
        connection.executescript(_SCHEMA)
    except OSError as error:
        raise Problem(
            "the output folder cannot be made",
            where=Place(str(folder)),
            got=error.strerror,
            remedy="choose another with --out, or check its permissions",
        ) from error
    except sqlite3.Error as error:
        raise Problem(
            "the ledger cannot be read",
            where=Place(str(path)),
            got=str(error),
            remedy="move it away: the outputs are then made once more and a new ledger is written",
        ) from error
    try:
        yield Ledger(connection, folder)
    finally:
        connection.close()


def hash_file(path: Path) -> str:
    """SHA-256 of a file in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
