"""Ratings and rights in packets: inside a frame, beside it, and as another program writes and reads them."""

import shutil
import subprocess
from pathlib import Path

import pytest

from finishing.photographs.headers import read_header
from finishing.photographs.xmp import Packet, StatedRights, read_packet, read_sidecar, sidecar_of
from tests.conftest import write_frame

HEAD = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" '
    'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/" '
    'xmlns:xmpRights="http://ns.adobe.com/xap/1.0/rights/" xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/" '
    'xmlns:Iptc4xmpCore="http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/">'
)
TAIL = "</rdf:RDF></x:xmpmeta>"


def packet(description: str) -> bytes:
    return f'{HEAD}<rdf:Description rdf:about="" {description}</rdf:Description>{TAIL}'.encode()


FULL = packet(
    'xmp:Rating="3">'
    "<dc:creator><rdf:Seq><rdf:li>A. Example</rdf:li><rdf:li>B. Example</rdf:li></rdf:Seq></dc:creator>"
    '<dc:rights><rdf:Alt><rdf:li xml:lang="de">nein</rdf:li><rdf:li xml:lang="x-default">© 2026 Ä. Example</rdf:li>'
    "</rdf:Alt></dc:rights>"
    '<xmpRights:UsageTerms><rdf:Alt><rdf:li xml:lang="x-default">Client use</rdf:li></rdf:Alt></xmpRights:UsageTerms>'
    '<Iptc4xmpCore:CreatorContactInfo rdf:parseType="Resource">'
    "<Iptc4xmpCore:CiEmailWork>studio@example.org</Iptc4xmpCore:CiEmailWork></Iptc4xmpCore:CreatorContactInfo>"
)


def test_rating_and_rights_of_a_packet() -> None:
    found, notices = read_packet(FULL)
    assert notices == []
    assert found == Packet(
        3, StatedRights("A. Example; B. Example", "© 2026 Ä. Example", "Client use", "studio@example.org")
    )


def test_rights_of_another_picture_do_not_count() -> None:
    inner = (
        '><xmpMM:DerivedFrom><rdf:Description xmp:Rating="5"><dc:rights><rdf:Alt><rdf:li xml:lang="x-default">theirs'
        "</rdf:li></rdf:Alt></dc:rights></rdf:Description></xmpMM:DerivedFrom>"
    )
    assert read_packet(packet(inner)) == (Packet(), [])


@pytest.mark.parametrize(
    "data",
    [
        b"<x",
        b"\xff\xfe\x00",
        b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>",
        FULL[:-20],
        b'<?xml version="1.0" encoding="nope"?><a/>',
        b"",
        b" \n",
        b"<a><b/></a>",
    ],
)
def test_a_broken_packet_beside_a_frame_is_told_and_not_used(tmp_path: Path, data: bytes) -> None:
    write_frame(tmp_path / "A-0001.jpg", seconds=1 / 125)
    (tmp_path / "A-0001.xmp").write_bytes(data)
    header = read_header(tmp_path / "A-0001.jpg")
    assert header.metadata.rating is None
    (notice,) = header.notices
    assert notice.startswith("A-0001.xmp beside it")
    assert notice.endswith("was not used: have it written anew, or delete it")
    assert header.beside == (notice,)


def test_where_a_packet_lies(tmp_path: Path) -> None:
    frame = tmp_path / "A-0001.jpg"
    assert read_sidecar(frame) == (Packet(), [])
    (tmp_path / "A-0001.jpg.xmp").write_bytes(packet('xmp:Rating="1">'))
    assert read_sidecar(frame)[0].rating == 1
    (tmp_path / "A-0001.xmp").write_bytes(packet('xmp:Rating="2">'))
    assert sidecar_of(frame) == tmp_path / "A-0001.xmp"
    assert read_sidecar(frame)[0].rating == 2


def test_the_packet_beside_a_frame_counts_before_the_one_inside(tmp_path: Path) -> None:
    from PIL import Image

    inside = packet(
        'xmp:Rating="2"><dc:rights><rdf:Alt><rdf:li xml:lang="x-default">inside</rdf:li></rdf:Alt></dc:rights>'
    )
    exif = Image.Exif()
    exif[0x013B], exif[0x8298] = "by EXIF", "EXIF copyright"
    Image.new("RGB", (20, 20)).save(tmp_path / "A.jpg", xmp=inside, exif=exif)
    own = read_header(tmp_path / "A.jpg").metadata
    assert (own.rating, own.rights) == (2, StatedRights("by EXIF", "inside"))
    (tmp_path / "A.xmp").write_bytes(FULL)
    told = read_header(tmp_path / "A.jpg").metadata
    assert told.rating == 3
    assert told.rights.copyright == "© 2026 Ä. Example"
    (tmp_path / "A.xmp").write_bytes(packet(">"))
    assert read_header(tmp_path / "A.jpg").metadata == own


def test_what_another_program_writes_beside_a_frame_is_read(tmp_path: Path) -> None:
    exiftool = shutil.which("exiftool")
    if exiftool is None:
        pytest.skip("exiftool is not installed")
    write_frame(tmp_path / "A.jpg")
    subprocess.run(
        [
            exiftool, "-q", "-XMP-xmp:Rating=4", "-XMP-dc:Creator=A. Example", "-XMP-dc:Rights=© A",
            "-XMP-xmpRights:UsageTerms=Client use", "-XMP-iptcCore:CreatorWorkEmail=a@example.org",
            str(tmp_path / "A.xmp"),
        ],
        check=True,
    )  # fmt: skip
    found = read_header(tmp_path / "A.jpg").metadata
    assert (found.rating, found.rights) == (4, StatedRights("A. Example", "© A", "Client use", "a@example.org"))


def test_headers_are_read_without_the_pixels(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A frame of 20 MB of pixels costs a few kilobytes to match: what is read is counted."""
    import io

    write_frame(tmp_path / "A.jpg", seconds=1 / 125, size=(300, 200))
    data = (tmp_path / "A.jpg").read_bytes()
    scan = data.rindex(b"\xff\xda")  # the pixels follow; entropy-coded data of any length stand for a large frame
    (tmp_path / "A.jpg").write_bytes(data[: scan + 14] + b"\x55" * 20_000_000 + data[scan + 14 :])
    count = 0

    class Counting(io.FileIO):
        def readinto(self, buffer: bytearray) -> int:  # type: ignore[override]
            nonlocal count
            got = super().readinto(buffer)
            count += got
            return got

    def opened(path: Path, mode: str = "r", *rest: object, **named: object) -> io.BufferedReader:
        assert mode == "rb"
        return io.BufferedReader(Counting(str(path), "r"))

    monkeypatch.setattr(Path, "open", opened)
    assert read_header(tmp_path / "A.jpg").metadata.exposure_seconds == pytest.approx(1 / 125)
    assert 0 < count < 300_000


ENCODINGS = ["utf-8", "utf-16-le", "utf-16-be", "utf-32-le", "utf-32-be"]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("declared", [True, False])
def test_a_packet_may_be_in_any_encoding_of_unicode(encoding: str, mark: str, *, declared: bool) -> None:
    """ISO 16684-1, 7.1: a packet is in UTF-8, UTF-16 or UTF-32; what follows it may be blank or nothing."""
    head = f'<?xml version="1.0" encoding="{encoding[:6]}"?>' if declared else ""
    data = (mark + head + FULL.decode() + "\n \n").encode(encoding)
    for padded in (data, data.rstrip(b"\0"), data + b"\0\0\0"):
        assert read_packet(padded) == read_packet(FULL)


@pytest.mark.parametrize("encoding", [*ENCODINGS, "cp037", "cp1140", "utf-7"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize(
    "declaration", ['<!DOCTYPE a [<!ENTITY b "cccc">]>', "<!DOCTYPE a SYSTEM 'file:///a'>", "<!DOCTYPE a>"]
)
def test_a_packet_that_declares_something_is_refused_in_any_encoding(
    encoding: str, mark: str, declaration: str
) -> None:
    head = f'<?xml version="1.0" encoding="{encoding[:6]}"?>'
    body = declaration + packet('xmp:Rating="3">').decode()
    wide = encoding.startswith("utf-") and encoding != "utf-7"
    if mark and not wide:
        return
    data = (mark + head + body).encode(encoding) if wide else head.encode() + body.encode(encoding)
    found, notices = read_packet(data)
    assert found == Packet()
    assert len(notices) == 1
    if wide:
        assert "no plain packet" in notices[0]
