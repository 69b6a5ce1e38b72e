"""Sessions with known faults evened out: how near the truth they come, what is told, and what is refused."""

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray
from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.evening.card_colour import not_grey
from finishing.batch.evening.evening_out import Evenness
from finishing.batch.memory.ledger import open_ledger
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from finishing.colour.white import chromaticity, nearest_light
from finishing.errors import ProblemSet
from finishing.evenness.reading import Reading
from finishing.exposure.series import exact_shutter
from tests.evenness import dusk
from tests.evenness.dusk import (
    FIGURE,
    FROM_XYZ,
    HEIGHT,
    WIDTH,
    Fault,
    card_of,
    cast,
    photographed,
    scene,
    write,
    write_session,
)
from tests.evenness.test_chart import SKEWED, drawn, under

BOTH = f"  exposure: {{to: A-0005, measure: {FIGURE}}}\n  white_balance: {{to: A-0005, measure: {FIGURE}}}\n"
EXPOSURE = f"  exposure: {{to: A-0005, measure: {FIGURE}}}\n"


def evenness(folder: Path) -> Evenness:
    found = assign(folder, jobs=2).evenness
    assert found is not None
    return found


def faulty(count: int, seed: int, *, told: bool) -> dict[str, Fault]:
    """Gains to ±1.5 stops (told: most of it a turn of the shutter that the camera knows), casts to ±800 K, the figure
    moving; A-0005 is without fault."""
    random = np.random.default_rng(seed)
    shutters = [1 / 320, 1 / 250, 1 / 200, 1 / 160, 1 / 125, 1 / 100, 1 / 80, 1 / 60, 1 / 50]
    faults = {}
    for at in range(count):
        seconds, stops = 1 / 125, float(random.uniform(-1.5, 1.5))
        if told:
            seconds = float(random.choice(shutters))
            stops = float(np.log2(exact_shutter(seconds) / 2**-7) + random.uniform(-0.15, 0.15))
        faults[f"A-{at:04d}"] = Fault(stops, 6504 + float(random.uniform(-800, 800)), seconds,
                                      float(random.uniform(-0.02, 0.02)))  # fmt: skip
    return {**faults, "A-0005": Fault()}


def errors(folder: Path, found: Evenness, names: list[str]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far each frame's card is from the truth (18 % grey): in stops, and as CIEDE2000 at one luminance."""
    stops, differences = [], []
    for name in names:
        codes = np.asarray(Image.open(folder / "frames" / f"{name}.jpg"))
        card = found.correction(name).apply(card_of(codes))
        light = float(luminance(card))
        stops.append(abs(np.log2(light / 0.18)))
        differences.append(float(ciede2000(linear_to_lab(card * 0.18 / light), linear_to_lab(np.full(3, 0.18)))))
    return np.array(stops), np.array(differences)


@pytest.mark.parametrize("told", [False, True])
def test_nineteen_in_twenty_come_within_a_tenth_of_a_stop_and_two_in_colour(tmp_path: Path, told: bool) -> None:
    faults = faulty(40, 7, told=told)
    folder = write_session(tmp_path, faults, BOTH)
    found = evenness(folder)
    stops, differences = errors(folder, found, list(faults))
    assert np.mean(stops <= 0.1) >= 0.95
    assert np.mean(differences <= 2) >= 0.95
    (setup,) = found.consistency
    before, after = setup.spreads()["exposure_stops"]
    assert before.deviation is not None
    assert after.deviation is not None
    assert before.deviation > 0.5
    assert after.deviation < 0.03
    for quantity in ("white_b", "skin_hue_degrees"):
        before, after = setup.spreads()[quantity]
        assert before.deviation is not None
        assert after.deviation is not None
        assert after.deviation < 0.5 * before.deviation


@pytest.mark.slow
def test_the_same_on_the_drawn_session(tmp_path: Path) -> None:
    """Frames of the sample's renderer, each light apart: gains through shutter, aperture and ISO are the camera's own
    law, casts are on the light, noise is the sensor's. The truth is the frame without fault."""
    from finishing.sample import components, exposing

    ambient, heads = components("A", "A-0003", 300)
    truth = exposing.signal(np.concatenate([ambient, *heads.values()], axis=-1), 1 / 125, 8, 100)
    random = np.random.default_rng(4)
    region = "{near: {point: [0.45, 0.52], radius: 0.3}}"
    folder = write_session(tmp_path, {}, BOTH.replace(FIGURE, region))
    faults: dict[str, Fault] = {}
    for at in range(24):
        fault = Fault(float(random.uniform(-1.5, 1.5)), 6504 + float(random.uniform(-800, 800)))
        fault = Fault() if at == 5 else fault
        light = np.asarray(truth @ cast(fault.kelvin).T * 2.0**fault.stops, np.float32)
        faults[f"A-{at:04d}"] = fault
        write(folder / "frames" / f"A-{at:04d}.jpg", exposing.develop(light, 0, 100, at, 300 / 6000), 1 / 125, at)
    found = evenness(tmp_path)
    stops, differences = [], []
    for name, fault in faults.items():
        correction = found.correction(name)
        whole = correction.matrix @ cast(fault.kelvin) * correction.gain * 2.0**fault.stops
        grey = whole @ np.full(3, 0.18)
        light = float(luminance(grey))
        stops.append(abs(np.log2(light / 0.18)))
        differences.append(float(ciede2000(linear_to_lab(grey * 0.18 / light), linear_to_lab(np.full(3, 0.18)))))
    assert np.mean(np.array(stops) <= 0.1) >= 0.95
    assert np.mean(np.array(differences) <= 2) >= 0.95


def test_clipped_and_missing_regions_fall_back_and_say_so(tmp_path: Path) -> None:
    faults = {f"A-{at:04d}": Fault() for at in range(8)}
    faults["A-0002"] = Fault(stops=5.0, seconds=1 / 4)  # everything clipped
    faults["A-0003"] = Fault(stops=1.0, seconds=1 / 60)  # its mask is missing
    faults["A-0004"] = Fault(stops=-7.0, seconds=None)  # too dark, and without a record
    match = BOTH.replace(FIGURE, "{mask: figure}")
    with_mask = [name for name in faults if name != "A-0003"]
    says = "per_frame:\n" + "".join(f"  {name}: {{masks: {{figure: masks/figure.png}}}}\n" for name in with_mask)
    (tmp_path / "masks").mkdir()
    x, y = np.meshgrid(np.linspace(0, 1, 60), np.linspace(0, 1, 40))
    mask = ((x - 0.45) / 0.1) ** 2 + ((y - 0.52) / 0.25) ** 2 < 1
    Image.fromarray(mask.astype(np.uint8) * 255).save(tmp_path / "masks" / "figure.png")
    found = evenness(write_session(tmp_path, faults, match, per_frame=says))
    two, three, four, six = (found.frames[f"A-000{n}"] for n in (2, 3, 4, 6))
    assert two.exposure is not None
    assert two.exposure.how == "predicted"
    assert two.exposure.applied == pytest.approx(-5, abs=0.03)
    assert "% of the region is clipped" in two.exposure.why
    assert three.exposure is not None
    assert three.exposure.how == "predicted"
    assert three.exposure.applied == pytest.approx(-1, abs=0.03)
    assert 'no mask called "figure"' in three.exposure.why
    assert three.white is not None
    assert three.white.how == "predicted"
    assert four.exposure is not None
    assert four.exposure.how == "left as it is"
    assert "too dark" in four.exposure.why
    assert "is not known" in four.exposure.why
    assert six.exposure is not None
    assert six.exposure.how == "measured"
    told = "\n".join(found.lines())
    for name in ("A-0002: exposure predicted", "A-0003: exposure predicted", "A-0004: exposure left as it is"):
        assert name in told
    assert "A-0006:" not in told


def test_at_most_is_kept(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=-1.4), "A-0007": Fault(stops=0.4)}
    found = evenness(write_session(tmp_path, faults, EXPOSURE.replace("}\n", ", at_most: 0.5}\n")))
    six, seven = found.frames["A-0006"].exposure, found.frames["A-0007"].exposure
    assert six is not None
    assert seven is not None
    assert (six.applied, six.limited) == (0.5, True)
    assert six.measured == pytest.approx(1.4, abs=0.05)
    assert (round(seven.applied, 1), seven.limited) == (-0.4, False)


def test_ambient_and_strobes_are_foreseen_apart(tmp_path: Path) -> None:
    """By the plan the ambient is two stops under, and the strobe at the exposure: opening the shutter by a stop adds
    a stop to the ambient alone, log2(1 + 1/2) - log2(1 + 1/4) = 0.263 stops together."""
    plan = (
        "setups:\n  - {id: A, frames: A-*, exposure: {aperture: f/8, shutter: 1/125, iso: 100}, ambient: -2,\n"
        "     strobes: [{name: key, reads: f/8}]}\n"
    )
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=6, seconds=1 / 60)}
    found = evenness(write_session(tmp_path, faults, EXPOSURE, plan=plan)).frames["A-0006"].exposure
    assert found is not None
    assert found.how == "predicted"
    assert found.predicted == pytest.approx(-0.263, abs=1e-3)


def test_outputs_carry_the_correction(tmp_path: Path) -> None:
    """Finished with a look that changes nothing, the files themselves are even; their records and the ledger say why,
    and only what changes is made anew."""
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=-0.8, kelvin=7200), "A-0007": Fault(stops=0.7, kelvin=6000)}
    folder = write_session(tmp_path, faults, BOTH)
    out = tmp_path / "finished"
    report = run(assign(folder), out, jobs=2)
    assert not report.failed
    assert len(report.made) == 3
    pictures = {name: np.asarray(Image.open(out / "full" / "plain" / f"{name}.png")) for name in faults}
    for name in faults:
        card = card_of(pictures[name])
        assert abs(np.log2(float(luminance(card)) / 0.18)) < 0.05
        assert float(ciede2000(linear_to_lab(card), linear_to_lab(np.full(3, 0.18)))) < 1.5
    xmp = (out / "full" / "plain" / "A-0006.png").read_bytes()
    assert b"<finishing:ExposureCorrectionStops>0.8" in xmp
    assert b"<finishing:WhiteBalanceCorrection>to its set-up's key frame, measured: " in xmp
    history = xmp.split(b"<stEvt:parameters>")[1].decode("utf-8", "replace")
    assert history.startswith("exposure evened out by +0.8")
    assert " stops; white balance evened out (to its set-up's key frame, measured); " in history
    key = (out / "full" / "plain" / "A-0005.png").read_bytes()
    assert b"ExposureCorrectionStops" not in key
    assert b"WhiteBalanceCorrection" not in key
    with open_ledger(out, create=False) as ledger:
        told = ledger.corrections()["A-0006"]
    assert told["exposure"]["how"] == "measured"
    assert told["stops"] == pytest.approx(0.8, abs=0.05)
    report_json = json.loads(json.dumps(report.as_json()))["evenness"]
    assert [frame["frame"] for frame in report_json["frames"]] == list(faults)
    assert report_json["setups"][0]["spread"]["exposure_stops"]["before"]["standard_deviation"] > 0.4
    with Image.open(out / "evenness.png") as image:
        assert image.format == "PNG"
    before = (out / "evenness.png").read_bytes()
    assert report.chart == out / "evenness.png"
    _told_by_the_ledger(out)
    second = run(assign(folder), out, jobs=2)
    assert second.made == []
    assert second.chart is None
    assert len(second.up_to_date) == 3
    assert (out / "evenness.png").read_bytes() == before
    text = (folder / "session.yaml").read_text()
    (folder / "session.yaml").write_text(
        text.replace(f"measure: {FIGURE}}}\n  white", f"measure: {FIGURE}, at_most: 0.5}}\n  white")
    )
    assert sorted(run(assign(folder), out, jobs=2).made) == ["full/plain/A-0006.png", "full/plain/A-0007.png"]


def _told_by_the_ledger(out: Path) -> None:
    """Text, table and JSON each tell what was done to the frames."""

    def printed(*how: str) -> str:
        result = CliRunner().invoke(main, ["ledger", str(out), *how])
        assert result.exit_code == 0
        return str(result.stdout)

    text = {line.split("  ")[0]: line for line in printed().splitlines()}
    assert ", evened out: +0.8" in text["full/plain/A-0006.png"]
    assert " stops, white from to its set-up's key frame, measured" not in text["full/plain/A-0006.png"]
    assert "evened out" not in text["full/plain/A-0005.png"]
    rows = {row["path"]: row for row in csv.DictReader(io.StringIO(printed("--csv")))}
    assert float(rows["full/plain/A-0006.png"]["exposure_correction_stops"]) == pytest.approx(0.8, abs=0.05)
    assert rows["full/plain/A-0006.png"]["white_balance_correction"].startswith("to its set-up's key frame, measured: ")
    assert rows["full/plain/A-0005.png"]["white_balance_correction"] == ""
    told = {one["path"]: one["correction"] for one in json.loads(printed("--json"))}
    assert told["full/plain/A-0006.png"]["stops"] == pytest.approx(0.8, abs=0.05)
    assert told["full/plain/A-0005.png"] is None


def measured(folder: Path, out: Path) -> int:
    """How many measurements a run makes anew."""
    work = assign(folder, jobs=2, outputs=out)
    assert work.evenness is not None
    run(work, out, jobs=2)
    return work.evenness.measurements.made


def test_what_was_measured_is_remembered_until_something_of_it_changes(tmp_path: Path) -> None:
    folder = write_session(tmp_path, {"A-0005": Fault(), "A-0006": Fault(stops=0.5), "A-0007": Fault(-0.4)}, BOTH)
    out = tmp_path / "out"
    fresh = evenness(folder)
    assert measured(folder, out) == 3
    remembered = assign(folder, jobs=2, outputs=out).evenness
    assert remembered is not None
    assert remembered.measurements.made == 0
    assert remembered.as_json() == fresh.as_json()  # to the last bit
    assert measured(folder, out) == 0

    path = folder / "session.yaml"
    text = path.read_text()
    path.write_text(text + "per_frame:\n  A-0006: {rating: 3}\n")
    assert measured(folder, out) == 0  # nothing that is measured hangs on a rating
    path.write_text(text.replace(FIGURE, "{ellipse: [0.5, 0.5, 0.2, 0.2]}"))
    assert measured(folder, out) == 3
    assert measured(folder, out) == 0
    path.write_text(text.replace(FIGURE, "{near: subject}") + "per_frame:\n  A-0006: {subject: [0.5, 0.5]}\n")
    assert measured(folder, out) == 3
    path.write_text(text.replace(FIGURE, "{near: subject}") + "per_frame:\n  A-0006: {subject: [0.4, 0.5]}\n")
    assert measured(folder, out) == 1

    mask = folder / "figure.png"
    path.write_text(text.replace(FIGURE, "{mask: figure}") + "per_frame:\n  A-0006: {masks: {figure: figure.png}}\n")
    for tone, count in ((255, 3), (255, 0), (128, 1)):
        Image.new("L", (30, 20), tone).save(mask)
        assert measured(folder, out) == count
    frame = folder / "frames" / "A-0007.jpg"
    frame.write_bytes((folder / "frames" / "A-0006.jpg").read_bytes())
    assert measured(folder, out) == 1


def test_a_card_and_a_chart_are_remembered(tmp_path: Path) -> None:
    folder = write_session(
        tmp_path, {"A-0005": Fault(), "A-0006": Fault(stops=0.5)},
        "  white_balance: {grey_card: {frame: A-0005, box: [0.1, 0.1, 0.2, 0.2]}}\n",
    )  # fmt: skip
    first = measured(folder, tmp_path / "out")
    assert first == 3  # two frames for the report, and the card
    assert measured(folder, tmp_path / "out") == 0
    path = folder / "session.yaml"
    path.write_text(path.read_text().replace("[0.1, 0.1, 0.2, 0.2]", "[0.1, 0.1, 0.2, 0.21]"))
    assert measured(folder, tmp_path / "out") == 1


def test_a_ledger_that_cannot_be_read_remembers_nothing(tmp_path: Path) -> None:
    folder = write_session(tmp_path, {"A-0005": Fault(), "A-0006": Fault(stops=0.5)}, EXPOSURE)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "ledger.sqlite").write_bytes(b"no database" * 1000)
    work = assign(folder, outputs=tmp_path / "out")
    assert work.evenness is not None
    assert work.evenness.measurements.made == 2


def test_a_chart_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    folder = write_session(tmp_path, {"A-0005": Fault(), "A-0006": Fault(stops=0.5)}, EXPOSURE)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "evenness.png").write_bytes(b"mine")
    report = run(assign(folder), tmp_path / "out", jobs=1)
    assert (tmp_path / "out" / "evenness.png").read_bytes() == b"mine"
    (warning,) = report.warnings
    assert warning.got == "a file that this program did not make"
    assert report.chart is None


def test_a_part_of_the_frames_comes_out_as_in_the_whole_run(tmp_path: Path) -> None:
    folder = write_session(tmp_path, faulty(9, 3, told=True), BOTH)
    whole, part = assign(folder), assign(folder, frames=["A-0007"])
    assert [frame.frame.name for frame in part.frames] == ["A-0007"]
    wanted = next(frame.correction for frame in whole.frames if frame.frame.name == "A-0007")
    assert part.frames[0].correction == wanted
    assert not wanted.changes_nothing


def test_a_set_up_without_a_key_frame_is_told(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=0.5), "B-0001": Fault(stops=1), "B-0002": Fault()}
    found = evenness(write_session(tmp_path, faults, EXPOSURE))
    (warning,) = found.warnings
    assert [one.as_dict() for one in check_file(tmp_path).warnings] == [warning.as_dict()]
    assert warning.what == "the exposure of set-up B is not evened out"
    assert "session.yaml:5:" in str(warning)
    assert found.correction("B-0001").changes_nothing
    assert found.correction("A-0006").stops == pytest.approx(-0.5, abs=0.03)


@pytest.mark.parametrize(("to", "stops"), [("{A: A-0005, B: B-0002}", -1.0), ("each", None)])
def test_a_key_frame_for_every_set_up(tmp_path: Path, to: str, stops: float | None) -> None:
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=0.5), "A-0007": Fault(stops=0.2),
              "B-0001": Fault(stops=1), "B-0002": Fault()}  # fmt: skip
    found = evenness(write_session(tmp_path, faults, EXPOSURE.replace("A-0005", to)))
    assert found.warnings == ()
    if stops is not None:
        assert found.correction("B-0001").stops == pytest.approx(stops, abs=0.03)
        return
    hows = {name: frame.exposure.how for name, frame in found.frames.items() if frame.exposure is not None}
    assert [name for name, how in hows.items() if how == "key frame"] == ["A-0006", "B-0001"]  # the middle ones
    assert found.correction("A-0005").stops == pytest.approx(0.5, abs=0.03)


def test_a_key_frame_of_another_set_up(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(), "B-0001": Fault()}
    folder = write_session(tmp_path, faults, EXPOSURE.replace("A-0005", "{A: B-0001}"))
    with pytest.raises(ProblemSet, match="the key frame B-0001 is of set-up B") as caught:
        assign(folder)
    assert "session.yaml:5:22" in str(caught.value)


def test_a_key_frame_that_cannot_be_measured_is_told(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(stops=6), "A-0006": Fault(stops=1, seconds=1 / 60)}
    found = evenness(write_session(tmp_path, faults, EXPOSURE))
    assert "the key frame A-0005 cannot be measured" in found.warnings[0].what
    assert found.correction("A-0006").stops == pytest.approx(-1, abs=0.03)


def test_a_broken_frame_does_not_stop_the_others(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(), "A-0006": Fault(stops=0.5), "A-0007": Fault(stops=0.5)}
    folder = write_session(tmp_path, faults, EXPOSURE)
    whole = (folder / "frames" / "A-0007.jpg").read_bytes()
    (folder / "frames" / "A-0007.jpg").write_bytes(whole[: len(whole) // 2])
    report = run(assign(folder), tmp_path / "out", jobs=2)
    assert list(report.failed) == ["A-0007"]
    assert report.evenness is not None
    assert report.evenness.correction("A-0006").stops == pytest.approx(-0.5, abs=0.03)


# Neutral white: grey card, chart, kelvin.

GREY = "  white_balance: {grey_card: {frame: A-0001, box: [0.71, 0.57, 0.79, 0.68]}}\n"


def test_a_grey_card_makes_its_light_neutral(tmp_path: Path) -> None:
    faults = {name: Fault(kelvin=5600) for name in ("A-0001", "A-0002")}
    folder = write_session(tmp_path, faults, GREY, per_frame="per_frame:\n  A-0001: {skip: yes}\n")
    found = evenness(folder)
    assert found.correction("A-0002").white.startswith("grey card in A-0001")
    _, differences = errors(folder, found, ["A-0002"])
    assert differences[0] < 0.5


def test_cards_by_set_up_and_one_for_all(tmp_path: Path) -> None:
    faults = {"A-0001": Fault(kelvin=5600), "A-0002": Fault(kelvin=5600), "B-0001": Fault(kelvin=7500)}
    one = evenness(write_session(tmp_path / "one", faults, GREY))
    assert one.correction("B-0001") == one.correction("A-0002")
    assert [w.what for w in one.warnings] == ["A-0001 is of set-up A; its white is used for set-up B as well"]
    box = "box: [0.71, 0.57, 0.79, 0.68]"
    both = f"  white_balance: {{grey_card: {{A: {{frame: A-0001, {box}}}, B: {{frame: B-0001, {box}}}}}}}\n"
    folder = write_session(tmp_path / "both", faults, both)
    found = evenness(folder)
    assert found.warnings == ()
    _, differences = errors(folder, found, list(faults))
    assert differences.max() < 0.5


def test_a_card_together_with_a_key_frame(tmp_path: Path) -> None:
    """Every frame to the key frame's white, and the key's, told by a card in another frame, to neutral."""
    random = np.random.default_rng(8)
    faults = {f"A-{at:04d}": Fault(kelvin=5400 + float(random.uniform(-400, 400))) for at in range(12)}
    match = GREY.replace("}}\n", f"}}, to: A-0005, measure: {FIGURE}}}\n")
    folder = write_session(tmp_path, faults, match)
    _, differences = errors(folder, evenness(folder), list(faults))
    assert np.mean(differences <= 2) >= 0.95
    assert np.median(differences) < 1


def test_kelvin(tmp_path: Path) -> None:
    """Light of 5600 K as colour-science draws it (daylight of CIE 15, Bradford) comes out neutral."""
    folder = write_session(tmp_path, {"A-0001": Fault(kelvin=5600)}, "  white_balance: {kelvin: 5600}\n")
    found = evenness(folder)
    assert found.correction("A-0001").white == "light of 5600 K"
    _, differences = errors(folder, found, ["A-0001"])
    assert differences[0] < 0.5


def test_a_card_that_cannot_be_measured(tmp_path: Path) -> None:
    folder = write_session(tmp_path / "a", {"A-0001": Fault(stops=4)}, GREY)
    with pytest.raises(ProblemSet, match="the grey card cannot be measured") as caught:
        assign(folder)
    assert "session.yaml:5:51" in str(caught.value)
    assert "clipped" in str(caught.value)
    wide = GREY.replace("[0.71, 0.57, 0.79, 0.68]", "[0.3, 0.2, 0.79, 0.68]")
    found = evenness(write_session(tmp_path / "b", {"A-0001": Fault()}, wide))
    assert found.warnings[0].what == "the box of the grey card takes in light and dark tones"


NOT_GREY = (
    "what stands in the grey card's box of A-0001 is not grey under any daylight or lamp: is the box on the card?"
)


@pytest.mark.parametrize(
    ("stands", "told"),
    [((0.18, 0.18, 0.18), False), ((0.30, 0.20, 0.10), False), ((0.102, 0.156, 0.032), True), ((0.4, 0.1, 0.3), True)],
)
def test_what_stands_in_the_box_is_looked_at_by_check_and_run(
    tmp_path: Path, stands: tuple[float, float, float], told: bool
) -> None:
    """A grey, by daylight and by lamps; leaves and a pink dress."""
    white = "  white_balance: {grey_card: {frame: A-0001, box: [0.71, 0.57, 0.79, 0.68]}}\n"
    folder = write_session(tmp_path, {"A-0001": Fault(), "A-0002": Fault()}, white)
    light = scene()
    light[int(0.55 * HEIGHT) : int(0.70 * HEIGHT), int(0.70 * WIDTH) : int(0.80 * WIDTH)] = stands
    codes = np.asarray(np.round(dusk.colour.models.eotf_inverse_sRGB(light) * 255), np.uint8)
    write(folder / "frames/A-0001.jpg", codes, 1 / 125, 0)
    found = [one for one in evenness(folder).warnings if one.what == NOT_GREY]
    assert len(found) == told
    checked = [str(one) for one in check_file(folder).warnings if one.what == NOT_GREY]
    assert checked == [str(one) for one in found]
    assert all(one.got and one.remedy and "session.yaml" in str(one.where) for one in found)


@pytest.mark.parametrize("kelvin", [2200, 2900, 4300, 6500, 12000, 18000])
def test_cards_in_any_light_are_grey(kelvin: float) -> None:
    """Their temperature as colour-science has it (Ohno 2013), to 3 %."""
    xyz = dusk.colour.xy_to_XYZ(np.array(chromaticity(kelvin)))
    card = 0.18 * FROM_XYZ @ xyz
    found, away = nearest_light(card)
    expected, _ = dusk.colour.temperature.XYZ_to_CCT_Ohno2013(xyz)
    assert found == pytest.approx(expected, rel=0.03)
    assert away < 0.002
    noise = 1 + 0.05 * np.random.default_rng(3).standard_normal((500, 3))
    assert not_grey(Reading(np.maximum(card, 0.001) * noise, np.ones(500), 0, 0, 0.1)) == ""


@pytest.mark.parametrize(
    ("linear", "words"),
    [
        ((0.102, 0.156, 0.032), "off that of any daylight or lamp"), ((0.30, 0.10, 0.30), "off that of any"),
        ((0.6, 0.12, 0.002), "redder"), ((0.12, 0.22, 0.50), "bluer"),
    ],
)  # fmt: skip
def test_colours_of_no_light(linear: tuple[float, float, float], words: str) -> None:
    assert words in not_grey(Reading(np.tile(linear, (9, 1)), np.ones(9), 0, 0, 0.1))


def test_colours_that_cancel_out_are_no_grey() -> None:
    pixels = np.array([[0.3, 0.1, 0.1], [0.1, 0.2, 0.3]] * 50)
    assert "differ" in not_grey(Reading(pixels, np.ones(100), 0, 0, 0.1))


def with_chart(folder: Path, corners: str) -> Path:
    write_session(
        folder, {"A-0002": Fault(kelvin=5000)}, f"  white_balance: {{chart: {{frame: A-0001, corners: {corners}}}}}\n"
    )
    write(folder / "frames" / "A-0001.jpg", drawn(under("D50") * 0.8, SKEWED), 1 / 125, 0)
    return folder


def test_a_chart(tmp_path: Path) -> None:
    corners = str([list(corner) for corner in SKEWED])
    found = evenness(with_chart(tmp_path, corners))
    fit = found.charts["all"]
    assert fit.after[0] < 0.5 * fit.before[0]
    assert found.correction("A-0002").white == "24-patch chart in A-0001"
    assert found.lines()[0].startswith("the chart: mean difference 6")
    assert found.as_json()["charts"][0]["after"]["mean"] < 2
    _, differences = errors(tmp_path, found, ["A-0002"])
    assert differences[0] < 2.5


def test_corners_that_lie_wrong_are_told_in_place(tmp_path: Path) -> None:
    turned = str([list(corner) for corner in SKEWED[2:] + SKEWED[:2]])
    with pytest.raises(ProblemSet, match="turned by half") as caught:
        assign(with_chart(tmp_path, turned))
    assert "session.yaml:5:" in str(caught.value)


def test_without_match_nothing_is_measured(tmp_path: Path) -> None:
    folder = write_session(tmp_path, {"A-0001": Fault()}, "  {}\n")
    work = assign(folder)
    assert work.evenness is None
    assert work.frames[0].correction.changes_nothing
    report = run(work, tmp_path / "out", jobs=1)
    assert report.as_json()["evenness"] is None
    assert not (tmp_path / "out" / "evenness.png").exists()


def test_without_a_plan_all_frames_are_one_set_up(tmp_path: Path) -> None:
    faults = {"A-0005": Fault(), "B-0006": Fault(stops=0.6), "C-0007": Fault(stops=-0.6)}
    folder = write_session(tmp_path, faults, EXPOSURE)
    text = (folder / "session.yaml").read_text()
    (folder / "session.yaml").write_text(text.replace("plan: plan.yaml\n", ""))
    found = evenness(folder)
    assert found.consistency[0].setup is None
    assert found.correction("B-0006").stops == pytest.approx(-0.6, abs=0.03)


def test_a_wide_gamut_file_is_evened_in_its_own_light(tmp_path: Path) -> None:
    """The same scene as a Display P3 file: clipping is looked for in its codes, and its matrix and the correction's
    are both carried out."""
    from finishing.colour.icc import write_profile
    from finishing.colour.spaces import DISPLAY_P3

    folder = write_session(tmp_path, {"A-0005": Fault(), "A-0006": Fault()}, BOTH)
    light = scene() @ cast(7200).T * 2**-0.7
    codes = np.round(DISPLAY_P3.encode(np.clip(light @ DISPLAY_P3.from_working.T, 0, 1)) * 255).astype(np.uint8)
    Image.fromarray(codes).save(
        folder / "frames" / "A-0006.jpg", quality=97, subsampling=0, icc_profile=write_profile(DISPLAY_P3)
    )
    found = evenness(folder)
    assert found.correction("A-0006").stops == pytest.approx(0.7, abs=0.03)
    report = run(assign(folder), tmp_path / "out", jobs=2)
    assert not report.failed
    card = card_of(np.asarray(Image.open(tmp_path / "out" / "full" / "plain" / "A-0006.png")))
    assert abs(np.log2(float(luminance(card)) / 0.18)) < 0.05
    assert float(ciede2000(linear_to_lab(card), linear_to_lab(np.full(3, 0.18)))) < 1.5


def test_the_scene_is_what_it_says() -> None:
    codes = photographed(replace(Fault(), stops=1.0), None)
    assert codes.shape == (HEIGHT, WIDTH, 3)
    assert card_of(codes) == pytest.approx(0.36, abs=0.003)


def test_skin_that_comes_out_less_alike_is_told(tmp_path: Path) -> None:
    """The white is measured on a coat that is another in every frame: the skin, alike before, is not any more."""
    faults = {f"A-000{number}": Fault() for number in range(3)}
    region = "{box: [0.05, 0.70, 0.25, 0.95]}"
    folder = write_session(tmp_path, faults, f"  white_balance: {{to: A-0000, measure: {region}}}\n")
    assert not [one for one in evenness(folder).warnings if "skin" in one.what]
    for number, coat in enumerate(((0.2, 0.2, 0.2), (0.25, 0.2, 0.15), (0.15, 0.2, 0.25))):
        light = scene()
        light[int(0.7 * HEIGHT) : int(0.95 * HEIGHT), int(0.05 * WIDTH) : int(0.25 * WIDTH)] = coat
        codes = np.asarray(np.round(dusk.colour.models.eotf_inverse_sRGB(np.clip(light, 0, 1)) * 255), np.uint8)
        write(folder / "frames" / f"A-000{number}.jpg", codes, 1 / 125, number * 20)
    found = evenness(folder)
    (warning,) = [one for one in found.warnings if "skin" in one.what]
    before, after = found.consistency[0].spreads()["skin_hue_degrees"]
    assert before.span is not None
    assert after.span is not None
    assert before.span < 2
    assert after.span > before.span + 2
    assert warning.what == "evening out made the skin of set-up A less alike"
    told = [float(one) for one in re.findall(r"[\d.]+", str(warning.got))]
    assert told == [pytest.approx(after.span, abs=0.06), pytest.approx(before.span, abs=0.06)]
    assert "without the coat, or use a grey card" in str(warning.remedy)
    assert "session.yaml" in str(warning.where)
