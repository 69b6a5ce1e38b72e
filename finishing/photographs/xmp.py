"""XMP packets (ISO 16684-1): what a frame's packet says, read with care."""

from xml.etree import ElementTree

# Names of namespaces, as ISO 16684-1 and W3C give them.
RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
XMP = "http://ns.adobe.com/xap/1.0/"

_LARGEST = 16 * 1024 * 1024


def read_rating(packet: bytes) -> tuple[int | None, list[str]]:
    """The rating (xmp:Rating: −1 for rejected, 0 for none, 1…5), or None, and notices about a broken packet."""
    if not packet.strip(b"\0 \r\n\t"):
        return None, []
    # A packet needs no document type; one that declares entities may be made to swell without end.
    if len(packet) > _LARGEST or b"<!DOCTYPE" in packet or b"<!ENTITY" in packet:
        return None, ["its XMP record is no plain packet and was not used"]
    try:
        root = ElementTree.fromstring(packet.strip(b"\0 \r\n\t"))
    except (ElementTree.ParseError, ValueError):
        return None, ["its XMP record is damaged and was not used"]
    for description in root.iter(f"{{{RDF}}}Description"):
        written = description.get(f"{{{XMP}}}Rating")
        if written is None:
            written = description.findtext(f"{{{XMP}}}Rating")
        if written is not None:
            return _rating(written)
    return None, []


def _rating(written: str) -> tuple[int | None, list[str]]:
    try:
        rating = float(written)
    except ValueError:
        rating = float("nan")
    if not -1 <= rating <= 5:
        return None, [f"its rating {written.strip()[:20]!r} is no number from -1 to 5 and was not used"]
    return round(rating), []
