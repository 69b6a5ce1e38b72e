"""Blends in ledger and record: nothing made twice, the same bytes each time, what they are of."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest

from finishing.batch.delivery.run import run
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.work.assignment import assign
from tests.batch.blending import finish
from tests.light.blend_session import exif, lights, rewrite, write_blend_session, write_frame


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_blend_session(tmp_path / "shoot")


def test_nothing_is_made_twice_and_what_changed_is(folder: Path) -> None:
    finish(folder)
    assert finish(folder).made == []
    rewrite(folder, ("strobe: -0.3", "strobe: -0.4"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    ambient, strobe = lights()
    write_frame(folder / "frames/C-0013.tif", 4 * ambient + 0.99 * strobe, exif(1 / 30))
    assert set(finish(folder).made) == {"light/plain/C-0013.tif", "light/plain/C-blend.tif"}
    rewrite(folder, ("    light:", "    white_balance: {ambient: 5600}\n    light:"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    write_frame(folder / "frames/D-0001.jpg", ambient, exif(1 / 60, f_number=5.6))
    assert finish(folder).made == ["light/plain/D-0001.tif"]


def test_frames_that_moved_within_the_session_make_nothing_anew(folder: Path) -> None:
    finish(folder)
    (folder / "frames").rename(folder / "originals")
    rewrite(folder, ("[frames/*]", "[originals/*]"))
    assert finish(folder).made == []


def test_a_reference_that_changes_makes_it_anew(folder: Path) -> None:
    finish(folder)
    rewrite(folder, ("sources: [C-0012, C-0013]", "sources: [C-0013, C-0012]"))
    assert finish(folder).made == ["light/plain/C-blend.tif"]
    assert finish(folder).made == []


def test_same_input_same_bytes(folder: Path, tmp_path: Path) -> None:
    for name, jobs in (("one", 1), ("two", 2)):
        run(assign(folder), tmp_path / name, jobs=jobs)
    blend = "light/plain/C-blend.tif"
    assert (tmp_path / "one" / blend).read_bytes() == (tmp_path / "two" / blend).read_bytes()


def test_the_ledger_knows_what_a_blend_is_of(folder: Path) -> None:
    finish(folder)
    with open_ledger(folder / "finished", create=False) as ledger:
        entry = next(one for one in ledger.entries() if one.frame == "C-blend")
        told = ledger.blends()[entry.source_hash]
    assert entry.source == "blend of frames/C-0012.tif and frames/C-0013.tif, ambient +0.7 stop, strobe −0.3 stop"
    assert entry.setup == "C"
    assert [one["frame"] for one in told["sources"]] == ["frames/C-0012.tif", "frames/C-0013.tif"]
    assert [one["hash"] for one in told["sources"]] == [
        hash_file(folder / f"frames/{name}.tif") for name in ("C-0012", "C-0013")
    ]
    assert [one["seconds"] for one in told["sources"]] == [1 / 128, 1 / 32]
    assert told["light"] == {"ambient": 0.7, "strobe": -0.3}
    assert told["words"] == "blend of C-0012 and C-0013, ambient +0.7 stop, strobe −0.3 stop"


def test_another_reader_finds_the_record(folder: Path) -> None:
    if shutil.which("exiftool") is None:
        pytest.skip("exiftool is not installed")
    rewrite(
        folder,
        ("{format: tiff, bits: 16, profile: linear}", "{format: jpeg}"),
        ("    light:", "    white_balance: {ambient: 5600, strobe: [1.1, 1, 0.85]}\n    light:"),
    )
    finish(folder, frames=("C-blend",))
    path = folder / "finished/light/plain/C-blend.jpg"
    asked = ["exiftool", "-j", "-a", "-G1", "-struct", "-validate", "-warning", str(path)]
    (told,) = json.loads(subprocess.run([*asked, "-all"], capture_output=True, text=True, check=True).stdout)
    assert told["ExifTool:Validate"] == "OK"
    hashes = [hash_file(folder / f"frames/{name}.tif") for name in ("C-0012", "C-0013")]
    assert told["XMP-xmpMM:Ingredients"] == [
        {"FilePath": f"C-00{number}.tif", "DocumentID": f"sha256:{digest}"}
        for number, digest in zip((12, 13), hashes, strict=True)
    ]
    assert told["XMP-xmpMM:DerivedFrom"] == {"FilePath": "C-0012.tif", "DocumentID": f"sha256:{hashes[0]}"}
    own = {key.rpartition(":")[2]: value for key, value in told.items() if key.startswith("XMP-finishing:")}
    assert (own["BlendAmbientStops"], own["BlendStrobeStops"]) == (0.7, -0.3)
    assert own["BlendAmbientWhiteBalance"] == "5600 K"
    assert own["BlendStrobeWhiteBalance"] == "gains 1.1, 1, 0.85"
    assert own["BlendSources"] == [
        {"File": "C-0012.tif", "Shutter": pytest.approx(1 / 125), "StrobesFired": True},  # told as 1/125
        {"File": "C-0013.tif", "Shutter": pytest.approx(1 / 30), "StrobesFired": True},
    ]
    assert own["Setup"] == "C"
    line = "blend of C-0012 and C-0013, ambient +0.7 stop (balanced for 5600 K), strobe −0.3 stop"
    assert line in told["XMP-dc:Description"]
    assert line in told["IFD0:ImageDescription"]
    assert told["ExifIFD:ExposureTime"] == "1/125"
    assert told["ExifIFD:FNumber"] == 8
    assert told["ExifIFD:DateTimeOriginal"] == "2026:09:19 19:05:00"
    assert told["XMP-xmp:Rating"] == 4
