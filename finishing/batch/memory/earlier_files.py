"""What a ledger keeps of files in whose place a later run has put others, so that a copy that was sent away or kept can
be made again: the last few of each place, known by their content."""

import sqlite3
import zlib
from collections.abc import Sequence
from typing import Any

#: Of so many earlier files of each output's place it is kept how they were made, about 4 kB each.
KEPT = 5

#: The columns of an output's entry stand first, in the order of the table `outputs`.
SCHEMA = """
CREATE TABLE IF NOT EXISTS earlier (
    path TEXT NOT NULL, fingerprint TEXT NOT NULL, frame TEXT NOT NULL, source TEXT NOT NULL,
    source_hash TEXT NOT NULL, setup TEXT, look TEXT NOT NULL, look_version INTEGER NOT NULL,
    look_hash TEXT NOT NULL, settings TEXT NOT NULL, deliverable TEXT NOT NULL, width INTEGER NOT NULL,
    height INTEGER NOT NULL, output_hash TEXT NOT NULL, size INTEGER NOT NULL, modified_ns INTEGER NOT NULL,
    made_at TEXT NOT NULL, seconds REAL NOT NULL,
    recipe TEXT NOT NULL, told BLOB NOT NULL, exif BLOB NOT NULL, xmp BLOB NOT NULL,
    replaced_at TEXT NOT NULL, PRIMARY KEY (path, output_hash)
);
"""
_MAKING = ("recipe", "told", "exif", "xmp")


def set_aside(
    connection: sqlite3.Connection, columns: Sequence[str], path: str, output_hash: str, replaced_at: str
) -> None:
    """Before an output is entered: the one of its place goes among the earlier files, if it had other bytes, and the
    oldest of them go. columns: of an entry. One of which nobody recorded how it was made is not kept."""
    names = ", ".join(columns)
    row = connection.execute(
        f"SELECT {', '.join(f'outputs.{name}' for name in columns)}, {', '.join(_MAKING)} FROM outputs "
        "JOIN makings ON makings.path = outputs.path WHERE outputs.path = ? AND output_hash != ?",
        (path, output_hash),
    ).fetchone()
    if row is None:
        return
    values = dict(zip((*columns, *_MAKING), row, strict=True))
    values = {**values, "told": zlib.compress(values["told"].encode()), "replaced_at": replaced_at}
    marks = ", ".join(f":{name}" for name in values)
    connection.execute(f"INSERT OR REPLACE INTO earlier ({names}, {', '.join(_MAKING)}, replaced_at) VALUES ({marks})",
                       values)  # fmt: skip
    connection.execute("DELETE FROM earlier WHERE path = ? AND output_hash = ?", (path, output_hash))
    connection.execute(
        "DELETE FROM earlier WHERE path = ? AND rowid NOT IN "
        "(SELECT rowid FROM earlier WHERE path = ? ORDER BY rowid DESC LIMIT ?)",
        (path, path, KEPT),
    )


def find_earlier(
    connection: sqlite3.Connection, columns: Sequence[str], output_hash: str
) -> tuple[Sequence[Any], tuple[Any, ...]] | None:
    """The last earlier file of this content: its entry's values; then the recipe's text, what was told, exif and xmp
    (these two still compressed), and when it was replaced."""
    row = connection.execute(
        f"SELECT {', '.join(columns)}, text, told, exif, xmp, replaced_at FROM earlier "
        "JOIN recipes ON recipes.hash = recipe WHERE output_hash = ? ORDER BY earlier.rowid DESC",
        (output_hash,),
    ).fetchone()
    if row is None:
        return None
    text, told, exif, xmp, replaced_at = row[len(columns) :]
    return row[: len(columns)], (text, zlib.decompress(told).decode(), exif, xmp, replaced_at)
