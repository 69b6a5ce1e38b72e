"""A finished file made once more: the same bytes when nothing changed, a clear word when something has."""

import shutil
import sqlite3
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.delivery.apply import apply
from finishing.batch.delivery.run import Report, run
from finishing.batch.memory import making_again as module
from finishing.batch.memory.earlier_files import KEPT
from finishing.batch.memory.inspecting import inspect
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.memory.making_again import make_again
from finishing.batch.memory.verifying import verify_outputs
from finishing.batch.work.assignment import assign
from finishing.batch.work.frame_headers import Headers
from finishing.batch.work.looks import read_look
from finishing.errors import Problem
from tests.light.blend_session import rewrite, write_blend_session

MASKED = """\
look: Masked
steps:
  - exposure: {stops: -1, where: {mask: coat}}
  - exposure: {stops: 0.5, where: {mask: corner.png}}
"""


def finish(session: Path, out: Path) -> Report:
    return run(assign(session), out, jobs=2)


@pytest.fixture
def finished(session: Path) -> Path:
    """A session with crops, straightening, masks of both kinds, evening out and every kind of file, finished."""
    Image.fromarray(np.tile(np.linspace(0, 255, 30).astype(np.uint8), (20, 1))).save(session / "coat.png")
    Image.fromarray(np.tile(np.linspace(255, 0, 20).astype(np.uint8), (10, 1))).save(session / "recipes/corner.png")
    (session / "recipes/masked.yaml").write_text(MASKED)
    text = (session / "session.yaml").read_text()
    text = text.replace("looks:\n", "looks:\n  - {look: masked, frames: A-0002}\n")
    text = text.replace(
        "A-0002: {subject: [0.45, 0.5], rating: 4}",
        "A-0002: {subject: [0.45, 0.5], rating: 4, masks: {coat: coat.png}, straighten: 1.5, crop: {aspect: 4:5}}",
    )
    text = text.replace(
        "deliverables:\n",
        "match: {exposure: {to: A-0001, measure: {box: [0.1, 0.1, 0.9, 0.5]}}}\ndeliverables:\n"
        "  paper: {format: tiff, bits: 16, profile: oprgb, print_size: 4 cm, margin: 3 mm, sharpen: print}\n"
        "  proof: {format: webp, long_edge: 120, mark: {text: PROOF, opacity: 0.5}, location: remove}\n",
    )
    (session / "session.yaml").write_text(text)
    report = finish(session, session / "finished")
    assert not report.failed
    assert report.evenness is not None
    return session / "finished"


def outputs(finished: Path) -> list[Path]:
    with open_ledger(finished, create=False) as ledger:
        return [finished / entry.path for entry in ledger.entries()]


def test_every_output_comes_out_the_same_when_recipes_and_session_are_gone(finished: Path) -> None:
    session = finished.parent
    (session / "session.yaml").unlink()
    for recipe in (session / "recipes").glob("*.yaml"):
        recipe.write_text("look: Another\nsteps: [{exposure: {stops: 3}}]\n")
    files = outputs(finished)
    assert len(files) > 20
    first = {file: file.read_bytes() for file in files}
    for file in files:
        file.unlink()
        made = make_again(file)
        assert file.read_bytes() == first[file], file
        assert (made.same, made.written, made.notices) == (True, True, ())
    with open_ledger(finished, create=False) as ledger:
        assert set(verify_outputs(finished, ledger.entries()).values()) == {"as made"}


def test_after_it_a_run_has_nothing_to_do(finished: Path) -> None:
    file = finished / "web/masked/A-0002.jpg"
    file.unlink()
    make_again(file)
    assert finish(finished.parent, finished).made == []


def test_a_file_that_is_there_is_left_alone(finished: Path, tmp_path: Path) -> None:
    file = finished / "web/faded_print/A-0001.jpg"
    before = file.stat().st_mtime_ns
    made = make_again(file)
    assert (made.same, made.written) == (True, False)
    assert file.stat().st_mtime_ns == before
    elsewhere = tmp_path / "again" / "one.jpg"
    assert make_again(file, out=elsewhere).written
    assert elsewhere.read_bytes() == file.read_bytes()


def test_a_changed_file_is_not_written_over_unasked(finished: Path, tmp_path: Path) -> None:
    file = finished / "web/faded_print/A-0001.jpg"
    first = file.read_bytes()
    file.write_bytes(first + b"retouched")
    with pytest.raises(Problem, match="changed after it was made") as told:
        make_again(file)
    assert "--overwrite" in str(told.value)
    assert file.read_bytes() == first + b"retouched"
    assert make_again(file, out=tmp_path / "new.jpg").same
    assert make_again(file, overwrite=True).written
    assert file.read_bytes() == first
    with pytest.raises(Problem, match="another one"):
        make_again(file, out=finished / "web/faded_print/A-0002.jpg")


def test_a_frame_that_is_gone_or_changed_is_told(finished: Path, tmp_path: Path) -> None:
    file, frame = finished / "web/faded_print/A-0001.jpg", finished.parent / "frames/A-0001.jpg"
    first = file.read_bytes()
    file.unlink()
    kept = tmp_path / "backup.jpg"
    shutil.move(frame, kept)
    with pytest.raises(Problem, match="the frame that it was made from is gone") as told:
        make_again(file)
    assert "--source" in str(told.value)
    assert str(frame) in str(told.value)
    frame.write_bytes(kept.read_bytes() + b"0")
    with pytest.raises(Problem, match="the frame that it was made from has changed since"):
        make_again(file)
    assert not file.exists()
    make_again(file, source=kept)
    assert file.read_bytes() == first


@pytest.mark.parametrize(
    ("name", "what"), [("coat.png", 'the mask "coat"'), ("recipes/corner.png", "the mask corner.png of the recipe")]
)
def test_a_mask_that_changed_is_told(finished: Path, name: str, what: str) -> None:
    mask = finished.parent / name
    Image.fromarray(np.zeros((5, 5), np.uint8)).save(mask)
    with pytest.raises(Problem, match=f"{what} has changed since"):
        make_again(finished / "web/masked/A-0002.jpg", overwrite=True)
    mask.unlink()
    with pytest.raises(Problem, match=f"{what} is gone"):
        make_again(finished / "web/masked/A-0002.jpg", overwrite=True)
    make_again(finished / "web/faded_print/A-0002.jpg")  # which has no mask


def test_a_new_mask_beside_the_recipe_makes_the_outputs_anew(finished: Path) -> None:
    Image.fromarray(np.zeros((5, 5), np.uint8)).save(finished.parent / "recipes/corner.png")
    made = finish(finished.parent, finished).made
    assert made
    assert all("masked" in path for path in made)


def test_a_session_that_was_moved_is_found(finished: Path, tmp_path: Path) -> None:
    there = tmp_path / "archive" / "2026"
    shutil.move(finished.parent, there)
    file = there / "finished/full/faded_print/A-0001.png"
    first = file.read_bytes()
    file.unlink()
    assert make_again(file).same
    assert file.read_bytes() == first


def test_outputs_that_were_moved_alone_find_the_session_where_it_was(finished: Path, tmp_path: Path) -> None:
    shutil.move(finished, tmp_path / "delivered")
    file = tmp_path / "delivered/web/faded_print/A-0001.jpg"
    file.unlink()
    assert make_again(file).same


def test_a_copy_is_known_by_its_content(finished: Path, tmp_path: Path) -> None:
    copy = tmp_path / "for the client.jpg"
    shutil.copy(finished / "web/faded_print/A-0001.jpg", copy)
    with pytest.raises(Problem, match="the recipe of this file is not in it"):
        make_again(copy)
    made = make_again(copy, ledger=finished)
    assert (made.same, made.written) == (True, False)


def test_another_version_of_the_program_is_told(finished: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "SOFTWARE", "finishing 99.0")
    made = make_again(finished / "web/faded_print/A-0001.jpg")
    assert made.same  # the records are those of the first time
    assert len(made.notices) == 1
    assert made.notices[0].endswith("finishing 99.0 now")


def test_a_ledger_of_an_earlier_version_is_read_and_filled_in(finished: Path) -> None:
    connection = sqlite3.connect(finished / "ledger.sqlite")
    connection.executescript("DROP TABLE makings; DROP TABLE recipes; DROP TABLE blends; PRAGMA user_version = 1;")
    connection.close()
    file = finished / "web/faded_print/A-0001.jpg"
    with pytest.raises(Problem, match="an earlier version of the program made it") as told:
        make_again(file)
    assert "finishing run" in str(told.value)
    assert finish(finished.parent, finished).made == []  # all is up to date, and now recorded
    first = file.read_bytes()
    file.unlink()
    make_again(file)
    assert file.read_bytes() == first


def test_a_ledger_is_read_without_being_touched(finished: Path) -> None:
    connection = sqlite3.connect(finished / "ledger.sqlite")
    connection.executescript("DROP TABLE makings; DROP TABLE recipes; DROP TABLE blends; PRAGMA user_version = 1;")
    connection.close()
    before = (finished / "ledger.sqlite").read_bytes()
    with open_ledger(finished, create=False, write=False) as ledger:
        assert len(ledger.entries()) > 20
        assert (ledger.blends(), ledger.with_making()) == ({}, set())
        assert ledger.making(ledger.entries()[0].path) is None
    assert (finished / "ledger.sqlite").read_bytes() == before
    with open_ledger(finished, create=False) as ledger:
        assert len(ledger.entries()) > 20
        assert ledger.with_making() == set()


def test_a_ledger_of_a_later_version_is_refused(finished: Path) -> None:
    connection = sqlite3.connect(finished / "ledger.sqlite")
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(Problem, match="a later version of the program"):
        finish(finished.parent, finished)


def test_what_is_none_of_ours_is_told(session: Path, tmp_path: Path) -> None:
    with pytest.raises(Problem, match="no ledger in a folder above it knows it"):
        make_again(tmp_path / "nothing.jpg")
    with pytest.raises(Problem, match="does not say that it was finished here"):
        make_again(session / "frames/A-0001.jpg")


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff", "webp", "avif"])
def test_a_loose_image_carries_its_recipe(session: Path, kind: str) -> None:
    image = session / "frames/A-0001.jpg"
    bits = 16 if kind in ("png", "tiff") else 8
    look = read_look("one_colour_kept", overrides={"kept_hue": "61"})
    report = apply(look, [image], session / "frames" / "loose", kind=kind, bits=bits, quality=80)  # type: ignore[arg-type]
    (file,) = report.written.values()
    made = make_again(file)
    assert (made.look, made.same, made.written, made.notices) == ("one_colour_kept", True, False, ())
    out = session / "elsewhere" / "x"
    assert make_again(file, out=out).source.samefile(image)
    assert out.read_bytes() == file.read_bytes()


def test_a_loose_image_that_was_retouched_or_lost_its_frame(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    (file,) = apply(read_look("faded_print"), [image], tmp_path / "out").written.values()
    with pytest.raises(Problem, match="the frame that it was made from is gone") as told:
        make_again(file)
    assert "--source" in str(told.value)
    assert make_again(file, source=image).same
    assert make_again(file, source=image.parent).same
    other = tmp_path / "renamed.jpg"
    shutil.copy(image, other)
    assert make_again(file, source=other).same  # its name then is what the record says
    first = file.read_bytes()
    file.write_bytes(first + b"retouched")
    with pytest.raises(Problem, match="changed after it was made"):
        make_again(file, source=image)
    made = make_again(file, source=image, overwrite=True)
    assert file.read_bytes() == first
    assert "changed since" in made.notices[0]


def test_a_recipe_too_long_for_a_file_is_left_out(session: Path, tmp_path: Path) -> None:
    points = ", ".join(f"[{0.5 + 0.3 * np.cos(i / 9):.6f}, {0.5 + 0.3 * np.sin(i / 9):.6f}]" for i in range(50))
    step = f"  - exposure: {{stops: 0.01, where: {{polygon: [{points}]}}}}\n"
    (tmp_path / "long.yaml").write_text("look: Long\nsteps:\n" + step * 30)
    image = session / "frames/A-0001.jpg"
    report = apply(read_look(str(tmp_path / "long.yaml")), [image], tmp_path / "out")
    assert not report.failed
    (file,) = report.written.values()
    with pytest.raises(Problem, match="the recipe of this file is not in it"):
        make_again(file, source=image)


@pytest.mark.parametrize("ending", ["tif", "jpg"])
def test_a_blend_comes_out_the_same(tmp_path: Path, ending: str) -> None:
    session = write_blend_session(tmp_path / "evening", ending=ending)
    rewrite(
        session,
        ("    light: {", "    white_balance: {ambient: 7000, strobe: [1.1, 1, 0.9]}\n    light: {"),
        ("rating: 4}", "rating: 4, crop: {aspect: 1:1}}"),
    )
    report = finish(session, session / "finished")
    assert not report.failed
    file = session / "finished/light/plain/C-blend.tif"
    first = file.read_bytes()
    file.unlink()
    (session / "session.yaml").unlink()
    (session / "plan.yaml").unlink()
    assert make_again(file).same
    assert file.read_bytes() == first
    file.unlink()
    (session / f"frames/C-0013.{ending}").write_bytes(b"II*\0")
    with pytest.raises(Problem, match=rf"the source C-0013\.{ending} has changed since"):
        make_again(file)


@pytest.fixture
def blended(tmp_path: Path) -> Path:
    """A session with a blend and a picture that nobody asked for among its frames, finished."""
    session = write_blend_session(tmp_path / "evening")
    report = finish(session, session / "finished")
    assert not report.failed
    shutil.copy(session / "frames/C-0012.tif", session / "plate.tif")
    (tmp_path / "link").symlink_to(session / "frames")
    return session


@pytest.mark.parametrize(
    "place",
    [
        "evening/frames/C-0012.tif",
        "evening/frames/C-0013.tif",  # the other source of the blend
        "link/C-0012.tif",
        "link/C-0013.tif",
        "evening/plate.tif",
        "evening/session.yaml",
        "evening/plan.yaml",
        "evening/recipes/plain.yaml",
        "evening/finished/ledger.sqlite",
    ],
)
def test_no_original_is_written_over_even_where_that_is_asked_for(blended: Path, place: str) -> None:
    target = blended.parent / place
    before = target.read_bytes()
    with pytest.raises(Problem, match="original") as told:
        make_again(blended / "finished/light/plain/C-blend.tif", out=target, overwrite=True)
    assert "--out" in str(told.value)
    assert target.read_bytes() == before


def test_a_frame_that_was_finished_here_itself_is_an_original_too(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pictures of one session as the frames of the next, as earlier versions took them: what they carry does not give
    them away."""
    monkeypatch.setattr(Headers, "finished_among", lambda reader, files: {})
    report = finish(session, tmp_path / "first")
    assert not report.failed
    for frame in (session / "frames").iterdir():
        shutil.copy(tmp_path / "first/web/faded_print" / frame.name, frame)
    assert not finish(session, tmp_path / "second").failed
    before = (session / "frames/A-0002.jpg").read_bytes()
    for target in (session / "frames/A-0002.jpg", session / "frames/A-0001.jpg"):
        with pytest.raises(Problem, match="original"):
            make_again(tmp_path / "second/web/faded_print/A-0001.jpg", out=target, overwrite=True)
    assert (session / "frames/A-0002.jpg").read_bytes() == before


def test_masks_are_originals(finished: Path) -> None:
    for name in ("coat.png", "recipes/corner.png"):
        with pytest.raises(Problem, match="original"):
            make_again(finished / "web/masked/A-0002.jpg", out=finished.parent / name, overwrite=True)


def test_a_loose_image_is_not_made_over_what_lies_beside_its_frame(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    (file,) = apply(read_look("faded_print"), [image], session / "frames/loose").written.values()
    link = tmp_path / "link"
    link.symlink_to(session / "frames")
    before = all_bytes(session)
    for target in (image, link / "A-0001.jpg", link / "A-0002.jpg", session / "session.yaml"):
        with pytest.raises(Problem, match="original"):
            make_again(file, out=target, overwrite=True)
    assert all_bytes(session) == before
    other = session / "frames/loose/other.jpg"
    shutil.copy(file, other)
    other.write_bytes(other.read_bytes() + b"retouched")
    assert make_again(file, out=other, overwrite=True).written  # it was finished here, and this was asked for
    assert other.read_bytes() == file.read_bytes()


def all_bytes(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


FINISHED_BEFORE = "web/faded_print/A-0001.jpg"


def change_the_look(finished: Path, stops: float) -> None:
    """The session's own faded_print, another at every call, and a run with it."""
    (finished.parent / "recipes/faded_print.yaml").write_text(
        f"look: Faded print\nversion: 7\nsteps: [{{exposure: {{stops: {stops}}}}}]\n"
    )
    assert not finish(finished.parent, finished).failed


def test_a_kept_file_is_made_again_after_the_look_has_changed(finished: Path, tmp_path: Path) -> None:
    kept = tmp_path / "kept" / "sent.jpg"
    kept.parent.mkdir()
    shutil.copy(finished / FINISHED_BEFORE, kept)
    first = kept.read_bytes()
    change_the_look(finished, 0.5)
    change_the_look(finished, 1)
    assert (finished / FINISHED_BEFORE).read_bytes() != first
    made = make_again(kept, ledger=finished, out=tmp_path / "once-more.jpg")
    assert (made.same, made.written) == (True, True)
    assert (tmp_path / "once-more.jpg").read_bytes() == first
    told = inspect(kept, ledger=finished)
    assert told.told["state"] == "as made"
    assert "a later run made another in its place" in dict(told.facts)["ledger"]
    assert finish(finished.parent, finished).made == []  # nothing of this is any of a run's business
    with open_ledger(finished, create=False) as ledger:
        assert set(verify_outputs(finished, ledger.entries()).values()) == {"as made"}


def test_an_earlier_file_put_back_in_its_place_is_what_the_ledger_then_knows(finished: Path, tmp_path: Path) -> None:
    kept, place = tmp_path / "sent.jpg", finished / FINISHED_BEFORE
    shutil.copy(place, kept)
    change_the_look(finished, 0.5)
    later = place.read_bytes()
    with pytest.raises(Problem, match="another one, or was changed after it was made"):
        make_again(kept, ledger=finished, out=place)
    assert make_again(kept, ledger=finished, out=place, overwrite=True).written
    assert place.read_bytes() == kept.read_bytes()
    with open_ledger(finished, create=False) as ledger:
        assert set(verify_outputs(finished, ledger.entries()).values()) == {"as made"}
    place.unlink()
    assert make_again(place).same  # the ledger knows how it was made, not only what it was
    (tmp_path / "later.jpg").write_bytes(later)
    assert make_again(tmp_path / "later.jpg", ledger=finished).same


def test_a_ledger_keeps_so_many_earlier_files_of_a_place_and_no_more(finished: Path, tmp_path: Path) -> None:
    copies = []
    for number in range(KEPT + 2):
        copies.append(tmp_path / f"{number}.jpg")
        change_the_look(finished, 0.1 * (number + 1))
        shutil.copy(finished / FINISHED_BEFORE, copies[-1])
    for copy in copies[1:]:
        assert make_again(copy, ledger=finished).same
    with pytest.raises(Problem, match="the recipe of this file is not in it") as told:
        make_again(copies[0], ledger=finished)
    assert "an earlier run made it" in str(told.value)
    assert "it was changed since" not in str(told.value)
    with open_ledger(finished, create=False) as ledger:
        entry = next(entry for entry in ledger.entries() if entry.path == FINISHED_BEFORE)
    assert entry.made_at.replace("T", " ").replace("+00:00", " UTC") in str(told.value)


def test_a_file_that_was_changed_is_told_as_changed(finished: Path, tmp_path: Path) -> None:
    copy = tmp_path / "retouched.jpg"
    copy.write_bytes((finished / FINISHED_BEFORE).read_bytes() + b"retouched")
    with pytest.raises(Problem, match="it was changed since"):
        make_again(copy, ledger=finished)


def test_what_is_forgotten_is_forgotten_with_its_earlier_files(finished: Path, tmp_path: Path) -> None:
    shutil.copy(finished / FINISHED_BEFORE, tmp_path / "sent.jpg")
    change_the_look(finished, 0.5)
    with open_ledger(finished, create=False) as ledger:
        ledger.forget([FINISHED_BEFORE])
        assert ledger.earlier(hash_file(tmp_path / "sent.jpg")) is None


def test_a_ledger_of_the_version_before_is_read_and_from_then_on_keeps_earlier_files(finished: Path) -> None:
    connection = sqlite3.connect(finished / "ledger.sqlite")
    connection.executescript("DROP TABLE earlier; PRAGMA user_version = 4;")
    connection.close()
    digest = hash_file(finished / FINISHED_BEFORE)
    with open_ledger(finished, create=False, write=False) as ledger:
        assert ledger.earlier(digest) is None
    assert make_again(finished / FINISHED_BEFORE).same
    change_the_look(finished, 0.5)
    with open_ledger(finished, create=False, write=False) as ledger:
        assert ledger.earlier(digest) is not None
