"""The folder of a proof page: its pictures, and what it leaves alone."""

import io
import json
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from finishing.batch.client import proof_pictures
from finishing.batch.client.proofing import make_proof
from finishing.batch.delivery.proof_mark import draw_mark
from finishing.batch.memory.ledger import hash_file
from finishing.batch.opening import opened
from finishing.batch.work.assignment import SessionWork, assign
from finishing.colour.transfer import srgb_encode
from finishing.errors import Problem
from finishing.sessions.deliverables import Mark


def page_data(folder: Path) -> dict[str, object]:
    text = (folder / "index.html").read_text("utf-8")
    found = re.search(r'<script type="application/json" id="proof">(.*?)</script>', text, re.DOTALL)
    assert found
    return json.loads(found.group(1))


def hashes(folder: Path) -> dict[str, str]:
    return {str(path.relative_to(folder)): hash_file(path) for path in sorted(folder.rglob("*")) if path.is_file()}


def test_pictures_of_every_look_and_the_original(session: Path, tmp_path: Path) -> None:
    report = make_proof(assign(session), tmp_path / "proof", long_edge=250, jobs=2)
    assert (report.frames, report.failed) == (4, {})
    data = page_data(tmp_path / "proof")
    frames = {frame["name"]: frame for frame in data["frames"]}
    assert list(frames) == ["A-0001", "A-0002", "C-0004", "Z-0009"]
    assert list(frames["A-0001"]["looks"]) == ["faded_print", "one_colour_kept"]
    assert list(frames["Z-0009"]["looks"]) == ["faded_print"]
    files = set()
    for frame in frames.values():
        for file, width, height, small in (*frame["looks"].values(), frame["original"]):
            assert (width, height) == ((167, 250) if frame["name"] == "A-0002" else (250, 167))
            for name in (file, small):
                with Image.open(tmp_path / "proof" / name) as image:
                    assert image.format == "JPEG"
                    profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
                    assert "sRGB" in ImageCms.getProfileDescription(profile)
                    assert image.size == (width, height)
                files.add(name)
    there = {f"pictures/{path.name}" for path in (tmp_path / "proof/pictures").iterdir()}
    assert there == files
    assert len(files) == report.pictures == 2 * (2 + 1 + 2 + 1 + 2 + 1 + 1 + 1)


def test_the_original_is_the_frame_and_a_look_is_not(session: Path, tmp_path: Path) -> None:
    make_proof(assign(session), tmp_path / "proof", jobs=2)
    frame = np.asarray(Image.open(session / "frames/A-0001.jpg").convert("RGB")).astype(int)
    original = np.asarray(Image.open(tmp_path / "proof/pictures/0001-original.jpg")).astype(int)
    look = np.asarray(Image.open(tmp_path / "proof/pictures/0001-look1.jpg")).astype(int)
    assert original.shape == look.shape == frame.shape
    assert np.abs(original - frame).mean() < 2  # what JPEG at this quality costs; derived here
    assert np.abs(look - frame).mean() > 5


def test_small_pictures_are_small(session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(proof_pictures, "SMALL_EDGE", 60)
    make_proof(assign(session, frames=["A-0001"]), tmp_path / "proof", jobs=1)
    with Image.open(tmp_path / "proof/pictures/0001-look1-small.jpg") as image:
        assert image.size == (60, 40)
    assert 'width="60" height="40"' in (tmp_path / "proof/index.html").read_text()


def test_each_frame_is_decoded_once(session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []
    real = opened.read_reduced

    def counted(path: Path, long_edge: int) -> object:
        seen.append(path.stem)
        return real(path, long_edge)

    monkeypatch.setattr(opened, "read_reduced", counted)
    make_proof(assign(session), tmp_path / "proof")
    assert sorted(seen) == ["A-0001", "A-0002", "C-0004", "Z-0009"]


def test_same_input_same_bytes_and_originals_stay(session: Path, tmp_path: Path) -> None:
    before = hashes(session)
    make_proof(assign(session), tmp_path / "one", jobs=2)
    make_proof(assign(session), tmp_path / "two", jobs=1)
    assert hashes(tmp_path / "one") == hashes(tmp_path / "two")
    assert hashes(session) == before


def test_a_mark_lies_softly_over_every_picture(session: Path, tmp_path: Path) -> None:
    work = assign(session, frames=["A-0001"])
    make_proof(work, tmp_path / "plain", jobs=1)
    make_proof(work, tmp_path / "marked", mark="PROOF", jobs=1)
    for path in (tmp_path / "plain/pictures").iterdir():
        plain = np.asarray(Image.open(path)).astype(int)
        marked = np.asarray(Image.open(tmp_path / "marked/pictures" / path.name)).astype(int)
        changed = np.abs(marked - plain).max(axis=-1) > 12
        assert 0.005 < changed.mean() < 0.25, path.name
        assert not changed[: changed.shape[0] // 4].any()  # it stands in the middle


@pytest.mark.parametrize("light", [0.0, 0.02, 0.18, 0.5, 0.9, 1.0])
@pytest.mark.parametrize("size", [(360, 240), (1600, 1067)])
def test_the_mark_shows_on_light_and_dark(light: float, size: tuple[int, int]) -> None:
    """At least a tenth of the encoded range between neighbours, about 10 L*: seen at once, and no more than softly over
    the picture (common practice, no source)."""
    planes = np.full((3, size[1], size[0]), light, np.float32)
    before = srgb_encode(planes.astype(np.float64))
    draw_mark(planes, Mark(text="PROOF", opacity=proof_pictures.MARK_OPACITY))
    shift = srgb_encode(planes.astype(np.float64)) - before
    assert np.array_equal(planes[0], planes[2])
    assert shift.max() - shift.min() > 0.1
    assert np.abs(shift).max() < 0.32
    assert (np.abs(shift[0]) > 0.07).mean() > 0.001  # a share of the whole picture: the letters are a few percent of it
    assert not shift[:, : size[1] // 4].any()


def test_each_look_that_goes_is_there(session: Path, tmp_path: Path) -> None:
    (session / "recipes" / "masked.yaml").write_text(
        "look: Masked\nsteps:\n  - exposure: {stops: 1, where: {mask: coat}}\n"
    )
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(
        text.replace("looks:", "looks:\n  - {look: masked, frames: [A-0001, C-0004]}")
    )
    report = make_proof(assign(session), tmp_path / "proof", jobs=2)
    assert list(report.failed) == ["A-0001 in masked", "C-0004 in masked"]
    assert report.frames == 4
    data = page_data(tmp_path / "proof")
    assert [look["name"] for look in data["looks"]] == ["faded_print", "one_colour_kept"]
    assert list(data["frames"][0]["looks"]) == ["faded_print", "one_colour_kept"]
    assert not list((tmp_path / "proof/pictures").glob("*look1*"))


def test_pictures_say_whose_they_are_and_no_more(session: Path, tmp_path: Path) -> None:
    """Read by another program; IPTC Photo Metadata properties and EXIF as the finished files have them."""
    if shutil.which("exiftool") is None:
        pytest.skip("exiftool is not installed")
    frame = session / "frames/A-0001.jpg"
    place = [
        "-GPSLatitude=47.4",
        "-GPSLatitudeRef=N",
        "-SerialNumber=123456",
        "-OwnerName=B. Example",
        "-Lens=Example 50",
    ]
    subprocess.run(["exiftool", "-q", "-overwrite_original", *place, str(frame)], check=True)
    make_proof(assign(session, frames=["A-0001"]), tmp_path / "proof", jobs=1)
    pictures = sorted((tmp_path / "proof/pictures").iterdir())
    told = subprocess.run(
        ["exiftool", "-json", "-G1", "-a", "-all", "-validate", *map(str, pictures)],
        capture_output=True,
        text=True,
        check=True,
    )
    seen = json.loads(told.stdout)
    assert len(seen) == 6
    for one in seen:
        assert (one["XMP-dc:Creator"], one["IFD0:Artist"]) == ("A. Example", "A. Example")
        assert (one["XMP-dc:Rights"], one["IFD0:Copyright"]) == ("© 2026 A. Example", "© 2026 A. Example")
        assert one["XMP-xmpRights:UsageTerms"] == "Client use only"
        assert one["XMP-xmpRights:Marked"] is True
        assert one["XMP-iptcCore:CreatorWorkEmail"] == "studio@example.org"
        assert one["ExifTool:Validate"] == "OK"
        assert one["ICC_Profile:ProfileDescription"] == "sRGB"
        assert one["ExifIFD:ExifImageWidth"] == one["File:ImageWidth"]
        words = " ".join([*one, *map(str, one.values())])
        for private in (
            "GPS",
            "123456",
            "B. Example",
            "Example 50",
            "Example Camera",
            "DateTimeOriginal",
            "ExposureTime",
        ):
            assert private not in words, private
    assert {one["XMP-dc:Description"] for one in seen} == {
        "Proof: A-0001, Faded print", "Proof: A-0001, One colour kept", "Proof: A-0001, original",
    }  # fmt: skip
    for path in pictures:
        with Image.open(path) as image:
            assert len(image.info["exif"]) + len(image.info["xmp"]) < 4000, path.name


def test_only_a_mail_address_is_where_the_answer_goes(session: Path, tmp_path: Path) -> None:
    make_proof(assign(session, frames=["A-0001"]), tmp_path / "mail", jobs=1)
    assert page_data(tmp_path / "mail")["contact"] == "studio@example.org"
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("studio@example.org", "https://example.org/studio"))
    make_proof(assign(session, frames=["A-0001"]), tmp_path / "web", jobs=1)
    assert page_data(tmp_path / "web")["contact"] == ""


def test_a_cropped_frame_keeps_its_size(session: Path, tmp_path: Path) -> None:
    text = (session / "session.yaml").read_text()
    crop = "A-0001: {crop: {box: [0.25, 0.25, 0.75, 0.75]}}"
    (session / "session.yaml").write_text(text.replace("per_frame:\n", f"per_frame:\n  {crop}\n"))
    make_proof(assign(session, frames=["A-0001"]), tmp_path / "proof", long_edge=150, jobs=1)
    with Image.open(tmp_path / "proof/pictures/0001-original.jpg") as image:
        assert image.size == (150, 100)  # all the pixels that the crop has


def test_a_bad_frame_is_left_out_and_told(session: Path, tmp_path: Path) -> None:
    whole = (session / "frames/C-0004.jpg").read_bytes()
    (session / "frames/C-0004.jpg").write_bytes(whole[: len(whole) // 2])
    (session / "frames/A-0001.jpg").write_bytes(b"")
    report = make_proof(assign(session), tmp_path / "proof", jobs=2)
    assert set(report.failed) == {"A-0001", "C-0004"}
    assert [frame["name"] for frame in page_data(tmp_path / "proof")["frames"]] == ["A-0002", "Z-0009"]


def test_pictures_of_an_earlier_page_go_and_other_files_stay(session: Path, tmp_path: Path) -> None:
    make_proof(assign(session), tmp_path / "proof", jobs=2)
    (tmp_path / "proof/pictures/mine.jpg").write_bytes(b"mine")
    make_proof(assign(session, frames=["A-0001"], looks=["faded_print"]), tmp_path / "proof", jobs=2)
    assert {path.name for path in (tmp_path / "proof/pictures").iterdir()} == {
        "mine.jpg", "0001-look1.jpg", "0001-look1-small.jpg", "0001-original.jpg", "0001-original-small.jpg",
    }  # fmt: skip


def test_a_folder_that_is_not_a_proof_is_refused(session: Path, tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site/index.html").write_text("<p>my own page")
    with pytest.raises(Problem, match="a page is in the way"):
        make_proof(assign(session), tmp_path / "site")
    assert [path.name for path in (tmp_path / "site").iterdir()] == ["index.html"]


def test_pictures_never_lie_among_the_frames(session: Path) -> None:
    (session / "frames").rename(session / "pictures")
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("frames/*.jpg", "pictures/*.jpg"))
    before = hashes(session)
    with pytest.raises(Problem, match="would lie among the frames"):
        make_proof(assign(session), session)
    assert hashes(session) == before


def test_nothing_to_show_is_refused(session: Path, tmp_path: Path) -> None:
    work: SessionWork = assign(session, looks=["one_colour_kept"], frames=["Z-0009"])
    with pytest.raises(Problem, match="no frame has a look to be shown"):
        make_proof(work, tmp_path / "proof")
    assert not (tmp_path / "proof").exists()
