"""Options that take one name or several, with spaces or commas between them: --frames A-0001 A-0002."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import click

from finishing.cli.valued import ValuedCommand, options_of, refuse_without_value


class Listed(click.Option):
    """An option that takes all words behind it, up to the next option: repeated, with commas, with spaces."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "multiple": True})


@dataclass
class _Words:
    """A command line sorted: rest: options with what belongs to them; alone: words that stand by themselves;
    listed: the words behind listed options, each with its option and whether it is the first behind it; unknown:
    whether one of the options is none."""

    rest: list[str] = field(default_factory=list)
    alone: list[str] = field(default_factory=list)
    listed: list[tuple[str, str, bool]] = field(default_factory=list)
    unknown: bool = False


class ListedCommand(ValuedCommand):
    """A command with listed options.

    Words behind such an option belong to it, but where the command would then lack what it needs (its session), one of
    them is that: the last that is a folder or a YAML file, or else the last, but never the only word behind an option:
    `finishing run --frames A-0001 A-0002 shoot`, `finishing run --frames A-0001 shoot --look faded_print`.
    """

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Put the option in front of each of its words, and let click read the line."""
        options = options_of(self, ctx)
        refuse_without_value(ctx, args, options)
        words = _sorted(args, options)
        if words.unknown:
            return super().parse_args(ctx, args)  # which says so
        arguments = [one for one in self.params if isinstance(one, click.Argument)]
        needed = sum(one.nargs for one in arguments if one.required and one.nargs > 0)
        while len(words.alone) < needed and (at := _most_likely(words.listed)) is not None:
            words.alone.insert(0, words.listed.pop(at)[1])
        if any(one.nargs < 0 for one in arguments) or len(words.alone) <= needed:
            listed = [part for option, word, _ in words.listed for part in (option, word)]
            return super().parse_args(ctx, [*words.rest, *listed, "--", *words.alone])
        raise click.UsageError(self._too_many(words.alone[needed:]), ctx)

    def _too_many(self, words: Sequence[str]) -> str:
        option = next((one.opts[0] for one in self.params if isinstance(one, Listed) and "--frames" in one.opts), None)
        told = f"nothing says what {' '.join(words)} is for."
        return told if option is None else f"{told} If it names frames, write {option} {' '.join(words)}"


def _most_likely(listed: Sequence[tuple[str, str, bool]]) -> int | None:
    """Which of the words behind listed options stands for itself, if one can."""
    more = [at for at, (_, _, first) in enumerate(listed) if not first]
    there = [at for at in more if _is_path(Path(listed[at][1]))]
    return max(there or more, default=None)


def _is_path(path: Path) -> bool:
    return path.is_dir() or (path.suffix.lower() in (".yaml", ".yml") and path.is_file())


def _sorted(args: Sequence[str], options: dict[str, click.Option]) -> _Words:
    words = _Words()
    current: str | None = None
    line: Iterator[str] = iter(args)
    for word in line:
        name, equals, value = word.partition("=")
        option = options.get(name if word.startswith("--") else word)
        if word == "--":
            words.alone += line
        elif isinstance(option, Listed):
            current = name
            first = value if equals else next(line)
            words.listed.append((name, first, True))
        elif word.startswith("-") and len(word) > 1:
            current = None
            words.rest.append(word)
            words.unknown = words.unknown or option is None
            if option is not None and not option.is_flag and not equals:
                words.rest += [following for following in [next(line, None)] if following is not None]
        elif current is not None:
            words.listed.append((current, word, False))
        else:
            words.alone.append(word)
    return words


def split(values: Sequence[str]) -> list[str]:
    """Repeated options, spaces and commas all make lists."""
    return [part.strip() for value in values for part in value.split(",") if part.strip()]
