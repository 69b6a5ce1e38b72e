"""Commands as a newcomer gets them wrong: status 2, and what to type instead."""

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from finishing.cli.main import main


def finishing(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(autouse=True)
def _beside_the_session(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(session.parent)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("run shoot/frames", "it lies in the folder above: name shoot"),
        ("check shoot/frames", "it lies in the folder above: name shoot"),
        ("plan shoot/frames", "it lies in the folder above: name shoot"),
        ("run shoot/recipes/..", None),
        ("run empty", "write a first one: finishing init empty"),
        ("run other", "rename Session.yml, or name it itself: other/Session.yml"),
        ("run shoot/frames/A-0001.jpg", "name a session.yaml (or its folder), a plan.yaml or a recipe here"),
        ("apply shoot/frames/A-0001.jpg faded_print", "pictures where IMAGE stands"),
        ("compare faded_print orignal shoot/frames/A-0001.jpg", 'did you mean "original"?'),
        ("compare faded_print white_edg shoot/frames/A-0001.jpg", 'did you mean "white_edge"?'),
        ("sample shoot/session.yaml", "name a folder that is new or empty"),
        ("init shoot/session.yaml", "name the folder that it lies in"),
        ("run shoot A-0001", "If it names frames, write --frames A-0001"),
        ("plan shoot --out shoot/session.yaml/plan.html", "the page cannot be written"),
        ("operations vignette", 'did you mean "edge_vignette"?'),
        ("explain Faded-Print", 'did you mean "faded_print"?'),
    ],
)
def test_a_wrong_command_says_what_to_type(line: str, told: str | None) -> None:
    Path("empty").mkdir()
    Path("other").mkdir()
    Path("other/Session.yml").write_text("session: x\n")
    result = finishing(*line.split())
    if told is None:
        assert result.exit_code == 0, result.stderr
        return
    assert result.exit_code == 2
    assert told in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.parametrize("line", ["run ..", "check ../../frames", "run ."])
def test_the_session_above_a_folder_is_named_from_within_it(
    line: str, session: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    below = session / "frames" / "sub"
    below.mkdir()
    monkeypatch.chdir(below.parent if line == "run ." else below)
    result = finishing(*line.split())
    assert result.exit_code == 2
    assert f"it lies in the folder above: name {session.resolve()}" in result.stderr
