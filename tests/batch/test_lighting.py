"""Loose frames taken apart: files in, files out, and all that is refused."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from finishing.batch.lighting import light_files
from finishing.batch.lighting.light_files import FILES, LightRequest, light_frames
from finishing.batch.memory.ledger import hash_file
from finishing.colour.icc import MatrixProfile, read_profile
from finishing.colour.spaces import LINEAR, OPRGB, SRGB, ColourSpace
from finishing.errors import Problem, ProblemSet, problems_of
from finishing.light.blending import Blend, Light
from finishing.photographs.exif import Exif, rational, short, write_exif
from finishing.photographs.reading import read_photograph
from finishing.photographs.writing import OutputSettings, write_photograph
from tests.light.scene import Floats, jpeg, lights, sixteen

PLAN = """\
place: {name: Example orchard}
sync: 1/200
setups:
  - {id: A, frames: A-*, exposure: {aperture: f/8, shutter: 1/125, iso: 100}, ambient: -2}
"""


def exif(seconds: float | None, f_number: float = 8.0, iso: int = 100) -> bytes:
    photo = {0x829D: rational(round(f_number * 10), 10), 0x8827: short(iso)}
    if seconds:
        photo[0x829A] = rational(1, round(1 / seconds))
    return write_exif(Exif("<", {}, photo))


Writer = Callable[..., Path]


@pytest.fixture
def write(tmp_path: Path) -> Writer:
    def written(
        name: str, light: Floats, seconds: float | None, *, seed: int = 1, space: ColourSpace = SRGB, **record: float
    ) -> Path:
        linear = space is LINEAR
        path = tmp_path / f"{name}.{'tif' if linear else 'jpg'}"
        codes = sixteen(light) if linear else jpeg(light, seed, None)
        settings = OutputSettings(format="tiff" if linear else "jpeg", space=space, quality=95)
        write_photograph(path, codes, settings=settings, exif=exif(seconds, **record) if seconds else b"")
        return path

    return written


def pair(write: Writer, **options: object) -> list[Path]:
    ambient, strobe, _ = lights()
    return [
        write("A-1", ambient + strobe, 1 / 125, seed=1, **options),
        write("A-2", 4 * ambient + strobe, 1 / 30, seed=2, **options),
    ]


def refused(request: LightRequest) -> str:
    with pytest.raises((Problem, ProblemSet)) as caught:
        light_frames(request, threads=1)
    problems = problems_of(caught.value)
    assert not request.out.exists()
    assert all(problem.remedy for problem in problems)
    return "\n".join(str(problem) for problem in problems)


def test_linear_files_are_exact(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    request = LightRequest(pair(write, space=LINEAR), tmp_path / "out", blend=Blend(Light(1.0), Light(-1.0)))
    report = light_frames(request, threads=2)
    assert report.facts["exact"] is True
    assert report.facts["approximate_by"] is None
    inside = (4 * ambient + strobe < 0.97) & (ambient > 0.005) & (strobe > 0.005)
    for name, truth in (("ambient", ambient), ("strobe", strobe), ("blend", 2 * ambient + strobe / 2)):
        path = tmp_path / "out" / f"{name}.tif"
        codes = tifffile.imread(path)  # an independent reader
        assert codes.dtype == np.uint16
        much = inside & (truth > 0.01)
        assert np.abs(codes[much] / 65535 / truth[much] - 1).max() < 0.004
        photograph = read_photograph(path)
        assert photograph.encoding.matrix is None
        np.testing.assert_allclose(photograph.encoding.tables[0], np.linspace(0, 1, 65536), atol=1e-6)
        with tifffile.TiffFile(path) as file:
            profile = read_profile(bytes(file.pages[0].tags[34675].value))
        assert isinstance(profile, MatrixProfile)
        assert profile.decoders[0](0.25) == pytest.approx(0.25)
        assert photograph.metadata.exposure_seconds == pytest.approx(1 / 125)
        assert photograph.metadata.description is not None
        assert "A-1" in photograph.metadata.description


def test_jpeg_is_told_to_be_approximate_and_by_how_much(write: Writer, tmp_path: Path) -> None:
    frames = pair(write)
    before = [path.read_bytes() for path in frames]
    report = light_frames(LightRequest(frames, tmp_path / "out", subject=(0.458, 0.68)), threads=1)
    assert [path.read_bytes() for path in frames] == before
    assert report.facts["exact"] is False
    assert report.facts["approximate_by"]["stops_at_subject"] > 0.02
    assert any(notice.startswith("approximate: ") and "stop" in notice for notice in report.notices)
    written = json.loads((tmp_path / "out" / "report.json").read_text())
    assert written == report.facts
    assert written["frames"][1]["seconds"] == pytest.approx(1 / 32)
    assert written["frames"][1]["alignment"]["laid_over"] is False
    assert written["subject"]["strobe_over_ambient_stops"] == pytest.approx(report.level.over_ambient, abs=1e-3)
    assert "over the ambient" in report.summary
    with Image.open(tmp_path / "out" / "stops.png") as image:
        assert image.size[0] > 1000
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert names == {"ambient.tif", "strobe.tif", "blend.tif", "stops.png", "report.json"}


def test_same_frames_same_bytes(write: Writer, tmp_path: Path) -> None:
    frames = pair(write)
    for name, threads in (("one", 1), ("two", 2)):
        light_frames(LightRequest(frames, tmp_path / name, blend=Blend(Light(0.5))), threads=threads)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes()


def test_shutters_as_given_and_a_frame_without_strobes(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [write("lit", ambient + strobe, None), write("off", ambient, None, seed=2)]
    report = light_frames(
        LightRequest(frames, tmp_path / "out", shutters=(1 / 125, 1 / 125), off=frames[1:]), threads=1
    )
    assert [frame["strobes"] for frame in report.facts["frames"]] == [True, False]
    assert any("aperture" in notice for notice in report.notices)  # nothing tells it: said
    codes = tifffile.imread(tmp_path / "out" / "strobe.tif")
    assert np.sqrt(np.mean((codes / 65535 - strobe)[strobe + ambient < 0.95] ** 2)) < 0.003


def test_a_wide_space_is_carried_to_the_working_one(write: Writer, tmp_path: Path) -> None:
    # greys are the same in both: only the curve differs
    ambient, strobe, _ = (
        np.repeat(part.mean(axis=-1, keepdims=True), 3, axis=-1) for part in (*lights()[:2], lights()[0])
    )
    paths = []
    for index, t in enumerate((1, 4)):
        path = tmp_path / f"wide-{index}.tif"
        codes = np.round(np.asarray(OPRGB.encode(np.clip(t * ambient + strobe, 0, 1))) * 65535).astype(np.uint16)
        write_photograph(
            path, codes, settings=OutputSettings(format="tiff", space=OPRGB), exif=exif(1 / 125 if t == 1 else 1 / 30)
        )
        paths.append(path)
    light_frames(LightRequest(paths, tmp_path / "out"), threads=1)
    inside = (4 * ambient + strobe < 0.97) & (ambient > 0.01)
    codes = tifffile.imread(tmp_path / "out" / "ambient.tif")
    assert np.abs(codes / 65535 - ambient)[inside].max() < 4e-4


def test_the_sums_cannot_hold(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    first = write("A-1", ambient + strobe, 1 / 125)
    out = tmp_path / "out"
    other_aperture = write("A-2", 4 * ambient + strobe, 1 / 30, f_number=5.6)
    assert "another aperture" in refused(LightRequest([first, other_aperture], out))
    other_iso = write("A-3", 4 * ambient + strobe, 1 / 30, iso=200)
    told = refused(LightRequest([first, other_aperture, other_iso], out))
    assert "another aperture" in told
    assert "another ISO" in told
    assert "ISO 200" in told
    equal = write("A-4", ambient + strobe, 1 / 125, seed=4)
    assert "equal" in refused(LightRequest([first, equal], out))
    silent = write("B-1", 4 * ambient + strobe, None)
    told = refused(LightRequest([first, silent], out))
    assert "shutter time" in told
    assert "--plan" in told
    assert "one frame" in refused(LightRequest([first], out))
    assert "as many shutters" in refused(LightRequest([first, equal], out, shutters=(0.01,)))
    assert "strobes on" in refused(LightRequest([first, equal], out, off=[first, equal]))
    assert "twice" in refused(LightRequest([first, first], out))
    assert "not among the frames" in refused(LightRequest([first, equal], out, off=[tmp_path / "C.jpg"]))
    small = tmp_path / "small.jpg"
    codes = jpeg(lights()[0][:200, :300], 1, None)
    write_photograph(small, codes, settings=OutputSettings(format="jpeg", space=SRGB), exif=exif(1 / 30))
    assert "another size" in refused(LightRequest([first, small], out))
    wide = write("A-5", 4 * ambient + strobe, 1 / 30, space=OPRGB)
    assert "encoded in another way" in refused(LightRequest([first, wide], out))


def test_printed_numbers_that_mean_the_same_agree(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [
        write("A-1", ambient + strobe, 1 / 125, f_number=11),
        write("A-2", 4 * ambient + strobe, 1 / 30, f_number=11.3),
    ]
    light_frames(LightRequest(frames, tmp_path / "out"), threads=1)


def test_frames_of_two_scenes(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [
        write("A-1", ambient + strobe, 1 / 125),
        write("A-2", (4 * ambient + strobe)[::-1, ::-1], 1 / 30),
    ]
    assert "does not lie on the first" in refused(LightRequest(frames, tmp_path / "out"))


def test_strobes_that_changed_their_power(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [write("A-1", 3 * (ambient + strobe) / 3, 1 / 30), write("A-2", 0.3 * ambient + 0.05 * strobe, 1 / 15)]
    assert "contradict each other" in refused(LightRequest(frames, tmp_path / "out"))


def test_plan_gives_sync_and_exposure(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    (tmp_path / "plan.yaml").write_text(PLAN)
    plan = tmp_path / "plan.yaml"
    fast = [write("A-1", ambient + strobe, 1 / 500), write("A-2", 4 * ambient + strobe, 1 / 125)]
    told = refused(LightRequest(fast, tmp_path / "out", plan=plan))
    assert "sync" in told
    assert "1/200" in told
    silent = [write("A-3", ambient + strobe, None), write("A-4", 4 * ambient + strobe, 1 / 30)]
    report = light_frames(LightRequest(silent, tmp_path / "out", plan=plan), threads=1)
    assert report.facts["frames"][0]["shutter"] == "1/125"
    assert not any("sync" in notice for notice in report.notices)
    dark = [write("A-5", ambient, 1 / 500), write("A-6", 4 * ambient + strobe, 1 / 125)]
    light_frames(LightRequest(dark, tmp_path / "off", off=dark[:1], plan=plan), threads=1)  # no strobe, no sync


def test_outputs_that_are_there_stay(write: Writer, tmp_path: Path) -> None:
    frames = pair(write)
    out = tmp_path / "out"
    out.mkdir()
    (out / "blend.tif").write_bytes(b"something of mine")
    with pytest.raises(ProblemSet, match="exists already"):
        light_frames(LightRequest(frames, out), threads=1)
    assert [path.name for path in out.iterdir()] == ["blend.tif"]
    light_frames(LightRequest(frames, out, again=True), threads=1)
    assert (out / "blend.tif").stat().st_size > 1_000_000


@pytest.mark.parametrize("failing", ["strobe.tif", "stops.png", "report.json"])
def test_outputs_are_written_all_or_none(
    write: Writer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    frames = pair(write)
    out = tmp_path / "out"
    light_frames(LightRequest(frames, out), threads=1)
    before = {path.name: hash_file(path) for path in out.iterdir()}
    assert set(before) == set(FILES)

    def full(write: Callable[..., None]) -> Callable[..., None]:
        def or_full(path: Path, *content: object, **how: object) -> None:
            if path.name == failing:
                raise Problem("the disk is full", where=str(path), remedy="make room")
            write(path, *content, **how)

        return or_full

    for name in ("write_bytes", "write_photograph"):
        monkeypatch.setattr(light_files, name, full(getattr(light_files, name)))
    for folder in (out, tmp_path / "new"):
        with pytest.raises(Problem, match="the disk is full") as told:
            light_frames(LightRequest(frames, folder, again=True, blend=Blend(Light(1.0))), threads=1)
        assert told.value.where == str(folder / failing)
    assert {path.name: hash_file(path) for path in out.iterdir()} == before
    assert not (tmp_path / "new").exists()


def test_a_folder_where_an_output_goes_is_refused_before_anything_is_done(write: Writer, tmp_path: Path) -> None:
    frames = pair(write)
    out = tmp_path / "out"
    (out / "report.json").mkdir(parents=True)
    for again in (False, True):
        with pytest.raises(ProblemSet, match="a folder has the name of the output") as told:
            light_frames(LightRequest(frames, out, again=again), threads=1)
        assert [str(problem.where) for problem in told.value.problems] == [str(out / "report.json")]
    assert [path.name for path in out.iterdir()] == ["report.json"]
    with pytest.raises(ProblemSet, match="a file has the name of the folder"):
        light_frames(LightRequest(frames, frames[0]), threads=1)


def test_no_output_takes_the_place_of_a_frame(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [
        write("blend", ambient + strobe, 1 / 125, space=LINEAR),
        write("A-2", 4 * ambient + strobe, 1 / 30, space=LINEAR),
    ]
    with pytest.raises(ProblemSet, match="place of a frame"):
        light_frames(LightRequest(frames, tmp_path, again=True), threads=1)


def test_shutters_near_each_other_are_told(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [write("A-1", ambient + strobe, 1 / 125), write("A-2", 2 ** (1 / 3) * ambient + strobe, 1 / 100, seed=2)]
    report = light_frames(LightRequest(frames, tmp_path / "out"), threads=1)
    assert any("near each other" in notice for notice in report.notices)
    assert report.facts["error_over_that_of_a_frame"]["strobe"] == pytest.approx(
        (1 + 2 ** (2 / 3)) ** 0.5 / (2 ** (1 / 3) - 1), abs=0.01
    )


def with_record(path: Path, seconds: float, flash: int | None) -> None:
    """The frame with a record that tells shutter and flash (EXIF Flash, bit 0: it fired)."""
    photo = {0x829A: rational(1, round(1 / seconds)), 0x829D: rational(80, 10), 0x8827: short(100)}
    if flash is not None:
        photo[0x9209] = short(flash)
    codes = read_photograph(path).codes
    settings = OutputSettings(format="jpeg", space=SRGB, quality=95)
    write_photograph(path, codes, settings=settings, exif=write_exif(Exif("<", {}, photo)))


def doubts(request: LightRequest) -> list[str]:
    """What is told of single frames."""
    notices = light_frames(request, threads=1).notices
    return [one for one in notices if one.startswith("A-") and ("you say" in one or "flash" in one)]


def test_a_shutter_that_the_file_does_not_confirm_is_told(write: Writer, tmp_path: Path) -> None:
    frames = pair(write)
    with_record(frames[1], 1 / 60, None)
    given = LightRequest(frames, tmp_path / "out", shutters=(1 / 125, 1 / 30))
    assert doubts(given) == ["A-2.jpg: you say 1/30, the file says 1/60"]


def test_a_shutter_that_the_file_confirms_or_does_not_know_is_nothing_to_tell(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [write("A-1", ambient + strobe, 1 / 125), write("A-2", 4 * ambient + strobe, None, seed=2)]
    with_record(frames[0], 1 / 128, None)  # the exact time behind 1/125
    assert doubts(LightRequest(frames, tmp_path / "out", shutters=(1 / 125, 1 / 30))) == []


def test_a_flash_that_fired_in_a_frame_said_to_have_none_is_told(write: Writer, tmp_path: Path) -> None:
    ambient, strobe, _ = lights()
    frames = [write("A-1", ambient + strobe, 1 / 125), write("A-2", ambient, 1 / 125, seed=2)]
    with_record(frames[1], 1 / 125, 1)
    (told,) = doubts(LightRequest(frames, tmp_path / "out", off=frames[1:]))
    assert told.startswith("A-2.jpg: you say that no strobe fired in it (--off)")
    with_record(frames[1], 1 / 125, 0)
    assert doubts(LightRequest(frames, tmp_path / "dark", off=frames[1:])) == []


@pytest.mark.parametrize(("flash", "told"), [((1, 0), 1), ((0, 0), 0), ((1, 1), 0), ((1, None), 0)])
def test_a_flash_that_did_not_fire_in_one_frame_alone_is_told(
    write: Writer, tmp_path: Path, flash: tuple[int, int | None], told: int
) -> None:
    """Alike in all frames it says nothing: strobes fired by radio are often recorded as no flash."""
    frames = pair(write)
    for path, seconds, own in zip(frames, (1 / 125, 1 / 30), flash, strict=True):
        with_record(path, seconds, own)
    found = doubts(LightRequest(frames, tmp_path / "out"))
    assert len(found) == told
    assert all(one.startswith("A-2.jpg: the file says that the flash did not fire") for one in found)
