"""Rows of a frame that stand in memory in strips: what looks around a pixel finds them where they are, uncopied.

memory is float32 (rows, width). table is int64 (strips, 3), from the top of the frame down: for each strip the frame's
row that it begins with, how many rows it has, and the row of memory where it begins; its three planes stand behind
each other. The rows of the frame that stand in strips are one stretch without gaps.
"""

from typing import Any

from finishing.compiled import compiled


@compiled
def row_of(table: Any, plane: Any, row: Any) -> Any:
    """The row of memory in which a plane of the frame's row stands; of the nearest one that is there."""
    at = 0
    while at + 1 < table.shape[0] and table[at + 1, 0] <= row:
        at += 1
    inside = min(max(row - table[at, 0], 0), table[at, 1] - 1)
    return table[at, 2] + plane * table[at, 1] + inside


@compiled
def copy_rows(memory: Any, table: Any, out: Any, top: Any) -> None:
    """Fills out (3, rows, width) with the frame's rows from `top` on."""
    for channel in range(3):
        for row in range(out.shape[1]):
            line, into = memory[row_of(table, channel, top + row)], out[channel, row]
            for x in range(out.shape[2]):
                into[x] = line[x]
