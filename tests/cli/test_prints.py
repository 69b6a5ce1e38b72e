"""The commands strip, steps and looks --book: what they print, write and refuse."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from finishing.cli.main import main
from tests.conftest import write_frame


@pytest.fixture
def frame(tmp_path: Path) -> Path:
    write_frame(tmp_path / "A-0001.jpg", size=(480, 320))
    return tmp_path / "A-0001.jpg"


def call(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_strip_prints_its_values_and_writes_a_page(tmp_path: Path, frame: Path) -> None:
    done = call("strip", "faded_print", frame, "--vary", "edge_vignette.strength=0.2..1.0", "--out", tmp_path / "s.png")
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines() == [
        "edge_vignette.strength: 0.2, 0.36, 0.52, 0.68, 0.84, 1",
        str(tmp_path / "s.png"),
    ]
    with Image.open(tmp_path / "s.png") as page:
        assert sorted(page.size) == [1654, 2339]


def test_strip_as_json_with_a_setting_a_grid_and_a_subject(tmp_path: Path, frame: Path) -> None:
    words = ["strip", "one_colour_kept", frame, "--vary", "kept_hue=60..90", "--vary", "silver=0,1", "--bands", "3x2"]
    done = call(*words, "--subject", "45%,0.5", "--with", "width=30", "--out", tmp_path / "g.png", "--json")
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert told["values"] == {"kept_hue": ["60°", "75°", "90°"], "silver": ["0", "1"]}
    assert told["files"] == [str(tmp_path / "g.png")]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--vary", "edge_vignette.strenght=0..1"], 'did you mean "strength"?'),
        (["--vary", "kept_hue=60..90"], 'unknown setting "kept_hue"'),
        (["--vary", "edge_vignette.strength=0..1", "--bands", "six"], "number of bands cannot be read"),
        (["--vary", "edge_vignette.strength=0..1", "--bands", "5x4"], "number of bands cannot be read"),
        (["--vary", "edge_vignette.strength=0..1", "--bands", "1"], "2 to 24"),
        (["--vary", "edge_vignette.strength=0..1", "--subject", "2,0"], "the place behind --subject cannot be read"),
        (["--vary", "edge_vignette.strength=0..1", "--subject", "left"], "the place behind --subject cannot be read"),
    ],
)
def test_strip_refuses_with_a_way_out(tmp_path: Path, frame: Path, words: list[str], told: str) -> None:
    done = call("strip", "faded_print", frame, *words, "--out", tmp_path / "s.png")
    assert done.exit_code == 2
    assert told in done.stderr
    assert "do this:" in done.stderr
    assert not (tmp_path / "s.png").exists()


def test_steps_lists_them_and_names_the_files(tmp_path: Path, frame: Path) -> None:
    done = call("steps", "white_edge", frame, "--out", tmp_path / "s.png", "--subject", "0.45,0.5")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "0. original"
    assert any(line.startswith("1. exposure: {stops: ") for line in lines)
    assert lines[-1] == str(tmp_path / "s.png")
    told = json.loads(call("steps", "white_edge", frame, "--out", tmp_path / "s.png", "--json").stdout)
    assert [step["number"] for step in told["steps"]] == list(range(len(told["steps"])))
    assert {"name", "value", "passed"} <= set(told["steps"][1]["checks"][0])


def test_a_book_on_ones_own_frames(tmp_path: Path, frame: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    write_frame(tmp_path / "B-0002.jpg", size=(320, 480))
    done = call("looks", "--book", tmp_path / "book.pdf", "--frames", frame, tmp_path / "B-0002.jpg", "--paper", "a5")
    assert done.exit_code == 0, done.output
    assert done.stdout.strip() == str(tmp_path / "book.pdf")
    assert (tmp_path / "book.pdf").read_bytes().startswith(b"%PDF")


def test_frames_without_a_book_and_images_without_an_option_are_refused(tmp_path: Path, frame: Path) -> None:
    assert call("looks", "--frames", frame).exit_code == 2
    done = call("looks", frame)
    assert done.exit_code == 2
    assert "--frames" in done.stderr
    assert call("looks", "--book", tmp_path / "b.jpg", "--frames", frame).exit_code == 2


def test_a_sheet_with_histograms_and_clipping(session: Path, tmp_path: Path) -> None:
    done = call("sheet", session, "--histogram", "--clipping", "--out", tmp_path / "sheet.png")
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize("words", [["steps"], ["strip", "--vary", "exposure.stops=0..1", "--whole"]])
def test_a_frame_of_a_session_as_the_session_has_it(session: Path, words: list[str]) -> None:
    """Cropped, with its subject, and with the session's own recipe and settings."""
    (session / "recipes").mkdir(exist_ok=True)
    (session / "recipes" / "lifted.yaml").write_text(
        "look: Lifted\nsettings: {lift: 0.25}\nsteps:\n"
        "  - exposure: {stops: $lift, where: {ellipse: {centre: subject, radii: [0.2, 0.2], soft: 0.5}}}\n"
    )
    text = (session / "session.yaml").read_text()
    text = text.replace("looks:", "looks:\n  - {look: lifted, frames: [A-0002, Z-0009], with: {lift: 0.75}}")
    text = text.replace("subject: [0.45, 0.5],", "subject: [0.45, 0.5], crop: {aspect: 1:1},")
    (session / "session.yaml").write_text(text)
    command, *more = words
    out = session / "page.png"
    done = call(command, "lifted", session, "--frame", "A-0002", *more, "--out", out, "--json")
    assert done.exit_code == 0, done.output
    assert out.is_file()
    if command == "steps":
        (_, step) = json.loads(done.stdout)["steps"]
        assert step["step"].startswith("stops: 0.75, where: {ellipse")
    without = call(command, "lifted", session, "--frame", "Z-0009", *more, "--out", out)
    assert without.exit_code == 2
    assert "Z-0009 in lifted: this frame has no subject point" in without.stderr
    assert "say it with --subject 0.45,0.60, or name it in session.yaml" in without.stderr
    placed = call(command, "lifted", session, "--frame", "Z-0009", "--subject", "0.4,0.5", *more, "--out", out)
    assert placed.exit_code == 0, placed.output


def test_a_session_needs_the_name_of_one_frame(session: Path) -> None:
    for words, told in (
        ([], "say which with --frame"),
        (["--frame", "A-*"], "one frame at a time"),
        (["--frame", "A-0009"], 'no frame has the name "A-0009", and no set-up'),
    ):
        done = call("steps", "white_edge", session, *words, "--out", session / "page.png")
        assert done.exit_code == 2
        assert told in done.stderr
        assert not (session / "page.png").exists()
