"""Test strips: every band is its own finished picture, pixel for pixel; files as asked for; originals untouched."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from finishing.batch.opening.picture import finish_picture, reduced, source_of
from finishing.batch.paper.on_trial import image_on_trial
from finishing.batch.paper.test_strip import Window, _note, make_strip
from finishing.batch.paper.varying import Varied, vary
from finishing.batch.work.looks import read_look
from finishing.errors import Problem
from finishing.operation import Geometry
from finishing.photographs.reading import read_photograph
from finishing.recipes.recipe import Recipe
from finishing.sheets.placed import Picture
from tests.conftest import write_frame

LOOK = """\
look: Lighter
steps:
  - exposure: {stops: 0}
"""


@pytest.fixture
def image(tmp_path: Path) -> Path:
    write_frame(tmp_path / "A-0001.png", size=(900, 600))
    return tmp_path / "A-0001.png"


def varied(folder: Path, *texts: str, bands: int = 4) -> Varied:
    (folder / "lighter.yaml").write_text(LOOK)

    def read(overrides: Mapping[str, Any]) -> Recipe:
        return read_look(str(folder / "lighter.yaml"), overrides=overrides)

    return vary(read, texts, [bands] * len(texts))


def picture_on(path: Path) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """What stands inside of the grey panel: the page's largest part that is neither paper, grey nor ink."""
    codes = np.asarray(Image.open(path).convert("RGB"))
    coloured = np.ptp(codes.astype(int), axis=2) > 0
    rows, columns = np.flatnonzero(coloured.mean(axis=1) > 0.3), np.flatnonzero(coloured.mean(axis=0) > 0.3)
    return codes[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def test_every_band_is_the_picture_with_its_value(tmp_path: Path, image: Path) -> None:
    before = image.read_bytes()
    made = varied(tmp_path, "exposure.stops=-1..0.5")
    report = make_strip(made, image_on_trial(image), tmp_path / "strip.png", paper="200x150", pixels_per_inch=100)
    assert report.values == {"exposure.stops": ["−1", "−0.5", "0", "+0.5"]}
    assert report.notices == []
    shown = picture_on(tmp_path / "strip.png")
    height, width = shown.shape[:2]
    full = source_of(read_photograph(image))
    small = reduced(full, width, height)
    for number in range(4):
        whole = finish_picture(made.look(number).steps, small, Geometry(width, height))
        left, right = round(number * width / 4), round((number + 1) * width / 4)
        np.testing.assert_array_equal(shown[:, left:right], whole[:, left:right])
    assert image.read_bytes() == before


def test_the_window_lies_about_the_subject(tmp_path: Path, image: Path) -> None:
    """The figure of the frame is orange; a small window on it shows nothing else."""
    made = varied(tmp_path, "exposure.stops=-0.2..0")
    report = make_strip(
        made, image_on_trial(image, (0.45, 0.7)), tmp_path / "s.png", window=0.15, paper="200x150", pixels_per_inch=60
    )
    assert report.files == [tmp_path / "s.png"]
    shown = picture_on(tmp_path / "s.png").astype(int)
    assert (shown[3:-3, 3:-3, 0] - shown[3:-3, 3:-3, 2]).min() > 90


@pytest.mark.parametrize(
    ("subject", "side", "left", "top"),
    [(None, 0.5, 0.25, 0.25), ((0.0, 1.0), 0.4, 0.0, 0.6), ((0.5, 0.4), 0.2, 0.4, 0.3), ((0.9, 0.9), 1.0, 0, 0)],
)
def test_a_window_stays_inside(subject: tuple[float, float] | None, side: float, left: float, top: float) -> None:
    found = Window.about(subject, side)
    assert (found.left, found.top) == pytest.approx((left, top))


def test_whole_shows_the_whole_picture_where_a_subject_is_known_too(tmp_path: Path, image: Path) -> None:
    made = varied(tmp_path, "exposure.stops=-2..0", bands=3)
    pages = {}
    for name, subject, window in (("plain", None, None), ("subject", (0.3, 0.7), None), ("part", (0.3, 0.7), 0.4)):
        path = tmp_path / f"{name}.png"
        make_strip(made, image_on_trial(image, subject), path, whole=True, window=window, pixels_per_inch=50)
        pages[name] = path.read_bytes()
    assert pages["subject"] == pages["plain"]
    assert pages["part"] != pages["plain"]


def test_two_axes_make_a_grid_and_whole_a_row(tmp_path: Path, image: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from finishing.batch.paper import test_strip

    seen: list[list[Any]] = []
    real = test_strip.write_pages

    def watched(pages: Any, *rest: Any, **more: Any) -> Any:
        seen.append([item.key for item in pages[0].items if isinstance(item, Picture)])
        return real(pages, *rest, **more)

    monkeypatch.setattr(test_strip, "write_pages", watched)
    (tmp_path / "lighter.yaml").write_text(LOOK.replace("{stops: 0}", "{stops: 0}\n  - saturation: {amount: 1}"))

    def read(overrides: Mapping[str, Any]) -> Recipe:
        return read_look(str(tmp_path / "lighter.yaml"), overrides=overrides)

    both = vary(read, ["exposure.stops=-1..1", "saturation.amount=0..1"], [3, 2])
    make_strip(both, image_on_trial(image), tmp_path / "grid.png", pixels_per_inch=50)
    make_strip(
        vary(read, ["exposure.stops=-1..1"], [3]),
        image_on_trial(image),
        tmp_path / "row.png",
        whole=True,
        pixels_per_inch=50,
    )
    assert seen == [[(x, y) for y in range(2) for x in range(3)], [(0,), (1,), (2,)]]


def test_pdf_holds_the_strip_as_one_jpeg_with_profile(tmp_path: Path, image: Path) -> None:
    pytest.importorskip("fpdf", reason="fpdf2 is not installed")
    pikepdf = pytest.importorskip("pikepdf", reason="pikepdf is not installed")
    made = varied(tmp_path, "exposure.stops=-1..1")
    first = make_strip(made, image_on_trial(image), tmp_path / "a.pdf", pixels_per_inch=80).files[0].read_bytes()
    assert (
        make_strip(made, image_on_trial(image), tmp_path / "b.pdf", pixels_per_inch=80).files[0].read_bytes() == first
    )
    with pikepdf.open(tmp_path / "a.pdf") as document:
        (page,) = document.pages
        (stored,) = page.Resources.XObject.values()
        assert stored.Filter in ("/DCTDecode", [pikepdf.Name.DCTDecode])
        assert stored.ColorSpace[0] == "/ICCBased"


def test_what_is_refused(tmp_path: Path, image: Path) -> None:
    made = varied(tmp_path, "exposure.stops=-1..1")
    before = image.read_bytes()
    with pytest.raises(Problem, match="PNG or PDF"):
        make_strip(made, image_on_trial(image), tmp_path / "strip.jpg")
    with pytest.raises(Problem, match="take the place of an original"):
        make_strip(made, image_on_trial(image), image)
    with pytest.raises(Problem, match="window has no such size"):
        make_strip(made, image_on_trial(image), tmp_path / "strip.png", window=0.01)
    with pytest.raises(Problem):
        make_strip(made, image_on_trial(tmp_path / "none.jpg"), tmp_path / "strip.png")
    assert image.read_bytes() == before
    assert not (tmp_path / "strip.png").exists()


def test_a_length_is_told_as_a_part_of_the_short_side(tmp_path: Path) -> None:
    (tmp_path / "soft.yaml").write_text(
        "look: Soft\nsteps: [{exposure: {stops: 1, where: {ellipse: [0.5, 0.5, 0.1, 0.2]}}}]\n"
    )
    made = vary(
        lambda more: read_look(str(tmp_path / "soft.yaml"), overrides=more), ["exposure.where.soft=0..0.6"], [3]
    )
    assert _note(made.axes[0], 0, of=1) == (
        "exposure.where.ellipse.soft from 0 to 0.6 of the short side · the recipe has 0.2"
    )
