"""Sessions with known faults evened out: how near the truth they come, what is told, and what is refused."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from finishing.errors import ProblemSet
from tests.batch.evening import BOTH, EXPOSURE, errors, evenness, faulty
from tests.evenness import dusk
from tests.evenness.dusk import (
    FIGURE,
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
