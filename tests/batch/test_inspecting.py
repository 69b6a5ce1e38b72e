"""What a finished file, a frame, or something else tells when it is looked at."""

import json
import shutil
import unicodedata
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from finishing.batch.delivery.apply import apply
from finishing.batch.delivery.run import run
from finishing.batch.memory import known_outputs, ledger
from finishing.batch.memory.inspecting import Inspection, inspect
from finishing.batch.memory.ledger import hash_file
from finishing.batch.memory.making_again import make_again
from finishing.batch.work.assignment import assign
from finishing.batch.work.looks import read_look
from finishing.colour.spaces import SRGB
from finishing.errors import Problem
from finishing.photographs.finished import read_finished
from finishing.photographs.writing import OutputSettings, write_photograph
from finishing.photographs.xmp_out import NAMESPACE
from tests.light.blend_session import write_blend_session


@pytest.fixture
def finished(session: Path) -> Path:
    text = (session / "session.yaml").read_text()
    text = text.replace("rating: 4}", "rating: 4, straighten: -1.5, crop: {aspect: 4:5}}")
    text = text.replace(
        "deliverables:\n", "match: {exposure: {to: A-0001, measure: {box: [0.1, 0.1, 0.9, 0.5]}}}\ndeliverables:\n"
    )
    (session / "session.yaml").write_text(text)
    assert not run(assign(session), session / "finished", jobs=2).failed
    return session / "finished"


def facts(found: Inspection) -> dict[str, str]:
    """By label; what stands under a label goes with it."""
    told: dict[str, str] = {}
    label = ""
    for name, text in found.facts:
        label = name or label
        told[label] = f"{told[label]} | {text}" if label in told else text
    return told


def test_a_finished_file_says_how_it_was_made(finished: Path) -> None:
    found = inspect(finished / "web/one_colour_kept/A-0002.jpg")
    look = read_look("one_colour_kept", finished.parent / "recipes", overrides={"kept_hue": "60"})
    told = facts(found)
    assert found.kind == "finished"
    assert told["file"].startswith("JPEG, ")
    assert told["file"].endswith("8 bits, sRGB")
    assert told["look"] == f"{look.title} (one_colour_kept), version {look.version}, recipe {look.hash[:12]}"
    assert "kept_hue: 60" in told["settings"]
    assert told["made from"].startswith("frames/A-0002.jpg")
    assert told["made from"].endswith("it is there, unchanged")
    assert told["set-up"] == "A, Standing by the ladder"
    assert told["planned"] == "f/8 · 1/125 · ISO 100 · EV 13 at ISO 100 · ambient −2 stops"
    assert "key: " in told["heads by the plan"]
    assert "reads f/8" in told["heads by the plan"]
    assert "rim: " in told["heads by the plan"]
    assert told["exposed"] == "1/60 · f/8 · ISO 100"  # of a flash the plan alone knows
    assert told["camera"] == "gave 1 stop more light than planned"
    assert told["kept of it"] == "straightened by 1.5° anticlockwise, cropped to width : height 0.8 : 1"
    assert told["evened out"].endswith("stops")
    assert told["rights"] == "A. Example · © 2026 A. Example · Client use only · studio@example.org"
    assert told["rating"] == "4"
    assert told["deliverable"].startswith("web (format: jpeg")
    assert "as it was made" in told["ledger"]
    assert "hue_isolation" in told["steps"]
    assert all("A-0002.jpg" in line or line.startswith("    ") for line in found.lines())


def test_it_can_be_read_by_a_script(finished: Path) -> None:
    told = json.loads(json.dumps(inspect(finished / "full/faded_print/A-0002.png").as_json()))
    look = read_look("faded_print", finished.parent / "recipes")
    assert told["look"]["hash"] == look.hash
    assert told["look"]["name"] == "faded_print"
    assert (told["kind"], told["format"], told["bits"], told["profile"]) == ("finished", "png", 8, "Display P3")
    assert told["state"] == "as made"
    assert told["can_be_made_again"] is True
    assert told["ledger"]["path"] == "full/faded_print/A-0002.png"
    assert told["sources"][0]["state"] == "there, unchanged"
    assert told["kept"] == {"straighten": -1.5, "crop": {"aspect": 0.8}}
    assert [strobe["Name"] for strobe in told["strobes"]] == ["key", "rim"]
    assert told["record"]["PlannedISO"] == "100"
    assert told["exposure_seconds"] == pytest.approx(1 / 60)
    assert told["rights"]["copyright"] == "© 2026 A. Example"


def test_changed_and_missing_things_are_told(finished: Path) -> None:
    file, frame = finished / "web/faded_print/A-0001.jpg", finished.parent / "frames/A-0001.jpg"
    content = frame.read_bytes()
    frame.write_bytes(content + b"0")
    assert facts(inspect(file))["made from"].endswith("it has changed since")
    frame.unlink()
    assert facts(inspect(file))["made from"].endswith("it is gone")
    file.write_bytes(file.read_bytes() + b"0")
    found = inspect(file)
    assert "it was changed after it was made" in facts(found)["ledger"]
    assert found.told["state"] == "changed"


def test_a_file_away_from_its_ledger_still_tells_what_it_carries(finished: Path, tmp_path: Path) -> None:
    copy = tmp_path / "mail" / "A-0002.jpg"
    copy.parent.mkdir()
    shutil.copy(finished / "web/faded_print/A-0002.jpg", copy)
    told = facts(inspect(copy))
    assert told["set-up"].startswith("A")
    assert told["ledger"] == "none in a folder above knows this file"
    assert told["made from"].endswith("it is not beside this file")
    assert "deliverable" not in told
    assert inspect(copy).told["can_be_made_again"] is False
    inside = finished / "for the client.jpg"
    shutil.copy(copy, inside)
    assert facts(inspect(inside))["ledger"].endswith("there called web/faded_print/A-0002.jpg")


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff", "webp", "avif"])
def test_a_loose_image(session: Path, kind: str) -> None:
    image = session / "frames/A-0001.jpg"
    (file,) = apply(read_look("faded_print"), [image], session / "frames/out", kind=kind).written.values()  # type: ignore[arg-type]
    told = facts(inspect(file))
    assert told["deliverable"] == "made by `finishing apply`, without a session"
    assert told["made from"].endswith("it is there, unchanged")
    assert inspect(file).told["can_be_made_again"] is True


def test_a_blend_tells_its_sources(tmp_path: Path) -> None:
    session = write_blend_session(tmp_path / "evening")
    assert not run(assign(session), session / "finished", jobs=2).failed
    found = inspect(session / "finished/light/plain/C-blend.tif")
    told = facts(found)
    assert told["made from"].count("it is there, unchanged") == 2
    assert "C-0013.tif" in told["made from"]
    assert told["blend"] == "ambient +0.7 stops, strobe −0.3 stops"
    (session / "frames/C-0013.tif").unlink()
    assert [one["state"] for one in inspect(found.path).told["sources"]] == ["there, unchanged", "gone"]


def test_a_frame_is_told_as_it_is_seen(tmp_path: Path) -> None:
    frame = tmp_path / "A-1.jpg"
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "Example"
    exif[0x8298] = "(c) Someone"
    photo = exif.get_ifd(0x8769)
    photo[0x829A] = 1 / 60
    photo[0x829D] = 5.6
    photo[0x8827] = 400
    photo[0x9003] = "2026:13:45 19:00:00"  # no such month
    photo[0x9204] = -0.7
    Image.new("RGB", (30, 20), "grey").save(frame, exif=exif)
    found = inspect(frame)
    told = facts(found)
    assert found.kind == "frame"
    assert told["file"].startswith("JPEG, 20 × 30 pixels, 8 bits, ")
    assert "sRGB" in told["file"]
    assert told["upright"] == "turned clockwise, as its orientation asks"
    assert told["exposed"] == "1/60 · f/5.6 · ISO 400 · −0.7 stops dialled in"
    assert told["rights"] == "(c) Someone"
    assert "taken" not in told
    assert any("capture time" in notice for notice in found.notices)
    assert any(line.strip().startswith("to know: ") for line in found.lines())
    assert found.as_json()["orientation"] == 6


def test_what_is_no_picture_is_told(finished: Path, tmp_path: Path) -> None:
    for path, words in (
        (finished / "ledger.sqlite", "finishing ledger"),
        (finished.parent / "session.yaml", "finishing check"),
        (tmp_path / "missing.jpg", "there is no such file"),
        (finished, "this is a folder"),
    ):
        with pytest.raises(Problem) as told:
            inspect(path)
        assert words in str(told.value)
    text = tmp_path / "notes.jpg"
    text.write_text("not a picture at all, but some words")
    with pytest.raises(Problem, match="this is not a photograph"):
        inspect(text)
    cut, whole = tmp_path / "cut.jpg", (finished.parent / "frames/A-0001.jpg").read_bytes()
    for size in (300, len(whole) // 2, len(whole) - 2):
        cut.write_bytes(whole[:size])
        with pytest.raises(Problem, match="damaged or cut short") as told:
            inspect(cut)
        assert told.value.where == str(cut)
    cut.write_bytes(whole + bytes(100_000))  # what follows the picture is no harm
    assert inspect(cut).kind == "frame"


def test_a_packet_that_somebody_wrote_into_does_no_harm(finished: Path) -> None:
    file = finished / "web/faded_print/A-0002.jpg"
    content = file.read_bytes()
    for old, new in (
        (b"<finishing:AmbientStops>-2<", b"<finishing:AmbientStops>??<"),
        (b"<finishing:PlanMinusCameraStops>-1<", b"<finishing:PlanMinusCameraStops>so<"),
    ):
        assert old in content
        content = content.replace(old, new)
    file.write_bytes(content)
    told = facts(inspect(file))
    assert "ambient ?? stops" in told["planned"]
    assert told["camera"] == "so"


def test_foreign_packets_are_no_record_of_ours() -> None:
    assert read_finished(b"") is None
    assert read_finished(b"<broken") is None
    other = (
        b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"><xmp:CreatorTool>finishing 1'
        b"</xmp:CreatorTool></rdf:Description></rdf:RDF></x:xmpmeta>"
    )
    assert read_finished(other) is None


def hostile(path: Path, properties: str, *, name: str = "a.jpg", digest: str = "aa") -> Path:
    """A picture whose record says that it was finished here, and then whatever somebody wrote there."""
    xmp = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" '
        'xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/" xmlns:stRef="http://ns.adobe.com/xap/1.0/sType/ResourceRef#" '
        f'xmlns:f="{NAMESPACE}"><xmp:CreatorTool>finishing 1</xmp:CreatorTool>'
        f'<xmpMM:DerivedFrom rdf:parseType="Resource"><stRef:documentID>sha256:{digest}</stRef:documentID>'
        f"<stRef:filePath>{name}</stRef:filePath></xmpMM:DerivedFrom>{properties}</rdf:Description></rdf:RDF></x:xmpmeta>"
    )
    output = OutputSettings("jpeg", SRGB)
    write_photograph(path, np.full((20, 30, 3), 120, np.uint8), settings=output, xmp=xmp.encode())
    return path


RECIPE = "<f:RecipeText>look: X\nsteps: [{exposure: {stops: 0.5}}]\n</f:RecipeText>"


def test_brackets_without_end_in_a_record_are_told(tmp_path: Path) -> None:
    frame = tmp_path / "a.jpg"
    Image.new("RGB", (30, 20)).save(frame)
    digest, deep = hash_file(frame), "[" * 50_000
    (tmp_path / "out").mkdir()
    file = hostile(tmp_path / "out/1.jpg", f"<f:RecipeSettings>{deep}</f:RecipeSettings>", digest=digest)
    assert inspect(file).told["look"]["settings"] == {}
    for properties in (
        f"{RECIPE}<f:Delivered>{deep}</f:Delivered>",
        f'<f:RecipeText>look: {deep}</f:RecipeText><f:Delivered>{{"format": "jpeg"}}</f:Delivered>',
        f'<f:RecipeText>{deep}</f:RecipeText><f:Delivered>{{"format": "jpeg"}}</f:Delivered>',
    ):
        with pytest.raises(Problem, match=r"this version of the program does not know|is no recipe") as told:
            make_again(hostile(tmp_path / "out/2.jpg", properties, digest=digest), out=tmp_path / "new.jpg")
        assert len(str(told.value)) < 1000


def test_a_source_with_a_name_that_can_be_none_is_not_found(tmp_path: Path) -> None:
    for name in ("n" * 400, "n" * 5000, "a/" * 3000):
        file = hostile(tmp_path / "x.jpg", f'{RECIPE}<f:Delivered>{{"format": "jpeg"}}</f:Delivered>', name=name)
        assert inspect(file).told["sources"][0]["state"] == "not found"
        with pytest.raises(Problem, match="is gone"):
            make_again(file, out=tmp_path / "new.jpg")


def test_a_source_that_cannot_be_read_is_told(finished: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = ledger.hash_file

    def unreadable(path: Path) -> str:
        if path.parent.name == "frames":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(known_outputs, "hash_file", unreadable)
    file = finished / "web/faded_print/A-0001.jpg"
    assert facts(inspect(file))["made from"].endswith("it cannot be read")
    with pytest.raises(Problem, match="cannot be read") as told:
        make_again(file)
    assert "permissions" in str(told.value)


@pytest.mark.parametrize("stops", ["1e308", "nan", "inf", "-inf", "1e3000", "9" * 5000])
def test_no_number_of_a_record_fills_the_screen(tmp_path: Path, stops: str) -> None:
    names = (
        "AmbientStops", "PlanMinusCameraStops", "BlendAmbientStops", "BlendStrobeStops", "ExposureCorrectionStops",
        "PlannedISO", "ExposureValue100", "RecipeHash", "Recipe", "RecipeTitle", "RecipeVersion", "PlannedAperture",
    )  # fmt: skip
    found = inspect(hostile(tmp_path / "x.jpg", "".join(f"<f:{name}>{stops}</f:{name}>" for name in names)))
    told = facts(found)
    assert told["camera"] == stops if len(stops) < 20 else len(told["camera"]) <= 100
    assert all(len(line) < 600 for line in found.lines())


def test_no_text_of_a_record_commands_the_terminal(tmp_path: Path) -> None:
    bad = "a&#10;    ledger:   fine\u202e\u2066\u200f\u0085\u009b31m\u2028b" + "y" * 500
    names = ("Setup", "SetupTitle", "Recipe", "RecipeTitle", "WhiteBalanceCorrection", "PlannedShutter", "AmbientStops")
    strobes = (
        f'<f:Strobes><rdf:Seq><rdf:li rdf:parseType="Resource"><f:Name>{bad}</f:Name></rdf:li></rdf:Seq></f:Strobes>'
    )
    settings = f'<f:RecipeSettings>{{"a": "\\u001b[2J{bad.replace("&#10;", "")}"}}</f:RecipeSettings>'
    properties = "".join(f"<f:{name}>{bad}</f:{name}>" for name in names) + strobes + settings
    found = inspect(hostile(tmp_path / "x.jpg", properties, name=bad[:60], digest="\u202e" * 20))
    for line in found.lines():
        assert len(line) < 600
        assert not [sign for sign in line if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp")]
    assert sum("ledger:" in line[:15] for line in found.lines()) == 1


def test_white_balance_is_told_as_what_it_does(session: Path) -> None:
    """In kelvin, green and stops; the nine exact numbers are for scripts."""
    text = (session / "session.yaml").read_text()
    text = text.replace("deliverables:\n", "match: {white_balance: {kelvin: 7200}}\ndeliverables:\n")
    (session / "session.yaml").write_text(text)
    assert not run(assign(session), session / "finished", jobs=2).failed
    found = inspect(session / "finished/web/faded_print/A-0002.jpg")
    told = facts(found)["evened out"]
    assert told.startswith("white balance: light of 7200 K: about 700 K warmer (a grey: red +0.")
    assert told.endswith(" stops against green)")
    assert ";" not in told
    record = found.as_json()["record"]["WhiteBalanceCorrection"]
    assert len(record.partition(": ")[2].replace(";", "").split()) == 9


def test_a_print_is_told_as_the_session_has_it(session: Path) -> None:
    text = (session / "session.yaml").read_text()
    own = "  paper: {format: jpeg, print_size: 6 x 4 cm, margin: 5 mm, pixels_per_inch: 50}\n"
    (session / "session.yaml").write_text(text.replace("deliverables:\n", f"deliverables:\n{own}"))
    run(assign(session), session / "finished", jobs=2)
    path = next((session / "finished/paper").rglob("*.jpg"))
    assert facts(inspect(path))["deliverable"] == (
        "paper (format: jpeg, margin: 0.5 cm, pixels_per_inch: 50, print_size: 6 × 4 cm)"
    )


@pytest.mark.parametrize(("entry", "words"), [(0x10, "no flash on the camera"), (0x0D, "a flash fired on the camera")])
def test_camera_and_plan_each_say_what_they_know_of_a_flash(session: Path, entry: int, words: str) -> None:
    for name in ("A-0001", "C-0004"):
        frame = session / f"frames/{name}.jpg"
        with Image.open(frame) as picture:
            exif = picture.getexif()
            exif.get_ifd(0x8769)[0x9209] = entry
            picture.save(frame, exif=exif)
        assert facts(inspect(frame))["exposed"].endswith(words)
    assert not run(assign(session), session / "finished", jobs=2).failed
    lit, unlit = (session / f"finished/web/faded_print/{name}.jpg" for name in ("A-0001", "C-0004"))
    assert "flash" not in facts(inspect(lit))["exposed"]
    assert inspect(lit).as_json()["strobe_fired"] is None
    assert facts(inspect(unlit))["exposed"].endswith(words)  # no strobes were planned: it is what the camera noted
    assert inspect(unlit).as_json()["strobe_fired"] is (entry == 0x0D)


LONG = """\
look: Long
steps:
  - exposure: {stops: -0.9, where: {gradient: {full_at: [0.5, 0.0], gone_at: [0.5, 0.5]}}}
  - saturation: {amount: 0.6, where: {not: {any_of: [skin, {ellipse: [0.4, 0.5, 0.13, 0.35]}]}}}
  - edge_vignette: {strength: 0.3, reaches: 1.1}
"""
WHOLE = [
    "exposure: {stops: -0.9, where: {gradient: {full_at: [0.5, 0], gone_at: [0.5, 0.5]}}}",
    "saturation: {amount: 0.6, where: {not: {any_of: [{skin: {soft: 1}}, {ellipse: {centre: [0.4, 0.5], "
    "radii: [0.13, 0.35], soft: 0.2}}]}}}",
    "edge_vignette: {toward: black, strength: 0.3, starts_at: 0.5, reaches: 1.1, shape: ellipse, centre: frame}",
]


@pytest.mark.parametrize("kind", ["loose", "ledger"])
def test_steps_are_told_whole_with_all_that_they_do(finished: Path, kind: str) -> None:
    session = finished.parent
    (session / "recipes/long.yaml").write_text(LONG)
    if kind == "loose":
        report = apply(
            read_look(str(session / "recipes/long.yaml")), [session / "frames/A-0002.jpg"], session / "loose"
        )
        (file,) = report.written.values()
        before = []
    else:
        text = (session / "session.yaml").read_text()
        text = text.replace("looks:\n", "looks:\n  - {look: long, frames: A-0002}\n")
        (session / "session.yaml").write_text(text)
        assert not run(assign(session), finished, jobs=2).failed
        file = finished / "web/long/A-0002.jpg"
        before = facts(inspect(file))["steps"].split(" | ")[:-3]  # evened out, straightened, cropped
        assert [words.split()[0] for words in before] == ["exposure", "straightened", "cropped"]
    found = inspect(file)
    assert facts(found)["steps"].split(" | ") == [*before, *WHOLE]
    lines = found.lines(72)
    assert max(map(len, lines[1:])) <= 72
    start = next(number for number, line in enumerate(lines) if "  exposure: {" in line)
    column = lines[start].index("exposure: {")
    end = next(number for number, line in enumerate(lines) if line.startswith("    ledger:"))
    steps = lines[start:end]
    assert " ".join(line.strip() for line in steps).endswith(" ".join(WHOLE))
    firsts = [line for line in steps if line[column] != " "]
    assert [line[column:].split(":")[0] for line in firsts] == ["exposure", "saturation", "edge_vignette"]
    assert not any(line.endswith(":") for line in steps)  # a name stands with its value


def test_a_recipe_in_a_file_that_is_none_leaves_the_steps_as_they_were_noted(tmp_path: Path) -> None:
    history = (
        '<xmpMM:History><rdf:Seq><rdf:li xmlns:stEvt="http://ns.adobe.com/xap/1.0/sType/ResourceEvent#" '
        'rdf:parseType="Resource"><stEvt:parameters>grain: {amount: 1}</stEvt:parameters></rdf:li></rdf:Seq>'
        "</xmpMM:History>"
    )
    for text in (
        "[" * 50_000,
        "look: X",
        "steps: 3",
        "steps: [3]",
        "steps: [{exposure: {stops: 1}}]",
        "steps: [{a: b, c: d}]",
    ):
        file = hostile(tmp_path / "x.jpg", f"<f:RecipeText>{text}</f:RecipeText>{history}")
        assert facts(inspect(file))["steps"] == "grain: {amount: 1}"
