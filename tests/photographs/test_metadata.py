"""A frame's own record: read as cameras write it, and never in the way where it is broken."""

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishing.photographs import exif as e
from finishing.photographs.metadata import FrameMetadata, read_metadata
from finishing.photographs.reading import read_header, read_photograph

Save = Callable[..., Path]


def of(**parts: Any) -> tuple[FrameMetadata, list[str]]:
    return read_metadata(e.write_exif(e.Exif(**parts)), b"")


def packet(inside: str) -> bytes:
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" xmlns:xmp="http://ns.adobe.com/xap/1.0/">'
        f'{inside}</rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
    ).encode()


@pytest.mark.parametrize("form", ["jpg", "png", "tif"])
def test_a_camera_record(form: str, picture: np.ndarray, saved: Save, camera_exif: bytes) -> None:
    for found in (
        read_header(saved(f"a.{form}", picture, exif=camera_exif)).metadata,
        read_photograph(saved(f"a.{form}", picture, exif=camera_exif)).metadata,
    ):
        assert (found.make, found.model, found.lens) == ("Example", "Model 1", "50 mm f/1.8")
        assert (found.exposure_seconds, found.f_number, found.iso) == (1 / 400, 1.8, 200)
        assert found.exposure_bias_stops == pytest.approx(-1 / 3)
        assert (found.focal_length_mm, found.focal_length_35mm) == (50, 75)
        assert found.captured == datetime(2026, 9, 19, 18, 52, 11, 370000)
        assert found.utc_offset_seconds == 7200
        assert found.flash_fired is False
        assert found.latitude == pytest.approx(47.4)
        assert found.longitude == pytest.approx(-8.6)
        assert found.exif_raw
        assert found.colour_space == 1
        assert found.interoperability == ("R98" if form != "tif" else None)  # Pillow leaves it out of a TIFF


def test_apex_values_stand_in_for_missing_ones() -> None:
    found, notices = of(
        photo={0x9201: e.signed_rational(8643856, 1000000), 0x9202: e.rational(1695994, 1000000)}
    )  # real camera files, of 1/400 s and f/1.8
    assert found.exposure_seconds == pytest.approx(1 / 400, rel=1e-5)
    assert found.f_number == pytest.approx(1.8, rel=1e-5)
    assert notices == []


def test_sensitivities_beyond_sixteen_bits() -> None:
    found, _ = of(photo={0x8827: e.short(65535), 0x8830: e.short(2), 0x8832: e.long(102400)})
    assert found.iso == 102400
    assert of(photo={0x8827: e.short(65535)})[0].iso == 65535
    assert of(photo={0x8831: e.long(400)})[0].iso == 400


@pytest.mark.parametrize(
    ("tag", "entry", "attribute", "noticed"),
    [
        (0x829A, e.rational(0, 0), "exposure_seconds", True),
        (0x829A, e.rational(1, 0), "exposure_seconds", True),
        (0x829A, e.text("fast"), "exposure_seconds", True),
        (0x829D, e.rational(0, 0), "f_number", True),
        (0x829D, e.rational(0, 10), "f_number", False),  # a lens that tells the camera nothing
        (0x8827, e.Entry(e.Kind.SHORT, ()), "iso", True),
        (0x8827, e.short(0), "iso", True),
        (0x920A, e.rational(0, 0), "focal_length_mm", True),
        (0x9003, e.text("    :  :     :  :  "), "captured", False),
        (0x9003, e.text("0000:00:00 00:00:00"), "captured", False),
        (0x9003, e.text("2026:13:45 99:00:00"), "captured", True),
        (0x9003, e.text("yesterday 1"), "captured", True),
        (0x9003, e.short(2026), "captured", False),
        (0x9011, e.text("   :  "), "utc_offset_seconds", False),
        (0x9011, e.text("noon 12"), "utc_offset_seconds", True),
        (0x9209, e.rational(1, 1), "flash_fired", True),
    ],
)
def test_a_broken_value_is_none_and_told(tag: int, entry: e.Entry, attribute: str, noticed: bool) -> None:
    found, notices = of(photo={tag: entry})
    assert getattr(found, attribute) is None
    assert bool(notices) == noticed


def test_texts_of_all_ages() -> None:
    found, _ = of(
        image={
            0x013B: e.text("Zoë Example"),
            0x8298: e.Entry(e.Kind.ASCII, "© 2026".encode("latin-1") + b"\0editor"),
            0x010E: e.Entry(e.Kind.ASCII, b"     \0"),
        }
    )
    assert (found.artist, found.copyright, found.description) == ("Zoë Example", "© 2026", None)


@pytest.mark.parametrize(
    ("inside", "rating"),
    [
        ('<rdf:Description rdf:about="" xmp:Rating="4"/>', 4),
        ('<rdf:Description rdf:about=""><xmp:Rating>3</xmp:Rating></rdf:Description>', 3),
        ('<rdf:Description rdf:about=""/><rdf:Description rdf:about="" xmp:Rating="-1"/>', -1),
        ('<rdf:Description rdf:about="" xmp:Rating="2.0"/>', 2),
        ('<rdf:Description rdf:about="" xmp:Label="blue"/>', None),
    ],
)
def test_ratings(inside: str, rating: int | None) -> None:
    found, notices = read_metadata(b"", packet(inside))
    assert found.rating == rating
    assert notices == []


@pytest.mark.parametrize(
    "broken",
    [
        b"<x:xmpmeta",
        b"nonsense",
        packet('<rdf:Description xmp:Rating="many"/>'),
        packet('<rdf:Description xmp:Rating="9"/>'),
        packet('<rdf:Description xmp:Rating="nan"/>'),
        b'<!DOCTYPE x [<!ENTITY a "aaaa">]><x>&a;</x>',
    ],
)
def test_a_broken_packet_is_told(broken: bytes) -> None:
    found, notices = read_metadata(b"", broken)
    assert found.rating is None
    assert len(notices) == 1


def test_ratings_in_exif_and_which_goes_first() -> None:
    record = e.write_exif(e.Exif(image={0x4746: e.short(2)}))
    assert read_metadata(record, b"")[0].rating == 2
    assert read_metadata(record, packet('<rdf:Description xmp:Rating="5"/>'))[0].rating == 5


@pytest.mark.parametrize("form", ["jpg", "png", "tif"])
def test_a_rating_is_found_in_every_form(form: str, picture: np.ndarray, tmp_path: Path) -> None:
    from PIL import Image, PngImagePlugin, TiffImagePlugin

    xmp = packet('<rdf:Description rdf:about="" xmp:Rating="4"/>')
    path = tmp_path / f"a.{form}"
    image = Image.fromarray(picture)
    if form == "jpg":
        image.save(path, xmp=xmp)
    elif form == "png":
        for compressed in (False, True):
            texts = PngImagePlugin.PngInfo()
            texts.add_itxt("XML:com.adobe.xmp", xmp.decode(), zip=compressed)
            image.save(path, pnginfo=texts)
            assert read_header(path).metadata.rating == 4
    else:
        tags = TiffImagePlugin.ImageFileDirectory_v2()
        tags.tagtype[700] = 1
        tags[700] = xmp
        image.save(path, tiffinfo=tags)
    assert read_header(path).metadata.rating == 4
    assert read_photograph(path).metadata.xmp_raw.strip(b"\0") == xmp


def test_records_are_written_and_read_back_in_either_byte_order(camera_exif: bytes) -> None:
    record, notices = e.read_exif(camera_exif)
    assert notices == []
    assert e.write_exif(record) == camera_exif
    for order in "<>":
        turned = e.Exif(order, record.image, record.photo, record.gps, record.interop)
        assert e.read_exif(e.write_exif(turned)) == (turned, [])
    assert e.write_exif(e.Exif()) == b""
    assert e.read_exif(b"") == (e.Exif(), [])


def test_pillow_reads_the_same_record(camera_exif: bytes) -> None:
    from PIL import Image

    record = Image.Exif()
    record.load(b"Exif\0\0" + camera_exif)
    photo = record.get_ifd(0x8769)
    assert (record[0x010F], photo[0x829A], photo[0x9201]) == ("Example", 1 / 400, pytest.approx(8.643856))
    assert record.get_ifd(0x8825)[2] == (47, 24, 0)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_any_damage_to_a_record_gives_a_record(data: st.DataObject) -> None:
    whole = bytearray(CAMERA)
    for _ in range(data.draw(st.integers(0, 6))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    damaged = bytes(whole[: data.draw(st.integers(0, len(whole)))])
    found, notices = read_metadata(damaged, data.draw(st.binary(max_size=40)))
    assert found.exif_raw == damaged
    assert 1 <= found.orientation <= 8
    assert all(isinstance(notice, str) for notice in notices)
    e.read_exif(e.write_exif(e.read_exif(damaged)[0]))


CAMERA = e.write_exif(
    e.Exif(
        ">",
        {0x010F: e.text("Example"), 0x0112: e.short(6), 0x013B: e.text("A. Example")},
        {0x829A: e.rational(1, 400), 0x829D: e.rational(8, 1), 0x8827: e.short(100),
         0x9003: e.text("2026:09:19 18:52:11"), 0x9291: e.text("5"), 0x9204: e.signed_rational(0, 1),
         0x9209: e.short(1), 0xA001: e.short(1)},
        {1: e.text("N"), 2: e.Entry(e.Kind.RATIONAL, ((47, 1), (24, 1), (0, 1)))},
        {1: e.text("R98")},
    )
)  # fmt: skip


def test_a_damaged_record_never_fails_a_frame(picture: np.ndarray, saved: Save) -> None:
    for record in (b"garbage", CAMERA[:9], CAMERA[:60], b"MM\0*\xff\xff\xff\xff", b"MM\0*\0\0\0\x08\xff\xff"):
        photograph = read_photograph(saved("a.jpg", picture, exif=record))
        assert sorted(photograph.codes.shape) == sorted(picture.shape)
        assert photograph.notices
