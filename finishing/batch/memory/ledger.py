"""The ledger: what was made from what, by which recipe, in an SQLite file beside the outputs."""

import hashlib
import json
import sqlite3
import threading
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any

from finishing.batch.memory import earlier_files
from finishing.batch.memory.ledger_tables import ANY_SESSION, prepare
from finishing.batch.memory.ledger_trouble import NoLedger, trouble
from finishing.errors import Place, Problem
from finishing.recipes.check import CheckResult
from finishing.sessions.folder import LEDGER_NAME

FILE_NAME = LEDGER_NAME

_TOLD = "SELECT path, told FROM makings"


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


@dataclass(frozen=True)
class Making:
    """All that went into one output beside its frame, so that it can be made once more. recipe: its text, whole; told:
    the other facts, as JSON; exif, xmp: the records that were written into it."""

    recipe: str
    told: Mapping[str, Any]
    exif: bytes
    xmp: bytes


_COLUMNS = tuple(field.name for field in fields(Entry))


@dataclass(frozen=True)
class Earlier:
    """An output in whose place another was put later. replaced_at: when, ISO 8601 in UTC."""

    entry: Entry
    making: Making
    replaced_at: str


class Ledger:
    """An open ledger. Use `open_ledger`. What is written is on the disk afterwards, whole or not at all, and raises
    LedgerProblem where it cannot be; several threads may write.

    session: the number of the session that is worked on, to which checks, corrections and measurements belong; none
    unless set.
    """

    def __init__(self, connection: sqlite3.Connection, folder: Path) -> None:
        self._connection = connection
        self._lock = threading.Lock()
        self.folder = folder
        self.session = ANY_SESSION

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction at a time. Raises LedgerProblem, and nothing of it is written then."""
        with self._lock:
            try:
                with self._connection:
                    yield
            except sqlite3.Error as error:
                raise trouble(error, self.folder / FILE_NAME) from error

    def entries(self) -> list[Entry]:
        """All outputs in the order of their paths."""
        rows = self._connection.execute(f"SELECT {', '.join(_COLUMNS)} FROM outputs ORDER BY path").fetchall()
        return [Entry(*row) for row in rows]

    def write(self, entry: Entry, steps: str, making: Making | None = None) -> None:
        """Record an output that is on the disk; steps: the look's, one a line. Committed at once. What had
        its place is kept among the earlier outputs."""
        values = asdict(entry)
        marks = ", ".join(f":{name}" for name in values)
        with self._writing():
            earlier_files.set_aside(self._connection, _COLUMNS, entry.path, entry.output_hash, entry.made_at)
            self._connection.execute(f"INSERT OR REPLACE INTO outputs ({', '.join(values)}) VALUES ({marks})", values)
            self._connection.execute(
                "INSERT OR IGNORE INTO looks VALUES (?, ?, ?, ?)",
                (entry.look_hash, entry.look, entry.look_version, steps),
            )
            if making is not None:
                self._keep(entry.path, making)

    def write_making(self, path: str, making: Making) -> None:
        """Record how an output was made that the ledger knows already."""
        with self._writing():
            self._keep(path, making)

    def _keep(self, path: str, making: Making) -> None:
        digest = hashlib.sha256(making.recipe.encode()).hexdigest()
        told = json.dumps(dict(making.told), sort_keys=True, ensure_ascii=False)
        self._connection.execute("INSERT OR IGNORE INTO recipes VALUES (?, ?)", (digest, making.recipe))
        self._connection.execute(
            "INSERT OR REPLACE INTO makings VALUES (?, ?, ?, ?, ?)",
            (path, digest, told, zlib.compress(making.exif), zlib.compress(making.xmp)),
        )

    def making(self, path: str) -> Making | None:
        """How an output was made; None where an earlier version made it, which did not record it."""
        if not self._has_makings:
            return None
        row = self._connection.execute(
            "SELECT text, told, exif, xmp FROM makings JOIN recipes ON recipes.hash = recipe WHERE path = ?", (path,)
        ).fetchone()
        return None if row is None else Making(row[0], json.loads(row[1]), *map(zlib.decompress, row[2:]))

    def earlier(self, output_hash: str) -> Earlier | None:
        """The output of this content (SHA-256) in whose place another was put since; None where none is kept."""
        found = earlier_files.find_earlier(self._connection, _COLUMNS, output_hash) if self._version >= 5 else None
        if found is None:
            return None
        values, (recipe, told, exif, xmp, replaced_at) = found
        making = Making(recipe, json.loads(told), zlib.decompress(exif), zlib.decompress(xmp))
        return Earlier(Entry(*values), making, replaced_at)

    def corrections_of_outputs(self) -> dict[str, dict[str, Any]]:
        """How the frame of each output was evened out when it was made, by the output's path: stops, matrix, white.
        Outputs to whose frame nothing was done are not among them."""
        if not self._has_makings:
            return {}
        rows = self._connection.execute(_TOLD)
        found = {path: json.loads(told).get("correction") for path, told in rows}
        return {path: correction for path, correction in found.items() if correction}

    def sessions_of_outputs(self) -> dict[str, dict[str, str | None]]:
        """The session that each output was made from, by the output's path, as it was recorded (earlier versions: its
        folder alone). Outputs of which it was not recorded are not among them."""
        if not self._has_makings:
            return {}
        return {path: json.loads(told)["session"] for path, told in self._connection.execute(_TOLD)}

    def write_sessions(self, paths: Sequence[str], session: Mapping[str, str | None]) -> None:
        """Record anew which session outputs were made from."""
        with self._writing():
            for path in paths:
                (told,) = self._connection.execute("SELECT told FROM makings WHERE path = ?", (path,)).fetchone()
                anew = json.dumps({**json.loads(told), "session": session}, sort_keys=True, ensure_ascii=False)
                self._connection.execute("UPDATE makings SET told = ? WHERE path = ?", (anew, path))

    def sessions(self) -> dict[int, dict[str, str | None]]:
        """The sessions that have a number here, as they were recorded last."""
        if self._version < 4:
            return {}
        rows = self._connection.execute("SELECT number, told FROM sessions ORDER BY number")
        return {number: json.loads(told) for number, told in rows}

    def write_session(self, number: int | None, told: Mapping[str, str | None]) -> int:
        """Record a session, anew or with its first number, which is given back."""
        text = json.dumps(told, sort_keys=True, ensure_ascii=False)
        with self._writing():
            row = self._connection.execute("INSERT OR REPLACE INTO sessions VALUES (?, ?)", (number, text))
        return number if number is not None else int(row.lastrowid or 0)

    def forget(self, paths: Sequence[str]) -> None:
        """Take outputs out of the ledger, with what was in their places earlier."""
        with self._writing():
            for table in ("outputs", "makings", "earlier"):
                self._connection.executemany(f"DELETE FROM {table} WHERE path = ?", [(path,) for path in paths])

    def with_making(self) -> set[str]:
        """The paths of the outputs that can be made again."""
        if not self._has_makings:
            return set()
        return {row[0] for row in self._connection.execute("SELECT path FROM makings")}

    @property
    def _version(self) -> int:
        return int(self._connection.execute("PRAGMA user_version").fetchone()[0])

    @property
    def _has_makings(self) -> bool:
        return self._version >= 2

    def write_checks(self, frame: str, look: str, results: Sequence[CheckResult]) -> None:
        """Record how a frame did against the checks of a look."""
        text = json.dumps([asdict(result) for result in results])
        with self._writing():
            self._connection.execute(
                "INSERT OR REPLACE INTO checks VALUES (?, ?, ?, ?)", (self.session, frame, look, text)
            )

    def checks(self, frame: str, look: str) -> list[CheckResult]:
        """What was recorded of a frame in a look; empty where nothing was."""
        row = self._connection.execute(
            "SELECT results FROM checks WHERE frame = ? AND look = ? AND session IN (?, ?) ORDER BY session DESC",
            (frame, look, self.session, ANY_SESSION),
        ).fetchone()
        return [] if row is None else [CheckResult(**values) for values in json.loads(row[0])]

    def write_corrections(self, told: Mapping[str, Mapping[str, Any]]) -> None:
        """Record how frames were evened out: what was measured, foreseen and done, as JSON by the frame's name."""
        rows = [(self.session, frame, json.dumps(values, ensure_ascii=False)) for frame, values in told.items()]
        with self._writing():
            self._connection.executemany("INSERT OR REPLACE INTO corrections VALUES (?, ?, ?)", rows)

    def corrections(self) -> dict[str, Any]:
        """What was recorded of evening out, by the frame's name."""
        rows = self._connection.execute(
            "SELECT frame, told FROM corrections WHERE session IN (?, ?) ORDER BY frame, session",
            (ANY_SESSION, self.session),
        ).fetchall()
        return {frame: json.loads(told) for frame, told in rows}

    def write_blend(self, digest: str, told: Mapping[str, Any]) -> None:
        """Record what a blend was made of: its sources with their hashes, its settings. digest: the source_hash of the
        outputs made of it."""
        row = (digest, json.dumps(dict(told), sort_keys=True, ensure_ascii=False))
        with self._writing():
            self._connection.execute("INSERT OR REPLACE INTO blends VALUES (?, ?)", row)

    def blends(self) -> dict[str, Any]:
        """What was recorded of blends, by the source_hash of the outputs made of them."""
        if not self._has_makings:
            return {}
        return {digest: json.loads(told) for digest, told in self._connection.execute("SELECT * FROM blends")}

    def measurements(self) -> dict[tuple[str, str, str], bytes]:
        """What was measured of frames, for whatever session: by the frame's path, what it is, and the key that says all
        that it hangs on."""
        if self._version < 3:
            return {}
        rows = self._connection.execute("SELECT source, what, key, told FROM measurements")
        return {(source, what, key): told for source, what, key, told in rows}

    def hashes(self) -> dict[tuple[str, int, int], str]:
        """The hashes of sources by path, size and time of last change."""
        rows = self._connection.execute("SELECT path, size, modified_ns, hash FROM sources")
        return {(path, size, modified): digest for path, size, modified, digest in rows}

    def write_measurements(
        self,
        measured: Mapping[tuple[str, str], tuple[str, bytes]],
        hashes: Mapping[tuple[str, int, int], str],
    ) -> None:
        """Remember measurements, each in place of the session's last one of its frame and kind, and hashes of
        sources."""
        with self._writing():
            self._connection.executemany(
                "INSERT OR REPLACE INTO measurements VALUES (?, ?, ?, ?, ?)",
                [(self.session, *where, *told) for where, told in measured.items()],
            )
            self._connection.executemany(
                "INSERT OR REPLACE INTO sources VALUES (?, ?, ?, ?)",
                [(*file, digest) for file, digest in hashes.items()],
            )

    def known_hash(self, path: str, size: int, modified_ns: int) -> str | None:
        """The hash of a source that has not changed since it was last read, told by size and time."""
        row = self._connection.execute(
            "SELECT hash FROM sources WHERE path = ? AND size = ? AND modified_ns = ?", (path, size, modified_ns)
        ).fetchone()
        return None if row is None else str(row[0])

    def write_hash(self, path: str, size: int, modified_ns: int, digest: str) -> None:
        """Remember the hash of a source."""
        with self._writing():
            self._connection.execute(
                "INSERT OR REPLACE INTO sources VALUES (?, ?, ?, ?)", (path, size, modified_ns, digest)
            )


@contextmanager
def open_ledger(folder: Path, *, create: bool, write: bool = True) -> Iterator[Ledger]:
    """The ledger of an output folder. Raises Problem where there is none (unless created), or it is damaged.

    One of an earlier version gets the tables that it lacks. write: without it nothing on the disk is touched, not even
    that, so that a ledger on a disk that is read-only can be read; only what a run left behind that was cut off in the
    middle of writing is taken back. Raises LedgerProblem where SQLite fails, also later on, and NoLedger for a file of
    the name that is none.
    """
    path = folder / FILE_NAME
    if not create and not path.is_file():
        raise Problem(
            "there is no ledger in this folder",
            where=Place(str(folder)),
            expected=f"a folder that `finishing run` has written, with {FILE_NAME} in it",
            remedy="name the output folder, usually finished/ beside session.yaml",
        )
    try:
        if create:
            folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Problem(
            "the output folder cannot be made",
            where=Place(str(folder)),
            got=error.strerror,
            remedy="choose another with --out, or check its permissions",
        ) from error
    try:
        with closing(_connected(path, write=write)) as connection:
            prepare(connection, path, {field.name for field in fields(Entry)}, create=create, write=write)
            yield Ledger(connection, folder)
    except sqlite3.Error as error:
        raise trouble(error, path) from error


def _connected(path: Path, *, write: bool) -> sqlite3.Connection:
    if write:
        return sqlite3.connect(path, check_same_thread=False)
    connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    try:
        connection.execute("PRAGMA schema_version").fetchone()
    except sqlite3.Error as error:
        connection.close()
        if error.sqlite_errorcode != sqlite3.SQLITE_READONLY_ROLLBACK:
            raise
        # A run was cut off in the middle of writing. SQLite takes that back by itself, but has to write for it.
        with closing(sqlite3.connect(path)) as writing:
            try:
                writing.execute("PRAGMA schema_version").fetchone()
            except sqlite3.Error:
                raise error from None
        return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    return connection


def ledger_problem(folder: Path) -> Problem | None:
    """Why outputs cannot be recorded in a folder that is there, as far as reading tells; None where they can."""
    if not folder.exists():
        return None
    if not folder.is_dir():
        what, remedy = "the output folder cannot be made", "rename the file of that name, or choose another with --out"
        return Problem(what, where=Place(str(folder)), got="a file", remedy=remedy)
    if (folder / FILE_NAME).exists():
        try:
            with open_ledger(folder, create=False, write=False):
                return None
        except NoLedger as problem:
            return None if problem.empty else problem
        except Problem as problem:
            return problem
    return None


def hash_of_values(values: Mapping[str, Any]) -> str:
    """SHA-256 in hexadecimal of plain values, whatever order their keys have."""
    text = json.dumps(dict(values), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def hash_file(path: Path) -> str:
    """SHA-256 of a file in hexadecimal."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
