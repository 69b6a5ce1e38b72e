"""What stands on a proof page, as plain texts, numbers and names of files."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class ProofPicture:
    """One picture, large and small. file, small: relative to the page, of plain signs only; sizes in pixels."""

    file: str
    width: int
    height: int
    small: str
    small_width: int
    small_height: int


@dataclass(frozen=True)
class ProofFrame:
    """One frame. looks: its pictures by the look's name, in the order of the page's looks; original: without a look."""

    name: str
    looks: dict[str, ProofPicture]
    original: ProofPicture


@dataclass(frozen=True)
class ProofGroup:
    """The frames of one set-up. heading: empty for frames of none."""

    heading: str
    frames: tuple[ProofFrame, ...]


@dataclass(frozen=True)
class ProofPage:
    """The whole page. id: see `session_id`; looks: titles by name; subtitle, rights: a line each, or empty; contact:
    the mail address that the answer goes to, or empty."""

    id: str
    title: str
    subtitle: str
    rights: str
    looks: dict[str, str]
    groups: tuple[ProofGroup, ...]
    contact: str = ""

    @property
    def frames(self) -> Iterator[ProofFrame]:
        """All frames in the page's order."""
        return (frame for group in self.groups for frame in group.frames)


def session_id(title: str, date: str) -> str:
    """Which session an answer belongs to: 16 hexadecimal digits of its title and the plan's date ("" without one).

    Frames do not go in: the page may be made anew with more of them, and picks and answers stay good.
    """
    return hashlib.sha256(f"{title}\n{date}".encode("utf-8", "surrogatepass")).hexdigest()[:16]
