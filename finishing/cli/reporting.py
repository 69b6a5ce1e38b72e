"""How the commands speak: errors to standard error, data to standard output, exit statuses."""

import json
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from functools import wraps
from pathlib import Path
from typing import Any, NoReturn, ParamSpec, Protocol, TypeVar

import click

from finishing.errors import Problem, ProblemSet, problems_of

ALL_DONE, SOME_FAILED, WRONG_REQUEST = 0, 1, 2

P = ParamSpec("P")
R = TypeVar("R")


def tells_problems(command: Callable[P, R]) -> Callable[P, R]:
    """A command whose problems with the request or the user's files are printed and end it with status 2."""

    @wraps(command)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except (Problem, ProblemSet) as error:
            if kwargs.get("as_json"):
                print_json({"problems": [problem.as_dict() for problem in problems_of(error)]})
            else:
                tell(problems_of(error))
            sys.exit(WRONG_REQUEST)
        except KeyboardInterrupt:
            click.echo("stopped", err=True)
            sys.exit(130)

    return guarded


def tell(problems: Iterable[Problem]) -> None:
    """Problems to standard error."""
    for problem in problems:
        click.echo(str(problem), err=True)


def tell_cleared(parts: Sequence[Path]) -> None:
    """What a run that was cut off had left unfinished, and is deleted."""
    from finishing.part_files import cleared_words

    if told := cleared_words(parts):
        click.echo(told, err=True)


def tell_failed(failed: Mapping[str, Problem]) -> None:
    """Problems of frames, each with the frame's name in front where its place does not say it."""
    for name, problem in failed.items():
        named = problem.where is not None and name in str(problem.where)
        click.echo(str(problem) if named else f"{name}: {problem}", err=True)


def print_json(value: Any) -> None:
    """Data to standard output, as UTF-8 JSON."""
    click.echo(json.dumps(value, indent=2, ensure_ascii=False, default=str))


class OfFiles(Protocol):
    """What came of making pages."""

    @property
    def files(self) -> list[Path]: ...

    @property
    def notices(self) -> list[str]: ...

    @property
    def failed(self) -> dict[str, Problem]: ...

    def as_json(self) -> dict[str, Any]:
        """Plain values for `--json`."""


def tell_files(report: OfFiles, *, as_json: bool) -> NoReturn:
    """Notices and problems to standard error, the files to standard output, or all as JSON; then the end."""
    if as_json:
        print_json(report.as_json())
        finish(report.failed)
    for notice in report.notices:
        click.echo(notice, err=True)
    tell_failed(report.failed)
    for path in report.files:
        click.echo(path)
    finish(report.failed)


def finish(failed: object) -> NoReturn:
    """End with 1 where something failed, else with 0."""
    sys.exit(SOME_FAILED if failed else ALL_DONE)


def settings_from(pairs: Iterable[str]) -> dict[str, Any]:
    """Settings from `name=value`; a value may be a list such as [60, 200]. Raises Problem."""
    from finishing.documents.tree import parse_tree

    settings: dict[str, Any] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name:
            raise Problem(
                "a setting cannot be read",
                got=pair,
                expected="name=value",
                remedy="write --with kept_hue=75, for example",
            )
        data = parse_tree(f"value: {value}", f"--with {pair}").data
        settings[name.strip()] = data["value"]
    return settings


class Steps(AbstractContextManager["Steps"]):
    """Progress over a known number of frames: a bar on a terminal, a plain line a frame elsewhere."""

    def __init__(self, what: str, *, quiet: bool = False) -> None:
        self._what = what
        self._quiet = quiet
        self._bar: Any = None
        self._task: Any = None
        self._total = 0
        self._count = 0

    def begin(self, total: int) -> None:
        """How many there will be."""
        self._total = total
        if total and not self._quiet and sys.stderr.isatty():
            from rich.console import Console
            from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                MofNCompleteColumn(),
                TimeRemainingColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self._bar.start()
            self._task = self._bar.add_task(self._what, total=total)

    def step(self, line: str, *, counts: bool = True) -> None:
        """One more is done; the line tells what."""
        self._count += counts
        if self._bar is not None:
            self._bar.update(self._task, advance=int(counts))
        elif not self._quiet:
            click.echo(f"[{self._count}/{self._total}] {line}" if counts else line, err=True)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def files(count: int) -> str:
    """1 file, 36 files."""
    return f"{count} file" + ("" if count == 1 else "s")


def frames(count: int) -> str:
    """1 frame, 12 frames."""
    return f"{count} frame" + ("" if count == 1 else "s")
