"""What stands of evening out in outputs, ledger and chart, and what is remembered of measuring."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from finishing.batch.delivery.run import run
from finishing.batch.memory.ledger import open_ledger
from finishing.batch.work.assignment import assign
from finishing.cli.main import main
from finishing.colour.difference import ciede2000, linear_to_lab
from finishing.colour.spaces import luminance
from tests.batch.evening import BOTH, EXPOSURE, evenness
from tests.evenness.dusk import (
    FIGURE,
    Fault,
    card_of,
    write_session,
)


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
        (ledger.session,) = ledger.sessions()
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
