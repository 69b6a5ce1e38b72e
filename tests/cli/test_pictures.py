"""The commands mask and compare as a user calls them."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishing.cli.main import main


def finishing(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def test_mask_prints_the_line_that_a_session_takes(session: Path) -> None:
    result = finishing("mask", session / "frames/A-0001.jpg", "--box", "30%,20%,60%,100%", "--name", "coat")
    assert result.exit_code == 0, result.stderr
    told = result.stdout.splitlines()
    assert told[0].startswith(f"{session / 'masks/A-0001-coat.png'}: 300 × 200 pixels, ")
    assert told[-1] == "  A-0001: {masks: {coat: masks/A-0001-coat.png}}"
    text = (session / "session.yaml").read_text()
    (session / "session.yaml").write_text(text.replace("per_frame:\n", f"per_frame:\n{told[-1]}\n"))
    (session / "recipes").mkdir(exist_ok=True)
    (session / "recipes/kept.yaml").write_text(
        "look: Kept\nversion: 1\nsteps:\n  - hue_isolation: {keep: 60, width: 1, softness: 1, rest: 0, "
        "where: {not: {mask: coat}}}\n"
    )
    text = (session / "session.yaml").read_text()
    looks = "looks:\n  - {look: kept, frames: [A-0001]}\n"
    start, end = text.index("looks:"), text.index("per_frame:")
    (session / "session.yaml").write_text(text[:start] + looks + text[end:])
    done = finishing("run", session, "--deliverable", "full")
    assert done.exit_code == 0, done.stderr
    import numpy as np
    from PIL import Image

    codes = np.asarray(Image.open(session / "finished/full/kept/A-0001.png")).astype(int)
    assert np.ptp(codes[150, 135]) > 60  # the figure keeps its colour
    assert np.ptp(codes[20, 20]) < 4  # the sky went grey


def test_mask_reads_fractions_and_percent_alike(session: Path) -> None:
    frame = session / "frames/A-0001.jpg"
    one = finishing("mask", frame, "--box", "0.3, 0.2, 0.6, 1", "--json", "--inside", "0.45,0.6", "--outside", "5%,0.1")
    assert one.exit_code == 0, one.stderr
    told = json.loads(one.stdout)
    assert told["per_frame"] == {"A-0001": {"masks": {"subject": "masks/A-0001-subject.png"}}}
    assert (told["width"], told["height"], told["name"], told["frame"]) == (300, 200, "subject", "A-0001")
    assert told["share"] == pytest.approx(0.24 * 0.75, abs=0.01)  # the figure's width and height
    content = Path(told["mask"]).read_bytes()
    percent = finishing(
        "mask", frame, "--box", "30%,20%,60%,100%", "--inside", "45%,60%", "--outside", "5%,10%",
        "--out", session / "other.png",
    )  # fmt: skip
    assert percent.exit_code == 0, percent.stderr
    assert (session / "other.png").read_bytes() == content


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--box", "0.3,0.2,0.6"], "cannot be read"),
        (["--box", "0.3,0.2,0.6,x"], "cannot be read"),
        (["--box", "30,20,60,100"], "reaches out of the frame"),
        (["--box", "60%,20%,30%,100%"], "the box is empty"),
        (["--box", "0.3,0.2,0.6,1", "--inside", "0.4"], "cannot be read"),
        (["--box", "0.3,0.2,0.6,1", "--inside", "0.9,0.9"], "out of the box"),
        (["--box", "0.3,0.2,0.6,1", "--name", "../coat"], "cannot be a mask's name"),
        (["--box", "0,0,1,1"], "holds the whole frame"),
    ],
)
def test_mask_refuses_a_request_with_the_way_out(session: Path, words: list[str], told: str) -> None:
    result = finishing("mask", session / "frames/A-0001.jpg", *words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert "do this:" in result.stderr
    assert not (session / "masks").exists()


def test_mask_of_a_frame_that_cannot_be_read(session: Path) -> None:
    (session / "frames/bad.jpg").write_bytes(b"")
    result = finishing("mask", session / "frames/bad.jpg", "--box", "0.3,0.2,0.6,1")
    assert result.exit_code == 2  # one frame was asked for, and nothing was made
    assert "bad.jpg" in result.stderr
    missing = finishing("mask", session / "no.jpg", "--box", "0.3,0.2,0.6,1", "--json")
    assert missing.exit_code == 2
    (problem,) = json.loads(missing.stdout)["problems"]
    assert (problem["where"], problem["what"]) == ("no.jpg", "there is no such file")


def test_mask_does_not_overwrite_unasked(session: Path) -> None:
    words = ("mask", session / "frames/A-0001.jpg", "--box", "0.3,0.2,0.6,1")
    assert finishing(*words).exit_code == 0
    again = finishing(*words)
    assert again.exit_code == 2
    assert "exists already" in again.stderr
    assert finishing(*words, "--again").exit_code == 0


def test_compare_two_looks_and_the_original(session: Path, tmp_path: Path) -> None:
    images = [session / "frames/A-0001.jpg", session / "frames/A-0002.jpg"]
    result = finishing("compare", "white_edge", "original", *images, "--map", tmp_path / "maps")
    assert result.exit_code == 0, result.stderr
    told = result.stdout.splitlines()
    assert told[0].endswith("and the original, at a long edge of at most 1000 pixels")
    assert told[1].startswith(f"{images[0]}: mean ")
    assert told[3].startswith("all 2 images: mean ")
    assert [Path(line).name for line in told[4:]] == ["A-0001-difference.png", "A-0002-difference.png"]
    assert all(Path(line).is_file() for line in told[4:])
    kept = finishing("compare", "white_edge", "original", *images, "--map", tmp_path / "maps")
    assert kept.exit_code == 2
    assert "the map exists already" in kept.stderr


def test_compare_two_versions_for_scripts(session: Path, tmp_path: Path) -> None:
    for version, stops in ((1, 0.3), (2, 0.5)):
        text = f"look: Lifted\nversion: {version}\nsteps:\n  - exposure: {{stops: {stops}}}\n"
        (tmp_path / f"v{version}.yaml").write_text(text)
    image = session / "frames/A-0001.jpg"
    result = finishing("compare", tmp_path / "v1.yaml", tmp_path / "v2.yaml", image, "--full", "--json")
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    assert (told["first"]["version"], told["second"]["version"], told["long_edge"]) == (1, 2, None)
    (one,) = told["images"]
    assert one["pixels"] == 300 * 200
    assert 0 < one["mean"] <= one["percentile_95"] <= one["maximum"]
    assert told["overall"]["mean"] == one["mean"]


def test_compare_names_what_is_wrong(session: Path, tmp_path: Path) -> None:
    image = session / "frames/A-0001.jpg"
    typo = finishing("compare", "white_edg", "original", image)
    assert typo.exit_code == 2
    assert 'did you mean "white_edge"?' in typo.stderr
    missing = finishing("compare", "white_edge", "original", image, tmp_path / "no.jpg")
    assert missing.exit_code == 1
    assert "no.jpg" in missing.stderr
    assert "A-0001" in missing.stdout
    assert finishing("compare", "white_edge", "original").exit_code == 2
