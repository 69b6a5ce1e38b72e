"""What can be wrong with a ledger, in words that tell what to do about it."""

import sqlite3
from pathlib import Path

from finishing.errors import DiskFull, Place, Problem


class LedgerProblem(Problem):
    """A ledger that cannot be read or written now."""


class LedgerFull(LedgerProblem, DiskFull):
    """A ledger that there is no room for."""


class NoLedger(Problem):
    """A file of the ledger's name that is none. empty: nothing is in it, as in one that was only just begun."""

    empty = False


def trouble(error: sqlite3.Error, path: Path) -> LedgerProblem:
    """What SQLite says, by its result code (sqlite.org/rescode.html)."""
    code = getattr(error, "sqlite_errorcode", None) or 0
    if code == sqlite3.SQLITE_READONLY_ROLLBACK:
        what = "a run was cut off while it wrote this ledger, and it cannot be put in order without writing to it"
        remedy = "run `finishing run` once, with leave to write to the folder: what was finished before stays known"
    elif code & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        what = "another run, or another program, is writing to this ledger"
        remedy = "wait until it has ended, then run again: it goes on where it stopped"
    elif code & 0xFF == sqlite3.SQLITE_FULL:
        what = "the disk is full: the ledger cannot be written"
        remedy = "make room, then run again: it goes on where it stopped"
    elif code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        what = "the ledger cannot be read"
        remedy = (
            "put it back from a backup, with which nothing is lost; without one move it away and run again: outputs"
            " that are as they would be made now are entered anew, but older ones can no longer be made again"
        )
    elif code & 0xFF in (
        sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_AUTH
    ):  # fmt: skip
        what = "the ledger cannot be opened or written"
        remedy = "check the permissions of it and of its folder, and the disk; leave the file where it is"
    else:
        what, remedy = "the ledger cannot be used", "leave the file where it is and run again"
    kind = LedgerFull if code & 0xFF == sqlite3.SQLITE_FULL else LedgerProblem
    return kind(what, where=Place(str(path)), got=str(error), remedy=remedy)


def no_ledger(path: Path, *, empty: bool) -> NoLedger:
    """A file of the ledger's name in which something else stands, or nothing."""
    problem = NoLedger(
        "this is no ledger of this program",
        where=Place(str(path)),
        got="an empty file" if empty else "another program's data",
        remedy="leave it where it is, and finish into another folder with --out",
    )
    problem.empty = empty
    return problem
