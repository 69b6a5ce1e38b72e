"""The tables of the ledger, and how one of an earlier version comes to have them."""

import sqlite3
from collections.abc import Collection
from pathlib import Path

from finishing.batch.memory.earlier_files import SCHEMA as SCHEMA_OF_EARLIER_FILES
from finishing.batch.memory.ledger_trouble import no_ledger
from finishing.errors import Place, Problem

_SCHEMA = f"""{SCHEMA_OF_EARLIER_FILES}CREATE TABLE IF NOT EXISTS outputs (
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
CREATE TABLE IF NOT EXISTS sessions (number INTEGER PRIMARY KEY, told TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS checks (session INTEGER NOT NULL, frame TEXT NOT NULL, look TEXT NOT NULL,
    results TEXT NOT NULL, PRIMARY KEY (session, frame, look));
CREATE TABLE IF NOT EXISTS corrections (session INTEGER NOT NULL, frame TEXT NOT NULL, told TEXT NOT NULL,
    PRIMARY KEY (session, frame));
CREATE TABLE IF NOT EXISTS blends (hash TEXT PRIMARY KEY, told TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS recipes (hash TEXT PRIMARY KEY, text TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS makings (path TEXT PRIMARY KEY, recipe TEXT NOT NULL, told TEXT NOT NULL,
    exif BLOB NOT NULL, xmp BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS measurements (session INTEGER NOT NULL, source TEXT NOT NULL, what TEXT NOT NULL,
    key TEXT NOT NULL, told BLOB NOT NULL, PRIMARY KEY (session, source, what));
PRAGMA user_version = 5;
"""
#: What is kept for each session by its number, with the columns that earlier versions kept for all sessions alike.
_BY_SESSION = {
    "checks": "frame, look, results", "corrections": "frame, told", "measurements": "source, what, key, told",
}  # fmt: skip
#: The number under which stands what earlier versions recorded of no session. It counts as that of any that has none.
ANY_SESSION = 0
#: 1: outputs, sources, looks, checks, corrections; 2: blends as well, and recipes and makings, by which outputs are
#: made again; 3: measurements of frames as well; 4: sessions, with checks, corrections and measurements of their own;
#: 5: earlier files, in whose place others were put.
_VERSION = 5


def prepare(connection: sqlite3.Connection, path: Path, entry: Collection[str], *, create: bool, write: bool) -> None:
    """Raises Problem for what is no ledger, or one of a later version; gives an earlier one the tables it lacks. entry:
    the columns that are known of every output."""
    tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    columns = {row[1] for row in connection.execute("PRAGMA table_info(outputs)")}
    begun = bool(tables)
    if (begun and not columns >= set(entry)) or not (begun or create):
        raise no_ledger(path, empty=not begun)
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > _VERSION:
        raise Problem(
            "this ledger was written by a later version of the program",
            where=Place(str(path)),
            got=f"ledger version {version}",
            expected=f"version {_VERSION} at most",
            remedy="use that version, or finish into another folder with --out",
        )
    if write and version < _VERSION:
        connection.executescript(_brought_up(connection, tables))


def _brought_up(connection: sqlite3.Connection, tables: Collection[str]) -> str:
    """What gives a ledger of an earlier version its tables, all or nothing of it; `tables`: those that it has."""
    script = ["BEGIN;"]
    old = [
        name for name in _BY_SESSION
        if name in tables and all(row[1] != "session" for row in connection.execute(f"PRAGMA table_info({name})"))
    ]  # fmt: skip
    script += [f"ALTER TABLE {name} RENAME TO earlier_{name};" for name in old]
    script.append(_SCHEMA)
    script += [
        f"INSERT INTO {name} SELECT {ANY_SESSION}, {_BY_SESSION[name]} FROM earlier_{name}; DROP TABLE earlier_{name};"
        for name in old
    ]
    return "\n".join([*script, "COMMIT;"])
