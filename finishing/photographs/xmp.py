"""XMP packets (ISO 16684-1): what a frame's packet says, read with care. A packet may also lie beside the frame."""

from dataclasses import dataclass, field
from pathlib import Path
from xml.etree import ElementTree

# Names of namespaces, as ISO 16684-1 and W3C give them.
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XMP = "http://ns.adobe.com/xap/1.0/"
XMP_RIGHTS = "http://ns.adobe.com/xap/1.0/rights/"
DC = "http://purl.org/dc/elements/1.1/"
IPTC_CORE = "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/"
XML = "http://www.w3.org/XML/1998/namespace"

_LARGEST = 16 * 1024 * 1024
#: Bytes given to the parser at a time.
_PIECE = 4096
_WIDE = (
    (b"\xff\xfe\0\0", "utf-32-le"), (b"\0\0\xfe\xff", "utf-32-be"),
    (b"<\0\0\0", "utf-32-le"), (b"\0\0\0<", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"), (b"<\0", "utf-16-le"), (b"\0<", "utf-16-be"),
)  # fmt: skip


@dataclass(frozen=True)
class StatedRights:
    """Whose a picture is, as IPTC Photo Metadata names it: dc:creator, dc:rights, xmpRights:UsageTerms, and the
    creator's mail or web address. Several creators are joined by "; "."""

    creator: str | None = None
    copyright: str | None = None
    usage: str | None = None
    contact: str | None = None

    def over(self, other: "StatedRights") -> "StatedRights":
        """These, and the other's where these say nothing."""
        return StatedRights(
            self.creator or other.creator,
            self.copyright or other.copyright,
            self.usage or other.usage,
            self.contact or other.contact,
        )


@dataclass(frozen=True)
class Packet:
    """What is used of a packet. rating: -1 (rejected), 0 (none), 1…5, or None where it gives none."""

    rating: int | None = None
    rights: StatedRights = field(default_factory=StatedRights)


NO_PACKET = Packet()


def read_packet(packet: bytes, what: str = "its XMP record") -> tuple[Packet, list[str]]:
    """A packet, with notices about what in it is broken. what: how the notices call it. Never raises."""
    root, broken = plain_packet(packet, what)
    if root is None:
        return NO_PACKET, broken
    # those right below rdf:RDF are of the picture; others stand inside of structures
    descriptions = [one for record in root.iter(f"{{{RDF}}}RDF") for one in record.findall(f"{{{RDF}}}Description")]
    rating: int | None = None
    notices: list[str] = []
    written = _first(descriptions, XMP, "Rating")
    if written is not None:
        rating, notices = _rating(written)
    contact = (
        _in_contact(descriptions, "CiEmailWork")
        or _in_contact(descriptions, "CiUrlWork")
        or _first(descriptions, XMP_RIGHTS, "WebStatement")
    )
    rights = StatedRights(
        _first(descriptions, DC, "creator"),
        _first(descriptions, DC, "rights"),
        _first(descriptions, XMP_RIGHTS, "UsageTerms"),
        contact,
    )
    return Packet(rating, rights), notices


def document_source(packet: bytes, software: str) -> str | None:
    """What a document says that it was made from (dc:source), empty where it does not say; None where another program
    than `software` made it. Never raises."""
    root, _ = plain_packet(packet, "")
    if root is None:
        return None
    descriptions = list(root.iter(f"{{{RDF}}}Description"))
    if _first(descriptions, XMP, "CreatorTool") != software:
        return None
    return _first(descriptions, DC, "source") or ""


def plain_packet(packet: bytes, what: str) -> tuple[ElementTree.Element | None, list[str]]:
    """The root of a packet; None with a notice, told as of `what`, where it is damaged or might do harm."""
    try:
        packet, encoding = _in_utf8(packet)
    except UnicodeError:
        return None, [f"{what} is damaged and was not used"]
    packet = packet.removeprefix(b"\xef\xbb\xbf").strip(b"\0 \r\n\t")
    if not packet:
        return None, []
    # A packet needs no document type; one that declares entities may be made to swell without end.
    if len(packet) > _LARGEST or b"<!DOCTYPE" in packet or b"<!ENTITY" in packet:
        return None, [f"{what} is no plain packet and was not used"]
    parser = ElementTree.XMLParser(target=_Plain(), encoding=encoding)
    try:
        # In pieces, so that a declaration in an encoding of its own is refused before what hangs on it is read.
        for start in range(0, len(packet), _PIECE):
            parser.feed(packet[start : start + _PIECE])
        root: ElementTree.Element = parser.close()
        return root, []
    except _Declared:
        return None, [f"{what} is no plain packet and was not used"]
    except (ElementTree.ParseError, ValueError, LookupError):
        return None, [f"{what} is damaged and was not used"]


class _Declared(Exception):
    """There is a document type."""


class _Plain(ElementTree.TreeBuilder):
    def doctype(self, name: str, pubid: str | None, system: str | None) -> None:
        """Told by the parser as soon as one begins, in whatever encoding it is written."""
        raise _Declared


def _in_utf8(packet: bytes) -> tuple[bytes, str | None]:
    """A packet of UTF-16 or UTF-32 in UTF-8, with what the parser must take it for whatever it says of itself; others
    as they are. By its first bytes, as XML 1.0 has it (appendix F.1). Raises UnicodeError."""
    for begins, name in _WIDE:
        if packet.startswith(begins):
            cut = len(packet) % (4 if "32" in name else 2)
            text = packet[: len(packet) - cut].decode(name).removeprefix("\ufeff")
            return text.encode(), "utf-8"
    return packet, None


def sidecar_of(frame: Path) -> Path | None:
    """The packet beside a frame: frame.xmp, else frame.jpg.xmp; None where there is neither."""
    for path in (frame.with_suffix(".xmp"), frame.with_suffix(".XMP"), frame.with_name(frame.name + ".xmp")):
        if path.is_file():
            return path
    return None


def read_sidecar(frame: Path) -> tuple[Packet, list[str]]:
    """What lies beside a frame, with notices; an empty packet where nothing does. Never raises."""
    path = sidecar_of(frame)
    if path is None:
        return NO_PACKET, []
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST + 1)
    except OSError:
        return NO_PACKET, [f"{path.name} beside it cannot be read and was not used: check its permissions"]
    root, _ = plain_packet(data, "")
    found, notices = read_packet(data, f"{path.name} beside it")
    if root is None and not notices:
        notices = [f"{path.name} beside it is empty and was not used"]
    elif root is not None and next(root.iter(f"{{{RDF}}}RDF"), None) is None:
        notices = [f"{path.name} beside it is no XMP packet and was not used"]
    return found, [f"{notice}: have it written anew, or delete it" for notice in notices]


def _first(descriptions: list[ElementTree.Element], namespace: str, name: str) -> str | None:
    """The first description's property that says something: an attribute, a text, or the items of an array."""
    for description in descriptions:
        written = description.get(f"{{{namespace}}}{name}")
        found = description.find(f"{{{namespace}}}{name}")
        if written is None and found is not None:
            written = _words(found)
        if written is not None and written.strip():
            return written.strip()
    return None


def _words(element: ElementTree.Element) -> str:
    items = list(element.iter(f"{{{RDF}}}li"))
    if not items:
        return element.text or ""
    if element.find(f"{{{RDF}}}Alt") is not None:
        default = [item for item in items if item.get(f"{{{XML}}}lang") == "x-default"]
        return (default or items)[0].text or ""
    return "; ".join(item.text.strip() for item in items if item.text and item.text.strip())


def _in_contact(descriptions: list[ElementTree.Element], name: str) -> str | None:
    for description in descriptions:
        for contact in description.iter(f"{{{IPTC_CORE}}}CreatorContactInfo"):
            inner = contact.find(f"{{{RDF}}}Description")
            found = _first([contact, *([] if inner is None else [inner])], IPTC_CORE, name)
            if found is not None:
                return found
    return None


def _rating(written: str) -> tuple[int | None, list[str]]:
    try:
        rating = float(written)
    except ValueError:
        rating = float("nan")
    if not -1 <= rating <= 5:
        return None, [f"its rating {written.strip()[:20]!r} is no number from -1 to 5 and was not used"]
    return round(rating), []
