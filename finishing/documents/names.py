"""Names that are none of the known ones: which of them was meant."""

import difflib
from collections.abc import Collection, Iterable
from itertools import takewhile

from finishing.errors import Place, Problem

#: Words of which people write one where another is the name: keys, operations, regions, choices. What is suggested is
#: the word of the group that is known where the name stands. Common usage of the trade, no source.
_GROUPS = tuple(
    frozenset(group.split())
    for group in (
        # sessions
        "session name title shoot project",
        "frames photos photographs images pictures files shots",
        "looks look recipes recipe styles",
        "deliverables outputs output exports export",
        "per_frame frame frames_settings by_frame",
        "camera_clock clock clock_offset time_offset camera_time",
        "ahead_by ahead offset fast_by",
        "creator author photographer artist by",
        "usage licence license terms",
        "contact email e_mail mail url website",
        "with settings setting values",
        "straighten rotate rotation angle level horizon",
        "aspect ratio aspect_ratio",
        "crop cut",
        "box rectangle area",
        "rating stars",
        "note comment remark",
        "skip leave_out exclude",
        # deliverables
        "format type file_type kind",
        "long_edge long_side longest_edge longest_side max_edge width size resize",
        "short_edge short_side height",
        "megapixels mp mpx million_pixels",
        "print_size paper_size paper",
        "pixels_per_inch ppi dpi resolution print_resolution",
        "profile colour_space icc icc_profile space",
        "mark watermark",
        "sharpen sharpening",
        "at_most max maximum most max_size file_size limit",
        "jpeg jpg", "tiff tif", "deflate zip", "screen web display monitor", "print paper",
        "display_p3 p3",
        "srgb srgb_iec61966_2.1",
        "remove no none off false strip delete",
        "none no off false never uncompressed",
        "off no none false",
        "keep yes on true",
        "yes always y x 1 ja oui",
        "no never n 0 none nein non",
        # plans
        "setups scenes sets arrangements",
        "id name setup number",
        "title name description",
        "strobes flashes flash lights heads strobe",
        "strobe flash",
        "aperture f f_stop fstop f_number",
        "shutter t speed shutter_speed time exposure_time",
        "iso sensitivity asa",
        "sync flash_sync sync_speed sync_time x_sync",
        "from start starts begin begins",
        "to end ends until",
        "utc_offset timezone time_zone tz utc gmt",
        "latitude lat", "longitude lon lng",
        "power output",
        "reads meter metered reading measured flash_meter",
        "guide_number gn",
        "modifier softbox umbrella reflector",
        # recipes
        "look name title",
        "about description",
        "steps operations edits adjustments",
        "exposure brightness",
        "tone_curve curve curves contrast levels",
        "monochrome black_and_white black_white blackwhite bw b_w greyscale",
        "edge_vignette vignette",
        "white_balance wb colour_balance temperature",
        "grain noise",
        "graduated_filter graduated grad gradient",
        "burn_dodge dodge_burn dodge_and_burn burn_and_dodge burn dodge",
        "border margin frame",
        "stops ev stop exposure amount value",
        "kelvin temperature temp colour_temperature cct",
        "toward colour to",
        "strength amount intensity",
        "centre middle position",
        "frame middle centre image",
        "full_at full from start starts begin begins",
        "gone_at gone to end ends until",
        "full_to full from start",
        "near_at near from start",
        "far_at far to end",
        "starts_at start starts begin begins from",
        "reaches end ends until",
        "lightness luminance luminosity brightness",
        "hue colour",
        "at_least min minimum least",
        "between range",
        "clipped_white blown_highlights clipped_highlights highlights",
        "clipped_black blocked_shadows clipped_shadows shadows",
    )
)  # fmt: skip
#: American spellings of what is written the British way here.
_SPELLINGS = (("color", "colour"), ("center", "centre"), ("gray", "grey"))
#: As alike as two names must be (difflib's ratio) for one to be taken for the other, and to be taken for it before any
#: other reading is tried.
_ALIKE, _PLAINLY_ALIKE = 0.65, 0.8
#: Signs that are taken for each other, in small letters.
_LOOK_ALIKE = str.maketrans({"l": "1", "i": "1", "|": "1", "o": "0"})


def spelled(name: str) -> str:
    """A name as it is spelled here: small letters, _ for spaces and hyphens, British."""
    text = "_".join(name.strip().strip(".").lower().replace("-", " ").replace("_", " ").split())
    for american, british in _SPELLINGS:
        text = text.replace(american, british)
    return text


def same_word(name: str, known: Iterable[str]) -> str | None:
    """The known name that differs in spelling alone: capitals, spaces, hyphens, American or British."""
    bare = spelled(name).replace("_", "")
    return next((one for one in known if spelled(one).replace("_", "") == bare), None)


def synonyms(name: str, known: Iterable[str]) -> list[str]:
    """The known names that mean the same as this one to people of the trade."""
    word = spelled(name)
    groups = [group for group in _GROUPS if word in group]
    return [one for one in known if any(spelled(one) in group for group in groups)]


def of_the_trade(name: str) -> bool:
    """Whether people write this word where a name stands."""
    return any(spelled(name) in group for group in _GROUPS)


def looks_alike(name: str, known: Iterable[str]) -> str | None:
    """The known name that differs in signs alone that are easily taken for each other: l, I and 1, O and 0."""
    seen = spelled(name).translate(_LOOK_ALIKE)
    found = [one for one in known if spelled(one).translate(_LOOK_ALIKE) == seen]
    return found[0] if len(found) == 1 else None


def plainly_alike(name: str, known: Iterable[str]) -> str | None:
    """The known name that differs by a slip or two."""
    return _alike(name, known, _PLAINLY_ALIKE)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name that was meant, if any can be: spelled otherwise, a slip away, a word that means the same, one
    that is much like it, or that is part of it."""
    names = list(known)
    found = same_word(name, names) or looks_alike(name, names) or plainly_alike(name, names)
    return found or next(iter(synonyms(name, names)), None) or _alike(name, names, _ALIKE) or _part(name, names)


def _alike(name: str, known: Iterable[str], cutoff: float) -> str | None:
    return next(iter(equally_alike(name, known, cutoff)), None)


def equally_alike(name: str, known: Iterable[str], cutoff: float = _ALIKE) -> list[str]:
    """The known names that are most alike: several where none is more so than the others."""
    by_spelling = {spelled(one): one for one in known}
    word = spelled(name)
    found = difflib.get_close_matches(word, by_spelling, n=8, cutoff=cutoff)
    if not found:
        return []

    def likeness(one: str) -> tuple[float, int]:
        """How alike, and where several are equally so, how long they begin alike."""
        begins = takewhile(lambda pair: pair[0] == pair[1], zip(one, word, strict=False))
        return difflib.SequenceMatcher(None, one, word).ratio(), len(list(begins))

    best = max(map(likeness, found))
    return [by_spelling[one] for one in found if likeness(one) == best]


def _part(name: str, known: Collection[str]) -> str | None:
    """A known name that is part of this one, or of which this one is a part: whole words of four letters or more."""
    words = [part.removesuffix("s") for part in spelled(name).split("_") if len(part) >= 4]
    whole = spelled(name).removesuffix("s")
    held = [one for one in known if len(one) >= 4 and len(whole) >= 4
            and (spelled(one).removesuffix("s") in words or whole in spelled(one).split("_")
                 or spelled(one) in whole or spelled(one).startswith((f"{whole}_", f"{whole}.")))]  # fmt: skip
    return max(held, key=len) if held else None


def did_you_mean(name: str, known: Iterable[str]) -> str | None:
    """The remedy that names what was meant; None where nothing comes near."""
    near = nearest(name, known)
    return f'did you mean "{near}"?' if near else None


#: From so many names on an error names the command that lists them instead of all of them.
MANY = 12


def unknown_name(
    kind: str,
    name: str,
    known: Iterable[str],
    where: Place | str | None,
    *,
    listed_by: str | None = None,
    besides: Iterable[str] = (),
) -> Problem:
    """The problem of a name that is none of the known ones, with the nearest. listed_by: a command that lists them;
    besides: names that are known as well, and that it does not list."""
    listed = sorted(known)
    own = sorted(set(besides) - set(listed))
    names = sorted([*listed, *own])
    expected = "one of " + ", ".join(names) if names else None
    if listed_by and len(listed) > MANY:
        expected = f"one of the {len(listed)} that `{listed_by}` lists"
        if own:
            expected += f", or {' or '.join(own) if len(own) <= MANY else f'one of the {len(own)} of your own'}"
    remedy = did_you_mean(name, names) or "use one of these names"
    return Problem(f'unknown {kind} "{name}"', where=where, expected=expected, remedy=remedy)
