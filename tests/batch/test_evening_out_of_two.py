"""Two sessions that are evened out into one folder: each keeps its chart, and what was measured and checked for it."""

import sqlite3
from pathlib import Path

import pytest
from PIL import Image

from finishing.batch.delivery.run import Report, run
from finishing.batch.evening.evening_out import Evenness
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.memory.owners import number_of
from finishing.batch.work.assignment import assign
from tests.batch.evening import EXPOSURE
from tests.evenness.dusk import FIGURE, Fault, write_session


def finish(session: Path, out: Path) -> Report:
    return run(assign(session, outputs=out), out, jobs=2)


def measured_anew(report: Report) -> int:
    assert isinstance(report.evenness, Evenness)
    return report.evenness.measurements.made


@pytest.fixture
def first(tmp_path: Path) -> Path:
    folder = write_session(tmp_path / "shoot", {"A-0005": Fault(), "A-0006": Fault(stops=0.5)}, EXPOSURE)
    check = "checks: [{mean_lightness: {at_least: 0.99}}]\n"
    recipe = folder / "recipes" / "plain.yaml"
    recipe.write_text(recipe.read_text() + check)
    return folder / "session.yaml"


@pytest.fixture
def second(first: Path) -> Path:
    """Another client's: lighter, measured elsewhere, under names of its own."""
    other = first.with_name("client2.yaml")
    text = first.read_text().replace("session: Faults", "session: Coat maker").replace("full:", "large:")
    text = text.replace(FIGURE, "{ellipse: [0.5, 0.5, 0.2, 0.2]}").replace("A-0005, measure", "A-0006, measure")
    other.write_text(text)
    return other


def test_each_has_a_chart_of_its_own(first: Path, second: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    chart = finish(first, out).chart
    assert chart == out / "evenness.png"
    before = hash_file(chart)
    other = finish(second, out).chart
    assert other == out / "evenness-client2.png"
    assert hash_file(chart) == before
    with Image.open(other) as image:
        assert image.info["Source"] == (
            '{"from_ledger": "../shoot", "folder": null, "file": "client2.yaml", "title": "Coat maker"}'
        )
    assert [finish(one, out).chart for one in (first, second)] == [None, None]
    chart.unlink()
    assert finish(second, out).chart is None  # it stays where it is
    assert finish(first, out).chart == chart


def test_a_session_that_is_renamed_keeps_its_chart(first: Path, second: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    finish(first, out)
    finish(second, out)
    second = second.rename(second.with_name("coats.yaml"))
    assert finish(second, out).chart == out / "evenness-client2.png"
    assert sorted(path.name for path in out.glob("*.png")) == ["evenness-client2.png", "evenness.png"]


def test_sessions_of_one_file_name_in_other_folders_are_told_apart(first: Path, tmp_path: Path) -> None:
    out, charts = tmp_path / "out", []
    for number, title in enumerate(("Faults", "Second", "Third")):
        folder = write_session(tmp_path / str(number), {"A-0005": Fault(), "A-0006": Fault(stops=0.5)}, EXPOSURE)
        file = folder / "session.yaml"
        file.write_text(file.read_text().replace("session: Faults", f"session: {title}").replace("full", f"f{number}"))
        charts.append(finish(file, out).chart)
    names = ["evenness.png", "evenness-session.png", "evenness-session-2.png"]
    assert charts == [out / name for name in names]


def test_a_chart_of_an_earlier_version_counts_as_the_sessions(first: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    chart = finish(first, out).chart
    assert chart is not None
    with Image.open(chart) as image:
        mark = image.info["Software"]
        from PIL.PngImagePlugin import PngInfo

        texts = PngInfo()
        texts.add_text("Software", mark)
        image.load()
        image.save(chart, pnginfo=texts)
    assert finish(first, out).chart == chart


def test_what_was_measured_for_one_stays_when_the_other_is_finished(first: Path, second: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert measured_anew(finish(first, out)) == 2
    assert measured_anew(finish(second, out)) == 2
    assert measured_anew(finish(first, out)) == 0
    assert measured_anew(finish(second, out)) == 0


def test_what_was_done_to_frames_is_kept_for_each(first: Path, second: Path, tmp_path: Path) -> None:
    out, told, checks = tmp_path / "out", [], []
    reports = [finish(first, out), finish(second, out)]
    for file in (first, second):
        with open_ledger(out, create=False) as ledger:
            ledger.session = number_of(ledger, assign(file).session, note=False)
            told.append({name: one["stops"] for name, one in ledger.corrections().items()})
            checks.append(ledger.checks("A-0006", "plain"))
    assert told[0]["A-0005"] == 0 == told[1]["A-0006"]
    assert told[0]["A-0006"] == pytest.approx(-0.5, abs=0.05)
    assert told[1]["A-0005"] == pytest.approx(0.5, abs=0.05)
    assert checks[0] != checks[1]
    again = [finish(first, out), finish(second, out)]
    assert [one.made for one in again] == [[], []]
    assert [one.checks for one in again] == [one.checks for one in reports]


def test_a_session_keeps_its_number(first: Path, second: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    finish(first, out)
    finish(second, out)
    second = second.rename(second.with_name("coats.yaml"))
    assert finish(second, out).checks
    second.write_text(second.read_text().replace("Coat maker", "Coats at dusk"))
    assert finish(second, out).checks
    with open_ledger(out, create=False) as ledger:
        titles = {number: one["title"] for number, one in ledger.sessions().items()}
    assert titles == {1: "Faults", 2: "Coats at dusk"}


def test_a_ledger_of_the_version_before_keeps_what_it_knows(first: Path, tmp_path: Path) -> None:
    """It kept checks, corrections and measurements for all sessions alike."""
    out = tmp_path / "out"
    report = finish(first, out)
    with sqlite3.connect(out / "ledger.sqlite") as connection:
        for name, columns, key in (
            ("checks", "frame, look, results", "frame, look"),
            ("corrections", "frame, told", "frame"),
            ("measurements", "source, what, key, told", "source, what"),
        ):
            connection.executescript(
                f"CREATE TABLE old ({columns}, PRIMARY KEY ({key})); INSERT INTO old SELECT {columns} FROM {name};"
                f"DROP TABLE {name}; ALTER TABLE old RENAME TO {name};"
            )
        connection.executescript("DROP TABLE sessions; DROP TABLE earlier; PRAGMA user_version = 3;")
    connection.close()
    assert assign(first, outputs=out).evenness is not None
    again = finish(first, out)
    assert (measured_anew(again), again.made, again.checks) == (0, [], report.checks)
    with sqlite3.connect(out / "ledger.sqlite") as connection:
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        assert connection.execute("PRAGMA user_version").fetchone() == (5,)
    connection.close()
    assert not any(name.startswith(("old", "earlier_")) for name in tables)
