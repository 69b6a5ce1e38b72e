"""XMP of a finished picture (ISO 16684-1), with properties as in IPTC Photo Metadata and a namespace of our own.

The packet is the same for the same record: properties stand in a fixed order, and nothing tells the time.
"""

import json
import re
from collections.abc import Callable, Iterable
from xml.sax.saxutils import escape

from finishing.photographs.records import FinishRecord, RecordedBlend, RecordedSource, RecordedStrobe, Rights
from finishing.units import format_aperture, format_number, format_power, format_shutter

NAMESPACE = "https://example.org/ns/finishing/1.0/"

# Prefixes and namespaces as ISO 16684-1, ISO 16684-2 and IPTC Photo Metadata give them.
_NAMESPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stRef": "http://ns.adobe.com/xap/1.0/sType/ResourceRef#",
    "stEvt": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "finishing": NAMESPACE,
}
_PACKET_ID = "W5M0MpCehiHzreSzNTczkc9d"  # of every packet (ISO 16684-1, 7.3.2)
# Characters that XML 1.0 has no place for, not even escaped.
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def finished_xmp(record: FinishRecord) -> bytes:
    """The packet, UTF-8."""
    described = _described([*_rights(record.rights), *_general(record), *_origin(record), *_own(record)])
    return f'<?xpacket begin="\ufeff" id="{_PACKET_ID}"?>\n{described}\n<?xpacket end="r"?>'.encode()


def document_xmp(title: str, rights: Rights, *, software: str, source: str = "") -> str:
    """The same of a document of pages, for whoever puts it into one: the x:xmpmeta element, without what wraps it.

    source: what the document was made from (dc:source).
    """
    general = [_language("dc:title", title)] if title else []
    general += [_simple("dc:source", source)] if source else []
    return _described([*_rights(rights), *general, _simple("xmp:CreatorTool", software)])


def _described(properties: Iterable[str]) -> str:
    names = "\n".join(f'    xmlns:{prefix}="{uri}"' for prefix, uri in _NAMESPACES.items() if prefix != "rdf")
    body = "\n".join(f"   {each}" for each in properties)
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        f' <rdf:RDF xmlns:rdf="{_NAMESPACES["rdf"]}">\n'
        f'  <rdf:Description rdf:about=""\n{names}>\n'
        f"{body}\n"
        "  </rdf:Description>\n </rdf:RDF>\n</x:xmpmeta>"
    )


def _rights(rights: Rights) -> Iterable[str]:
    if rights.creator:
        yield _array("dc:creator", "Seq", [_text(rights.creator)])
    if rights.copyright:
        yield _language("dc:rights", rights.copyright)
    marked = rights.marked if rights.marked is not None else (True if rights.copyright else None)
    if marked is not None:
        yield _simple("xmpRights:Marked", "True" if marked else "False")
    if rights.usage:
        yield _language("xmpRights:UsageTerms", rights.usage)
    if rights.contact:
        web = re.match(r"https?://|www\.", rights.contact) is not None
        if web:
            yield _simple("xmpRights:WebStatement", rights.contact)
        field = "Iptc4xmpCore:CiUrlWork" if web else "Iptc4xmpCore:CiEmailWork"
        yield _structure("Iptc4xmpCore:CreatorContactInfo", [_simple(field, rights.contact)])


def _general(record: FinishRecord) -> Iterable[str]:
    if record.description:
        yield _language("dc:description", record.description)
    yield _simple("dc:format", record.format)
    rating = record.rating if record.rating is not None else record.source.rating
    if rating is not None:
        yield _simple("xmp:Rating", str(rating))
    yield _simple("xmp:CreatorTool", record.software)


def _origin(record: FinishRecord) -> Iterable[str]:
    yield _structure("xmpMM:DerivedFrom", _reference(record.source_name, record.source_hash))
    if record.blend is not None:
        parts = ["".join(_reference(one.name, one.hash)) for one in record.blend.sources]
        yield _array("xmpMM:Ingredients", "Bag", parts, resource=True)
    event = [_simple("stEvt:action", "derived"), _simple("stEvt:softwareAgent", record.software)]
    if record.history:
        event.append(_simple("stEvt:parameters", record.history))
    yield _array("xmpMM:History", "Seq", ["".join(event)], resource=True)


def _reference(name: str, digest: str) -> list[str]:
    """A file that a picture comes from (ISO 16684-1, ResourceRef)."""
    return [_simple("stRef:filePath", name), _simple("stRef:documentID", f"sha256:{digest}")]


def _own(record: FinishRecord) -> Iterable[str]:
    settings = json.dumps(dict(record.settings), sort_keys=True, ensure_ascii=False) if record.settings else None
    values: list[tuple[str, str | None]] = [
        ("Recipe", record.recipe_name or record.recipe_title),
        ("RecipeTitle", record.recipe_title if record.recipe_name else None),
        ("RecipeVersion", None if record.recipe_version is None else str(record.recipe_version)),
        ("RecipeHash", record.recipe_hash),
        ("RecipeSettings", settings),
        ("Setup", record.setup),
        ("SetupTitle", record.setup_title),
        ("PlannedAperture", _if(record.planned_aperture, format_aperture)),
        ("PlannedShutter", _if(record.planned_shutter, format_shutter)),
        ("PlannedISO", _if(record.planned_iso, lambda iso: format_number(iso, 0))),
        ("ExposureValue100", _if(record.exposure_value, format_number)),
        ("AmbientStops", _if(record.ambient_stops, format_number)),
        ("PlanMinusCameraStops", _if(record.plan_minus_camera_stops, format_number)),
        ("ExposureCorrectionStops", _if(record.exposure_correction_stops, lambda stops: format_number(stops, 4))),
        ("WhiteBalanceCorrection", record.white_balance_correction),
        ("RecipeText", record.recipe_text),
        ("Delivered", record.delivered),
        ("Subject", "{!r}, {!r}".format(*record.subject) if record.subject else None),
    ]
    for key, value in values:
        if value:
            yield _simple(f"finishing:{key}", value)
    if record.blend is not None:
        yield from _blend(record.blend)
    if record.strobes:
        yield _array("finishing:Strobes", "Seq", [_strobe(each) for each in record.strobes], resource=True)


def _blend(blend: RecordedBlend) -> Iterable[str]:
    for name, stops, white in (
        ("Ambient", blend.ambient_stops, blend.ambient_white),
        ("Strobe", blend.strobe_stops, blend.strobe_white),
    ):
        yield _simple(f"finishing:Blend{name}Stops", "off" if stops is None else format_number(stops))
        if white is not None and stops is not None:
            yield _simple(f"finishing:Blend{name}WhiteBalance", white)
    sources = ["".join(_source(one)) for one in blend.sources]
    yield _array("finishing:BlendSources", "Seq", sources, resource=True)


def _source(source: RecordedSource) -> Iterable[str]:
    yield _simple("finishing:File", source.name)
    if source.shutter is not None:
        yield _simple("finishing:Shutter", format_shutter(source.shutter))
    yield _simple("finishing:StrobesFired", "True" if source.strobes else "False")


def _if(value: float | None, form: Callable[[float], str]) -> str | None:
    return None if value is None else form(value)


def _strobe(strobe: RecordedStrobe) -> str:
    values = [
        ("Name", strobe.name),
        ("Modifier", strobe.modifier),
        ("Position", strobe.position),
        ("Power", _if(strobe.power, format_power)),
        ("Reads", _if(strobe.reads, format_aperture)),
    ]
    return "".join(_simple(f"finishing:{key}", value) for key, value in values if value)


def _text(words: str) -> str:
    """Words as XML text; what XML cannot hold becomes U+FFFD, so that a stray byte never spoils the packet."""
    return escape(_FORBIDDEN.sub("\ufffd", words), {"\r": "&#13;"})


def _simple(name: str, words: str) -> str:
    return f"<{name}>{_text(words)}</{name}>"


def _language(name: str, words: str) -> str:
    """A language alternative with its default."""
    return f'<{name}><rdf:Alt><rdf:li xml:lang="x-default">{_text(words)}</rdf:li></rdf:Alt></{name}>'


def _array(name: str, kind: str, items: list[str], *, resource: bool = False) -> str:
    start = '<rdf:li rdf:parseType="Resource">' if resource else "<rdf:li>"
    lines = "".join(f"{start}{item}</rdf:li>" for item in items)
    return f"<{name}><rdf:{kind}>{lines}</rdf:{kind}></{name}>"


def _structure(name: str, fields: list[str]) -> str:
    return f'<{name} rdf:parseType="Resource">{"".join(fields)}</{name}>'
