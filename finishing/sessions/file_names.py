"""Names of files as disks compare them that take capitals, or the ways to write an accent, for the same."""

import unicodedata


def as_disks_compare(name: str) -> str:
    """Equal for two names of which some disk would make one file.

    Capitals do not count, nor does ß against ss (full case folding), nor whether an accent is one sign with its letter
    or one of its own: the canonical caseless match of the Unicode Standard (15.0, section 3.13, D145).
    """
    folded = unicodedata.normalize("NFD", unicodedata.normalize("NFD", name).casefold())
    return unicodedata.normalize("NFC", folded)
