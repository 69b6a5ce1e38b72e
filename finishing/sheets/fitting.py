"""Fitting texts into widths: tidied, shortened in the middle, or broken into lines. Pure."""

import unicodedata
from collections.abc import Callable

# text, size in points, bold -> width in millimetres
Measure = Callable[[str, float, bool], float]

NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
ELLIPSIS = "…"
DOT = "·"
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

    The middle goes because names differ at their ends. Empty where not even the ellipsis fits.
    """
    if measure(text, size_pt, bold) <= width_mm:
        return text
    clusters = _clusters(text)
    low, high, best = 0, len(clusters) - 1, ""
    while low <= high:
        kept = (low + high) // 2
        head = "".join(clusters[: kept - kept // 2]).rstrip()
        tail = "".join(clusters[len(clusters) - kept // 2 :]).lstrip()
        candidate = head + ELLIPSIS + tail
        if measure(candidate, size_pt, bold) <= width_mm:
            low, best = kept + 1, candidate
        else:
            high = kept - 1
    return best


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
