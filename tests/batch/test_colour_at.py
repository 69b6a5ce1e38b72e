"""The colour at a place, as looks name it."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from finishing.batch.pictures.colour_at import colour_at
from finishing.cli.main import main


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    """Left a saffron, right a grey, with noise of a few codes over both."""
    codes = np.full((200, 300, 3), (128, 128, 128), np.int16)
    codes[:, :150] = (244, 196, 48)
    codes += np.random.default_rng(1).integers(-5, 6, codes.shape, np.int16)
    Image.fromarray(np.clip(codes, 0, 255).astype(np.uint8)).save(tmp_path / "a.png")
    return tmp_path / "a.png"


def test_a_known_colour(picture: Path) -> None:
    """Against coloraide, on the colour that the noise lies over; a grey has no chroma."""
    import coloraide

    expected = coloraide.Color("#f4c430").convert("oklch").coords()
    found = colour_at(picture, (0.25, 0.5))
    assert (found.lightness, found.chroma, found.hue) == pytest.approx(expected, rel=0.03)
    assert f"hue {round(found.hue)}" in found.lines()[1]
    grey = colour_at(picture, (0.75, 0.5))
    assert grey.chroma < 0.01
    assert "nearly grey" in grey.lines()[0]
    for corner in ((0, 0), (1, 1), (0, 1), (1, 0)):
        assert colour_at(picture, corner).lightness > 0.3


def test_the_command_tells_it_below_the_rest(picture: Path) -> None:
    done = CliRunner().invoke(main, ["inspect", str(picture), "--at", "25%,50%"])
    assert done.exit_code == 0, done.output
    assert "at 0.25,0.5: #f" in done.stdout
    told = json.loads(CliRunner().invoke(main, ["inspect", str(picture), "--at", "0.25,0.5", "--json"]).stdout)
    assert told[0]["colour_at"]["hue"] == pytest.approx(87.5, abs=2)
    wrong = CliRunner().invoke(main, ["inspect", str(picture), "--at", "120,80"])
    assert wrong.exit_code == 2
    assert "write --at 0.45,0.60" in wrong.stderr
