"""Fitting texts into widths: tidied, shortened in the middle, or broken into lines. Pure."""

import re
import unicodedata
from collections.abc import Callable, Sequence

# text, size in points, bold -> width in millimetres
Measure = Callable[[str, float, bool], float]

NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
ELLIPSIS = "…"
DOT = "·"
#: What stands between words, and has nothing to say beside an ellipsis.
LOOSE = " \N{NO-BREAK SPACE},;·_-–("
#: What words end at, in texts and in the names of files.
_SEPARATORS = " \N{NO-BREAK SPACE},;·_-–(){}[]"
#: A word is left out whole where no more than so many of its letters would be kept.
_NEAR = 8
#: A number with its decimals or its fraction; longer ones (a moment in fourteen digits) are no frame's and may be cut.
_NUMBER, _LONGEST_NUMBER = re.compile(r"\d+(?:[.,/:]\d+)*"), 10
DOTTED_CIRCLE = "\N{DOTTED CIRCLE}"


def tidy(text: str) -> str:
    """One line of printable signs: composed (NFC), line ends and tabs as spaces, invisible signs left out.

    File names come decomposed from some file systems and hold lone surrogates where their bytes are
    no text; those are shown as the replacement sign.
    """
    signs = []
    for sign in text:
        kind = unicodedata.category(sign)
        if kind in {"Cc", "Zl", "Zp"}:
            signs.append(" ")
        elif kind == "Cs":
            signs.append("\N{REPLACEMENT CHARACTER}")
        elif kind != "Cf" and not "\ufe00" <= sign <= "\ufe0f":
            signs.append(sign)
    clean = unicodedata.normalize("NFC", "".join(signs)).strip()
    # A mark with no letter to stand on would have no width; it gets the circle that stands for a letter.
    return DOTTED_CIRCLE + clean if clean and _is_mark(clean[0]) else clean


def shortened(text: str, width_mm: float, measure: Measure, size_pt: float, bold: bool) -> str:
    """The text, or its beginning and its end round an ellipsis, no wider than `width_mm`.

    The middle goes because names differ at their ends. It goes at the ends of words where these are near, and no number
    is cut, since half a frame's number is another frame's: rather the beginning gives way. Empty where not even the
    ellipsis fits.
    """
    if measure(text, size_pt, bold) <= width_mm:
        return text
    clusters = _clusters(text)
    count = len(clusters)

    def cut(head: int, tail: int) -> str:
        return "".join(clusters[:head]).rstrip(LOOSE) + ELLIPSIS + "".join(clusters[tail:]).lstrip(LOOSE)

    def fits(head: int, tail: int) -> bool:
        return measure(cut(head, tail), size_pt, bold) <= width_mm

    if not fits(0, count):
        return ""
    low, high = 0, count - 1  # how many are kept of both ends
    while low < high:
        kept = (low + high + 1) // 2
        low, high = (kept, high) if fits(kept - kept // 2, count - kept // 2) else (low, kept - 1)
    numbers = _numbers(clusters)
    breaks = _breaks(clusters, numbers)
    head, tail = _word_end(breaks, low - low // 2), _word_start(breaks, count - low // 2)
    head = next((start for start, end in numbers if start < head < end), head)
    split = next(((start, end) for start, end in numbers if start < tail < end), None)
    if split is not None:
        whole = max((at for at in range(head + 1) if fits(at, split[0])), default=None)
        if whole is None:
            tail = split[1]
        else:
            head, tail = _word_end(breaks, whole), split[0]
            head = next((start for start, end in numbers if start < head < end), head)
    return _filled(breaks, head, tail, fits, cut)


def _filled(
    breaks: Sequence[bool], head: int, tail: int, fits: Callable[[int, int], bool], cut: Callable[[int, int], str]
) -> str:
    """The cut with as many more whole words as there is room for, at the end first."""
    while True:
        earlier = next((at for at in range(tail - 1, head, -1) if breaks[at]), head)
        if earlier <= head or not fits(head, earlier):
            break
        tail = earlier
    while True:
        later = next((at for at in range(head + 1, tail) if breaks[at]), tail)
        if later >= tail or not fits(later, tail):
            break
        head = later
    return cut(head, tail)


def wrapped(text: str, width_mm: float, most_lines: int, measure: Measure, size_pt: float, bold: bool) -> list[str]:
    """The text broken at spaces into at most `most_lines` lines; what is still too long is shortened.

    A dot that parts two facts is left out where the line is broken at it. At a no-break space a line is broken only
    where what it holds together is wider than a line.
    """
    if measure(text, size_pt, bold) <= width_mm:
        return [text] if text else []
    words = [
        part
        for word in text.split(" ")
        for part in ([word] if measure(word, size_pt, bold) <= width_mm else word.split(NO_BREAK_SPACE))
    ]
    lines: list[str] = []
    while words and len(lines) < most_lines - 1:
        taken = 1
        while taken < len(words) and measure(" ".join(words[: taken + 1]), size_pt, bold) <= width_mm:
            taken += 1
        lines.append(" ".join(words[:taken]))
        words = words[taken:]
    if words:
        lines.append(" ".join(words))
    parted = [line.removesuffix(DOT) if i < len(lines) - 1 else line for i, line in enumerate(lines)]
    parted = [line.removeprefix(DOT).strip() if i > 0 else line.strip() for i, line in enumerate(parted)]
    fitted = [shortened(line, width_mm, measure, size_pt, bold) for line in parted]
    return [line for line in fitted if line]


def _is_mark(sign: str) -> bool:
    """Whether the sign is set on the letter before it, with no width of its own."""
    return unicodedata.category(sign) in {"Mn", "Me"}


def _clusters(text: str) -> list[str]:
    """Signs with the combining marks that belong to them, so that a cut never parts the two."""
    clusters: list[str] = []
    for sign in text:
        if clusters and _is_mark(sign):
            clusters[-1] += sign
        else:
            clusters.append(sign)
    return clusters


def _breaks(clusters: Sequence[str], numbers: Sequence[tuple[int, int]]) -> list[bool]:
    """For every place whether a cut there parts neither a word nor a number (1,25)."""
    count = len(clusters)
    breaks = [
        at in (0, count) or clusters[at] in _SEPARATORS or clusters[at - 1] in _SEPARATORS for at in range(count + 1)
    ]
    for start, end in numbers:
        breaks[start + 1 : end] = [False] * (end - start - 1)
    return breaks


def _word_end(breaks: Sequence[bool], at: int) -> int:
    """The end of the last whole word before a place, if it is near; else the place."""
    return next((to for to in range(at, max(at - _NEAR, 0) - 1, -1) if to and breaks[to]), at)


def _word_start(breaks: Sequence[bool], at: int) -> int:
    """The same of the first whole word after a place."""
    return next((to for to in range(at, min(at + _NEAR, len(breaks) - 2) + 1) if breaks[to]), at)


def _numbers(clusters: Sequence[str]) -> list[tuple[int, int]]:
    """Where numbers begin and end. A digit is never part of a cluster of several signs, other than a marked one."""
    found = _NUMBER.finditer("".join(cluster[0] for cluster in clusters))
    return [match.span() for match in found if len(match[0]) <= _LONGEST_NUMBER]
