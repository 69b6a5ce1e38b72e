"""Whether the outputs of a ledger are still what was made."""

from collections.abc import Sequence
from pathlib import Path

from finishing.batch.memory.ledger import Entry, hash_file


def verify_outputs(folder: Path, entries: Sequence[Entry]) -> dict[str, str]:
    """For each output: `as made`, `changed` or `missing`, by hashing it anew."""
    state = {}
    for entry in entries:
        path = folder / entry.path
        if not path.is_file():
            state[entry.path] = "missing"
        else:
            state[entry.path] = "as made" if hash_file(path) == entry.output_hash else "changed"
    return state
