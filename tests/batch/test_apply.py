import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.delivery import apply as apply_module
from finishing.batch.delivery.apply import apply
from finishing.batch.delivery.targets import refuse_targets
from finishing.batch.work.looks import read_look
from finishing.errors import ProblemSet


def test_images_are_finished_at_full_size(session: Path, tmp_path: Path) -> None:
    images = [session / "frames/A-0001.jpg", session / "frames/A-0002.jpg"]
    recipe = tmp_path / "edge.yaml"
    recipe.write_text("look: Edge\nsteps: [{edge_vignette: {toward: white, strength: 1, starts_at: 0.6}}]\n")
    report = apply(read_look(str(recipe)), images, tmp_path / "out", kind="png", jobs=2)
    assert [path.name for path in report.written.values()] == ["A-0001.png", "A-0002.png"]
    with Image.open(tmp_path / "out/A-0001.png") as image:
        assert image.size == (300, 200)
        codes = np.asarray(image)
    assert codes[0, 0].min() > 235
    before = np.asarray(Image.open(images[0]))
    assert np.array_equal(codes[100, 150], before[100, 150])  # the middle stays bit for bit


@pytest.mark.parametrize("ending", ["png", "tif", "webp"])
def test_codes_that_a_decoder_gives_read_only_are_not_written_over(tmp_path: Path, ending: str) -> None:
    image = tmp_path / f"a.{ending}"
    random = np.random.default_rng(1).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    Image.fromarray(random).save(image)
    report = apply(read_look("faded_print"), [image], tmp_path / "out")
    assert not report.failed
    assert (tmp_path / "out/a.jpg").is_file()


def test_a_fault_of_the_program_fails_one_image_only(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = apply_module.read_photograph

    def broken(path: Path) -> object:
        if path.stem == "A-0002":
            raise ZeroDivisionError("odd")
        return real(path)

    monkeypatch.setattr(apply_module, "read_photograph", broken)
    images = [session / "frames/A-0001.jpg", session / "frames/A-0002.jpg"]
    report = apply(read_look("faded_print"), images, tmp_path / "out")
    assert list(report.failed) == [str(images[1])]
    assert len(report.written) == 1


def test_a_bad_image_fails_alone(session: Path, tmp_path: Path) -> None:
    (tmp_path / "bad.jpg").write_bytes(b"\xff\xd8\xff\xe0 nothing")
    images = [tmp_path / "bad.jpg", session / "frames/A-0001.jpg", tmp_path / "missing.jpg"]
    report = apply(read_look("faded_print"), images, tmp_path / "out")
    assert set(report.failed) == {str(tmp_path / "bad.jpg"), str(tmp_path / "missing.jpg")}
    assert len(report.written) == 1


@pytest.mark.parametrize("names", [("stra\u00dfe", "STRASSE"), ("\u00e9", "e\u0301"), ("A", "a")])
def test_two_outputs_that_some_disks_take_for_one_are_refused(
    session: Path, tmp_path: Path, names: tuple[str, str]
) -> None:
    images = [tmp_path / str(number) / f"{name}.jpg" for number, name in enumerate(names)]
    for image in images:
        image.parent.mkdir()
        shutil.copy(session / "frames/A-0001.jpg", image)
    with pytest.raises(ProblemSet, match="two images would have one output"):
        apply(read_look("faded_print"), images, tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_an_output_of_other_capitals_than_its_original_is_no_original(session: Path, tmp_path: Path) -> None:
    """On a disk that tells capitals apart it is a file of its own; on one that does not, it is refused."""
    image = tmp_path / "A.JPG"
    shutil.copy(session / "frames/A-0001.jpg", image)
    before = image.read_bytes()
    if (tmp_path / "a.jpg").exists():
        with pytest.raises(ProblemSet, match="the place of an original"):
            apply(read_look("faded_print"), [image], tmp_path)
    else:
        assert apply(read_look("faded_print"), [image], tmp_path).written == {str(image): tmp_path / "A.jpg"}
    assert image.read_bytes() == before


def test_folders_are_told_apart_as_their_disk_does(session: Path, tmp_path: Path) -> None:
    images = [tmp_path / "Day" / "A.jpg", tmp_path / "day" / "A.jpg"]
    images[0].parent.mkdir()
    if images[1].parent.exists():
        pytest.skip("this disk takes Day and day for one")
    images[1].parent.mkdir()
    for image in images:
        shutil.copy(session / "frames/A-0001.jpg", image)
    written = apply(read_look("faded_print"), images, None).written
    assert written == {str(image): image.with_name("A-faded_print.jpg") for image in images}
    with pytest.raises(ProblemSet, match="two images would have one output"):  # folders to be made: some disk's one
        refuse_targets(
            {image: tmp_path / "new" / image.parent.name / "A.jpg" for image in images},
            what="output", option="--out", act="finish", again=False,
        )  # fmt: skip


def test_another_name_of_an_original_is_no_place_for_an_output(session: Path, tmp_path: Path) -> None:
    image, link = tmp_path / "A.JPG", tmp_path / "A.jpg"
    shutil.copy(session / "frames/A-0001.jpg", image)
    if link.exists():
        pytest.skip("this disk takes A.JPG and A.jpg for one")
    link.hardlink_to(image)
    with pytest.raises(ProblemSet, match="the place of an original"):
        apply(read_look("faded_print"), [image], tmp_path, again=True)
    assert link.samefile(image)


def test_nothing_is_overwritten_unasked(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    look = read_look("faded_print")
    with pytest.raises(ProblemSet, match="the output would take the place of an original"):
        apply(look, [image], image.parent)
    apply(look, [image], None)
    assert (session / "frames/A-0001-faded_print.jpg").is_file()
    with pytest.raises(ProblemSet, match="the output exists already"):
        apply(look, [image], None)
    apply(look, [image], None, again=True)
    twin = tmp_path / "A-0001.jpg"
    twin.write_bytes(image.read_bytes())
    with pytest.raises(ProblemSet, match="two images would have one output"):
        apply(look, [image, twin], tmp_path / "out")
    assert not (tmp_path / "out").exists()
