"""Masks cut out of frames: what is found, how soft it is, where it is put, what is refused."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.pictures.cutting_out import cut_out, session_above, wanted_mask
from finishing.batch.pictures.soft_mask import guided_filter, search_subject, soft_mask
from finishing.errors import Problem, ProblemSet
from finishing.regions.mask_files import read_mask
from finishing.sessions.session import read_session

FIGURE = (0.30, 0.20, 0.60, 1.0)  # around the orange figure of the small session's frames


def by_windows(
    guide: NDArray[np.float64], picture: NDArray[np.float64], radius: int, plain: float
) -> NDArray[np.float64]:
    """The guided filter as its definition reads: a least-squares fit in each window (He, Sun and Tang 2010,
    equation 5), solved window by window as a ridge regression without centring, and the mean of the fits."""
    height, width = picture.shape
    fits = np.zeros((height, width, 4))

    def window(y: int, x: int) -> tuple[slice, slice]:
        return slice(max(0, y - radius), y + radius + 1), slice(max(0, x - radius), x + radius + 1)

    for y in range(height):
        for x in range(width):
            colours, values = guide[window(y, x)].reshape(-1, 3), picture[window(y, x)].ravel()
            count = len(values)
            held = np.hstack([np.eye(3) * np.sqrt(count * plain), np.zeros((3, 1))])
            system = np.vstack([np.hstack([colours, np.ones((count, 1))]), held])
            fits[y, x] = np.linalg.lstsq(system, np.concatenate([values, np.zeros(3)]), rcond=None)[0]
    result = np.zeros((height, width))
    for y in range(height):
        for x in range(width):
            told = fits[window(y, x)]
            result[y, x] = np.mean(told[..., :3] @ guide[y, x] + told[..., 3])
    return result


@pytest.mark.parametrize(("radius", "plain"), [(1, 1e-2), (2, 1e-4), (4, 1e-3)])
def test_the_guided_filter_is_a_least_squares_fit_in_every_window(radius: int, plain: float) -> None:
    random = np.random.default_rng(radius)
    guide, picture = random.random((11, 14, 3)), random.random((11, 14))
    expected = by_windows(guide, picture, radius, plain)
    np.testing.assert_allclose(guided_filter(guide, picture, radius, plain), expected, atol=1e-10)
    single = guided_filter(guide.astype(np.float32), picture.astype(np.float32), radius, plain)
    np.testing.assert_allclose(single, expected, atol=2e-3)


def test_the_guided_filter_leaves_what_is_even() -> None:
    guide = np.random.default_rng(0).random((20, 30, 3))
    np.testing.assert_allclose(guided_filter(guide, np.full((20, 30), 0.7), 3, 1e-4), 0.7, atol=1e-12)


@pytest.fixture(scope="module")
def sample() -> dict[str, tuple[NDArray[np.uint8], NDArray[np.int32]]]:
    """Two frames of the sample, drawn small, with the material of each pixel."""
    from finishing.sample import components, material_map, photograph
    from finishing.sample.scenario import frame_of

    found = {}
    for name in ("B-0009", "C-0010"):
        setup, frame = frame_of(name)
        ambient, heads = components(setup.id, name, 300)
        aperture = frame.aperture or setup.aperture
        picture = photograph(ambient, heads, frame.seconds, aperture, setup.iso, noise_seed=1)
        found[name] = picture, material_map(setup.id, name, 300)
    return found


@pytest.mark.parametrize(("name", "least"), [("B-0009", 0.88), ("C-0010", 0.95)])
def test_a_figure_is_found_as_it_was_drawn(
    sample: dict[str, tuple[NDArray[np.uint8], NDArray[np.int32]]], name: str, least: float
) -> None:
    """Measured when written, at this size: 0.92 and 1.00 intersection over union; pixels of mixed edges left out."""
    from finishing.sample import scene

    picture, materials = sample[name]
    person = [scene.SKIN, scene.COAT, scene.HAIR, scene.STRAW, scene.WHITE_CLOTH, scene.TROUSERS, scene.RIBBON]
    person += [scene.LEATHER, scene.BUTTON]
    if name.startswith("C"):
        person += [scene.ENAMEL, scene.QUINCE]  # the bowl is held
    there = np.isin(materials, person)
    _, pieces, facts, _ = cv2.connectedComponentsWithStats(there.astype(np.uint8))
    figure = 1 + int(np.argmax(facts[1:, cv2.CC_STAT_AREA]))
    left, top, width, height = facts[figure, :4]
    truth, known = pieces == figure, materials >= 0
    down, across = truth.shape
    box = (
        max(0.0, left / across - 0.015),
        max(0.0, top / down - 0.015),
        min(1.0, (left + width) / across + 0.015),
        min(1.0, (top + height) / down + 0.015),
    )
    found = soft_mask(picture, picture, box) >= 128
    assert (found & truth)[known].sum() / (found | truth)[known].sum() > least


def test_hair_stands_out_softly_in_a_photograph(photographs: dict[str, NDArray[np.uint8]]) -> None:
    picture = photographs["astronaut"]
    outside = ((0.6, 0.2), (0.8, 0.12), (0.85, 0.55), (0.75, 0.3), (0.1, 0.2))
    inside = ((0.45, 0.42), (0.75, 0.85), (0.57, 0.85), (0.88, 0.8))
    search = cv2.resize(picture, (256, 256), interpolation=cv2.INTER_AREA).astype(np.uint8)
    mask = soft_mask(picture, search, (0.03, 0.0, 0.99, 1.0), inside, outside)
    assert mask[60:110, 180:270].min() > 250  # the face and the hair above it
    assert mask[330:420, 120:230].mean() > 230  # the suit
    assert mask[20:100, 310:500].max() == 0  # the wall and the model behind
    assert mask[:, :6].max() == 0
    edge = mask[20:110, 140:310]
    soft = ((edge > 5) & (edge < 250)).sum() / (np.abs(np.diff((edge > 127).astype(int), axis=1)).sum() + 1)
    assert 1 < soft < 8  # pixels of transition for each pixel of outline


def test_the_same_again_at_any_number_of_threads(
    sample: dict[str, tuple[NDArray[np.uint8], NDArray[np.int32]]],
) -> None:
    picture, _ = sample["B-0009"]
    box = (0.2, 0.1, 0.55, 1.0)
    threads = cv2.getNumThreads()
    masks = []
    try:
        for count in (1, 2):
            cv2.setNumThreads(count)
            cv2.setRNGSeed(count)
            masks.append(soft_mask(picture, picture, box))
    finally:
        cv2.setNumThreads(threads)
    assert masks[0].any()
    assert np.array_equal(*masks)


def figure_on_grey(size: int = 120) -> NDArray[np.uint8]:
    """A red disc and a smaller one beside it, on a grey with a little noise."""
    random = np.random.default_rng(2)
    picture = np.clip(random.normal(120, 4, (size, size, 3)), 0, 255).astype(np.uint8)
    cv2.circle(picture, (60, 60), 25, (200, 40, 30), cv2.FILLED)
    cv2.circle(picture, (100, 60), 5, (200, 40, 30), cv2.FILLED)
    return picture


def test_nothing_outside_the_box_is_taken() -> None:
    found = search_subject(figure_on_grey(), (0.25, 0.25, 0.75, 0.75))
    y, x = np.mgrid[0:120, 0:120]
    disc = (x - 60) ** 2 + (y - 60) ** 2 <= 25**2
    assert (found & disc).sum() / (found | disc).sum() > 0.97
    assert not found[:, 92:].any()


def test_hints_settle_what_belongs_to_it() -> None:
    picture, box = figure_on_grey(), (0.2, 0.2, 0.95, 0.8)
    assert not search_subject(picture, box, outside=[(100 / 120, 0.5)])[55:66, 96:105].any()
    assert search_subject(picture, box, inside=[(100 / 120, 0.5)])[58:63, 98:103].all()


def test_pinholes_are_closed_and_real_gaps_stay_open() -> None:
    picture = figure_on_grey()
    ground = picture[:20, :20].copy()
    picture[40:42, 60:62] = ground[:2, :2]
    picture[56:76, 50:70] = ground
    found = search_subject(picture, (0.25, 0.25, 0.75, 0.75))
    assert found[40:42, 60:62].all()
    assert not found[58:74, 52:68].any()


def test_an_even_picture_holds_nothing() -> None:
    even = np.full((100, 100, 3), 128, np.uint8)
    with pytest.raises(Problem) as caught:
        soft_mask(even, even, (0.4, 0.4, 0.5, 0.45))
    assert "too small" in caught.value.what


def test_a_mask_lands_beside_the_session_and_is_read_by_it(session: Path) -> None:
    frame = session / "frames/A-0002.jpg"
    made = cut_out(wanted_mask(frame, (0.30, 0.20, 0.62, 1.0), name="coat"))
    assert made.wanted.target == session / "masks/A-0002-coat.png"
    # The session's own entry for the frame is kept, and the mask put to it.
    assert made.there_already
    assert made.entry == {
        "subject": ["0.45", "0.5"],
        "rating": "4",
        "masks": {"coat": "masks/A-0002-coat.png"},
    }
    with Image.open(made.wanted.target) as image:
        assert (image.mode, image.size) == ("L", (200, 300))
    weights = read_mask(made.wanted.target)
    assert weights[200, 90] == 1  # the middle of the figure
    assert weights[10, 10] == 0
    assert made.share == pytest.approx(weights.mean(), abs=1e-6)
    text = (session / "session.yaml").read_text()
    line = "  A-0002: {subject: [0.45, 0.5], rating: 4, masks: {coat: masks/A-0002-coat.png}}"
    (session / "session.yaml").write_text(text.replace("  A-0002: {subject: [0.45, 0.5], rating: 4}", line))
    assert read_session(session).mask_files("A-0002") == {"coat": made.wanted.target}


def test_the_figure_of_a_frame_is_found_to_the_pixel(session: Path) -> None:
    made = cut_out(wanted_mask(session / "frames/A-0001.jpg", FIGURE))
    weights = read_mask(made.wanted.target)
    x, y = np.meshgrid(np.linspace(0, 1, 300), np.linspace(0, 1, 200))
    figure = (np.abs(x - 0.45) < 0.12) & (y > 0.25)
    found = weights > 0.5
    assert (found & figure).sum() / (found | figure).sum() > 0.95  # JPEG's reduced chroma blurs a pixel all round


def test_without_a_session_it_lands_beside_the_frame(session: Path, tmp_path: Path) -> None:
    frame = tmp_path / "alone" / "one.jpg"
    frame.parent.mkdir()
    frame.write_bytes((session / "frames/A-0001.jpg").read_bytes())
    assert session_above(frame) is None
    made = cut_out(wanted_mask(frame, FIGURE))
    assert made.wanted.target == frame.parent / "masks/one-subject.png"
    assert made.entry == {"masks": {"subject": "masks/one-subject.png"}}
    outside = cut_out(wanted_mask(session / "frames/A-0001.jpg", FIGURE, out=tmp_path / "elsewhere.png"))
    assert outside.entry is None
    assert "own folder" in outside.notices[-1]


@pytest.mark.parametrize(
    ("box", "told"),
    [
        ((0.1, 0.1, 1.2, 0.9), "reaches out of the frame"),
        ((-0.1, 0.1, 0.5, 0.9), "reaches out of the frame"),
        ((float("nan"), 0.1, 0.5, 0.9), "reaches out of the frame"),
        ((0.6, 0.1, 0.5, 0.9), "the box is empty"),
        ((0.1, 0.4, 0.5, 0.4), "the box is empty"),
        ((0.0, 0.0, 1.0, 1.0), "holds the whole frame"),
    ],
)
def test_boxes_that_cannot_be_meant(session: Path, box: tuple[float, float, float, float], told: str) -> None:
    with pytest.raises(ProblemSet, match=told):
        wanted_mask(session / "frames/A-0001.jpg", box)


def test_what_else_is_refused_before_anything_is_read(session: Path) -> None:
    frame = session / "frames/A-0001.jpg"
    with pytest.raises(ProblemSet, match="out of the box"):
        wanted_mask(frame, FIGURE, inside=[(0.9, 0.5)])
    with pytest.raises(ProblemSet, match="out of the frame"):
        wanted_mask(frame, FIGURE, outside=[(0.9, 1.5)])
    for name in ("a/b", "", "coat.png", "two words"):
        with pytest.raises(ProblemSet, match="cannot be a mask's name"):
            wanted_mask(frame, FIGURE, name=name)
    with pytest.raises(ProblemSet, match="a mask is a PNG"):
        wanted_mask(frame, FIGURE, out=session / "mask.jpg")
    with pytest.raises(ProblemSet, match="take the place of the original"):
        wanted_mask(session / "frames/A.png", FIGURE, out=session / "frames/A.png", again=True)


def test_a_mask_that_exists_is_kept_unless_asked(session: Path) -> None:
    frame = session / "frames/A-0001.jpg"
    before = frame.read_bytes()
    first = cut_out(wanted_mask(frame, FIGURE)).wanted.target
    content = first.read_bytes()
    with pytest.raises(ProblemSet, match="exists already"):
        wanted_mask(frame, FIGURE)
    assert cut_out(wanted_mask(frame, FIGURE, again=True)).wanted.target.read_bytes() == content
    assert frame.read_bytes() == before
    assert [path.name for path in first.parent.iterdir()] == [first.name]


def test_a_frame_that_cannot_be_read(session: Path) -> None:
    (session / "frames/bad.jpg").write_bytes(b"\xff\xd8\xff\xe0 nothing")
    for name in ("bad.jpg", "missing.jpg"):
        with pytest.raises(Problem) as caught:
            cut_out(wanted_mask(session / "frames" / name, FIGURE))
        assert caught.value.where == name
    assert not (session / "masks").exists()


def test_a_frame_may_be_named_as_its_session_names_it(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(session)
    wanted = wanted_mask(Path("A-0001"), FIGURE, name="coat")
    assert wanted.frame.samefile("frames/A-0001.jpg")
    assert wanted.target == session / "masks/A-0001-coat.png"
    assert wanted_mask(Path("frames/A-0002"), FIGURE).frame.samefile("frames/A-0002.jpg")
    with pytest.raises(Problem, match='no frame has the name "A-0O01"') as caught:
        wanted_mask(Path("A-0O01"), FIGURE)
    assert caught.value.remedy == 'did you mean "A-0001"?'
    assert wanted_mask(Path("A-0009.jpg"), FIGURE).frame == Path("A-0009.jpg")  # a file, which is told when it is read
    monkeypatch.chdir(session.parent)
    assert wanted_mask(session / "A-0001", FIGURE).frame.samefile(session / "frames/A-0001.jpg")
    assert wanted_mask(Path("A-0001"), FIGURE).frame == Path("A-0001")  # no session here
