"""What a deliverable may say, how its files are named, and what cannot hold together."""

from collections.abc import Callable
from pathlib import Path, PurePosixPath

import pytest

from finishing.errors import ProblemSet
from finishing.sessions.deliverables import Deliverable, PrintSize, file_name
from finishing.sessions.session import Session, read_session

Read = Callable[..., Session]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Reads a session of one frame with these deliverables, each a line of YAML."""

    def reader(*deliverables: str) -> Session:
        (tmp_path / "A-1.jpg").write_bytes(b"")
        (tmp_path / "paper.icc").write_bytes(b"")
        lines = "\n".join(f"  {line}" for line in deliverables)
        (tmp_path / "session.yaml").write_text(f"session: Orchard\nframes: [A-*.jpg]\ndeliverables:\n{lines}\n")
        return read_session(tmp_path)

    return reader


def test_everything_is_read(read: Read) -> None:
    value = read(
        "web: {format: jpeg, short_edge: 1080, quality: 85, progressive: yes, at_most: 2 MB, sharpen: screen}",
        "print: {format: tiff, bits: 16, print_size: 30 x 20 cm, pixels_per_inch: 240, compression: deflate}",
        "paper: {format: tiff, profile: paper.icc, intent: perceptual, black_point: no, location: remove}",
        "phone: {format: avif, box: [1080, 1920], subsampling: 4:2:0, enlarge: yes}",
        "proof: {format: webp, megapixels: 1.5, dither: on, mark: {text: PROOF, place: bottom_right, opacity: 0.5}}",
    ).value.deliverables
    assert value["web"].at_most == 2_000_000
    assert value["web"].progressive
    assert value["print"].print_size == PrintSize(30 / 2.54, 20 / 2.54)
    assert (value["paper"].profile, value["paper"].intent, value["paper"].black_point) == (
        "paper.icc", "perceptual", False,
    )  # fmt: skip
    assert value["phone"].box == (1080, 1920)
    assert value["proof"].mark is not None
    assert value["proof"].mark.text == "PROOF"


@pytest.mark.parametrize(
    ("written", "inches"),
    [
        ("30 cm", (11.811, None)), ("20 x 30 cm", (11.811, 7.874)), ('"20 × 30cm"', (11.811, 7.874)),
        ("[12 inch, 8 inch]", (12, 8)), ("[30 cm, 8 inch]", (11.811, 8)), ("8x12 in", (12, 8)),
        ("297 mm", (11.693, None)),
    ],
)  # fmt: skip
def test_sizes_on_paper(written: str, inches: tuple[float, float | None], read: Read) -> None:
    size = read(f"print: {{print_size: {written}}}").value.deliverables["print"].print_size
    assert (size.long_inches, size.short_inches) == (
        pytest.approx(inches[0], abs=1e-3),
        inches[1] and pytest.approx(inches[1], abs=1e-3),
    )


@pytest.mark.parametrize(
    ("written", "count"), [("800 kB", 800_000), ("1.5 MB", 1_500_000), ("1 MiB", 1_048_576), ("250000", 250_000)]
)
def test_byte_limits(written: str, count: int, read: Read) -> None:
    assert read(f"web: {{at_most: {written}}}").value.deliverables["web"].at_most == count


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{long_edge: 2048, box: [10, 20]}", "expected: a box"),
        ("{long_edge: 2048, megapixels: 2}", "long_edge and megapixels both say how large"),
        ("{enlarge: yes}", "enlarge needs a size"),
        ("{format: jpeg, bits: 16}", "a JPEG file has 8 bits"),
        ("{format: webp, bits: 16}", "a WebP file has 8 bits"),
        ("{format: avif, bits: 16}", "AVIF files are written with 8 bits"),
        ("{format: png, profile: linear}", "steps in every shadow"),
        ("{format: png, bits: 16, dither: yes}", "16 bits show no steps"),
        ("{profile: other.icc}", "there is no such file"),
        ("{profile: ../paper.icc}", "leaves the folder"),
        ("{profile: wide}", "or a printer's own profile"),
        ("{profile: paper.icc, dither: yes}", "littleCMS takes over"),
        ("{print_size: 30 x 20}", "a size on paper with its unit"),
        ("{print_size: 1 x 2 x 3 cm}", "a size on paper with its unit"),
        ("{at_most: 2 GB}", "a number of bytes"),
        ("{at_most: 12}", "a number of bytes"),
        ("{mark: PROOF}", "mark"),
        ("{mark: {text: PROOF, place: middle}}", "one of centre"),
        ("{location: hide}", "one of keep, remove"),
        ('{name: "{frame:03}"}', "only a number has a width"),
        ('{name: "{look}-{number:x}"}', "only a number has a width"),
        ('{name: "{look}"}', "every frame the same name"),
    ],
)
def test_what_cannot_be(line: str, words: str, read: Read) -> None:
    with pytest.raises(ProblemSet) as caught:
        read(f"web: {line}")
    assert words in str(caught.value)
    assert "session.yaml:4" in str(caught.value)


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ("{format: png, quality: 90}", "quality"), ("{format: webp, subsampling: 4:2:0}", "subsampling"),
        ("{format: tiff, progressive: yes}", "progressive"), ("{format: tiff, at_most: 2 MB}", "at_most"),
        ("{format: jpeg, compression: lzw}", "compression"), ("{intent: perceptual}", "intent"),
        ("{black_point: yes}", "black_point"),
    ],
)  # fmt: skip
def test_what_does_nothing_is_told(line: str, key: str, read: Read) -> None:
    warnings = read(f"web: {line}").warnings
    assert [w.what.split('"')[1] for w in warnings] == [key]


def test_names() -> None:
    def named(pattern: str | None, form: str = "jpeg", number: int = 7) -> PurePosixPath:
        return file_name(
            Deliverable(name=pattern, format=form), session="Or/chard", name="web", look="print", frame="A-1",
            setup=None, number=number,
        )  # fmt: skip

    assert named(None) == PurePosixPath("web/print/A-1.jpg")
    assert named("{session}_{setup}_{frame}_{look}_{number:03}") == PurePosixPath("Or-chard_no-setup_A-1_print_007.jpg")
    assert named("{number}") == PurePosixPath("7.jpg")
    assert named("{number:03}", number=12345) == PurePosixPath("12345.jpg")
    assert [named(None, form).suffix for form in ("png", "tiff", "webp", "avif")] == [".png", ".tif", ".webp", ".avif"]
