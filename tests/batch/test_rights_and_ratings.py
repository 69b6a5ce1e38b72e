"""Ratings and rights: the session's first, then those beside a frame, then its own; carried into the finished files."""

import re
from pathlib import Path
from xml.etree import ElementTree

from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.work.assignment import assign
from tests.photographs.test_sidecars import FULL, packet

DC = "{http://purl.org/dc/elements/1.1/}"
LI = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}li"
USAGE = "{http://ns.adobe.com/xap/1.0/rights/}UsageTerms"
RATING = "{http://ns.adobe.com/xap/1.0/}Rating"


def told(path: Path) -> dict[str, str | None]:
    """What a finished file says in XMP and EXIF."""
    with Image.open(path) as image:
        root = ElementTree.fromstring(image.info["xmp"])
        exif = image.getexif()
        found: dict[str, str | None] = {}
        for key, tag in (("creator", f"{DC}creator"), ("copyright", f"{DC}rights"), ("usage", USAGE)):
            stated = root.find(f".//{tag}")
            found[key] = None if stated is None else next(stated.iter(LI)).text
        return {**found, "rating": root.findtext(f".//{RATING}"), "exif": exif.get(0x013B)}


def test_the_session_then_the_file_beside_then_the_frame(session: Path, tmp_path: Path) -> None:
    file = session / "session.yaml"
    text = re.sub("rights: .*", "rights: {usage: By agreement}", file.read_text())
    file.write_text(text.replace("frames: [frames/*.jpg]", "frames: [frames/*]"))
    (session / "frames/A-0001.xmp").write_bytes(FULL)
    (session / "frames/A-0002.xmp").write_bytes(packet('xmp:Rating="1">'))  # the session says 4
    assert not run(assign(session), tmp_path / "out", jobs=2).failed
    first = told(tmp_path / "out/web/faded_print/A-0001.jpg")
    assert first == {
        "creator": "A. Example; B. Example",
        "copyright": "© 2026 Ä. Example",
        "usage": "By agreement",
        "rating": "3",
        "exif": "A. Example; B. Example",
    }
    second = told(tmp_path / "out/web/faded_print/A-0002.jpg")
    assert (second["creator"], second["rating"]) == (None, "4")
    # a rating given later beside a frame makes its files anew, and chooses looks
    (session / "frames/C-0004.xmp").write_bytes(packet('xmp:Rating="5">'))
    file.write_text(file.read_text().replace("frames: all", "frames: {rating_at_least: 3}"))
    again = run(assign(session), tmp_path / "out", jobs=2)
    assert {Path(path).stem for path in again.made} == {"C-0004"}
    assert told(tmp_path / "out/web/faded_print/C-0004.jpg")["rating"] == "5"


def test_a_broken_file_beside_a_frame_is_told_and_the_frame_finished(session: Path, tmp_path: Path) -> None:
    (session / "frames/A-0001.xmp").write_bytes(b"<x")
    report = run(assign(session), tmp_path / "out", jobs=2)
    assert not report.failed
    assert report.notices["A-0001"] == [
        "A-0001.xmp beside it is damaged and was not used: have it written anew, or delete it"
    ]
