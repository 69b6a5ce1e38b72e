"""Names on the command line, as they are typed: with spaces, with commas, in other capitals."""

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from finishing.cli.listed import Listed, ListedCommand, split
from finishing.cli.main import main


def finishing(*words: str | Path) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@click.command(cls=ListedCommand)
@click.argument("session")
@click.option("--look", "--looks", "looks", cls=Listed)
@click.option("--frames", "frames", cls=Listed)
@click.option("--out")
@click.option("--again", is_flag=True)
def shown(session: str, looks: tuple[str, ...], frames: tuple[str, ...], out: str | None, again: bool) -> None:
    click.echo(json.dumps([session, split(looks), split(frames), out, again]))


@pytest.mark.parametrize(
    ("line", "read"),
    [
        ("s --frames A B", ["s", [], ["A", "B"], None, False]),
        ("s --frames A,B C, D", ["s", [], ["A", "B", "C", "D"], None, False]),
        ("s --frames A --frames B", ["s", [], ["A", "B"], None, False]),
        ("s --frames=A B --again", ["s", [], ["A", "B"], None, True]),
        ("--frames A B s", ["s", [], ["A", "B"], None, False]),  # what is lacking is the session
        ("--frames A s", ["s", [], ["A"], None, False]),
        ("--again s --look x y --frames A", ["s", ["x", "y"], ["A"], None, True]),
        ("--frames A B --out o s", ["s", [], ["A", "B"], "o", False]),  # s stands behind another option
        ("--frames A -- s", ["s", [], ["A"], None, False]),
        ("--frames A s --look x", ["s", ["x"], ["A"], None, False]),
        ("--frames A s --look x --again", ["s", ["x"], ["A"], None, True]),
        ("s --looks x --out o", ["s", ["x"], [], "o", False]),
    ],
)
def test_words_behind_a_listed_option_belong_to_it(line: str, read: list[object]) -> None:
    result = CliRunner().invoke(shown, line.split())
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout) == read


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("s A-0001 A-0002", "If it names frames, write --frames A-0001 A-0002"),
        ("--frames A", "Missing argument 'SESSION'"),
        ("s --frames", "--frames stands without a value behind it"),
        ("s --frames --again", "--frames stands without a value behind it"),
        ("s --frames --out=o A", "--frames stands without a value behind it"),
        ("--frames -- s", "--frames stands without a value behind it"),
        ("s --out", "--out stands without a value behind it"),
        ("s --out --frames A", "--out stands without a value behind it"),
        ("s --out -- A", "--out stands without a value behind it"),
        ("s --frames A --out", "--out stands without a value behind it"),
        ("s --frams A", "Did you mean '--frames'?"),
    ],
)
def test_what_cannot_be_meant_is_told(line: str, told: str) -> None:
    result = CliRunner().invoke(shown, line.split())
    assert result.exit_code == 2
    assert told in result.stderr


@pytest.mark.parametrize("name", ["shoot", "other.yaml"])
def test_of_the_words_behind_options_the_session_is_the_one_that_is_there(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shoot").mkdir()
    (tmp_path / "other.yaml").touch()
    for line in (f"--look x {name} --frames A B", f"--frames A B --look x {name}", f"--look x {name} y --frames A"):
        result = CliRunner().invoke(shown, line.split())
        assert result.exit_code == 0, result.output
        assert json.loads(result.stdout)[0] == name


def test_run_takes_names_with_spaces(session: Path) -> None:
    result = finishing("run", session, "--frames", "A-0001", "C-0004", "--deliverable", "web", "full", "--json")
    assert result.exit_code == 0, result.stderr
    assert {Path(path).stem for path in json.loads(result.stdout)["made"]} == {"A-0001", "C-0004"}
    before = finishing("run", "--frames", "A", "Z-0009", session, "--dry-run")
    assert before.stdout.splitlines()[-1].startswith("6 files would be made"), before.stdout


@pytest.mark.parametrize(
    ("words", "near"),
    [
        (["--frames", "a-0001"], "A-0001"),
        (["--frames", "a-*"], "A-*"),
        (["--frames", "shoot/frames/A-0001.JPG"], "A-0001"),
        (["--frames", "A-001"], "A-0001"),
        (["--frames", "c"], "C"),
        (["--frames", "Setup C"], "C"),
        (["--frames", "ALL"], "all"),
        (["--look", "Faded Print"], "faded_print"),
        (["--deliverable", "Web"], "web"),
    ],
)
def test_a_name_that_is_not_there_is_told_with_the_one_that_was_meant(
    session: Path, words: list[str], near: str
) -> None:
    result = finishing("run", session, *words)
    assert result.exit_code == 2
    assert f'did you mean "{near}"?' in result.stderr


def test_all_names_that_are_not_there_are_told(session: Path) -> None:
    result = finishing("run", session, "--frames", "a-0001", "c-0004", "Z-0009")
    assert result.exit_code == 2
    assert result.stderr.count("no frame has the name") == 2


def options_with_values() -> list[tuple[str, str]]:
    """Every option of every command that takes a value, by each of its names."""
    return [
        (name, option)
        for name, command in main.commands.items()
        for param in command.params
        if isinstance(param, click.Option) and not param.is_flag
        for option in (*param.opts, *param.secondary_opts)
    ]


@pytest.mark.parametrize(("command", "option"), options_with_values())
def test_every_option_that_takes_a_value_asks_for_it(
    command: str, option: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    other = next(one.opts[0] for one in main.commands[command].params if isinstance(one, click.Option))
    for line in ([option], [option, other], [option, "--"], [option, f"{other}=x"]):
        result = finishing(command, "x", *line)
        assert result.exit_code == 2
        assert f"{option} stands without" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_value_that_begins_with_a_dash_is_a_value() -> None:
    result = CliRunner().invoke(shown, ["s", "--out", "-2", "--again"])
    assert json.loads(result.stdout) == ["s", [], [], "-2", True]
