"""What a finished picture carries, as two independent readers see it."""

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finishing.colour.spaces import COLOUR_SPACES
from finishing.photographs import exif as e
from finishing.photographs.metadata import FrameMetadata, read_metadata
from finishing.photographs.reading import read_header
from finishing.photographs.records import FinishRecord, RecordedStrobe, Rights, output_metadata
from finishing.photographs.writing import OutputSettings, write_photograph

HASH = "ab" * 32
MIME = {"jpeg": "image/jpeg", "png": "image/png"}


def full(source: FrameMetadata, **changes: Any) -> FinishRecord:
    """A record with everything in it."""
    record = FinishRecord(
        source=source, source_name="A-0001.jpg", source_hash=HASH, width=72, height=48, colour_space="srgb",
        format="image/jpeg", software="finishing 1.2.3",
        rights=Rights("Ä. Example", "© 2026 Ä. Example", "Client use only", "studio@example.org"),
        rating=4, description='Standing <by> the "ladder" & tree, f/8, 1/125',
        recipe_title="Saffron", recipe_name="saffron", recipe_version=2, recipe_hash="cd" * 32,
        settings={"kept_hue": 75, "edges": [0.5, 1], "note": "ä"}, setup="A", setup_title="Standing by the ladder",
        planned_aperture=8.0, planned_shutter=1 / 125, planned_iso=100.0, exposure_value=12.97, ambient_stops=-2.0,
        strobes=(
            RecordedStrobe("key", "medium softbox", "camera left", 1.0, 8.0),
            RecordedStrobe("rim", power=0.25, reads=5.6),
        ),
        plan_minus_camera_stops=-0.33, history="saffron, version 2",
    )  # fmt: skip
    return replace(record, **changes)


@pytest.fixture
def write(tmp_path: Path, picture: np.ndarray) -> Callable[..., Path]:
    """Writes a picture that carries a record."""

    def written(record: FinishRecord, name: str = "a") -> Path:
        form = record.format.removeprefix("image/")
        exif, xmp = output_metadata(record)
        path = tmp_path / f"{name}.{form}"
        output = OutputSettings(form, COLOUR_SPACES[record.colour_space])  # type: ignore[arg-type]
        write_photograph(path, picture, settings=output, exif=exif, xmp=xmp)
        return path

    return written


def camera(exif: bytes) -> FrameMetadata:
    return read_metadata(exif, b"")[0]


def seen(exiftool: Callable[..., str], path: Path) -> dict[str, Any]:
    """All that exiftool reads, as printed for people, structures whole."""
    found: dict[str, Any] = json.loads(exiftool("-json", "-G1", "-struct", path))[0]
    return found


@pytest.mark.parametrize("form", ["jpeg", "png"])
def test_exiftool_reads_every_field(
    form: str, write: Callable[..., Path], camera_exif: bytes, exiftool: Callable[..., str]
) -> None:
    found = seen(exiftool, write(full(camera(camera_exif), format=MIME[form])))
    words = 'Standing <by> the "ladder" & tree, f/8, 1/125'
    expected = {
        "IFD0:Make": "Example", "IFD0:Model": "Model 1", "IFD0:Orientation": "Horizontal (normal)",
        "IFD0:ImageDescription": words, "IFD0:Artist": "Ä. Example", "IFD0:Copyright": "© 2026 Ä. Example",
        "IFD0:Software": "finishing 1.2.3", "IFD0:XResolution": 300, "IFD0:ResolutionUnit": "inches",
        "ExifIFD:ExposureTime": "1/400", "ExifIFD:FNumber": 1.8, "ExifIFD:ISO": 200,
        "ExifIFD:DateTimeOriginal": "2026:09:19 18:52:11", "ExifIFD:OffsetTimeOriginal": "+02:00",
        "ExifIFD:SubSecTimeOriginal": 37, "ExifIFD:LensModel": "50 mm f/1.8", "ExifIFD:FocalLength": "50.0 mm",
        "ExifIFD:ExifImageWidth": 72, "ExifIFD:ExifImageHeight": 48, "ExifIFD:ColorSpace": "sRGB",
        "ExifIFD:Flash": "Fired", "ExifIFD:LightSource": "Flash", "ExifIFD:ExposureCompensation": "-1/3",
        "Composite:GPSPosition": "47 deg 24' 0.00\" N, 8 deg 36' 0.00\" W",
        "XMP-dc:Creator": ["Ä. Example"], "XMP-dc:Rights": "© 2026 Ä. Example", "XMP-dc:Description": words,
        "XMP-dc:Format": MIME[form], "XMP-xmpRights:Marked": True, "XMP-xmpRights:UsageTerms": "Client use only",
        "XMP-iptcCore:CreatorContactInfo": {"CiEmailWork": "studio@example.org"},
        "XMP-xmp:Rating": 4, "XMP-xmp:CreatorTool": "finishing 1.2.3",
        "XMP-xmpMM:DerivedFrom": {"DocumentID": f"sha256:{HASH}", "FilePath": "A-0001.jpg"},
        "XMP-xmpMM:History": [
            {"Action": "derived", "SoftwareAgent": "finishing 1.2.3", "Parameters": "saffron, version 2"}
        ],
        "XMP-finishing:Recipe": "saffron", "XMP-finishing:RecipeTitle": "Saffron",
        "XMP-finishing:RecipeVersion": 2, "XMP-finishing:RecipeHash": "cd" * 32,
        "XMP-finishing:RecipeSettings": '{"edges": [0.5, 1], "kept_hue": 75, "note": "ä"}',
        "XMP-finishing:Setup": "A", "XMP-finishing:SetupTitle": "Standing by the ladder",
        "XMP-finishing:PlannedAperture": "f/8", "XMP-finishing:PlannedShutter": 0.008,  # it works out 1/125
        "XMP-finishing:PlannedISO": 100, "XMP-finishing:ExposureValue100": 12.97,
        "XMP-finishing:AmbientStops": -2, "XMP-finishing:PlanMinusCameraStops": -0.33,
        "XMP-finishing:Strobes": [
            {"Name": "key", "Modifier": "medium softbox", "Position": "camera left", "Power": 1, "Reads": "f/8"},
            {"Name": "rim", "Power": 0.25, "Reads": "f/5.6"},
        ],
    }  # fmt: skip
    assert {key: found.get(key) for key in expected} == expected
    assert not [key for key in found if "MakerNote" in key or "Thumbnail" in key or key.startswith("IFD1")]
    for gone in ("ExifIFD:FocalPlaneXResolution", "ExifIFD:SubjectArea", "XMP-xmpRights:WebStatement"):
        assert gone not in found


@pytest.mark.parametrize("form", ["jpeg", "png"])
def test_exiv2_reads_it_too(
    form: str, write: Callable[..., Path], camera_exif: bytes, exiv2: Callable[..., str]
) -> None:
    lines = exiv2("-pa", write(full(camera(camera_exif), format=MIME[form]))).splitlines()
    found = {line.split()[0]: " ".join(line.split()[3:]) for line in lines}
    assert found["Exif.Photo.ShutterSpeedValue"] == "1/400 s"
    assert found["Exif.Image.Copyright"] == "© 2026 Ä. Example"
    assert found["Xmp.finishing.PlannedShutter"] == "1/125"
    assert found["Xmp.finishing.Strobes[1]/finishing:Power"] == "1/1"
    assert found["Xmp.finishing.Strobes[2]/finishing:Power"] == "1/4"
    assert found["Xmp.xmpMM.DerivedFrom/stRef:documentID"] == f"sha256:{HASH}"
    types = {line.split()[0]: line.split()[1] for line in lines}
    assert types["Exif.Photo.ShutterSpeedValue"] == "SRational"
    assert types["Exif.Photo.ExposureTime"] == "Rational"


def test_the_plan_stands_in_where_the_frame_tells_nothing(
    write: Callable[..., Path], exiftool: Callable[..., str], exiv2: Callable[..., str]
) -> None:
    record = full(FrameMetadata(), planned_aperture=5.6, plan_minus_camera_stops=None)
    path = write(record)
    found = seen(exiftool, path)
    assert found["ExifIFD:ExposureTime"] == "1/125"
    assert found["ExifIFD:FNumber"] == 5.6
    assert found["ExifIFD:ISO"] == 100
    assert found["ExifIFD:SensitivityType"] == "Recommended Exposure Index"
    assert found["ExifIFD:Flash"] == "Fired"
    assert found["ExifIFD:LightSource"] == "Flash"
    assert "XMP-finishing:PlanMinusCameraStops" not in found
    assert "ExifIFD:DateTimeOriginal" not in found
    back = read_header(path).metadata
    assert (back.exposure_seconds, back.f_number, back.iso) == (1 / 125, 5.6, 100)
    photo = e.read_exif(output_metadata(record)[0])[0].photo
    # Derived by APEX: Tv of 1/125 s is 6.965784, Av of f/5.6 is 4.970854.
    assert photo[0x9201] == e.signed_rational(6965784, 1000000)
    assert photo[0x9202] == e.rational(4970854, 1000000)
    assert "SRational" in next(line for line in exiv2("-pa", path).splitlines() if "ShutterSpeed" in line)


@pytest.mark.parametrize(
    ("seconds", "pair"), [(1 / 125, (1, 125)), (0.4, (2, 5)), (2.0, (2, 1)), (1 / 8000, (1, 8000)), (1.3, (13, 10))]
)
def test_shutter_times_as_cameras_write_them(seconds: float, pair: tuple[int, int]) -> None:
    exif, _ = output_metadata(full(FrameMetadata(), planned_shutter=seconds))
    assert e.read_exif(exif)[0].photo[0x829A] == e.rational(*pair)


def test_the_plan_wins_over_a_flash_that_the_camera_did_not_notice(camera_exif: bytes) -> None:
    def flash(record: FinishRecord) -> tuple[int, bool]:
        photo = e.read_exif(output_metadata(record)[0])[0].photo
        return photo[0x9209].value[0], 0x9208 in photo

    source = camera(camera_exif)  # records 0x10: did not fire, compulsory
    assert flash(full(source)) == (0x01, True)
    assert flash(full(source, strobes=())) == (0x10, False)
    structure, _ = e.read_exif(camera_exif)
    structure.photo[0x9209] = e.short(0x0D)  # fired, compulsory, return light not detected
    assert flash(full(camera(e.write_exif(structure)))) == (0x0D, True)


def test_rights_that_are_not_there_leave_nothing_behind(
    write: Callable[..., Path], exiftool: Callable[..., str]
) -> None:
    bare = FinishRecord(FrameMetadata(), "b.png", HASH, 72, 48, "oprgb", "image/png", "finishing 1.2.3")
    found = seen(exiftool, write(bare))
    for part in ("Rights", "Creator\b", "Rating", "Description", "Strobes", "Planned", "Artist", "Flash\b"):
        assert not [key for key in found if part in key and "ICC" not in key and "CreatorTool" not in key]
    assert found["ExifIFD:ColorSpace"] == "Uncalibrated"
    web = full(FrameMetadata(), rights=Rights(contact="https://example.org/studio?a=1&b=2", marked=False))
    found = seen(exiftool, write(web))
    assert found["XMP-xmpRights:WebStatement"] == "https://example.org/studio?a=1&b=2"
    assert found["XMP-iptcCore:CreatorContactInfo"] == {"CiUrlWork": "https://example.org/studio?a=1&b=2"}
    assert found["XMP-xmpRights:Marked"] is False


def test_the_frame_keeps_its_rating_and_texts_where_the_session_gives_none(camera_exif: bytes) -> None:
    structure, _ = e.read_exif(camera_exif)
    structure.image[0x013B] = e.text("B. Example")
    structure.image[0x4746] = e.short(3)
    source = camera(e.write_exif(structure))
    exif, xmp = output_metadata(full(source, rating=None, rights=Rights(), description=None))
    assert read_metadata(b"", xmp)[0].rating == 3
    assert read_metadata(exif, b"")[0].artist == "B. Example"


BROKEN: dict[str, e.Exif] = {
    "nothing": e.Exif(),
    "fractions over zero": e.Exif(
        photo={tag: e.rational(0, 0) for tag in (0x829A, 0x829D, 0x920A, 0x9202, 0xA404, 0x9205)}
        | {0x9204: e.signed_rational(0, 0)}
    ),
    "wrong types": e.Exif(
        image={0x010F: e.short(1), 0x0112: e.text("up"), 0x0132: e.long(7), 0x9C9B: e.text("x")},
        photo={0x829A: e.short(4), 0x8827: e.text("ISO"), 0x9003: e.undefined(b"now"), 0x9000: e.text("2")},
        gps={1: e.short(1), 2: e.rational(47, 1), 0: e.text("2"), 29: e.text("soon")},
    ),
    "blank texts": e.Exif(
        image={0x010E: e.text("   "), 0x0132: e.text("    :  :     :  :  "), 0x8298: e.Entry(e.Kind.ASCII, b"")},
        photo={0x9003: e.text("0000:00:00 00:00:00"), 0x9011: e.text("   :  "), 0x9291: e.text("  ")},
    ),
    "bytes of another age": e.Exif(
        image={0x8298: e.Entry(e.Kind.ASCII, b"\xa9 2001 B. Ex\xe4mple"), 0x010F: e.Entry(e.Kind.ASCII, b"No end")},
        photo={0x9286: e.undefined(b"UNICODE\0" + "ä".encode("utf-16-be")), 0x9999: e.short(1), 0xA432: e.Entry(
            e.Kind.RATIONAL, ((50, 1), (50, 1), (0, 0), (0, 0)))},
        gps={0x1D: e.text("2026:09:19"), 7: e.Entry(e.Kind.RATIONAL, ((16, 1), (52, 1), (11, 1)))},
    ),
    "large comment": e.Exif(photo={0x9286: e.undefined(b"x" * 64000), 0x927C: e.undefined(b"y" * 1000)}),
}  # fmt: skip


def test_outputs_are_valid_whatever_the_frame_says(
    write: Callable[..., Path], camera_exif: bytes, exiftool: Callable[..., str]
) -> None:
    paths = []
    for number, structure in enumerate([e.read_exif(camera_exif)[0], *BROKEN.values()]):
        for form, mime in MIME.items():
            for space in COLOUR_SPACES:
                source = camera(e.write_exif(structure))
                record = full(
                    source, format=mime, colour_space=space, strobes=() if number % 2 else full(source).strobes
                )
                paths.append(write(record, f"{number}-{space}"))
                assert paths[-1].suffix == f".{form}"
    report = exiftool("-validate", "-warning", "-error", "-a", "-s3", "-q", *paths)
    assert report.split() == ["OK"] * len(paths), report


def test_every_kind_of_damage_to_the_frame_is_survived(camera_exif: bytes) -> None:
    @settings(max_examples=100, deadline=None)
    @given(st.data())
    def survive(data: st.DataObject) -> None:
        damaged = bytearray(camera_exif)
        for _ in range(data.draw(st.integers(1, 8))):
            damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
        exif, _ = output_metadata(full(camera(bytes(damaged))))
        record, notices = e.read_exif(exif)
        assert notices == []
        assert len(exif) < 20_000
        assert record.image[0x0112] == e.short(1)

    survive()


@settings(max_examples=100, deadline=None)
@given(words=st.text(max_size=60), stops=st.floats(-20, 20))
def test_any_words_make_a_packet_that_reads_back(words: str, stops: float) -> None:
    record = full(
        FrameMetadata(), description=words, setup_title=words, settings={"note": words}, ambient_stops=stops,
        rights=Rights(words, words, words, words),
    )  # fmt: skip
    exif, xmp = output_metadata(record)
    assert (exif, xmp) == output_metadata(record)
    root = ElementTree.fromstring(xmp)
    title = root.findtext(".//{https://example.org/ns/finishing/1.0/}SetupTitle") or ""
    allowed = "".join(
        c if c in "\t\n\r" or " " <= c <= "\ud7ff" or "\ue000" <= c <= "\ufffd" or c > "\uffff" else "\ufffd"
        for c in words
    )
    assert title == allowed
    assert e.read_exif(exif)[1] == []


def test_nothing_of_the_clock_or_the_machine_goes_in(camera_exif: bytes) -> None:
    exif, xmp = output_metadata(full(camera(camera_exif)))
    assert (exif, xmp) == output_metadata(full(camera(camera_exif)))
    assert b"/" + str(Path.cwd()).encode()[1:] not in xmp
    assert b"stEvt:when" not in xmp
