"""The folder of a proof page: its pictures, and what it leaves alone."""

import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from finishing.batch.client import proofing
from finishing.batch.client.proofing import make_proof
from finishing.batch.memory.ledger import hash_file
from finishing.batch.opening import opened
from finishing.batch.work.assignment import SessionWork, assign
from finishing.errors import Problem


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
    monkeypatch.setattr(proofing, "SMALL_EDGE", 60)
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
