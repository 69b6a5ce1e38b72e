"""Sheets for the tests: cells with shapes and names, no pixels."""

from finishing.sheets.model import Cell, Group, Sheet

LANDSCAPE, PORTRAIT = (3000, 2000), (2000, 3000)


def cell(number: int, look: int = 0, size: tuple[int, int] = LANDSCAPE, name: str = "") -> Cell:
    caption = (name or f"A-{number:04d}", "f/8 · 1/125 · ISO 100", f"set-up A · look {look}")
    return Cell((number, look), *size, caption, mark=str(number))


def sheet(frames: int, looks: int = 1, sizes: tuple[tuple[int, int], ...] = (LANDSCAPE,), groups: int = 1) -> Sheet:
    """`frames` frames in each of the groups, with the sizes in turn."""
    number = 0
    made = []
    for group in range(groups):
        rows = []
        for _ in range(frames):
            rows.append(tuple(cell(number, look, sizes[number % len(sizes)]) for look in range(looks)))
            number += 1
        made.append(Group(f"{'ABCDEFGH'[group]}  By the wall", tuple(rows), "f/8 · 1/125 · ISO 100"))
    titles = tuple(f"Look {look}" for look in range(looks))
    return Sheet("Orchard at dusk", "Example Textiles", "© 2026 A. Example", titles, tuple(made))
