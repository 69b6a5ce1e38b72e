"""Two sessions in one folder: neither touches what was finished for the other."""

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from finishing.batch.delivery.run import Report, run
from finishing.batch.memory.ledger import hash_file, open_ledger
from finishing.batch.texts.checking import check_file
from finishing.batch.work.assignment import assign
from finishing.errors import Problem


def finish(session: Path, out: Path | None = None, **how: bool) -> Report:
    return run(assign(session), out or session.parent / "finished", jobs=2, **how)


def all_hashes(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hash_file(p) for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def first(session: Path) -> Path:
    """A session that is finished."""
    assert finish(session / "session.yaml").made
    return session / "session.yaml"


@pytest.fixture
def second(first: Path) -> Path:
    """Another session beside it: other rights, the same frames and deliverables, one of its looks."""
    other = first.with_name("client2.yaml")
    text = first.read_text().replace("Orchard test", "Coat maker").replace("Client use only", "One year")
    other.write_text("".join(line for line in text.splitlines(keepends=True) if "one_colour_kept" not in line))
    return other


@pytest.mark.parametrize("dry_run", [False, True])
def test_files_of_another_session_are_not_written_over(second: Path, *, dry_run: bool) -> None:
    out = second.parent / "finished"
    before = all_hashes(out)
    with pytest.raises(Problem, match="this session would write over") as told:
        finish(second, dry_run=dry_run)
    assert 'the session "Orchard test" (session.yaml)' in told.value.what
    assert f"finishing run {second} --out {second.parent / 'finished-client2'}" in str(told.value.remedy)
    assert all_hashes(out) == before
    checked = check_file(second)
    assert checked.problems == []
    assert told.value.what in [one.what for one in checked.warnings]


def test_both_go_on_in_folders_of_their_own(first: Path, second: Path) -> None:
    assert finish(second, second.parent / "finished-client2").made
    assert finish(second, second.parent / "finished-client2").made == []
    report = finish(first)
    assert (report.made, report.left_over) == ([], [])


def test_files_of_another_session_are_never_left_over(second: Path) -> None:
    """Its own have other names, so it may be finished into the same folder."""
    second.write_text(second.read_text().replace("  web: {", "  small: {").replace("  full: {", "  large: {"))
    report = finish(second)
    assert report.made
    assert report.left_over == []


@pytest.mark.parametrize("how", ["renamed", "retitled", "moved", "moved away from its files", "renamed, then retitled"])
def test_a_session_stays_known(session: Path, tmp_path: Path, how: str) -> None:
    file, out = session / "session.yaml", session / "finished"
    if how == "moved away from its files":
        out = tmp_path / "delivered"
    made = finish(file, out).made
    if how.startswith("renamed"):
        file = file.rename(session / "orchard.yaml")
    if how.startswith("moved"):
        session = session.rename(tmp_path / "archive")
        file, out = session / "session.yaml", session / "finished" if how == "moved" else out
    if how == "retitled":
        file.write_text(file.read_text().replace("Orchard test", "Orchard at dusk"))
    assert sorted(finish(file, out).up_to_date) == sorted(made)
    if how == "renamed, then retitled":  # the run in between has noted the new name
        file.write_text(file.read_text().replace("Orchard test", "Orchard at dusk"))
        assert sorted(finish(file, out).up_to_date) == sorted(made)
    text = file.read_text()
    assert "one_colour_kept" in text
    file.write_text("".join(line for line in text.splitlines(keepends=True) if "one_colour_kept" not in line))
    assert {Path(path).parts[1] for path in finish(file, out).left_over} == {"one_colour_kept"}


def test_two_sessions_that_change_their_names_are_told_by_their_titles(first: Path, second: Path) -> None:
    client = first.rename(first.with_name("client1.yaml"))
    other = second.rename(first)
    assert finish(client).made == []
    with pytest.raises(Problem, match=r'"Orchard test" \(client1.yaml\)'):
        finish(other)


def test_a_session_that_is_gone_still_owns_its_files(first: Path, second: Path) -> None:
    first.unlink()
    with pytest.raises(Problem, match="Orchard test"):
        finish(second)


def test_a_copy_beside_it_is_another_session(first: Path) -> None:
    copy = Path(shutil.copy(first, first.with_name("copy.yaml")))
    with pytest.raises(Problem, match=r"move session\.yaml to another folder") as told:
        finish(copy)
    assert "finished-copy" in str(told.value)


def test_a_ledger_of_an_earlier_version_belongs_to_the_sessions_of_its_folder(first: Path, second: Path) -> None:
    """It recorded the folder alone. The first run of the right session notes the rest."""
    out = first.parent / "finished"
    with sqlite3.connect(out / "ledger.sqlite") as connection:
        for path, told in connection.execute("SELECT path, told FROM makings").fetchall():
            values = json.loads(told)
            values["session"] = {key: values["session"][key] for key in ("from_ledger", "folder")}
            connection.execute("UPDATE makings SET told = ? WHERE path = ?", (json.dumps(values), path))
    connection.close()
    assert finish(second, dry_run=True).planned
    assert finish(first).made == []
    with open_ledger(out, create=False) as ledger:
        assert {told["title"] for told in ledger.sessions_of_outputs().values()} == {"Orchard test"}
    with pytest.raises(Problem, match="would write over"):
        finish(second, dry_run=True)
